"""Weights as percentages that total exactly 100, by the largest remainder."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from formulary.errors import InputError


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
