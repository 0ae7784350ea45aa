"""The small change from a version at hand that would best tell the leading explanations apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding
from formulary.read_only import ReadOnly
from formulary.recipes.version import Version
from formulary.shown_as_text import ShownAsText
from trials.answer.answer import Answer
from trials.factors.steps import TENTH
from trials.next_trial.candidates import CandidatePour, find_candidates
from trials.next_trial.change import Change
from trials.next_trial.outlook import Expected, choose_told, grade_bits, make_expected, share_bits
from trials.next_trial.pourable import chance_too_quick, warn_too_quick
from trials.next_trial.quick_pours import TimedPour, find_timed_pours, quick_words
from trials.next_trial.starts import Saves
from trials.outcomes.outcome import Scale
from trials.pours.seen import Seen
from trials.pours.sentences import say_list

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.recipes.tweaks import Tweak
    from formulary.settings import Settings
    from trials.explain.result import EngineAnswer
    from trials.trial.model import Trial

_LEAST_BITS = 0.05  # below, a pour would tell next to nothing
_LEAST_PART = 0.1  # of what the best one tells
_WORTH_A_CHANGE = 0.02  # bits that a pour must tell more than the same with a change left out


@dataclass(frozen=True, slots=True, eq=False)
class _Foretold:
    """What a candidate would tell, what each explanation expects of it, and that it may be too quick to pour."""

    bits: float
    expected: tuple[Expected, ...]
    too_quick: str | None


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class NextTrial(ShownAsText):
    """A trial worth pouring.

    words: what to do ("pour harbour-base with 2 % honey"). start: the version to start from. changes: what to change
    in it, none for a repeat. version: the changed recipe, unsaved; the start itself where only handling changes.
    portion: of a recipe that divides its batter, the portion that tells; None for the whole batter.
    bits: how much the outcome is expected to tell about what did it. expected: by explanation, likeliest first; always
    the likeliest with what is poured, and without.
    findings: warnings that stand against the batch. why_not_newest: why it does not start from the newest save of its
    recipe; empty where it does. too_quick: that it may well set before it is poured,
    or that pours with the same things in them did, in words; else None.
    """

    words: str
    start: Version
    changes: tuple[Change, ...]
    version: Version
    portion: str | None
    bits: float
    expected: tuple[Expected, ...]
    findings: tuple[Finding, ...]
    register: Mapping[str, Material]
    why_not_newest: str = ""
    too_quick: str | None = None

    def __str__(self) -> str:
        return self.words

    @property
    def tweaks(self) -> tuple[Tweak, ...]:
        """What to change in the start's recipe; none for a repeat or another handling."""
        return tuple(tweak for change in self.changes for tweak in change.tweaks)

    @property
    def by_hand(self) -> tuple[str, ...]:
        """The changes that no recipe holds, such as a lot, a room or how long it is blended."""
        return tuple(change.words for change in self.changes if not change.tweaks)

    def branch(self, slug: str) -> Version:
        """The changed recipe as a variant of its start, under a name of its own; not saved.

        Raises InputError when it only repeats a version or changes its handling: pour that version itself.
        """
        if not self.tweaks:
            what = f"to {self.words} needs no new recipe"
            raise InputError.of("nothing-to-branch", what, f"start a trial of {self.start.name}")
        return self.start.branch(slug, *self.tweaks, register=self.register)

    def to_json(self) -> dict[str, object]:
        return {
            "words": self.words,
            "start": self.start.name,
            "why_not_newest": self.why_not_newest or None,
            "too_quick": self.too_quick,
            "tweaks": [str(tweak) for tweak in self.tweaks],
            "by_hand": list(self.by_hand),
            "portion": self.portion,
            "bits": self.bits,
            "expected": [item.to_json() for item in self.expected],
            "findings": [finding.to_json() for finding in self.findings],
        }


