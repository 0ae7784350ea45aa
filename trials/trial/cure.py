"""The cure of a loaf: how long it is, and when it begins and ends. One rule, for planning a market and for a sale."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal

from formulary.quantity import Kind, NotAQuantity, parse_quantity
from formulary.recipes.model import Recipe
from formulary.settings import Settings
from trials.trial.model import Trial
from trials.trial.rebatch import find_last_rebatch

# Common practice, no source: a day in the mould and a day to dry after the cut; the cure counts from then on.
DRYING_DAYS = 2


def cure_days(recipe: Recipe, settings: Settings) -> Decimal:
    """How long a recipe cures, in days: as its process says, else as the settings say."""
    text = recipe.process.get("cure")
    if text is not None:
        try:
            return parse_quantity(text, Kind.DURATION).to("d")
        except NotAQuantity:  # the recipe's reader refuses it; an older frozen text may hold it
            pass
    return settings.cure_days


def find_cure_begin(trial: Trial) -> date | None:
    """The day from which on a trial's bars cure: cut and dry, after pouring or after the last rebatch.

    None where it is not recorded when it was rebatched.
    """
    rebatch = find_last_rebatch(trial)
    worked_days = Decimal(0) if rebatch is None else rebatch.ended_days
    return None if worked_days is None else trial.made + timedelta(days=int(worked_days) + DRYING_DAYS)


def end_of_cure(begin: date, days: Decimal) -> date:
    """The first day on which a cure that began on a day is as long as it has to be."""
    return begin + timedelta(days=int(days.to_integral_value(ROUND_CEILING)))
