"""An independent stoichiometric balance, from nothing but the grams in the pot, gives the superfat back.

Molar masses from the standard atomic weights H 1.008, C 12.011, O 15.999, Na 22.990, K 39.098 (CIAAW, abridged); the
saponification value is by definition milligrams of KOH for 1 g of fat (ISO 3657).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.model import Batch
from formulary.batch.weigh_out import work_out_batch
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe

NAOH = 22.990 + 15.999 + 1.008
KOH = 39.098 + 15.999 + 1.008
# Equivalents and molar masses of the acids by their formulas (general chemistry, from memory).
ACIDS = {"citric-acid-anhydrous": (3, 192.123), "citric-acid-monohydrate": (3, 210.138), "tartaric-acid": (2, 150.086)}
OILS = ("olive-oil", "coconut-oil", "sunflower-oil", "rice-bran-oil", "castor-oil", "shea-butter", "palm-oil")


@st.composite
def recipe_texts(draw: st.DrawFn) -> tuple[str, float]:
    """A recipe's text with alkalis, assay-bearing materials, acids, milk and portions; and its oil mass in grams."""
    oils = draw(st.lists(st.sampled_from(OILS), min_size=1, max_size=5, unique=True))
    cuts = sorted(draw(st.lists(st.integers(1, 9_999), min_size=len(oils) - 1, max_size=len(oils) - 1, unique=True)))
    parts = [after - before for before, after in zip([0, *cuts], [*cuts, 10_000], strict=True)]
    superfat = draw(st.integers(0, 200)) / 10
    alkali = draw(
        st.sampled_from(
            [
                "sodium-hydroxide",
                "potassium-hydroxide",
                "{by: mass, sodium-hydroxide: 60, potassium-hydroxide: 40}",
                "{by: moles, sodium-hydroxide: 95, potassium-hydroxide: 5}",
            ]
        )
    )
    lines = ["format: 1", "name: drawn", "oils:"]
    lines += [f"  {name}: {part / 100}" for name, part in zip(oils, parts, strict=True)]
    lines += [f"lye: {{alkali: {alkali}, superfat: {superfat} %}}"]
    lines += [
        draw(
            st.sampled_from(
                ["water: {lye_concentration: 33}", "water: {water_to_lye: 1.9}", "water: {percent_of_oils: 36}"]
            )
        )
    ]
    additions = []
    acid = draw(st.sampled_from([None, *ACIDS]))
    if acid is not None:
        percent = draw(st.integers(1, 30)) / 10
        additions.append(f"  - {{material: {acid}, rate: {percent} % of oils, at: lye water}}")
    if draw(st.booleans()):
        water = draw(st.sampled_from(["replaces", "extra"]))
        rate = draw(st.sampled_from(["8 % of oils", "50 g per kg oils", "4 % of batter"]))
        additions.append(f"  - {{material: oat-milk, rate: {rate}, at: oils, water: {water}}}")
    if additions:
        lines += ["additions:", *additions]
    return "\n".join(lines) + "\n", draw(st.integers(200, 5_000)) * 1.0


def balance_superfat(batch: Batch) -> float:
    """Percent of the saponifiable equivalents in the pot without alkali, from its grams."""
    register = read_builtin_register()
    ester_mol = acid_mol = base_mol = 0.0
    for line in batch.pot.lines:
        material = register[line.material]
        if line.role == "oil":
            assert material.saponification_value is not None
            ester_mol += line.grams * material.saponification_value.working / 1000 / KOH
        elif line.role == "alkali":
            assay = material.assay_percent.working if material.assay_percent else 100.0
            base_mol += line.grams * assay / 100 / (NAOH if line.material.startswith("sodium") else KOH)
        elif line.material in ACIDS:
            equivalents, molar_mass = ACIDS[line.material]
            acid_mol += equivalents * line.grams / molar_mass
        elif material.fat_percent:
            value = material.fat_saponification_value or 195.0
            ester_mol += line.grams * material.fat_percent / 100 * value / 1000 / KOH
    return 100 * (ester_mol + acid_mol - base_mol) / ester_mol


