"""What the materials of a trial cost, by what was really weighed."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.batch.cost import Cost, cost_of_pot
from formulary.materials.model import Material
from trials.as_made.effective import materials_of, pot_of_bars
from trials.as_made.unknown_weights import demand_known_weights
from trials.trial.model import Trial


def cost_of_trial(trial: Trial, register: Mapping[str, Material], *, currency: str = "") -> Cost:
    """What the grams in a trial's bars cost, at the prices that were frozen when it was started, those of its lots.

    register: today's; what had no price then costs what it costs today. Raises InputError where nobody knows how much
    of something went in.
    """
    demand_known_weights([trial], as_bars=True)
    return cost_of_pot(pot_of_bars(trial), with_prices(materials_of(trial), register), currency=currency)


def with_prices(materials: Mapping[str, Material], register: Mapping[str, Material]) -> dict[str, Material]:
    """Materials with their frozen values; today's one in place of a material that had no price then."""
    return {
        name: register[name] if known.price is None and name in register else known for name, known in materials.items()
    }
