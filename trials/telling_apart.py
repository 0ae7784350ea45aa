"""What to pour to tell more: the first of what `next` proposes, where there is anything left to tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.read_only import ReadOnly
from trials.explanation import Explanation

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.settings import Settings
    from trials.next_trial.starts import Saves
    from trials.trial.model import Trial

_OPEN = 0.1  # a candidate from here on that is not named, or twins, are worth a pour


def with_next_pour(
    answer: Explanation,
    register: Mapping[str, Material],
    settings: Settings,
    *,
    names: Mapping[str, str] = ReadOnly({}),
    saves: Saves = lambda _: None,
    poured: Sequence[Trial] = (),
) -> Explanation:
    """The answer with the pour that `find_next_trials` proposes first.

    As it is where all is told, or what did it is known and no pour would tell much more.
    """
    from trials.next_trial.next_trial import find_next_trials
    from trials.next_trial.text import little_left

    if not is_open(answer):
        return answer
    proposed = find_next_trials(answer, register, settings, most=1, names=names, saves=saves, poured=poured)
    if not proposed or little_left(proposed, answer) is not None:
        return answer
    first = proposed[0]
    return replace(
        answer, to_tell_apart=first.words if first.too_quick is None else f"{first.words}; {first.too_quick}"
    )


def is_open(answer: Explanation) -> bool:
    """Whether something is left to tell: no cause is named, one cannot be told from another, or more may act."""
    if answer.in_numbers is None:
        return False
    candidates = [cause for cause in answer.causes if cause.probability >= _OPEN]
    return not answer.enough_evidence or any(not cause.is_likely or not cause.is_told_apart for cause in candidates)
