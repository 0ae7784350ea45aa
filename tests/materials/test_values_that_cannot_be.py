"""Values that no such material has are refused, and those that are hard to believe are told of, at the bench too."""

from __future__ import annotations

import pytest

from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Finding, Severity
from formulary.materials.chosen_lots import with_chosen_lots
from formulary.materials.model import GROUPS, GROUPS_OF_KIND, Material, MaterialKind
from formulary.materials.plausible_values import HIGHEST_FAT, LOWEST_FAT, find_assay_doubts, find_doubts
from formulary.materials.read import parse_material
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.read import parse_recipe
from tests.outside.test_fatty_acid_tables import read_rows

BUILTIN = read_builtin_register()
Lots = dict[str, str | dict[str, float | None]]
RECIPE = """\
format: 1
name: Invented
oils: {olive-oil: 70, coconut-oil: 30}
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
"""


def read(more: str, slug: str = "olive-oil", kind: str = "oil") -> tuple[Material, list[Finding]]:
    text = f"format: 1\nname: Oil\nkind: {kind}\n{more}\n"
    material, findings = parse_material(text, f"materials/{slug}.yaml", slug)
    assert material is not None, [str(finding) for finding in findings]
    return material, list(findings)


def at_the_bench(register: Register, lots: dict[str, str | dict[str, float | None]] | None = None) -> list[Finding]:
    recipe, findings = parse_recipe(RECIPE, "invented", "recipes/invented.yaml", materials=register)
    assert recipe is not None, findings
    batch = work_out_batch(recipe, register, oil_mass_g=1000.0, lots=lots)
    return [finding for finding in batch.findings if finding.code == "saponification-doubted"]


def test_the_bounds_hold_every_fat_of_the_standards() -> None:
    """The ranges of `tests/outside/data/oils_saponification.csv`, whose `source` column names each standard."""
    no_fats = ("acid", "wax", "lanolin", "jojoba")
    rows = read_rows("oils_saponification.csv")
    fats = [row for row in rows if row["sv_min_mg_koh_per_g"] and not any(word in row["oil"] for word in no_fats)]
    assert len(fats) > 50
    for row in fats:
        assert LOWEST_FAT < float(row["sv_min_mg_koh_per_g"]) <= float(row["sv_max_mg_koh_per_g"]) < HIGHEST_FAT


def test_nothing_built_in_is_doubted_though_a_maker_should_state_it() -> None:
    for slug, material in BUILTIN.items():
        value = material.reference_saponification_value
        if not material.kind.is_fat or value is None:
            continue
        for number in (value.low, value.working, value.high):
            _, findings = read(f"lots: {{A: {{saponification_value: {number:g}}}}}", slug, material.kind.value)
            assert [finding.code for finding in findings if finding.code != "saponification-low"] == [], slug


@pytest.mark.parametrize(
    "more",
    [
        "saponification_value: 265",
        "saponification_value: 160",
        "saponification_value: 205.9",
        "saponification_value: 198",
        "fatty_acids: {C12:0: 60, C18:1: 40}\nsaponification_value: 190",
    ],
)
def test_a_makers_value_that_is_hard_to_believe_is_told_in_check_and_at_the_bench(more: str) -> None:
    material, findings = read(more)
    assert [(each.code, each.severity) for each in findings] == [("saponification-doubted", Severity.WARN)]
    assert findings[0].place.line is not None
    told = at_the_bench(BUILTIN.combined_with([material]))
    assert [each.severity for each in told] == [Severity.WARN]
    assert "olive-oil" in told[0].what
    assert "g of NaOH for 1 kg" in told[0].do


@pytest.mark.parametrize(
    "more",
    [
        "saponification_value: {low: 180, high: 270, working: 265}",
        "lots: {A: {saponification_value: 250}}",
        "lots: {A: {saponification_value: 206}}",
    ],
)
def test_a_value_far_too_high_that_the_lye_would_be_worked_out_from_stops_the_weigh_out(more: str) -> None:
    material, _ = read(more)
    told = at_the_bench(BUILTIN.combined_with([material]), {"olive-oil": "A"} if "lots" in more else None)
    assert [each.severity for each in told] == [Severity.STOP]


def test_a_certificate_far_too_low_is_only_warned_of_since_it_gives_less_lye() -> None:
    material, _ = read("lots: {A: {saponification_value: 160}}")
    told = at_the_bench(BUILTIN.combined_with([material]), {"olive-oil": "A"})
    assert [each.severity for each in told] == [Severity.WARN]


