"""What the materials of a trial cost, by what was really weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from formulary.batch.cost import Cost, cost_of_pot
from formulary.batch.model import Pot, PotLine
from formulary.materials.model import Material
from trials.as_made.entry_lines import WATER
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import pot_of_bars
from trials.as_made.unknown_weights import is_unknown_line
from trials.trial.model import AsMade, TakenIn, Trial


def cost_of_trial(trial: Trial, register: Mapping[str, Material], *, currency: str = "") -> Cost:
    """What the grams in a trial's bars cost, at the prices that were frozen when it was started, those of its lots.

    register: today's; what had no price then costs what it costs today. Of a weight that is known only about it costs
    from the least to the most; of what nobody weighed it is told that it is not counted.
    """
    prices = with_prices(materials_of(trial), register)
    least, middle, most = (
        cost_of_pot(_weighed(trial, pot_of_bars(_at_end(trial, end))), prices, currency=currency) for end in (-1, 0, 1)
    )
    by_end = [dict(found.lines) for found in (least, most)]
    ends = {name: [lines.get(name, 0.0) for lines in by_end] for name, _ in middle.lines}
    unknown = dict.fromkeys(line.material for line in pot_of_bars(trial).lines if _is_unknown(trial, line))
    return replace(
        middle,
        # Of so much mixed lye there is the less of one thing in the bars the more there was of another in the jug.
        between=tuple((name, min(costs), max(costs)) for name, costs in ends.items() if min(costs) < max(costs)),
        unweighed=tuple(name for name in unknown if name != WATER or prices[name].price is not None),
    )


def _at_end(trial: Trial, end: int) -> Trial:
    """The trial with what is known only about taken at its least (-1), in its middle, or at its most (1)."""
    entries = (replace(entry, weighed_g=_end_g(entry, end)) for entry in trial.as_made)
    steps = (
        replace(step, taken_in=tuple(each._replace(weighed_g=_end_g(each, end)) for each in step.taken_in))
        for step in trial.after_pour
    )
    return replace(trial, as_made=tuple(entries), after_pour=tuple(steps))


def _end_g(entry: AsMade | TakenIn, end: int) -> Decimal | None:
    return None if entry.weighed_g is None else entry.weighed_g + end * entry.give_or_take_g


def _weighed(trial: Trial, pot: Pot) -> Pot:
    """The pot without what nobody weighed."""
    return replace(pot, lines=tuple(line for line in pot.lines if not _is_unknown(trial, line)))


def _is_unknown(trial: Trial, line: PotLine) -> bool:
    return is_unknown_line(trial, line.material, line.at, as_bars=True)


def with_prices(materials: Mapping[str, Material], register: Mapping[str, Material]) -> dict[str, Material]:
    """Materials with their frozen values; today's one in place of a material that had no price then."""
    return {
        name: register[name] if known.price is None and name in register else known for name, known in materials.items()
    }
