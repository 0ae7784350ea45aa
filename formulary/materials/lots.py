"""Several lots of one material in one batch, by weight."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, replace
from decimal import Decimal
from typing import Any

from formulary.materials.model import Known, Material, Price, ValueRange
from formulary.quantity import Kind, Quantity

# Means over mass that are not of the values themselves: volumes add, so densities mean by their reciprocals.
_DENSITIES = ("density_g_per_ml", "bulk_density_g_per_ml")


def mix_lots(material: Material, mass_g_by_lot: Mapping[str, float]) -> Material:
    """The material as a mixture of its lots: what their certificates say differently is the mean by weight.

    Parameters
    ----------
    material: the material; every lot must be among its lots.
    mass_g_by_lot: grams of each lot, none negative, not all zero.

    Returns
    -------
    a material whose `lots_used` are all of them. A range's ends are the means of the lots' ends, which is on the wide
    side: certificates of different lots err independently. What cannot be averaged (a limit, a price by volume beside
    one by weight) stays as the least favourable: the lowest limit of a scent; the price of the largest part.

    Raises
    ------
    KeyError: a lot that the material does not have.
    ValueError: no weight at all, or one below nothing.
    """
    if any(grams < 0 for grams in mass_g_by_lot.values()) or sum(mass_g_by_lot.values()) <= 0:
        raise ValueError("the lots of a material need weights above nothing")
    used = {lot: grams for lot, grams in mass_g_by_lot.items() if grams > 0}
    parts = [material.with_lot(lot) for lot in used]
    if len(parts) == 1:
        return parts[0]
    total_g = sum(used.values())
    shares = [grams / total_g for grams in used.values()]
    names = " and ".join(used)
    stated = {name for lot in used for name in material.lots[lot].overrides}
    changes: dict[str, Any] = {
        field.name: _mixed(field.name, [getattr(part, field.name) for part in parts], shares, names)
        for field in fields(material)
        if field.name in stated
    }
    sources = {**material.sources, **{name: Known("maker", f"mean of lots {names} by weight") for name in changes}}
    how = material.how_working_value
    if "saponification_value" in changes:
        how = f"The mean of lots {names} by weight."
    return replace(material, **changes, lots_used=tuple(used), sources=sources, how_working_value=how)


def _mixed(name: str, values: Sequence[Any], shares: Sequence[float], lots: str) -> Any:
    """The mean by weight of one attribute; None where a part of it is not known."""
    if any(value is None for value in values):
        stated = [value for value in values if value is not None]
        return min(stated, key=lambda limit: limit.percent_of_product) if name == "limit" and stated else None
    if name == "limit":
        return min(values, key=lambda limit: limit.percent_of_product)
    if isinstance(values[0], ValueRange):
        known = Known("maker", f"mean of lots {lots} by weight")
        low, high, working = (
            _mean((getattr(value, end) for value in values), shares) for end in ("low", "high", "working")
        )
        return ValueRange(low, high, working, known)
    if name in _DENSITIES:
        return 1.0 / _mean((1.0 / value for value in values), shares)
    if isinstance(values[0], float):
        return _mean(values, shares)
    if isinstance(values[0], Price) and len({price.per.kind for price in values}) == 1:
        return _mean_price(values, shares)
    if isinstance(values[0], tuple):
        return tuple(dict.fromkeys(item for value in values for item in value))
    if isinstance(values[0], Mapping):
        keys = dict.fromkeys(key for value in values for key in value)
        return {key: _mean((value.get(key, 0.0) for value in values), shares) for key in keys}
    return values[max(range(len(shares)), key=lambda index: shares[index])]


def _mean_price(prices: Sequence[Price], shares: Sequence[float]) -> Price:
    """The mean by weight, for a kilogram or a litre; of prices by volume as if the lots were of one density."""
    unit, per = ("g", "kg") if prices[0].per.kind is Kind.MASS else ("ml", "l")
    each = [price.amount * 1000 / price.per.to(unit) for price in prices]
    mean = sum((price * Decimal(repr(share)) for price, share in zip(each, shares, strict=True)), Decimal(0))
    return Price(mean.quantize(Decimal("0.000001")), Quantity(Decimal(1), per))


def _mean(values: Iterable[float], shares: Sequence[float]) -> float:
    return sum(value * share for value, share in zip(values, shares, strict=True))
