"""What loaves of one sitting share, and why not; by the grams of each loaf alone, with materials changed for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.batch.model import Batch
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_model import Sitting
from formulary.batch.sitting_text import render_sitting
from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.materials.model import Material
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.finding_cases import addition
from tests.batch.recipes import PLAIN, read_recipe, weigh_out

REGISTER = read_builtin_register()
HARD = PLAIN.replace("olive-oil: 60", "olive-oil: 40\n  shea-butter: 20")


def sitting_of(
    *texts: str, sizes: tuple[float, ...] = (1000.0, 500.0), register: Mapping[str, Material] = REGISTER
) -> Sitting:
    batches = [
        work_out_batch(read_recipe(text), register, oil_mass_g=size) for text, size in zip(texts, sizes, strict=True)
    ]
    return plan_sitting(batches, register)


def strength(percent: float) -> str:
    return PLAIN.replace("lye_concentration: 33", f"lye_concentration: {percent}")


@pytest.mark.parametrize(
    ("percent", "is_one"),
    [(33.03, True), (33.07, False), (32.97, True), (32.93, False), (33.0498, True), (33.0503, False)],
)
def test_lyes_are_one_when_no_scale_could_tell_them_apart(percent: float, *, is_one: bool) -> None:
    sitting = sitting_of(PLAIN, strength(percent))
    assert (sitting.jug is not None) == is_one
    assert sitting.jug_reason == (None if is_one else "the loaves' lyes differ in strength")


def test_each_loaf_gets_the_alkali_that_it_is_due_of_a_jug_of_nearly_one_strength() -> None:
    sitting = sitting_of(PLAIN, strength(33.04))
    assert sitting.jug is not None
    grams = dict(sitting.jug.lines)
    for batch, gets in zip(sitting.batches, sitting.jug.each, strict=True):
        assert gets * grams["sodium-hydroxide"] / sitting.jug.total_grams == pytest.approx(batch.lye[0].grams)
    assert sum(sitting.jug.each) == pytest.approx(sum(grams.values()))
    assert not any(line.role in ("alkali", "water") for own in sitting.own for line in own)


def test_json_says_what_stands_in_each_vessel_and_of_none_that_there_is_none() -> None:
    tree = sitting_of(HARD, HARD).to_json()
    for vessel in ("pot", "jug"):
        lines = [line["grams"] for line in tree[vessel]["lines"]]  # type: ignore[index]
        assert sum(lines) == pytest.approx(tree[vessel]["total_grams"])  # type: ignore[index]
        assert sum(tree[vessel]["each_grams"]) == pytest.approx(sum(lines))  # type: ignore[index]
    assert {line["material"] for line in tree["pot"]["lines"]} == {"coconut-oil", "shea-butter"}  # type: ignore[index]
    apart = sitting_of(PLAIN.replace("coconut-oil: 25\n", "shea-butter: 25\n"), strength(40)).to_json()
    assert (apart["pot"], apart["jug"]) == (None, None)
    assert apart["jug_reason"] == "the loaves' lyes differ in strength"


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        (PLAIN + addition("salt", "1 % of oils", "lye water"), "a loaf has more than water in its jug"),
        (PLAIN.replace("sodium-hydroxide", "potassium-hydroxide"), "the loaves do not use the same alkali"),
    ],
)
def test_why_each_loaf_has_a_jug_of_its_own_is_said(other: str, reason: str) -> None:
    for texts in ((PLAIN, other), (other, PLAIN)):
        sitting = sitting_of(*texts)
        assert (sitting.jug, sitting.jug_reason) == (None, reason)
        assert all({line.role for line in own} >= {"alkali", "water"} for own in sitting.own)
    # what goes in later is no matter of the jug
    assert sitting_of(PLAIN, PLAIN + addition("salt", "1 % of oils", "trace")).jug is not None


@pytest.mark.parametrize(("melting_c", "is_melted"), [(20.0, True), (19.9, False), (None, False), (35.0, True)])
def test_what_is_solid_in_a_kitchen_is_melted_together(melting_c: float | None, *, is_melted: bool) -> None:
    olive = replace(REGISTER["olive-oil"], melting_point_c=melting_c)
    sitting = sitting_of(PLAIN, HARD, register={**REGISTER, "olive-oil": olive})
    assert sitting.pot is not None
    assert ("olive-oil" in dict(sitting.pot.lines)) == is_melted
    assert "coconut-oil" in dict(sitting.pot.lines)


def test_the_pot_is_as_large_as_the_loaf_that_has_least_of_an_oil_lets_it_be() -> None:
    """200 g of shea and 250 g of coconut in one loaf, 50 g and 125 g in the other: 250 to 375, so 2 parts of 5."""
    little = HARD.replace("olive-oil: 40\n  shea-butter: 20", "olive-oil: 50\n  shea-butter: 10")
    sitting = sitting_of(HARD, little)
    assert sitting.pot is not None
    of_first, of_second = sitting.pot.each
    assert of_first == pytest.approx(min(200 / 0.4, 250 / 0.6))
    assert of_second == pytest.approx(min(50 / 0.4, 125 / 0.6))
    assert dict(sitting.pot.lines)["shea-butter"] == pytest.approx(0.4 * (of_first + of_second))
    own = [{line.material: line.grams for line in lines} for lines in sitting.own]
    assert own[0]["shea-butter"] == pytest.approx(200 - 0.4 * of_first)
    assert "coconut-oil" not in own[0]  # all of it is in the pot
    assert own[1]["coconut-oil"] == pytest.approx(125 - 0.6 * of_second)
    assert "shea-butter" not in own[1]


def test_an_oil_that_is_held_back_or_that_one_loaf_lacks_is_not_in_the_pot() -> None:
    held = HARD.replace("shea-butter: 20", "shea-butter: {percent: 20, at: trace}")
    sitting = sitting_of(HARD, held)
    assert sitting.pot is not None
    assert dict(sitting.pot.lines).keys() == {"coconut-oil"}
    lard = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "lard: 100")
    assert sitting_of(PLAIN, lard).pot is None


def test_what_is_a_loafs_own_stays_with_it_however_little_it_is() -> None:
    """Coconut oil to wet a mica with is no part of the oils in the pot, and half a gram of kaolin is weighed, too."""
    coconut, kaolin = (
        f"  - {{material: {name}, rate: {rate} % of oils, at: oils}}\n"
        for name, rate in (("coconut-oil", 1), ("kaolin", 0.05))
    )
    lines = coconut + kaolin
    sitting = sitting_of(PLAIN, f"{PLAIN}additions:\n{lines}")
    own = {(line.material, line.role): line.grams for line in sitting.own[1]}
    assert own["coconut-oil", "addition"] == pytest.approx(5)
    assert own["kaolin", "addition"] == pytest.approx(0.25)
    assert ("coconut-oil", "oil") not in own


def test_a_loaf_of_a_few_grams_shares_as_any_other() -> None:
    sitting = sitting_of(PLAIN, PLAIN, sizes=(3.0, 1000.0))
    assert sitting.pot is not None
    assert dict(sitting.pot.lines)["coconut-oil"] == pytest.approx(250.75)


def test_what_no_scale_shows_of_an_oil_stays_with_its_loaf() -> None:
    trace = PLAIN.replace(
        "olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "olive-oil: 99.99\n  coconut-oil: 0.01"
    )
    sitting = sitting_of(trace, trace, sizes=(20.0, 20.0))
    assert sitting.pot is None
    assert render_sitting(sitting).count("coconut oil") == 2
    both = sitting_of(
        *[trace.replace("olive-oil: 99.99", "olive-oil: 79.99\n  shea-butter: 20")] * 2, sizes=(20.0, 30.0)
    )
    assert both.pot is not None
    assert both.pot.lines == (("shea-butter", pytest.approx(10.0)),)


def test_shared_vessels_that_are_too_small_are_told_and_only_those_that_are_shared() -> None:
    small = Settings(vessels_ml={"pot": Decimal(100), "jug": Decimal(100)})
    large = Settings(vessels_ml={"pot": Decimal(9000), "jug": Decimal(9000)})

    def told(other: str, settings: Settings) -> set[str]:
        batches = [weigh_out(text) for text in (PLAIN, other)]
        return {finding.code for finding in plan_sitting(batches, REGISTER, settings).findings}

    assert told(HARD, small) == {"pot-small", "jug-small"}
    assert told(HARD, large) == set()
    assert told(strength(36), small) == {"pot-small"}
    lard = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "lard: 100")
    assert told(lard, small) == {"jug-small"}


def test_a_sitting_is_of_two_loaves_or_more_and_none_that_is_stopped() -> None:
    fine, stopped = weigh_out(PLAIN), weigh_out(PLAIN.replace("superfat: 5", "superfat: -3"))
    batches: list[list[Batch]] = [[fine], [fine, stopped]]
    for loaves, code in zip(batches, ("sitting-of-one", "sitting-stopped"), strict=True):
        with pytest.raises(InputError) as raised:
            plan_sitting(loaves, REGISTER)
        assert raised.value.findings[0].code == code
