"""The steps of a sheet in working order: what all portions share goes in before the batter is divided, and what one of
them gets alone after it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from formulary.batch.model import Pot, PotLine
from formulary.batch.portion_weights import PortionWeights, weigh_portions
from formulary.batch.scale import Scale
from formulary.batch.sheet_weights import Weighing, shown_parts

DIVIDING = "Divide the batter"
_DIVIDING_AT_TRACE = "At trace, divide the batter"
_STEPS = (("lye water", "In the jug"), ("oils", "In the pot"), ("trace", "At trace"), ("top", "On top"))


@dataclass(frozen=True, slots=True)
class StepLine:
    """One thing to weigh at a step, in grams as the scale shows them.

    part: which part it is of all that is weighed of it at its stage, 1 for all. parts: how what stands here in one is
    given to the portions afterwards, as what is put on top.
    """

    line: PotLine
    grams: float
    part: float = 1.0
    parts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class WorkingStep:
    """What is weighed into one vessel, or at one moment. stage: as in a recipe, empty where the batter is divided.

    portions: what is poured off for each, at that step alone.
    """

    title: str
    stage: str
    lines: tuple[StepLine, ...] = ()
    portions: tuple[PortionWeights, ...] = ()


def find_steps(
    pot: Pot,
    scale: Scale,
    weights: Mapping[Weighing, float],
    batter_g: float,
    *,
    lines: Sequence[PotLine] | None = None,
) -> list[WorkingStep]:
    """The steps of a pot in the order in which they are worked.

    weights: what the sheet says of each weighing. batter_g: what it says of the batter. lines: those that are weighed
    for this batch alone, where it shares vessels with others; a step may have none of them.
    """
    own = pot.lines if lines is None else lines
    used = {line.at for line in pot.lines}
    steps: list[WorkingStep] = []
    for stage, title in _STEPS:
        if stage == "top" and pot.portions:
            has_trace = bool(steps) and steps[-1].stage == "trace"
            title_of_dividing = DIVIDING if has_trace else _DIVIDING_AT_TRACE
            own_pot = Pot(tuple(own), pot.portions)
            steps += find_division(own_pot, scale, weights, batter_g, title=title_of_dividing)
        if stage not in used:
            continue
        found = tuple(_stage_lines(own, stage, weights, scale))
        if stage == "trace" and pot.portions:
            found = tuple(each for each in found if each.line.portion is None)
            if not found:
                continue
        steps.append(WorkingStep(title, stage, found))
    return steps


def find_division(
    pot: Pot, scale: Scale, weights: Mapping[Weighing, float], batter_g: float, *, title: str = DIVIDING
) -> Iterable[WorkingStep]:
    """How the batter is divided, then what goes into each portion alone; what goes on top of them is not told."""
    portions = weigh_portions(pot.portions, pot.lines, weights, batter_g, scale)
    yield WorkingStep(title, "", portions=portions)
    at_trace = tuple(_stage_lines(pot.lines, "trace", weights, scale))
    for portion in pot.portions:
        own = tuple(each for each in at_trace if each.line.portion == portion.name)
        if own:
            yield WorkingStep(f"Into the {portion.name} portion", "trace", own)


def _stage_lines(
    lines: Sequence[PotLine], stage: str, weights: Mapping[Weighing, float], scale: Scale
) -> Iterable[StepLine]:
    """The lines of a stage in working order; at trace each portion's by itself. None is ever left out.

    In the jug the water stands before the alkali: lye goes into water.
    """
    order = {role: number for number, role in enumerate(("water", "addition", "oil", "scent", "alkali"))}
    if stage != "lye water":
        order["addition"], order["oil"] = order["oil"], order["addition"]
    at_stage = sorted((line for line in lines if line.at == stage), key=lambda line: order[line.role])
    shown: set[tuple[str, str]] = set()
    for line in at_stage:
        key = (line.material, line.role)
        if key in shown:
            continue
        shown.add(key)
        parts = [other for other in at_stage if (other.material, other.role) == key]
        shown_g = weights[line.material, line.role, line.at]
        if not any(part.portion for part in parts):
            yield StepLine(line, shown_g)
            continue
        each = list(zip(parts, shown_parts(parts, shown_g, scale), strict=True))
        if stage == "top":
            yield StepLine(line, shown_g, parts=tuple((part.portion or "", grams) for part, grams in each))
            continue
        total_g = sum(part.grams for part in parts)
        for part, grams in each:
            yield StepLine(part, grams, part.grams / total_g if total_g > 0 else 1.0)
