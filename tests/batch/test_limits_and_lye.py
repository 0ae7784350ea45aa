"""The bounds of what is said of scents and of lye, each from just inside and just outside.

Limits are percent of the finished product (IFRA Standards, expression of limits); the built-in ones and their sources
stand in `formulary/chemistry/constituents.py`. Percentages of the bar are worked out here from the grams alone.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.batch.checks import check_pot
from formulary.batch.figures import work_out_pot
from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Finding, Severity
from formulary.materials.model import FragranceLimit, Known, Material, MaterialKind
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN, codes, weigh_out

KNOWN = Known("maker", "invented for this test")
BUILTIN = read_builtin_register()


def scent(slug: str, limit: float | None = None, **more: object) -> Material:
    of_bar = None if limit is None else FragranceLimit(limit, None, None, KNOWN)
    return Material(slug, slug, MaterialKind.FRAGRANCE, limit=of_bar, water_percent=0.0, **more)  # type: ignore[arg-type]


def batch_with(*materials: Material, rates: str, more: str = "", settings: Settings | None = None) -> Batch:
    register = Register([*BUILTIN.values(), *materials])
    lines = "".join(f"  - {{material: {name}, rate: {rate}, at: trace}}\n" for name, rate in eval_rates(rates))
    text = f"{PLAIN}scent:\n{lines}{more}"
    recipe, findings = parse_recipe(text, "plain", "recipes/plain.yaml", materials=register)
    assert recipe is not None, [str(finding) for finding in findings]
    return work_out_batch(recipe, register, settings, oil_mass_g=1000.0)


def eval_rates(rates: str) -> list[tuple[str, str]]:
    """`one 2, two 0.5`: rates in percent of the oils."""
    return [(part.split()[0], f"{part.split()[1]} % of oils") for part in rates.split(",")]


def percent_of_bar(batch: Batch, *names: str, water_lost: float = 0.6) -> float:
    """Percent by mass of the bar once that part of its water is gone, from the grams in the pot alone."""
    grams = dict.fromkeys(names, 0.0)
    total = water = 0.0
    for line in batch.pot.lines:
        total += line.grams
        water += line.grams if line.material == "water" else 0.0
        if line.material in grams:
            grams[line.material] += line.grams
    return 100 * sum(grams.values()) / (total - water_lost * water)


TWO = batch_with(scent("one"), rates="one 2")
CURED, DRY = percent_of_bar(TWO, "one"), percent_of_bar(TWO, "one", water_lost=1.0)


def test_the_percentages_shown_are_those_of_the_grams() -> None:
    line = TWO.scent[0]
    assert line.percent_of_oils == pytest.approx(2)
    assert line.percent_of_batter == pytest.approx(percent_of_bar(TWO, "one", water_lost=0.0))
    assert line.percent_of_cured == pytest.approx(CURED)
    assert line.percent_of_dry == pytest.approx(DRY)


@pytest.mark.parametrize(
    ("limit", "severity"),
    [(CURED * 0.999, "stop"), (CURED * 1.001, "warn"), (DRY * 0.999, "warn"), (DRY * 1.001, None), (CURED, "warn")],
)
def test_a_limit_stops_past_the_cured_bar_and_warns_past_the_dry_one(limit: float, severity: str | None) -> None:
    batch = batch_with(scent("one", limit), rates="one 2")
    assert ("scent-limit" in codes(batch, "stop")) == (severity == "stop")
    assert ("scent-limit-dry" in codes(batch, "warn")) == (severity == "warn")
    assert "scent-limit-unknown" not in codes(batch, "warn")


def test_a_limit_of_nothing_stops_any_amount() -> None:
    assert "scent-limit" in codes(batch_with(scent("one", 0.0), rates="one 0.01"), "stop")


@pytest.mark.parametrize("limit", [0.05, 0.9])
def test_a_limit_below_one_percent_is_a_limit_like_any_other(limit: float) -> None:
    fine = batch_with(scent("one", limit), rates="one 0.05")
    assert "scent-limit" not in codes(fine, "stop")
    assert "scent-limit" in codes(batch_with(scent("one", limit), rates="one 2"), "stop")
    assert "% of what it is" in found(batch_with(scent("one", limit / 10), rates="one 0.5"), "scent-limit").do
    half = percent_of_bar(fine, "one") / 0.6
    blend = batch_with(scent("one", half), scent("two", half), rates="one 0.05, two 0.05")
    assert "scent-blend" in codes(blend, "warn")


def test_more_water_lost_in_the_cure_counts_in_the_cured_bar() -> None:
    settings = Settings(water_lost_percent=Decimal(90))
    batch = batch_with(scent("one", CURED * 1.001), rates="one 2", settings=settings)
    assert batch.scent[0].percent_of_cured == pytest.approx(percent_of_bar(batch, "one", water_lost=0.9))
    assert "scent-limit" in codes(batch, "stop")


@pytest.mark.parametrize(("share", "is_over"), [(1.001, True), (0.999, False)])
def test_a_blend_adds_up_what_each_uses_of_its_limit(share: float, is_over: bool) -> None:
    # two scents at 1 % of the oils, each using half of its own limit, give or take
    pair = batch_with(scent("one"), scent("two"), rates="one 1, two 1")
    limit = percent_of_bar(pair, "one") / (0.5 * share)
    batch = batch_with(scent("one", limit), scent("two", limit), rates="one 1, two 1")
    assert ("scent-blend" in codes(batch, "warn")) == is_over


def found(batch: Batch, code: str) -> Finding:
    return next(finding for finding in batch.findings if finding.code == code)


def test_a_finding_says_by_how_much() -> None:
    over = batch_with(scent("one", CURED * 2 / 3), rates="one 2")
    assert "66 % of what it is" in found(over, "scent-limit").do
    barely = batch_with(scent("one", CURED * 0.998), rates="one 2")
    assert found(barely, "scent-limit").do == "lower it to 1.99 % of oils or less"
    assert f"{CURED:.2f} %" in found(over, "scent-limit").what
    pair = batch_with(scent("one"), scent("two"), rates="one 1, two 1")
    limit = percent_of_bar(pair, "one") / 0.65
    blend = batch_with(scent("one", limit), scent("two", limit), rates="one 1, two 1")
    assert "use 130 % of their limits" in found(blend, "scent-blend").what


def test_one_scent_alone_is_no_blend() -> None:
    batch = batch_with(scent("one", CURED * 0.99), rates="one 2")
    assert "scent-blend" not in codes(batch, "warn")


@pytest.mark.parametrize(("factor", "is_over"), [(1.001, True), (0.999, False)])
def test_a_constituent_is_summed_over_the_scents(factor: float, is_over: bool) -> None:
    # the built-in limit of citronellal in soap is 1.4 %, IFRA Standard Citronellal, Amendment 49
    pair = batch_with(scent("one"), scent("two"), rates="one 1, two 1")
    contains = {"citronellal": 100 * 1.4 * factor / percent_of_bar(pair, "one", "two")}
    holding = [scent(name, 90.0, contains=contains) for name in ("one", "two")]
    batch = batch_with(*holding, rates="one 1, two 1")
    assert ("constituent-limit" in codes(batch, "stop")) == is_over
    assert ("constituent-limit-dry" in codes(batch, "warn")) == (not is_over)


@pytest.mark.parametrize(("factor", "is_over"), [(1.001, True), (0.999, False)])
def test_a_constituent_is_warned_of_when_only_the_dry_bar_passes(factor: float, is_over: bool) -> None:
    pair = batch_with(scent("one"), scent("two"), rates="one 1, two 1")
    contains = {"citronellal": 100 * 1.4 * factor / percent_of_bar(pair, "one", "two", water_lost=1.0)}
    holding = [scent(name, 90.0, contains=contains) for name in ("one", "two")]
    batch = batch_with(*holding, rates="one 1, two 1")
    assert "constituent-limit" not in codes(batch, "stop")
    assert ("constituent-limit-dry" in codes(batch, "warn")) == is_over


def test_a_constituent_far_below_its_limit_is_not_spoken_of() -> None:
    batch = batch_with(scent("one", 90.0, contains={"citronellal": 30.0}), rates="one 2")
    assert not {"constituent-limit", "constituent-limit-dry"} & (codes(batch, "stop") | codes(batch, "warn"))


def test_a_constituent_limit_names_the_lower_of_two_and_where_it_is_from() -> None:
    equal = scent("one", 90.0, contains={"citronellal": 90.0}, limits={"citronellal": 1.4})
    assert "IFRA" in found(batch_with(equal, rates="one 4"), "constituent-limit").do
    lower = scent("one", 90.0, contains={"citronellal": 90.0}, limits={"citronellal": 1.0})
    assert "materials/one.yaml" in found(batch_with(lower, rates="one 4"), "constituent-limit").do


def test_treemoss_and_oakmoss_share_one_limit() -> None:
    # 0.1 % for both together, IFRA Standard Treemoss extracts, Amendment 51
    moss = (
        scent("one", 90.0, contains={"treemoss extracts": 5.0}),
        scent("two", 90.0, contains={"oakmoss extracts": 5.0}),
    )
    assert "constituent-limit" in codes(batch_with(*moss, rates="one 2, two 2"), "stop")
    assert "constituent-limit" not in codes(batch_with(*moss, rates="one 2, two 0.1"), "stop")


def test_a_limit_that_the_makers_file_states_counts_and_the_lower_one_holds() -> None:
    stated = scent("one", 90.0, contains={"eugenol": 80.0}, limits={"eugenol": 0.5})
    assert "constituent-limit" in codes(batch_with(stated, rates="one 2"), "stop")
    assert "constituent-limit" not in codes(batch_with(replace(stated, limits={}), rates="one 2"), "stop")
    other = scent("two", 90.0, contains={"eugenol": 1.0}, limits={"eugenol": 5.0})
    assert "constituent-limit" in codes(batch_with(stated, other, rates="one 2, two 1"), "stop")
    loose = scent("one", 90.0, contains={"citronellal": 80.0}, limits={"citronellal": 50.0})
    assert "constituent-limit" in codes(batch_with(loose, rates="one 4"), "stop")


def test_no_limit_known_is_said_and_a_limit_for_all_it_holds_is_one() -> None:
    unknown = scent("one", contains={"eugenol": 80.0})
    assert "scent-limit-unknown" in codes(batch_with(unknown, rates="one 1"), "warn")
    known = replace(unknown, limits={"eugenol": 5.0})
    assert "scent-limit-unknown" not in codes(batch_with(known, rates="one 1"), "warn")
    assert "scent-limit-unknown" in codes(batch_with(scent("one"), rates="one 1"), "warn")


def test_phenols_are_told_with_the_alkali_that_they_take() -> None:
    # 10 g of eugenol of 164.2 g/mol take one hydroxide each: 2.4 g of NaOH
    batch = batch_with(scent("one", 90.0, contains={"eugenol": 50.0}), rates="one 2")
    phenols = found(batch, "phenol-takes-alkali")
    assert "2.4 g" in phenols.what
    assert phenols.severity is Severity.NOTE
    none = batch_with(scent("one", 90.0, contains={"linalool": 50.0}), rates="one 2")
    assert "phenol-takes-alkali" not in codes(none, "note")


def test_the_phenols_of_each_scent_are_its_own() -> None:
    batch = batch_with(scent("one", 90.0, contains={"eugenol": 50.0}), scent("two"), rates="one 2, two 3")
    assert "2.4 g" in found(batch, "phenol-takes-alkali").what
    assert sum(finding.code == "phenol-takes-alkali" for finding in batch.findings) == 1


SPLIT = """\
portions:
  - {{name: plain, share: {{percent: {share}, by_eye: {by_eye}}}, gets: {{one: {part}}}}}
  - {{name: scented, share: {{percent: {rest}, by_eye: {by_eye}}}, gets: {{one: {other}}}}}
