"""Weights that somebody has as what a recipe states: percentages that total exactly 100, superfat, strength of lye."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from formulary.batch.figures import assay
from formulary.chemistry.alkali import Alkali, alkali_mass_g, hydroxide_mol_for_fat, pure_g
from formulary.errors import InputError
from formulary.given import Figure
from formulary.materials.model import Material
from formulary.quantity import NotAQuantity, format_number, parse_mass_g, parse_percent
from formulary.recipes.compose import USUAL_SUPERFAT_PERCENT

_ALKALI = "sodium-hydroxide"
_SODIUM = Alkali.SODIUM_HYDROXIDE
MOST_LEFT_PERCENT = 50.0  # so much of the lye more or less is no superfat of a recipe


def percentages_from_weights(weights_g: Mapping[str, Decimal], *, places: int = 2) -> dict[str, Decimal]:
    """Percent of each weight, rounded to `places` so that they total exactly 100.

    weights_g: material -> grams, each above 0. Each percentage is off by less than one step of its last place.
    Source: the largest-remainder (Hare-Niemeyer) method of apportionment.
    Raises InputError when there is no weight, or one is not above 0.

    >>> percentages_from_weights({"a": Decimal(1), "b": Decimal(1), "c": Decimal(1)})
    {'a': Decimal('33.34'), 'b': Decimal('33.33'), 'c': Decimal('33.33')}
    """
    if not weights_g or any(not weight.is_finite() or weight <= 0 for weight in weights_g.values()):
        raise InputError.of("bad-weights", "every oil needs a weight above 0 g", "leave out what was not used")
    step = Decimal(1).scaleb(-places)
    shares = {name: Fraction(weight) for name, weight in weights_g.items()}
    total = sum(shares.values())
    exact = {name: share * 100 * 10**places / total for name, share in shares.items()}
    steps = {name: int(share) for name, share in exact.items()}
    missing = 100 * 10**places - sum(steps.values())
    by_remainder = sorted(exact, key=lambda name: exact[name] - steps[name], reverse=True)
    for name in by_remainder[:missing]:
        steps[name] += 1
    return {name: (Decimal(count) * step).quantize(step) for name, count in steps.items()}


def figures_from_weights(
    oils_g: Mapping[str, Decimal],
    lye: Figure | None,
    water: Figure | None,
    stated: tuple[Figure | None, Figure | None],
    materials: Mapping[str, Material],
) -> tuple[Figure, Figure | None]:
    """Superfat and lye concentration, in percent as texts, by the sodium hydroxide and the water that were weighed.

    oils_g: oil -> grams. lye, water: "4.4 oz"; None where it was not weighed, and the figure counts. stated: both
    figures, as far as they are given. The working values of the materials count, as they do for a batch.
    Raises InputError where a figure is given beside its weight, a weight is none, or an oil's value is not known.
    """
    superfat, concentration = stated
    for weight, figure, named in ((lye, superfat, "superfat"), (water, concentration, "lye concentration")):
        if weight is not None and figure is not None:
            what = f"the {named} is given, and the weight that decides it"
            raise InputError.of("figure-twice", what, "give one of the two")
    needed_g = alkali_mass_g(sum(_mol_for(name, grams, materials) for name, grams in oils_g.items()), _SODIUM)
    if lye is not None:
        alkali_g = pure_g(_weight_g(lye), assay(materials[_ALKALI])[1])
        percent = 100.0 * (1.0 - alkali_g / needed_g)
        if not -MOST_LEFT_PERCENT <= percent <= MOST_LEFT_PERCENT:
            what = f"{lye} of sodium hydroxide is {100.0 - percent:.0f} % of what these oils take up"
            raise InputError.of("bad-weighed", what, "look at the weights and their units again")
        superfat = format_number(percent, 1)
    else:
        superfat = superfat if superfat is not None else USUAL_SUPERFAT_PERCENT
        alkali_g = needed_g * (1.0 - float(_percent(superfat)) / 100.0)
    if water is not None:
        concentration = format_number(100.0 * alkali_g / (alkali_g + _weight_g(water)), 1)
    return superfat, concentration


def _mol_for(name: str, grams: Decimal, materials: Mapping[str, Material]) -> float:
    value = materials[name].saponification_value
    if value is None:
        what = f"the saponification value of {name} is not known, so neither is what the lye left of it"
        raise InputError.of("saponification-unknown", what, f"give materials/{name}.yaml one from its certificate")
    return hydroxide_mol_for_fat(float(grams), value.working)


def _weight_g(text: Figure) -> float:
    try:
        grams = float(parse_mass_g(text))
    except NotAQuantity as problem:
        raise InputError.of("bad-weighed", problem.what, problem.do) from None
    if grams <= 0:
        raise InputError.of("bad-weighed", f"{text!r} is no weight", "write what was weighed, above 0 g")
    return grams


def _percent(text: Figure) -> Decimal:
    try:
        return parse_percent(text)
    except NotAQuantity as problem:
        raise InputError.of("bad-value", problem.what, problem.do) from None
