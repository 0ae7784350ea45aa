"""A rescue is followed to the letter, and what is in the pot then is balanced by moles, without the calculation.

The balance is that of `test_balance_with_everything`, whose docstring names its sources.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace

import pytest

from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.rescue import Rescue, work_out_rescue
from formulary.batch.weigh_out import work_out_batch
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings
from tests.batch.test_balance_with_everything import REGISTER, balance, draw_recipe


def follow(batch: Batch, weighed_g: Mapping[str, float], found: Rescue) -> Batch:
    """The batch with what is in its pot once a rescue was followed, each material's parts by stage as planned."""
    whole: dict[tuple[str, str], float] = {}
    for line in found.remaining:
        if line.material in weighed_g:
            assert line.weighed_grams <= weighed_g[line.material] + 1e-6
        assert line.remaining_grams >= 0
        whole[line.material, line.role] = line.weighed_grams + line.remaining_grams
    for name, grams in weighed_g.items():
        there = sum(line.weighed_grams for line in found.remaining if line.material == name)
        assert there == pytest.approx(grams)
    planned: dict[tuple[str, str], float] = {}
    for line in batch.pot.lines:
        key = (line.material, line.role)
        planned[key] = planned.get(key, 0.0) + line.grams
    lines = [
        PotLine(line.material, line.role, line.at, line.grams / planned[key] * whole[key] if planned[key] else 0.0)
        for line in batch.pot.lines
        for key in ((line.material, line.role),)
    ]
    return replace(batch, pot=Pot(tuple(lines)))


def slip(batch: Batch, random_: random.Random) -> dict[str, float]:
    """What is in the vessels after one to three things were weighed wrong."""
    planned: dict[str, float] = {}
    for line in batch.pot.lines:
        planned[line.material] = planned.get(line.material, 0.0) + line.grams
    wrong = random_.sample(sorted(planned), min(len(planned), random_.randint(1, 3)))
    return {name: max(planned[name], 0.0) * random_.choice([0.5, 0.97, 1.0, 1.02, 1.3, 2.5]) for name in wrong}


def check_rescues(count: int, seed: int, *, lye_is_in: bool) -> None:
    random_ = random.Random(seed)
    ways = set()
    for _ in range(count):
        text = draw_recipe(random_)
        recipe, _ = parse_recipe(text, "drawn", materials=REGISTER)
        assert recipe is not None
        batch = work_out_batch(recipe, REGISTER, oil_mass_g=float(random_.randint(200, 3_000)))
        weighed_g = slip(batch, random_)
        found = work_out_rescue(batch, weighed_g, REGISTER, Settings(), lye_is_in=lye_is_in)
        ways.add(found.way)
        followed = balance(follow(batch, weighed_g, found), {})
        assert followed == pytest.approx(found.superfat_percent, abs=0.02), (text, weighed_g)
        # a step of the scale, or half a point of the superfat, is not over
        nominal = batch.superfat.nominal
        assert followed >= nominal - (0.55 if nominal >= 1 else 0.01), (text, weighed_g)
        if lye_is_in:
            to_add = {line.role for line in found.remaining if line.remaining_grams}
            assert not to_add & {"alkali", "water"}
    assert ways == ({"more-oil", "as-it-is"} if lye_is_in else {"new-alkali", "more-oil", "as-it-is"})


@pytest.mark.parametrize("lye_is_in", [False, True])
def test_a_rescue_that_is_followed_never_leaves_less_superfat_than_was_stated(*, lye_is_in: bool) -> None:
    check_rescues(250, 20261126, lye_is_in=lye_is_in)


@pytest.mark.slow
@pytest.mark.parametrize("lye_is_in", [False, True])
def test_four_thousand_rescues_that_are_followed_balance(*, lye_is_in: bool) -> None:
    check_rescues(2_000, 99, lye_is_in=lye_is_in)
