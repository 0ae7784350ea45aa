"""Charts of trials. Importing this loads no drawing library; the functions that draw do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.charts.cure import Cure, find_cure
from trials.charts.cure_data import CureData
from trials.charts.effects import Effects, find_effects
from trials.charts.effects_data import EffectsData
from trials.charts.story import Story, find_story
from trials.charts.story_data import StoryData
from trials.charts.trace import Trace, find_trace
from trials.charts.trace_data import TraceData

if TYPE_CHECKING:
    from trials.answer.answer import Answer
    from trials.charts.figure import Chart

__all__ = [
    "Cure",
    "CureData",
    "Effects",
    "EffectsData",
    "Story",
    "StoryData",
    "Trace",
    "TraceData",
    "draw_cure",
    "draw_effects",
    "draw_story",
    "draw_trace",
    "find_cure",
    "find_effects",
    "find_story",
    "find_trace",
]


def draw_story(story: StoryData, *, width_mm: float = 160.0) -> Chart:
    """A recipe's versions in the order in which they were poured, with the outcome of every pour above.

    width_mm: 80 or more. The figure has `savefig` for SVG, PNG and PDF; the same story gives the same file.
    """
    from trials.charts.story_drawing import draw

    return draw(story, width_mm=width_mm)


def draw_effects(effects: EffectsData | Answer, *, width_mm: float = 160.0) -> Chart:
    """The chance of every candidate cause and what one step of it does, with its 90 % interval.

    width_mm: 80 or more. What always went together is drawn as one.
    """
    from trials.charts.effects_drawing import draw

    data = effects if isinstance(effects, EffectsData) else find_effects(effects)
    return draw(data, width_mm=width_mm)


def draw_cure(cure: CureData, *, width_mm: float = 160.0) -> Chart:
    """Mass loss and hardness against days, a line for every trial and portion.

    width_mm: 80 or more; from 130 on the two stand side by side.
    """
    from trials.charts.cure_drawing import draw

    return draw(cure, width_mm=width_mm)


def draw_trace(trace: TraceData, *, width_mm: float = 160.0) -> Chart:
    """How every portion thickened along minutes, one row each, open where it was poured before it thickened.

    width_mm: 80 or more.
    """
    from trials.charts.trace_drawing import draw

    return draw(trace, width_mm=width_mm)