def find_next_trials(
    answer: Answer,
    register: Mapping[str, Material],
    settings: Settings,
    *,
    most: int = 3,
    names: Mapping[str, str] = ReadOnly({}),
    saves: Saves = lambda _: None,
    poured: Sequence[Trial] = (),
) -> tuple[NextTrial, ...]:
    """Up to `most` trials, each a small change from a version at hand, that would tell most about what did it.

    Every one can be weighed out without a stop. A single change is preferred to two within a tenth of a bit; within
    half of that a batter that is not divided to one that is, and else the recipe that was poured oftenest to another;
    and what leaves time to pour to what may set in the pot.
    register, settings: today's. names: what recipes that were renamed are called today. saves: the saves of a recipe by
    that name, newest first; the version that was poured last is the start where there are none. poured: all trials of
    the formulary, which also tell what was too quick to pour.
    Nothing is proposed where there was nothing to weigh, or where no pour would tell more.
    """
    if answer.in_numbers is None:
        return ()
    candidates = list(find_candidates(answer, register, settings, names, saves))
    if not candidates:
        return ()
    foretold = _foretell(answer, answer.in_numbers, candidates, find_timed_pours(answer, poured, settings))
    bits = [each.bits for each in foretold]
    worth = _with_commonest(candidates, [bits[k] - _trouble(candidate) for k, candidate in enumerate(candidates)])
    order = sorted(
        range(len(candidates)),
        key=lambda k: (foretold[k].too_quick is not None, -round(worth[k], 9), len(candidates[k].changes), k),
    )
    least = max(_LEAST_BITS, _LEAST_PART * max(bits))
    trials: list[NextTrial] = []
    told: set[frozenset[str]] = set()
    made: set[tuple[float, ...]] = set()
    for k in order:
        candidate = candidates[k]
        if candidate.steps in made:
            continue  # the same pour by way of another recipe: the one with fewer changes is enough
        changed = _factors(candidate)
        if bits[k] < least or len(trials) >= most or changed in told or any(one and one < changed for one in told):
            continue  # one start for each thing to change is enough, and nothing besides what tells as much alone
        if bits[k] < _with_less(candidates, bits, candidate) + _WORTH_A_CHANGE:
            continue
        told.add(changed)
        made.add(candidate.steps)
        trials.append(
            NextTrial(
                _words(candidate),
                candidate.start,
                candidate.changes,
                candidate.version,
                candidate.portion,
                bits[k],
                choose_told(answer, foretold[k].expected, *_tests(answer, candidate)),
                candidate.findings,
                register,
                candidate.why_not_newest,
                foretold[k].too_quick,
            )
        )
    return tuple(trials)


def _tests(answer: Answer, candidate: CandidatePour) -> tuple[list[frozenset[str]], frozenset[str]]:
    """What a pour tests, each thing that is changed or in a repeat what is unusual; and what else is unusual in it."""
    steps = zip(answer.table.factors, candidate.steps, strict=True)
    unusual = frozenset(factor.name for factor, step in steps if abs(step) > TENTH)
    changed = _factors(candidate)
    if not changed:
        return ([unusual] if unusual else []), frozenset()
    return [frozenset({name}) for name in sorted(changed)], unusual - changed


def _foretell(
    answer: Answer, in_numbers: EngineAnswer, candidates: Sequence[CandidatePour], timed: Sequence[TimedPour]
) -> list[_Foretold]:
    """Every candidate foretold. One that tells by a portion is as quick as the quickest portion of the same pour."""
    from trials.answer.problem import make_problem
    from trials.explain import foretell_runs

    steps = [candidate.steps for candidate in candidates]
    runs = foretell_runs(make_problem(answer), in_numbers, steps, limit=patience(answer.seen))
    chances: dict[tuple[str, tuple[str, ...]], dict[str | None, float]] = {}
    seen: dict[tuple[str, tuple[str, ...]], str | None] = {}
    for candidate, run in zip(candidates, runs, strict=True):
        pour = _pour(candidate)
        chances.setdefault(pour, {})[candidate.portion] = chance_too_quick(answer.outcome, run.outlooks)
        seen[pour] = seen.get(pour) or quick_words(answer, candidate.steps, _factors(candidate), timed)
    found = []
    for candidate, run in zip(candidates, runs, strict=True):
        pour = _pour(candidate)
        expected = make_expected(answer, run.outlooks)
        bits = grade_bits(expected) if answer.outcome.scale.is_ordinal else run.bits
        if answer.outcome.scale is Scale.PERCENT:
            bits = min(bits, share_bits(run.outlooks))  # a hidden value beyond none or all of the face is not seen
        found.append(_Foretold(bits, expected, warn_too_quick(answer.outcome, chances[pour], seen[pour])))
    return found


