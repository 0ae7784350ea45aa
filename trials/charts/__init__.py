"""Charts of trials. Importing this loads no drawing library; the functions that draw do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.charts.effects_data import EffectsData, find_effects
from trials.charts.story_data import StoryData, find_story

if TYPE_CHECKING:
    from trials.charts.figure import Chart
    from trials.explanation import Explanation

__all__ = ["EffectsData", "StoryData", "draw_effects", "draw_story", "find_effects", "find_story"]


def draw_story(story: StoryData, *, width_mm: float = 160.0) -> Chart:
    """A recipe's versions in the order in which they were poured, with the outcome of every pour above.

    width_mm: 80 or more. The figure has `savefig` for SVG, PNG and PDF; the same story gives the same file.
    """
    from trials.charts.story import draw

    return draw(story, width_mm=width_mm)


def draw_effects(effects: EffectsData | Explanation, *, width_mm: float = 160.0) -> Chart:
    """The odds of every candidate cause and what one step of it does, with its interval.

    width_mm: 80 or more. What always went together is drawn as one.
    """
    from trials.charts.effects import draw

    data = effects if isinstance(effects, EffectsData) else find_effects(effects)
    return draw(data, width_mm=width_mm)
