"""When to pour so that bars are ready by a date, and whether it is already too late."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal
from math import ceil
from statistics import median

from formulary.errors import InputError
from formulary.quantity import format_decimal, format_number
from formulary.recipes.model import Recipe
from formulary.settings import Settings
from formulary.shown_as_text import ShownAsText
from formulary.text_table import paragraph
from trials.trial.cure import DRYING_DAYS, cure_days
from trials.trial.model import Trial

LABELLING_DAYS = 2  # to wrap and label (common practice, no source)
_KEPT_BACK = 1  # bars of each loaf


@dataclass(frozen=True, slots=True, repr=False)
class ReadyBy(ShownAsText):
    """The days from pouring to the market, and how much to pour.

    pour: the last day to pour. cut: when the bars are cut and dry enough to stand. cured: the end of the cure.
    on: the market. days_left: until the last day to pour, below 0 when it has passed. earliest: the first day on which
    bars poured today are ready. loaves: moulds to fill, None when it is not known how many bars one gives. oil_mass_g:
    of all loaves, with the bars that are kept; None where nobody says what a bar weighs.
    """

    recipe: str
    on: date
    pour: date
    cut: date
    cured: date
    cure_days: Decimal
    days_left: int
    earliest: date
    bars: int
    loaves: int | None = None
    oil_mass_g: float | None = None

    @property
    def bars_to_pour(self) -> int:
        """With those that are kept to be watched, one of each loaf."""
        return self.bars + _KEPT_BACK * (self.loaves or 0)

    @property
    def is_too_late(self) -> bool:
        """Whether the last day to pour has passed."""
        return self.days_left < 0

    def __str__(self) -> str:
        return render_ready_by(self)

    def to_json(self) -> dict[str, object]:
        return {
            "recipe": self.recipe,
            "on": self.on.isoformat(),
            "pour": self.pour.isoformat(),
            "cut": self.cut.isoformat(),
            "cured": self.cured.isoformat(),
            "cure_days": float(self.cure_days),
            "days_left": self.days_left,
            "is_too_late": self.is_too_late,
            "earliest": self.earliest.isoformat(),
            "bars": self.bars,
            "loaves": self.loaves,
            "oil_mass_grams": self.oil_mass_g,
        }


def plan_ready_by(
    on: date,
    recipe: Recipe,
    settings: Settings,
    today: date,
    *,
    bars: int,
    bars_per_loaf: int | None = None,
) -> ReadyBy:
    """The last day to pour for bars that are to be sold on a date.

    recipe: its own `process: cure` counts, else the settings' days. bars: to be sold. bars_per_loaf: what one mould
    gives, of which one is kept to be watched, and not sold. Raises InputError for less than one of either.
    """
    for count, what in ((bars, "bars"), (bars_per_loaf, "bars of a loaf")):
        if count is not None and count < 1:
            raise InputError.of("bad-value", f"{count} {what} are none", "write 1 or more")
    cure = cure_days(recipe, settings)
    whole_cure = int(cure.to_integral_value(ROUND_CEILING))
    cured = on - timedelta(days=LABELLING_DAYS)
    cut = cured - timedelta(days=whole_cure)
    pour = cut - timedelta(days=DRYING_DAYS)
    sold_per_loaf = None if bars_per_loaf is None else max(bars_per_loaf - _KEPT_BACK, 1)
    return ReadyBy(
        recipe=recipe.slug,
        on=on,
        pour=pour,
        cut=cut,
        cured=cured,
        cure_days=cure,
        days_left=(pour - today).days,
        earliest=today + timedelta(days=DRYING_DAYS + whole_cure + LABELLING_DAYS),
        bars=bars,
        loaves=None if sold_per_loaf is None else ceil(bars / sold_per_loaf),
    )


def usual_bars_per_loaf(trials: Iterable[Trial], recipe: str, names: Mapping[str, str]) -> int | None:
    """How many bars a loaf of a recipe gave, the median of its trials, less those scrapped; None when never counted.

    names: what recipes that were renamed are called today.
    """
    counted = [
        trial.bars.cut - (trial.bars.scrapped or 0)
        for trial in trials
        if names.get(trial.recipe, trial.recipe) == recipe and trial.bars.cut is not None
    ]
    return int(median(counted)) if counted else None


def render_ready_by(ready: ReadyBy, *, width: int = 80) -> str:
    """The answer as a person says it, then the days."""
    per = "" if ready.loaves is None else f", {ready.loaves} loaf" if ready.loaves == 1 else f", {ready.loaves} loaves"
    what = f"{ready.bars} bars of {ready.recipe}{per}"
    if ready.is_too_late:
        late = -ready.days_left
        said = (
            f"Too late by {late} day{'s' if late > 1 else ''}: {what} for {ready.on.isoformat()} had to be poured by"
            f" {ready.pour.isoformat()}. Poured today they are ready on {ready.earliest.isoformat()}."
        )
    else:
        left = "today" if not ready.days_left else f"in {ready.days_left} day{'s' if ready.days_left > 1 else ''}"
        said = f"Pour by {ready.pour.isoformat()} ({left}): {what} for {ready.on.isoformat()}."
    if ready.oil_mass_g is not None:
        kept = "" if ready.bars_to_pour == ready.bars else f" for {ready.bars_to_pour} bars, with those that are kept"
        said += f" That takes about {format_number(ready.oil_mass_g, 0)} g of oils{kept}."
    rows = (
        ("pour", ready.pour),
        ("cut and dry", ready.cut),
        (f"cured for {format_decimal(ready.cure_days.normalize())} days", ready.cured),
        ("labelled", ready.on),
    )
    longest = max(len(label) for label, _ in rows)
    days = (f"  {label.ljust(longest)}   {day.isoformat()}" for label, day in rows)
    return "\n".join([*paragraph(said, width=width), "", *days])