def test_what_it_means_at_the_scale_is_the_saponification_value_in_sodium_hydroxide() -> None:
    # 39.997 / 56.105 of 265 g KOH per kg
    _, findings = read("saponification_value: 265")
    assert "189 g of NaOH for 1 kg" in findings[0].do


def test_a_certificate_that_is_hard_to_believe_is_told_only_where_its_lot_is_used() -> None:
    material, findings = read("lots: {A: {saponification_value: 189}, B: {saponification_value: 265}}")
    assert [each.code for each in findings] == ["saponification-doubted"]
    register = BUILTIN.combined_with([material])
    assert at_the_bench(register) == []
    assert at_the_bench(register, {"olive-oil": "A"}) == []
    assert "of lot B is given as 265" in at_the_bench(register, {"olive-oil": "B"})[0].what


def test_a_mixture_of_lots_does_not_hide_the_one_that_is_hard_to_believe() -> None:
    material, _ = read("lots: {A: {saponification_value: 189}, B: {saponification_value: 265}}")
    told = at_the_bench(BUILTIN.combined_with([material]), {"olive-oil": {"A": 950.0, "B": 50.0}})
    assert [each.what.partition(" is given")[0] for each in told] == ["the saponification value of olive-oil of lot B"]


def test_an_oil_of_the_makers_own_is_held_against_its_own_fatty_acids() -> None:
    _, findings = read("saponification_value: 250\nfatty_acids: {C18:1: 80, C16:0: 15}", "garden-oil")
    assert "its fatty acids imply 19" in findings[0].what
    _, findings = read("saponification_value: 250\nfatty_acids: {C18:1: 20}", "garden-oil")
    assert findings == []  # a fifth of a profile tells nothing of the rest


def test_short_acids_that_are_stated_bear_out_a_high_value() -> None:
    # medium-chain triglycerides, saponification value about 310 to 360 (from memory)
    acids = "fatty_acids: {C8:0: 58, C10:0: 41}"
    assert read(f"saponification_value: 335\n{acids}", "medium-chain-oil")[1] == []
    assert read(f"{acids}\nlots: {{A: {{saponification_value: 335}}}}", "medium-chain-oil")[1] == []
    text = f"format: 1\nname: Oil\nkind: oil\nsaponification_value: 690\n{acids}\n"
    assert [each.code for each in parse_material(text, "m.yaml", "oil")[1]] == ["saponification-impossible"]


def test_free_fatty_acids_and_low_waxes_are_no_fats() -> None:
    assert read("saponification_value: 386", "octanoic-acid", "fatty-acid")[1] == []
    assert [each.code for each in read("saponification_value: 43", "garden-wax", "wax")[1]] == []


def test_values_built_in_are_never_doubted() -> None:
    for slug, material in BUILTIN.items():
        assert list(find_doubts(material, BUILTIN.find(slug))) == []


def assay_at_the_bench(register: Register, *, alkali: str, lots: Lots | None = None) -> list[Finding]:
    text = RECIPE.replace("sodium-hydroxide", alkali)
    recipe, findings = parse_recipe(text, "invented", "recipes/invented.yaml", materials=register)
    assert recipe is not None, findings
    batch = work_out_batch(recipe, register, oil_mass_g=1000.0, lots=lots)
    return [finding for finding in batch.findings if finding.code == "assay-doubted"]


# The least that USP35-NF30 allows: sodium hydroxide 95.0 %, potassium hydroxide 85.0 %.
@pytest.mark.parametrize(
    ("alkali", "percent"), [*(("potassium-hydroxide", each) for each in (85, 90, 99.2)), ("sodium-hydroxide", 95)]
)
def test_solid_alkali_as_it_is_sold_is_believed(alkali: str, percent: float) -> None:
    material, findings = read(f"assay: {percent}", alkali, "alkali")
    assert findings == []
    assert material.assay_percent is not None
    assert assay_at_the_bench(BUILTIN.combined_with([material]), alkali=alkali) == []