def _pour(candidate: CandidatePour) -> tuple[str, tuple[str, ...]]:
    """What the portions of one pour have in common."""
    return candidate.start.id, tuple(change.words for change in candidate.changes)


def first_proposed(proposed: Sequence[NextTrial], answer: Answer) -> NextTrial:
    """The trial that would tell most. Raises InputError when none is proposed."""
    if not proposed:
        what = f"no small change would tell much more about {answer.label}"
        raise InputError.of("no-next-trial", what, "pour on, and record what happens")
    return proposed[0]


def _factors(candidate: CandidatePour) -> frozenset[str]:
    return frozenset(change.factor for change in candidate.changes)


def _with_less(candidates: Sequence[CandidatePour], bits: Sequence[float], candidate: CandidatePour) -> float:
    """The most that any pour of the same version tells with some of the changes left out."""
    changed = _factors(candidate)
    return max(
        (
            told
            for told, other in zip(bits, candidates, strict=True)
            if other.start.id == candidate.start.id and _factors(other) < changed
        ),
        default=-1.0,
    )


def _trouble(candidate: CandidatePour) -> float:
    """Bits that a pour may lack and still be preferred: a tenth for each change less, half of that undivided."""
    from trials.explain.next_run import SIMPLER

    return SIMPLER * max(0, len(candidate.changes) - 1) + 0.5 * SIMPLER * (candidate.portion is not None)


def _with_commonest(candidates: Sequence[CandidatePour], worth: Sequence[float]) -> list[float]:
    """What each is worth, where the same changes of another recipe that tell hardly more are worth no more.

    Nothing makes up for more trouble: what a divided batter lacks would be forgiven it.
    """
    from trials.explain.next_run import SIMPLER

    best: dict[frozenset[str], int] = {}
    for k, candidate in enumerate(candidates):
        top = best.setdefault(_factors(candidate), k)
        if worth[k] > worth[top]:
            best[_factors(candidate)] = k
    found = list(worth)
    for k, candidate in enumerate(candidates):
        top = best[_factors(candidate)]
        if worth[k] >= worth[top] - 0.5 * SIMPLER and _trouble(candidate) <= _trouble(candidates[top]):
            found[k] = worth[top]
    return found


def _words(candidate: CandidatePour) -> str:
    """`pour harbour-base with 2 % honey and without clove bud oil`."""
    name = candidate.start.name if candidate.why_not_newest else candidate.start.slug
    if not candidate.changes:
        return f"pour {name} once more"
    put_in = [change.words for change in candidate.changes if not change.words.startswith("no ")]
    left_out = [change.words.removeprefix("no ") for change in candidate.changes if change.words.startswith("no ")]
    parts = [f"with {say_list(put_in)}"] if put_in else []
    parts += [f"without {say_list(left_out, 'or')}"] if left_out else []
    return f"pour {name} {' and '.join(parts)}"


def patience(seen: Sequence[Seen]) -> float | None:
    """How long half of the pours are watched before they are stopped; None where most are watched to the end.

    A pour that was seen to its end would have been watched for so long at least, so that one that was poured early does
    not speak for all: the median of the product-limit estimate (Kaplan and Meier 1958; from memory).
    """
    stopped = Counter(item.value.low for item in seen if item.value.bound == "above" and item.value.low is not None)
    watched = [least for least in (item.value.bounds[0] for item in seen) if isfinite(least)]
    still = 1.0
    for stop, times in sorted(stopped.items()):
        still -= still * times / sum(least >= stop for least in watched)
        if still < 0.5 - 1e-9:
            return stop
    return None
