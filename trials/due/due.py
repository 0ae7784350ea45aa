"""What should be looked at now and next: the follow-up plan, the maker's own where it says otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from formulary.document.fields import Fields
from formulary.document.tree import Listing, Scalar
from formulary.finding import Finding
from formulary.names import suggest
from formulary.quantity import format_decimal
from formulary.read_only import ReadOnly
from formulary.settings import Settings
from formulary.shown_as_text import ShownAsText
from trials.checks.free_alkali import FREE_ALKALI, TEST_AGAIN_DAYS, Tested, find_tested, say_correction, say_test
from trials.outcomes.outcome import Outcome
from trials.trial.elapsed import parse_age_days
from trials.trial.identity import code_of
from trials.trial.model import HANDLING_WORDS, Observation, Trial
from trials.trial.on_day import as_it_stood
from trials.trial.rebatch import find_last_rebatch

_D = Decimal
# What is looked at when, in days: common practice, no source.
USUAL_FOLLOW_UP: Mapping[str, tuple[Decimal, ...]] = ReadOnly(
    {
        "cut": (_D(1),),
        FREE_ALKALI: (_D(2), _D(7)),
        "colour": (_D(7), _D(14), _D(28)),
        "mass": (_D(1), _D(28), _D(42)),
        "hardness": (_D(28), _D(42)),
        "first rancid spot": (_D(90), _D(180), _D(365)),
    }
)
_POURED = _D(0)
_EARLY_PART = Decimal("0.1")  # a look may be this part of its age early (common practice, no source)
_HOW_CUT = "cut the loaf, and look for gel, cracks, tunnels and weeping"


@dataclass(frozen=True, slots=True, repr=False)
class Due(ShownAsText):
    """One thing to look at. late_days: above 0 when it should have been done. portions: those that still lack it.

    remark: what stands in its way, which has to be done first. stays_due: whether it is asked for however late it is.
    """

    trial_id: str
    recipe: str
    task: str
    age_days: Decimal
    on: date
    late_days: int
    portions: tuple[str, ...] = ()
    how: str = ""
    remark: str = ""
    stays_due: bool = False

    def __str__(self) -> str:
        return f"{self.label}, {self.loaf}, on {self.on.isoformat()}"

    @property
    def label(self) -> str:
        """What is to be looked at, and at which age."""
        return f"{self.task} at {format_decimal(self.age_days.normalize())} d"

    @property
    def loaf(self) -> str:
        """What is on the shelf: the soap, and which of its loaves."""
        return f"{self.recipe} {code_of(self.trial_id)}"

    @property
    def is_missed(self) -> bool:
        """Whether it is so late that the value at its age cannot be had any more (common practice, no source)."""
        return not self.stays_due and self.late_days > max(_D(28), self.age_days / 2)

    def to_json(self) -> dict[str, object]:
        return {
            "trial": self.trial_id,
            "recipe": self.recipe,
            "task": self.task,
            "age_days": float(self.age_days),
            "on": self.on.isoformat(),
            "late_days": self.late_days,
            "is_missed": self.is_missed,
            "portions": list(self.portions),
            "how": self.how,
            "remark": self.remark,
        }


def read_follow_up(
    settings: Settings, outcomes: Mapping[str, Outcome], path: str = "formulary.yaml"
) -> tuple[Mapping[str, tuple[Decimal, ...]], tuple[Finding, ...]]:
    """Task -> ages in days: the usual plan, with what `follow_up:` in formulary.yaml says instead; and its faults.

    A task is an outcome, or something done after pouring such as `cut`. `hardness: []` takes a task out.
    """
    plan = dict(USUAL_FOLLOW_UP)
    findings: list[Finding] = []
    block = settings.free.get("follow_up")
    if block is None:
        return ReadOnly(plan), ()
    fields = Fields(block, findings, path=path, within="follow_up")
    for entry in block.entries:
        task = entry.key.text
        if task not in outcomes and task not in HANDLING_WORDS:
            do = suggest(task, [*outcomes, *HANDLING_WORDS], "`formulary outcomes` lists what can be looked at")
            fields.report("unknown-outcome", f"{task[:40]!r} is nothing to look at", do, entry.key, task)
            continue
        nodes = entry.value.items if isinstance(entry.value, Listing) else (entry.value,)
        if isinstance(entry.value, Scalar) and entry.value.is_empty:
            nodes = ()
        ages = [fields.parse_node(node, parse_age_days, task) for node in nodes]
        plan[task] = tuple(sorted({age for age in ages if age is not None}))
    return ReadOnly(plan), tuple(findings)


def find_due(
    trials: Iterable[Trial],
    today: date,
    follow_up: Mapping[str, tuple[Decimal, ...]],
    outcomes: Mapping[str, Outcome],
    *,
    days_ahead: int = 14,
) -> tuple[Due, ...]:
    """What is late, due today, or due within `days_ahead` days: late ones first, then by date.

    A look that was missed is asked for until the next of its kind is due. Batches that were discarded, or are to be
    reworked and were not yet, are left alone. Of free alkali each portion is asked about by the tests that speak for
    it, from its last rebatch on. What is recorded of a later day than today has not been done yet.
    """
    found: list[Due] = []
    for trial in (as_it_stood(each, today) for each in trials):
        decision = None if trial.release is None else trial.release.decision
        if decision == "discard" or (decision == "rework" and find_last_rebatch(trial) is None):
            continue
        for task, ages in follow_up.items():
            if task == FREE_ALKALI:
                found += _tests_due(trial, ages, today, outcomes.get(task), days_ahead)
                continue
            how = _HOW_CUT if task == "cut" else outcomes[task].how if task in outcomes else ""
            for look in _looks(trial, ages, today, days_ahead):
                lacking = _lacking(trial, task, look)
                if lacking is not None:
                    on = due_date(trial.made, look.age)
                    found.append(Due(trial.id, trial.recipe, task, look.age, on, (today - on).days, lacking, how))
    return tuple(sorted(found, key=lambda item: (item.late_days <= 0, item.on, item.trial_id, item.task)))


@dataclass(frozen=True, slots=True)
class _Look:
    """A look at an age, in days: what is seen from `since` on, and before `until`, is that look."""

    age: Decimal
    since: Decimal
    until: Decimal | None

    def is_among(self, seen: Iterable[Observation]) -> bool:
        return any(each.age_days >= self.since and (self.until is None or each.age_days < self.until) for each in seen)


def _looks(
    trial: Trial, ages: Sequence[Decimal], today: date, days_ahead: int, begun: Decimal = _POURED
) -> Iterable[_Look]:
    """The looks that may be due: not those whose next is due already. begun: the loaf's age that they count from."""
    found = [_Look(begun + age, begun + (1 - _EARLY_PART) * age, None) for age in ages]
    for look, following in zip(found, [*found[1:], None], strict=True):
        is_past = following is not None and due_date(trial.made, following.age) <= today
        if not is_past and due_date(trial.made, look.age) <= today + timedelta(days=days_ahead):
            yield look if following is None else replace(look, until=following.since)


