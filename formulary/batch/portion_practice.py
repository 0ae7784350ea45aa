"""What common practice says of a batch, and of each portion of it that is otherwise: the rate of the whole batch says
little of the bar that gets all of a scent."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace

from formulary.batch.common_practice import Measured, check_common_practice, read_common_practice
from formulary.batch.common_quantities import find_common_quantities, find_conditions
from formulary.batch.figures import portion_at_worst
from formulary.batch.model import Pot
from formulary.finding import Finding, Place, locate_nowhere
from formulary.materials.model import Material

# Sums of floats differ by less.
_SAME = 1e-6


def check_practice(
    pot: Pot,
    materials: Mapping[str, Material],
    *,
    nominal_concentration_percent: float,
    process: Mapping[str, str],
    cure_days: float,
    superfat: float,
    is_for_skin: bool = False,
    off: Collection[str] = (),
    locate: Callable[..., Place] = locate_nowhere,
) -> Iterator[Finding]:
    """What is unusual about a batch or about one of its portions; never a stop.

    What a portion has more or less of than the batter of all is judged by its own oils, at the smallest share that its
    split by eye may give it; the rest is judged once, by the whole. Parameters are those of `find_common_quantities`,
    `find_conditions` and `check_common_practice`.
    """

    def measure(part: Pot) -> dict[str, Measured]:
        return find_common_quantities(
            part,
            materials,
            nominal_concentration_percent=nominal_concentration_percent,
            process=process,
            cure_days=cure_days,
        )

    def judge(part: Pot, quantities: Mapping[str, Measured]) -> Iterator[Finding]:
        conditions = find_conditions(part, materials, superfat=superfat, process=process, is_for_skin=is_for_skin)
        return check_common_practice(quantities, conditions, off=off, locate=locate)

    whole = measure(pot)
    at_worst = {each.name: portion_at_worst(pot, each) for each in pot.portions if each.share > each.by_eye}
    portions = {name: (part, measure(part)) for name, part in at_worst.items()}
    divided = {
        key for _, quantities in portions.values() for key in whole if not _is_same(whole[key], quantities.get(key))
    }
    yield from judge(pot, {key: measured for key, measured in whole.items() if key not in divided})
    shares = {portion.name: portion.share for portion in pot.portions}
    for name, (part, quantities) in portions.items():
        own = {key: quantities[key] for key in quantities if key in divided}
        for finding in judge(part, own):
            if shares[name] == 1.0:  # a portion looked at by itself
                yield finding
                continue
            do = finding.do + _rate_of_all(finding.code, whole, own)
            yield replace(finding, what=f"in the {name} portion, {finding.what}", do=do)


def _is_same(whole: Measured, own: Measured | None) -> bool:
    return own is not None and math.isclose(whole.value, own.value, rel_tol=_SAME, abs_tol=1e-9)


def _rate_of_all(code: str, whole: Mapping[str, Measured], own: Mapping[str, Measured]) -> str:
    """What the bound for a portion's oils comes to as a rate of all the oils, which is how a recipe states it."""
    row = next(row for row in read_common_practice() if row.code == code)
    bound = row.note_above if row.note_above is not None else row.warn_above
    if row.unit != "% of oils" or not bound:
        return ""
    rate = math.floor(100.0 * bound * whole[row.quantity].value / own[row.quantity].value + _SAME) / 100.0
    return f"; as the batter is divided, {bound:g} % of this portion's oils is {rate:g} % of all the oils"