@pytest.mark.parametrize(
    ("alkali", "percent", "severity"),
    [
        ("sodium-hydroxide", 94.9, Severity.WARN),
        ("sodium-hydroxide", 90.5, Severity.WARN),
        # 95 / 1.05 = 90.48: weighed by less, all of a superfat of 5 % would be lye
        ("sodium-hydroxide", 90.4, Severity.STOP),
        ("sodium-hydroxide", 80, Severity.STOP),
        ("potassium-hydroxide", 84, Severity.WARN),
        ("potassium-hydroxide", 80, Severity.STOP),
    ],
)
def test_an_assay_weaker_than_its_alkali_is_sold_is_told_in_check_and_at_the_bench(
    alkali: str, percent: float, severity: Severity
) -> None:
    material, findings = read(f"assay: {percent}", alkali, "alkali")
    assert [(each.code, each.severity) for each in findings] == [("assay-doubted", Severity.WARN)]
    told = assay_at_the_bench(BUILTIN.combined_with([material]), alkali=alkali)
    assert [each.severity for each in told] == [severity]
    lot, findings = read(f"lots: {{A: {{assay: {percent}}}}}", alkali, "alkali")
    assert [(each.code, each.severity) for each in findings] == [("assay-doubted", Severity.WARN)]
    register = BUILTIN.combined_with([lot])
    assert assay_at_the_bench(register, alkali=alkali) == []
    of_lot = assay_at_the_bench(register, alkali=alkali, lots={alkali: "A"})
    assert [each.severity for each in of_lot] == [severity]
    assert "of lot A is given as" in of_lot[0].what


def test_what_a_weak_assay_means_is_said_in_grams() -> None:
    # 95 / 80 = 1.1875
    assert "119 g for every 100 g of one of 95 %" in read("assay: 80", "sodium-hydroxide", "alkali")[1][0].do


def test_a_mixture_of_lots_does_not_hide_the_alkali_that_is_hard_to_believe() -> None:
    material, _ = read("lots: {A: {assay: 99}, B: {assay: 85}}", "sodium-hydroxide", "alkali")
    mixed: Lots = {"sodium-hydroxide": {"A": 900.0, "B": 100.0}}
    told = assay_at_the_bench(BUILTIN.combined_with([material]), alkali="sodium-hydroxide", lots=mixed)
    assert [(each.severity, "of lot B is given as 85 %" in each.what) for each in told] == [(Severity.WARN, True)]


@pytest.mark.parametrize("lots", [{"A + B": None}, {"A + B": 400.0, "C": 10.0}, {"C": 10.0, "A + B": 400.0}])
def test_a_lot_that_is_called_as_two_are_is_doubted_by_its_own_certificate(lots: dict[str, float | None]) -> None:
    olive, _ = read('lots: {"A + B": {saponification_value: 230}, C: {saponification_value: 190}}')
    mixed = with_chosen_lots(BUILTIN.combined_with([olive]), {"olive-oil": lots})["olive-oil"]
    doubts = list(find_doubts(mixed, BUILTIN["olive-oil"]))
    assert doubts[-1].value == 230.0
    assert any(doubt.is_too_much for doubt in doubts)
    alkali, _ = read('lots: {"A + B": {assay: 82 %}, C: {assay: 99 %}}', "sodium-hydroxide", "alkali")
    mixed = with_chosen_lots(BUILTIN.combined_with([alkali]), {"sodium-hydroxide": lots})["sodium-hydroxide"]
    assert [doubt.value for doubt in find_assay_doubts(mixed)][-1] == 82.0


@pytest.mark.parametrize(("value", "is_told"), [(196, False), (197, False), (197.5, True), (199, True), (205, True)])
def test_a_certificate_above_what_is_known_is_told_at_once_since_it_takes_from_the_superfat(
    value: float, is_told: bool
) -> None:
    # Olive oil is known as 184 to 196; a certificate's value is taken to 1 mg/g.
    material, findings = read(f"lots: {{A: {{saponification_value: {value}}}}}")
    assert [each.code for each in findings] == ["saponification-doubted"] * is_told
    told = at_the_bench(BUILTIN.combined_with([material]), {"olive-oil": "A"})
    assert [each.severity for each in told] == [Severity.WARN] * is_told


