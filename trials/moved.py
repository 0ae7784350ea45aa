"""Which of the changes against its parent moved one trial."""

from __future__ import annotations

from collections.abc import Sequence

from trials.answer import Answer, MovedTrial
from trials.model import Trial
from trials.pours import pours_label, scent_percent, short_names
from trials.seen import Seen

_WORTH_NAMING = 0.02


def find_moved(answer: Answer, trial: Trial) -> MovedTrial | None:
    """Which change moved a trial on the outcome that was explained; None when it or its parent says nothing of it.

    Its parent is the latest earlier pour of the version that it came from: of the version before it in its own
    recipe, else of the version that it was branched from; failing these the unscented portion of the trial itself.
    """
    if answer.weighed is None:
        return None
    own = [row for row, item in enumerate(answer.seen) if item.pour.trial.id == trial.id]
    if not own:
        return None
    row = max(own, key=lambda row: (scent_percent(answer.seen[row].pour), -row))
    against = _parent(answer.seen, row)
    if against is None:
        return None
    reason = answer.weighed.main_reason(row, against)
    names = short_names([item.pour.trial.id for item in answer.seen])
    chances = [
        (answer.weighed.candidates[candidate].names, chance)
        for candidate, chance in reason.chances
        if chance >= _WORTH_NAMING
    ]
    return MovedTrial(
        trial=pours_label([answer.seen[row].pour], names),
        against=pours_label([answer.seen[against].pour], names),
        chances=tuple(chances),
        nothing=reason.nothing,
        before=answer.seen[against].value,
        after=answer.seen[row].value,
    )


def _parent(seen: Sequence[Seen], row: int) -> int | None:
    child = seen[row].pour.trial
    earlier = [
        number
        for number, item in enumerate(seen)
        if (item.pour.trial.made, item.pour.trial.id) < (child.made, child.id) and item.pour.trial.id != child.id
    ]
    before = [
        number
        for number in earlier
        if seen[number].pour.trial.recipe == child.recipe and seen[number].pour.trial.version != child.version
    ]
    if before:
        return _latest(seen, before)
    base = child.plan.recipe.based_on
    if base is not None:
        same = [number for number in earlier if seen[number].pour.trial.version == base.version]
        family = [number for number in earlier if seen[number].pour.trial.recipe == base.recipe]
        if same or family:
            return _latest(seen, same or family)
    siblings = [
        number
        for number, item in enumerate(seen)
        if item.pour.trial.id == child.id and number != row and scent_percent(item.pour) == 0
    ]
    return siblings[0] if siblings else None


def _latest(seen: Sequence[Seen], rows: Sequence[int]) -> int:
    """The latest trial among the rows, and of it the portion without scent."""
    return max(
        rows,
        key=lambda row: (seen[row].pour.trial.made, seen[row].pour.trial.id, -scent_percent(seen[row].pour), -row),
    )
