"""How chances, and groups of factors that they are of, are said."""

from __future__ import annotations

from collections.abc import Sequence

from trials.answer.answer import ENOUGH, Answer, LikelyCause, Partner
from trials.pours.pour_book import short_names
from trials.pours.sentences import say_list


def percent(probability: float) -> str:
    """`86 %`, and never a certainty: `over 99 %`, `under 1 %`; nor what is not enough as if it were."""
    if round(probability, 2) == ENOUGH > probability:
        return f"{100 * ENOUGH - 1:.0f} %"
    if probability > 0.995:
        return "over 99 %"
    if probability < 0.005:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def group_words(group: Sequence[str]) -> str:
    """`honey`, or `honey with oat milk (always together)`."""
    return group[0] if len(group) == 1 else f"{group[0]} with {say_list(group[1:])} (always together)"


def rests_on_words(answer: Answer, cause: LikelyCause | Partner) -> str:
    """Why a likely cause is not called so, and what would tell: `that rests on k7wq alone: pour ...`."""
    names = short_names([trial.id for trial in answer.trials])
    pours = say_list([names[trial] for trial in cause.rests_on])
    if len(cause.rests_on) == 1:
        return f"that rests on {pours} alone: pour another like it on another day"
    return f"that rests on one sitting alone ({pours}): pour one like them on another day"