@settings(max_examples=300, deadline=None)
@given(recipe_texts())
def test_the_balance_of_moles_gives_the_effective_superfat_back(drawn: tuple[str, float]) -> None:
    text, oil_mass_g = drawn
    register = read_builtin_register()
    recipe, findings = parse_recipe(text, "drawn", materials=register)
    assert recipe is not None, findings
    batch = work_out_batch(recipe, register, oil_mass_g=oil_mass_g)
    assert balance_superfat(batch) == pytest.approx(batch.superfat.effective, abs=0.01)
    assert batch.superfat.worst_low <= batch.superfat.low <= batch.superfat.effective + 1e-9
    assert batch.superfat.effective - 1e-9 <= batch.superfat.high <= batch.superfat.worst_high + 1e-9


@settings(max_examples=60, deadline=None)
@given(recipe_texts(), st.floats(1.5, 6))
def test_scaling_a_batch_scales_every_weight_within_a_scale_step(drawn: tuple[str, float], factor: float) -> None:
    text, oil_mass_g = drawn
    register = read_builtin_register()
    recipe, _ = parse_recipe(text, "drawn", materials=register)
    assert recipe is not None
    small = work_out_batch(recipe, register, oil_mass_g=oil_mass_g)
    large = work_out_batch(recipe, register, oil_mass_g=oil_mass_g * factor)
    # Each alkali is rounded down by less than a step of 0.1 g, and the water follows it at 67 to 33 at most; a rate of
    # the batter follows by a few hundredths of that. The small batch's rounding is scaled up with it.
    step_g = 0.1 * len(small.lye) * (1 + 67 / 33) * 1.1
    for before, after in zip(small.pot.lines, large.pot.lines, strict=True):
        assert after.grams == pytest.approx(before.grams * factor, abs=step_g * (factor + 1))


@settings(max_examples=60, deadline=None)
@given(recipe_texts(), st.integers(500, 4_000))
def test_a_batch_for_a_batter_mass_fills_to_it_within_a_gram(drawn: tuple[str, float], wanted_g: int) -> None:
    recipe, _ = parse_recipe(drawn[0], "drawn", materials=read_builtin_register())
    assert recipe is not None
    batch = work_out_batch(recipe, read_builtin_register(), batter_mass_g=float(wanted_g))
    assert batch.batter_grams == pytest.approx(wanted_g, abs=1.0)
    assert math.isclose(sum(line.grams for line in batch.pot.lines if line.at != "top"), batch.batter_grams)


@settings(max_examples=60, deadline=None)
@given(recipe_texts())
def test_the_water_in_all_makes_the_stated_lye_concentration(drawn: tuple[str, float]) -> None:
    recipe, _ = parse_recipe(drawn[0], "drawn", materials=read_builtin_register())
    assert recipe is not None
    batch = work_out_batch(recipe, read_builtin_register(), oil_mass_g=drawn[1])
    pure_g = sum(alkali.pure_grams for alkali in batch.lye)
    replacing_g = sum(line.water_grams for line in batch.additions if line.water == "replaces")
    nominal_water_g = batch.water.weigh_grams + replacing_g
    if recipe.water.method == "lye_concentration":
        assert 100 * pure_g / (pure_g + nominal_water_g) == pytest.approx(33)
    elif recipe.water.method == "water_to_lye":
        assert nominal_water_g / pure_g == pytest.approx(1.9)
    else:
        assert nominal_water_g == pytest.approx(0.36 * drawn[1])


def test_shares_by_mass_and_by_moles_of_two_alkalis_weigh_differently() -> None:
    # Worked examples C08 and C11 of tests/outside/data (plain stoichiometry): 60:40 of one oil of value 190.
    register = read_builtin_register()
    text = (
        "format: 1\nname: two\noils: {olive-oil: 100}\nwater: {water_to_lye: 2}\n"
        "lye: {superfat: 0, alkali: {by: BASIS, sodium-hydroxide: 60, potassium-hydroxide: 40}}\n"
    )
    value = register["olive-oil"].saponification_value
    assert value is not None
    pure = {}
    for basis in ("mass", "moles"):
        recipe, _ = parse_recipe(text.replace("BASIS", basis), "two", materials=register)
        assert recipe is not None
        batch = work_out_batch(recipe, register, oil_mass_g=1000.0)
        pure[basis] = {alkali.material: alkali.pure_grams * 190 / value.working for alkali in batch.lye}
    assert pure["moles"]["sodium-hydroxide"] == pytest.approx(81.269, abs=0.11)
    assert pure["moles"]["potassium-hydroxide"] == pytest.approx(76.0, abs=0.11)
    assert pure["mass"]["sodium-hydroxide"] == pytest.approx(91.8135, abs=0.11)
    assert pure["mass"]["potassium-hydroxide"] == pytest.approx(61.209, abs=0.11)
