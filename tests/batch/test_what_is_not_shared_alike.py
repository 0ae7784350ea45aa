"""Acid, fat and alkali in one portion only, or on top; alkalis twice; rates that feed on themselves."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.checks import NEVER_OVERRIDDEN, check_pot
from formulary.batch.figures import portion_pot, superfat_band, work_out_pot
from formulary.batch.model import PotLine
from formulary.batch.overriding import demand_weighable
from formulary.batch.size import Size, find_masses
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weigh_out_text import render_batch
from formulary.errors import InputError, StopError
from formulary.materials.register import read_builtin_register
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, codes, read_recipe, weigh_out

REGISTER = read_builtin_register()
ACID = "additions:\n  - {{material: citric-acid-anhydrous, rate: {rate} % of oils, at: {at}}}\n"
HALVES = "portions:\n  - {name: a, share: 50, gets: {citric-acid-anhydrous: 0}}\n"
HALVES += "  - {name: b, share: 50, gets: {citric-acid-anhydrous: 100}}\n"


def test_acid_in_one_portion_leaves_the_other_with_free_lye_and_is_stopped() -> None:
    batch = weigh_out(PLAIN + ACID.format(rate=5, at="trace") + HALVES)
    assert "lye-excess" in codes(batch, "stop")
    alone = superfat_band(portion_pot(batch.pot, "a"), REGISTER, Settings()).working
    assert alone < -10
    figures = {portion.name: portion.superfat_percent for portion in batch.portions}
    assert figures["a"] == pytest.approx(alone)
    shared = weigh_out(PLAIN + ACID.format(rate=5, at="trace"))
    assert codes(shared, "stop") == set()


def test_what_is_put_on_top_neither_takes_lye_nor_counts_as_superfat() -> None:
    plain = weigh_out(PLAIN)
    acid = weigh_out(PLAIN + ACID.format(rate=5, at="top"))
    assert acid.lye[0].grams == plain.lye[0].grams
    zero = PLAIN.replace("superfat: 5", "superfat: 0")
    butter = zero + "additions:\n  - {material: cocoa-butter, rate: 20 % of oils, at: top}\n"
    assert weigh_out(butter).superfat.effective == pytest.approx(weigh_out(zero).superfat.effective)
    assert "superfat-low" in codes(weigh_out(butter), "warn")


@settings(max_examples=40, deadline=None)
@given(st.floats(0.2, 8), st.integers(20, 80), st.booleans())
def test_no_portion_has_free_lye_without_a_stop(rate: float, share: int, acid_in_first: bool) -> None:
    first, second = (100, 0) if acid_in_first else (0, 100)
    portions = (
        f"portions:\n  - {{name: a, share: {share}, gets: {{citric-acid-anhydrous: {first}}}}}\n"
        f"  - {{name: b, share: {100 - share}, gets: {{citric-acid-anhydrous: {second}}}}}\n"
    )
    batch = weigh_out(PLAIN + ACID.format(rate=f"{rate:.2f}", at="trace") + portions)
    alone = [superfat_band(portion_pot(batch.pot, name), REGISTER, Settings()).working for name in ("a", "b")]
    assert (min(alone) < 0) == ("lye-excess" in codes(batch, "stop"))


def test_alkali_that_went_into_one_portion_is_found_there() -> None:
    batch = weigh_out(
        PLAIN.replace("superfat: 5", "superfat: 3")
        + HALVES.replace("{citric-acid-anhydrous: 0}", "{}").replace("{citric-acid-anhydrous: 100}", "{}")
    )
    extra = PotLine("sodium-hydroxide", "alkali", "trace", 6.0, "a")
    pot = replace(batch.pot, lines=(*batch.pot.lines, extra))
    found = check_pot(pot, work_out_pot(pot, REGISTER, Settings()), REGISTER, "skin", alkali_step_g=0.1)
    assert "lye-excess" in [finding.code for finding in found]


def test_a_fragrance_among_the_additions_is_refused_because_no_limit_would_be_looked_at() -> None:
    text = PLAIN + "additions:\n  - {material: clove-bud-oil, rate: 10 % of oils, at: oils}\n"
    with pytest.raises(InputError) as raised:
        weigh_out(text)
    assert [finding.code for finding in raised.value.findings] == ["scent-addition"]


def test_one_hydroxide_in_two_forms_is_refused() -> None:
    shares = "{by: mass, sodium-hydroxide: 50, sodium-hydroxide-solution-50: 50}"
    with pytest.raises(InputError) as raised:
        weigh_out(PLAIN.replace("alkali: sodium-hydroxide", f"alkali: {shares}"))
    assert "alkali-twice" in [finding.code for finding in raised.value.findings]


@pytest.mark.parametrize(("rates", "is_refused"), [((100,), True), ((30, 21), True), ((30, 20), False)])
def test_rates_of_the_batter_may_not_feed_on_themselves(rates: tuple[int, ...], is_refused: bool) -> None:
    names = ("kaolin", "rose-clay")
    lines = "".join(
        f"  - {{material: {name}, rate: {rate} % of batter, at: oils}}\n"
        for name, rate in zip(names, rates, strict=False)
    )
    text = f"{PLAIN}additions:\n{lines}"
    if is_refused:
        with pytest.raises(InputError) as raised:
            weigh_out(text)
        assert "batter-rates" in [finding.code for finding in raised.value.findings]
    else:
        batch = weigh_out(text)
        added = sum(line.grams for line in batch.additions)
        assert added / batch.batter_grams == pytest.approx(0.5)


def test_the_acid_of_a_juice_widens_the_band() -> None:
    juice = "additions:\n  - {material: lemon-juice, rate: 30 % of oils, at: lye water, water: replaces}\n"
    text = PLAIN.replace("lye_concentration: 33", "lye_concentration: 25") + juice
    batch = weigh_out(text)
    # The same juice with a fifth less acid leaves that much lye for the fat.
    weaker = replace(REGISTER["lemon-juice"], acids={"citric": REGISTER["lemon-juice"].acids["citric"] * 0.8})
    materials = {**REGISTER, "lemon-juice": weaker}
    lower = superfat_band(batch.pot, materials, Settings()).working
    assert batch.superfat.worst_low <= lower < batch.superfat.effective


@pytest.mark.parametrize("code", ["water-below-zero", "water-unknown", "alkali-none"])
def test_what_is_impossible_cannot_be_overridden(code: str) -> None:
    assert code in NEVER_OVERRIDDEN


def test_less_than_no_water_is_never_weighed_out() -> None:
    milk = "additions:\n  - {material: oat-milk, rate: 60 % of oils, at: oils, water: replaces}\n"
    with pytest.raises(StopError):
        demand_weighable(weigh_out(PLAIN + milk), despite=["water-below-zero", "jug-saturated"])


@settings(max_examples=60, deadline=None)
@given(st.floats(5, 60))
def test_the_sheet_never_shows_more_alkali_than_was_worked_out(oil_mass_g: float) -> None:
    fine = Settings(alkali_step_g=Decimal("0.01"))
    batch = weigh_out(PLAIN, oil_mass_g=oil_mass_g, settings=fine)
    line = next(line for line in render_batch(batch).splitlines() if line.strip().startswith("sodium hydroxide"))
    assert float(line.split()[2]) == pytest.approx(batch.lye[0].grams, abs=1e-9)


@pytest.mark.parametrize(
    "size",
    [Size(mould="9999 x 9999 x 9999 cm"), Size(bars=10_000, bar="900 kg"), Size(oils="1001 kg")],
)
def test_a_batch_that_no_pot_holds_is_refused_however_it_is_said(size: Size) -> None:
    version = Version(recipe=read_recipe(PLAIN), text=PLAIN, is_saved=False)
    with pytest.raises(InputError) as raised:
        find_masses(size, version, REGISTER, Settings())
    assert raised.value.findings[0].code == "bad-size"


def test_every_alkali_of_a_recipe_stands_in_its_weigh_out() -> None:
    shares = "{by: moles, sodium-hydroxide: 60, potassium-hydroxide: 40}"
    recipe = read_recipe(PLAIN.replace("alkali: sodium-hydroxide", f"alkali: {shares}"))
    batch = work_out_batch(recipe, REGISTER, oil_mass_g=1000.0)
    assert [alkali.material for alkali in batch.lye] == [name for name, _ in recipe.lye.alkalis]