def test_a_ready_made_lye_may_be_weak_when_it_says_what_it_is() -> None:
    for slug, more in (
        ("sodium-hydroxide-lye", "group: lye-solution\nwater: 66.9\n"),
        ("sodium-hydroxide-solution-33", ""),
    ):
        material, _ = read(f"{more}assay: 33.1\nlots: {{A: {{assay: 32.8}}}}", slug, "alkali")
        assert material.assay_percent is not None
        assert material.assay_percent.working == 33.1
    _, findings = parse_material(
        "format: 1\nname: Lye\nkind: alkali\nassay: 33\n", "materials/sodium-hydroxide.yaml", "sodium-hydroxide"
    )
    assert [each.code for each in findings] == ["assay-low"]
    assert "group: lye-solution" in findings[0].do


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ("water: 50\nassay: 30", "lye-total"),
        ("water: 60\nassay: 50", "lye-total"),
        ("water: 50\nassay: 98.5", "lye-total"),
        ("water: 0\nassay: 98.5", "lye-water"),
        ("water: 0", "lye-water"),
        ("assay: 33", "lye-water"),
        ("density: 1.36 g/ml", "lye-water"),
        ("assay: 33\nlots: {A: {assay: 33.2}}", "lye-water"),
        ("water: 50\nassay: 50\nlots: {A: {assay: 40}}", "lye-total"),
        ("water: 50\nassay: 50\nlots: {A: {water: 67}}", "lye-total"),
    ],
)
def test_a_ready_made_lye_is_water_and_hydroxide_and_nothing_else(more: str, code: str) -> None:
    text = f"format: 1\nname: Lye\nkind: alkali\nalkali: sodium-hydroxide\ngroup: lye-solution\n{more}\n"
    material, findings = parse_material(text, None, "lye-c")
    assert material is None
    assert [each.code for each in findings] == [code]
    if more == "water: 50\nassay: 30":
        assert "with 50 % water write assay 50, with 30 % hydroxide write water 70" in findings[0].do
    if more == "assay: 33":
        assert findings[0].do == "write `water: 67`"


def test_a_built_in_lye_of_another_strength_must_say_its_water_too() -> None:
    start = "format: 1\nname: Lye\nkind: alkali\n"
    slug = "sodium-hydroxide-solution-50"
    _, findings = parse_material(f"{start}assay: 30\n", None, slug)
    assert [each.code for each in findings] == ["lye-total"]
    material, findings = parse_material(f"{start}assay: 30\nwater: 70\nlots: {{A: {{assay: 29}}}}\n", None, slug)
    assert material is not None, findings


@pytest.mark.parametrize(("water", "assay"), [(50, 50), (67, 33.1), (55, 45.5), (49, 49.5)])
def test_a_ready_made_lye_as_its_label_has_it_is_believed(water: float, assay: float) -> None:
    more = f"alkali: sodium-hydroxide\ngroup: lye-solution\nwater: {water}\nassay: {assay}"
    material, _ = read(more, "lye-c", "alkali")
    assert material.water_percent == water


@pytest.mark.parametrize(
    ("factor", "do"),
    [
        # 56.105 / 39.997 = 1.40273, so that 0.1345 g of NaOH are 188.67 mg of KOH
        ("0.1345", "as grams of NaOH it is 0.1345 x 1402.7: write 188.7"),
        ("0.1348", "as grams of NaOH it is 0.1348 x 1402.7: write 189.1"),
        ("0.19", "write 190 if it is grams of KOH, or 266.5 if it is grams of NaOH"),
    ],
)
def test_grams_of_alkali_per_gram_are_told_as_what_they_can_be(factor: str, do: str) -> None:
    text = f"format: 1\nname: Oil\nkind: oil\nsaponification_value: {factor}\n"
    _, findings = parse_material(text, None, "of-mine")
    assert [each.do for each in findings] == [do]


@pytest.mark.parametrize(
    ("kind", "group"),
    [("fragrance", "clay"), ("oil", "lye-solution"), ("alkali", "milk"), ("liquid", "butter"), ("colourant", "honey")],
)
def test_a_group_that_no_such_material_has_is_refused_with_those_of_its_kind(kind: str, group: str) -> None:
    text = f"format: 1\nname: X\nkind: {kind}\ngroup: {group}\n"
    _, findings = parse_material(text, None, "sodium-hydroxide-x")
    (fault,) = (each for each in findings if each.code == "not-a-choice")
    assert all(own in fault.what for own in GROUPS_OF_KIND[MaterialKind(kind)])
    assert len(GROUPS_OF_KIND[MaterialKind(kind)]) < 20


def test_every_group_belongs_to_a_kind_and_that_of_every_built_in_material_to_its_own() -> None:
    assert {group for groups in GROUPS_OF_KIND.values() for group in groups} == set(GROUPS)
    for material in BUILTIN.values():
        assert material.group is None or material.group in GROUPS_OF_KIND[material.kind], material.slug