def _tests_due(
    trial: Trial, ages: Sequence[Decimal], today: date, outcome: Outcome | None, days_ahead: int
) -> Iterable[Due]:
    """The tests for free alkali that are due, of the portions that lack them.

    After the last of the plan one that found some is asked for again. While it is not recorded when something was
    rebatched no test clears it; both stay due until they are settled.
    """
    if not any(_looks(trial, ages, today, days_ahead)):
        return  # it is too young, and a rebatch only puts tests off
    every = find_tested(trial)
    lacking: dict[Decimal, list[Tested]] = {}
    for each in every:
        begun = _POURED if each.rebatch is None else each.rebatch.ended_days or _POURED
        for look in _looks(trial, ages, today, days_ahead, begun):
            if not look.is_among(each.tests):
                lacking.setdefault(look.age, []).append(each)
        if each.found and not any(begun + (1 - _EARLY_PART) * age > each.found[0].age_days for age in ages):
            lacking.setdefault(each.found[0].age_days + TEST_AGAIN_DAYS, []).append(each)
    for age, alike in lacking.items():
        on = due_date(trial.made, age)
        if on > today + timedelta(days=days_ahead):
            continue
        is_whole = len(alike) == len(every) and not any(each.is_cleared_alone for each in alike)
        portions = () if is_whole else tuple(each.portion for each in alike if each.portion is not None)
        remarks = dict.fromkeys(remark for each in alike for remark in _say_why_still(trial, each))
        yield Due(
            trial.id,
            trial.recipe,
            FREE_ALKALI,
            age,
            on,
            (today - on).days,
            portions,
            "" if outcome is None else outcome.how,
            "; ".join(remarks),
            stays_due=bool(remarks),
        )


def _say_why_still(trial: Trial, tested: Tested) -> Iterable[str]:
    """Why a test is asked for until it is settled: what the last one found, or a rebatch without its time."""
    for seen in tested.found:
        yield f"it was {say_test(seen)}"
    if not tested.is_timed:
        yield f"no test clears it before the rebatch has its time: {say_correction(trial, tested)}"


def due_date(made: date, age_days: Decimal) -> date:
    """The day on which something made on `made` reaches an age."""
    return made + timedelta(days=int(age_days.to_integral_value(ROUND_HALF_UP)))


def _lacking(trial: Trial, task: str, look: _Look) -> tuple[str, ...] | None:
    """The portions that lack a look; () when the whole trial does, None when nothing does."""
    if task in HANDLING_WORDS:
        done = any(step.what == task for step in trial.after_pour) or (task == "cut" and trial.bars.cut is not None)
        return None if done else ()
    if task == "first rancid spot" and any(
        reading.value for item in trial.observations if item.outcome == task for reading in item.readings
    ):
        return None  # once found there is nothing more to look for
    seen = {item.portion for item in trial.observations if item.outcome == task and look.is_among([item])}
    if None in seen:
        return None
    names = [portion.name for portion in trial.portions]
    lacking = tuple(name for name in names if name not in seen)
    if seen and not lacking:
        return None
    return lacking if seen else ()
