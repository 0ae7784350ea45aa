"""How chances, and groups of factors that they are of, are said."""

from __future__ import annotations

from collections.abc import Sequence

from trials.sentences import say_list


def percent(probability: float) -> str:
    """`86 %`, and never a certainty: `over 99 %`, `under 1 %`."""
    if probability > 0.995:
        return "over 99 %"
    if probability < 0.005:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def group_words(group: Sequence[str]) -> str:
    """`honey`, or `honey with oat milk (always together)`."""
    return group[0] if len(group) == 1 else f"{group[0]} with {say_list(group[1:])} (always together)"