"""


def test_a_certified_scent_stretched_is_fine_evenly_split_and_over_split_by_eye() -> None:
    # certified to 3.45 % of the bar, at 3 % of the oils with an essential oil beside it
    certified, stretch = scent("one", 3.45), scent("two", 50.0)

    def split(share: int, by_eye: int) -> Batch:
        more = SPLIT.format(share=share, rest=100 - share, by_eye=by_eye, part=50, other=50)
        return batch_with(certified, stretch, rates="one 4, two 0.5", more=more)

    assert "scent-limit" not in codes(split(50, 0), "stop")
    assert "scent-limit" in codes(split(50, 10), "stop")
    assert "scent-limit" in codes(split(40, 0), "stop")
    assert "in the plain portion" in found(split(40, 0), "scent-limit").what
    assert "portion" not in found(batch_with(scent("one", 1.0), rates="one 4"), "scent-limit").what
    portions = {portion.name: portion for portion in split(40, 10).portions}
    # at the worst end the first portion has 30 % of the batter and half of the 40 g
    worst = portions["plain"].scent[0]
    assert worst.grams == pytest.approx(20)
    assert worst.percent_of_oils == pytest.approx(100 * 20 / 300)
    assert portions["plain"].share_percent == pytest.approx(40)


def lye(**changes: str) -> str:
    text = PLAIN
    for before, after in changes.items():
        old = {"superfat": "superfat: 5", "concentration": "lye_concentration: 33"}[before]
        text = text.replace(old, f"{old.split(':')[0]}: {after}")
    return text


@pytest.mark.parametrize(("superfat", "is_low"), [("1.9", True), ("2", False)])
def test_a_superfat_below_two_is_warned_of(superfat: str, is_low: bool) -> None:
    assert ("superfat-low" in codes(weigh_out(lye(superfat=superfat)), "warn")) == is_low


@pytest.mark.parametrize(("superfat", "is_high"), [("20.1", True), ("20", False)])
def test_a_superfat_above_twenty_is_warned_of(superfat: str, is_high: bool) -> None:
    assert ("superfat-high" in codes(weigh_out(lye(superfat=superfat)), "warn")) == is_high


@pytest.mark.parametrize("alkali", ["sodium-hydroxide", "{sodium-hydroxide: 95, potassium-hydroxide: 5, by: moles}"])
@pytest.mark.parametrize("oil_mass_g", [333.0, 500.0, 777.0, 1000.0, 4000.0])
def test_what_states_twenty_is_not_above_it_for_the_rounding_of_its_lye(oil_mass_g: float, alkali: str) -> None:
    kitchen = Settings()
    text = lye(superfat="20").replace("alkali: sodium-hydroxide", f"alkali: {alkali}")
    batch = weigh_out(text, oil_mass_g=oil_mass_g, settings=kitchen)
    assert batch.superfat.effective > 20.0
    assert "superfat-high" not in codes(batch, "warn")
    assert "superfat-high" not in as_made(batch.pot, kitchen)


def test_fat_that_lifts_a_superfat_of_twenty_by_more_than_a_step_of_the_lye_is_told() -> None:
    pot = weigh_out(lye(superfat="20")).pot
    more = replace(pot, lines=(*pot.lines, PotLine("olive-oil", "oil", "trace", 1.0)))
    assert "superfat-high" in as_made(more, Settings())


def test_a_scale_too_coarse_for_a_small_batch_excuses_no_high_superfat() -> None:
    batch = weigh_out(lye(superfat="5"), oil_mass_g=20.0, settings=Settings(alkali_step_g=Decimal(1)))
    assert batch.superfat.effective > 30.0
    assert "superfat-high" in codes(batch, "warn")


def as_made(pot: Pot, kitchen: Settings) -> set[str]:
    """The codes of what is said of a pot on skin that went in so."""
    register = read_builtin_register()
    figures, step_g = work_out_pot(pot, register, kitchen), float(kitchen.alkali_step_g)
    return {finding.code for finding in check_pot(pot, figures, register, "skin", alkali_step_g=step_g)}


def test_the_band_is_a_note_below_nothing_and_a_warning_below_minus_two() -> None:
    for tenths in range(0, 60, 2):
        batch = weigh_out(lye(superfat=f"{tenths / 10} %"))
        low = batch.superfat.low
        assert ("superfat-band" in codes(batch, "warn")) == (low < -2)
        assert ("superfat-band" in codes(batch, "note")) == (-2 <= low < 0)
        assert batch.superfat.worst_low <= low <= batch.superfat.effective <= batch.superfat.high
        assert not codes(batch, "stop")


def test_the_band_names_the_certificate_that_would_narrow_it_most() -> None:
    batch = weigh_out(lye(superfat="1"))
    assert "olive-oil" in found(batch, "superfat-band").do
    # shea butter's range is three times as wide as olive oil's, though there is less of it
    with_shea = lye(superfat="1").replace("olive-oil: 60", "olive-oil: 40\n  shea-butter: 20")
    assert "shea-butter" in found(weigh_out(with_shea), "superfat-band").do


@pytest.mark.parametrize(("oils_g", "is_coarse"), [(130.0, True), (180.0, False)])
def test_a_scale_whose_step_is_more_than_half_a_percent_is_coarse(oils_g: float, is_coarse: bool) -> None:
    # 0.1 g of 20 g is half a percent; the plain bar takes about 14 g of NaOH for 100 g of oils
    batch = weigh_out(PLAIN, oil_mass_g=oils_g)
    assert (batch.lye[0].grams < 20) == is_coarse
    assert ("scale-coarse" in codes(batch, "warn")) == is_coarse


@pytest.mark.parametrize(("concentration", "is_strong"), [("38.1", True), ("38", False)])
def test_a_jug_above_38_percent_is_noted(concentration: str, is_strong: bool) -> None:
    for tenth in range(40, 90):  # the water that makes 38 % of some lye makes a hair more or less of it
        batch = weigh_out(lye(superfat=str(tenth / 10), concentration=concentration))
        assert ("jug-strong" in codes(batch, "note")) == is_strong


def test_the_alkali_is_rounded_down_to_the_scale() -> None:
    batch = weigh_out(PLAIN, oil_mass_g=777.0)
    fine = weigh_out(PLAIN, oil_mass_g=777.0, settings=Settings(alkali_step_g=Decimal("0.000001")))
    assert 0 <= fine.lye[0].grams - batch.lye[0].grams < 0.1
    assert batch.superfat.effective >= 5
    assert fine.superfat.effective == pytest.approx(5, abs=1e-4)


def test_two_alkalis_in_one_jug_share_its_water() -> None:
    both = lye(concentration="51").replace(
        "alkali: sodium-hydroxide", "alkali: {by: mass, sodium-hydroxide: 50, potassium-hydroxide: 50}"
    )
    stronger = both.replace("lye_concentration: 51", "lye_concentration: 53")
    assert "jug-saturated" not in codes(weigh_out(both), "stop")
    assert "jug-saturated" in codes(weigh_out(stronger), "stop")


@pytest.mark.parametrize("limit", [0.3, 0.8, 1.5, 2.4])
def test_what_a_limit_says_to_write_instead_is_within_it_and_not_far_below(limit: float) -> None:
    over = found(batch_with(scent("one", limit), rates="one 4"), "scent-limit")
    rate = over.do.split()[3]
    mended = batch_with(scent("one", limit), rates=f"one {rate}")
    assert "scent-limit" not in codes(mended, "stop")
    assert percent_of_bar(mended, "one") > limit * 0.98 - 0.01


def test_scent_is_never_put_into_lye() -> None:
    text = PLAIN + "scent: [{material: lavender-oil, rate: 2 % of oils, at: lye water}]\n"
    recipe, findings = parse_recipe(text, "plain", materials=BUILTIN)
    assert recipe is None
    assert [finding.code for finding in findings] == ["not-a-choice"]


@pytest.mark.parametrize(("rate", "step", "is_small"), [("0.9", "1", True), ("1.1", "1", False), ("0.9", "0.1", False)])
def test_a_scent_too_small_for_the_scale_is_noted(rate: str, step: str, is_small: bool) -> None:
    batch = batch_with(scent("one", 5.0), rates=f"one {rate}", settings=Settings(scale_step_g=Decimal(step)))
    assert ("weight-small" in codes(batch, "note")) == is_small


def test_a_name_that_hides_a_limit_is_asked_about_of_each_scent_where_it_is_weighed() -> None:
    scents = "".join(f"  - {{material: {name}, rate: 1 % of oils, at: trace}}\n" for name in ("one", "two", "three"))
    kind = "format: 1\nname: Invented\nkind: fragrance\ninci: PARFUM\nlimit: {percent_of_product: 9}\n"
    materials = {
        "one": f"{kind}contains: {{methyleugenol: 1, linalool: 2}}\n",
        "two": f"{kind}limits: {{citronelal: 2}}\ncontains: {{citronellal: 1}}\n",
        "three": f"{kind}contains: {{citronellal: 1}}\n",
    }
    batch = Kitchen(f"{PLAIN}scent:\n{scents}", materials=materials).weigh_out()
    told = [each for each in batch.findings if each.code == "constituent-doubted"]
    lines = PLAIN.count("\n") + 2
    assert [(each.severity, each.place.line) for each in told] == [(Severity.WARN, lines), (Severity.WARN, lines + 1)]
    assert told[0].what.startswith("of one: no constituent called methyleugenol is known here: is it methyl eugenol,")
    assert told[0].do.startswith("write methyl eugenol if that is meant; else give methyleugenol a limit of its own")
    assert told[1].what.startswith("of two: no constituent called citronelal is known here: is it citronellal,")
