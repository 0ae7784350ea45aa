"""Which of the changes against the pour that it came from moved one trial."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from formulary.read_only import ReadOnly
from trials.answer.answer import Answer, ChangedFactor, MovedTrial
from trials.factors.portion_facts import Pour
from trials.factors.steps import TENTH
from trials.pours.contrast import Contrast, find_contrast
from trials.pours.pour_book import pours_label, scent_percent, short_names
from trials.pours.seen import Seen
from trials.pours.sentences import say_value
from trials.trial.model import Trial

_WORTH_NAMING = 0.02
_DOUBTED = 0.2  # the chance of a batch that went wrong as a whole from which on it counts against every change


def find_moved(answer: Answer, trial: Trial, called: Mapping[str, str] = ReadOnly({})) -> MovedTrial | str | None:
    """Which change moved a trial on the outcome that was explained; or in words why that cannot be said.

    It is set against the latest earlier pour of its own version where it differs from that by more than noise; else a
    scented portion against the unscented one of the same trial, with which it shares all but what parts them; else
    against the latest pour of the version that it came from: of the version before it in its own recipe, else of the
    version that it was branched from; failing these another unscented portion of its own.
    None where there is no answer at all. called: what recipes that were renamed are called today.
    """
    in_numbers = answer.in_numbers
    if in_numbers is None:
        return None
    own = [row for row, item in enumerate(answer.seen) if item.pour.trial.id == trial.id]
    if not own:
        return _why_not_seen(answer, trial)
    row = max(own, key=lambda row: (scent_percent(answer.seen[row].pour), -row))
    against = _parent(answer, row, called)
    if against is None:
        return f"{trial.id} has no earlier pour of its recipe, or of the one that it came from, to be held against"
    contrast = _contrast(answer, against, row)
    names = short_names([item.pour.trial.id for item in answer.seen])
    unmoved = _unmoved(answer, row, against, names)
    if contrast is None or say_value(answer.outcome, unmoved.before) == say_value(answer.outcome, unmoved.after):
        return unmoved
    reason = in_numbers.main_reason(row, against)
    odd = max((row, against), key=lambda number: in_numbers.botched[number])
    went_wrong = in_numbers.botched[odd]
    if went_wrong < _DOUBTED:
        went_wrong = 0.0
    against_the_grain = 0.0
    chances: list[tuple[tuple[str, ...], float]] = []
    for number, chance in reason.chances:
        candidate = in_numbers.candidates[number]
        if _would_move_it_back(answer, candidate.names, row, against, contrast.change):
            against_the_grain += chance
        elif chance * (1.0 - went_wrong) >= _WORTH_NAMING:
            chances.append((candidate.names, chance * (1.0 - went_wrong)))
    return replace(
        unmoved,
        chances=tuple(chances),
        nothing=(reason.nothing + against_the_grain) * (1.0 - went_wrong),
        went_wrong=went_wrong,
        odd=pours_label([answer.seen[odd].pour], names) if went_wrong else "",
    )


def _unmoved(answer: Answer, row: int, against: int, names: Mapping[str, str]) -> MovedTrial:
    """Of two that showed the same, or may have: nothing has to account for that."""
    return MovedTrial(
        trial=pours_label([answer.seen[row].pour], names),
        against=pours_label([answer.seen[against].pour], names),
        chances=(),
        nothing=1.0,
        went_wrong=0.0,
        odd="",
        before=answer.seen[against].value,
        after=answer.seen[row].value,
        changed=tuple(_changed(answer, row, against)),
    )


def _why_not_seen(answer: Answer, trial: Trial) -> str:
    why = next((item.why for item in answer.left_out if item.trial == trial.id), None)
    if why is not None:
        return f"{trial.id} says nothing of {answer.label}: {why}"
    return f"{trial.id} is not among the trials that were weighed here"


def _changed(answer: Answer, row: int, against: int) -> Iterator[ChangedFactor]:
    for number, factor in enumerate(answer.table.factors):
        before, after = answer.table.values[against][number], answer.table.values[row][number]
        if before is None or after is None or abs(after - before) <= TENTH * factor.step * (1 + 1e-9):
            continue
        yield ChangedFactor(factor.name, before, after, factor.unit)


def _contrast(answer: Answer, before: int, after: int) -> Contrast | None:
    first, second = answer.seen[before].value, answer.seen[after].value
    return find_contrast(answer.outcome, answer.label, first, second, answer.noise)


def _would_move_it_back(answer: Answer, names: tuple[str, ...], row: int, against: int, moved: float) -> bool:
    """Whether what is known of a candidate's effect points away from what was seen, so that it cannot be the reason.

    moved: by how much the outcome of the row lies above the other's.
    """
    effects = next((cause.effects for cause in answer.causes if cause.groups == (names,)), ())
    if moved == 0 or not effects or not effects[0].direction:
        return False
    column = answer.table.column(names[0])
    before, after = column[against], column[row]
    if before is None or after is None or before == after:
        return False
    rises = (after > before) == (effects[0].direction == "up")
    return rises != (moved > 0)


def _parent(answer: Answer, row: int, called: Mapping[str, str]) -> int | None:
    """The pour that one is set against, as `find_moved` tells; None where there is none."""
    seen = answer.seen
    own, child = seen[row].pour, seen[row].pour.trial

    def earlier(is_one: Callable[[Pour], bool]) -> list[int]:
        moments = [(item.pour.trial.made, item.pour.trial.id) for item in seen]
        return [k for k, item in enumerate(seen) if moments[k] < moments[row] and is_one(item.pour)]

    repeats = earlier(lambda pour: pour.trial.version == child.version and pour.portion == own.portion)
    if repeats and _differs(answer, repeats[-1], row):
        return repeats[-1]
    unscented = [k for k, item in enumerate(seen) if item.pour.trial.id == child.id and scent_percent(item.pour) == 0]
    controls = [k for k in unscented if k != row]
    if scent_percent(own) > 0 and controls:
        return controls[0]

    def is_of(trial: Trial, recipe: str) -> bool:
        return called.get(trial.recipe, trial.recipe) == called.get(recipe, recipe)

    came_from = earlier(lambda pour: is_of(pour.trial, child.recipe) and pour.trial.version != child.version)
    base = child.plan.recipe.based_on
    if not came_from and base is not None:
        came_from = earlier(lambda pour: pour.trial.version == base.version)
        came_from = came_from or earlier(lambda pour: is_of(pour.trial, base.recipe))
    if came_from:
        return _latest(seen, came_from)
    return next(iter((*controls, *repeats[-1:])), None)


def _differs(answer: Answer, before: int, after: int) -> bool:
    """Whether two pours differ by more than repeats would; of grades, whether they differ."""
    contrast = _contrast(answer, before, after)
    return contrast is not None and contrast.change != 0 and contrast.would_be_beyond_noise is not False


def _latest(seen: Sequence[Seen], rows: Sequence[int]) -> int:
    """The latest trial among the rows, and of it the portion without scent."""
    return max(
        rows,
        key=lambda row: (seen[row].pour.trial.made, seen[row].pour.trial.id, -scent_percent(seen[row].pour), -row),
    )
