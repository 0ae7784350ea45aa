"""A maker's material file: what it may hold, and what is said of what it may not."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from formulary.chemistry.alkali import Alkali
from formulary.finding import Severity
from formulary.materials.model import Material, MaterialKind, SpoonMass
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register

EVERYTHING = """\
format: 1
name: Clove bud oil
kind: fragrance
group: spice-oil
inci: EUGENIA CARYOPHYLLUS BUD OIL
saponification_value: {low: 184, high: 196, working: 190}
acid_value: 0
iodine_value: {low: 75, high: 94}
fatty_acids: {C16:0: 11, C18:1: 72, C18:2: 9}
density: 1.05 g/ml
bulk_density: 1.0 g/ml
melting_point: 24 °C
flash_point: 103 °C
water: 0 %
sugars: 0
fat: 1 %
fat_saponification_value: 190
solids: 2 %
alcohol: 0 %
vanillin: 0.5 %
acids: {citric: 5 %}
limit: {percent_of_product: 2.9, certificate: 2026-02-11, edition: "51"}
limits: {eugenol: 2.5}
contains: {eugenol: 82 %}
carrier: dipropylene glycol
allergens: [eugenol, Isoeugenol]
origin: [nut]
price: 24.00 per 100 g
source: maker's certificate
notes: strong
lots:
  "CB-2291":
    received: 2026-08-02
    opened: 2026-08-20
    best_before: 2028-02
    price: 22.50 per 100 g
    density: 1.06 g/ml
    limit: {percent_of_product: 2.7, certificate: 2026-08-01, edition: "51"}
"""


def parse(text: str, slug: str = "thing") -> tuple[Material | None, list[str]]:
    material, findings = parse_material(text, f"materials/{slug}.yaml", slug)
    return material, [finding.code for finding in findings]


def parsed(text: str, slug: str = "thing") -> Material:
    material, findings = parse_material(text, f"materials/{slug}.yaml", slug)
    assert material is not None, [str(finding) for finding in findings]
    return material


def oil(more: str) -> str:
    return f"format: 1\nname: Oil\nkind: oil\n{more}\n"


def test_every_key_of_the_format_reads() -> None:
    material, codes = parse(EVERYTHING, "clove-bud-oil")
    assert codes == []
    assert material is not None
    assert material.kind is MaterialKind.FRAGRANCE
    assert material.saponification_value is not None
    assert material.saponification_value.working == 190
    assert material.iodine_value is not None
    assert material.iodine_value.working == 84.5
    assert material.fatty_acids == {"C16:0": 11, "C18:1": 72, "C18:2": 9}
    assert (material.density_g_per_ml, material.melting_point_c, material.flash_point_c) == (1.05, 24, 103)
    assert (material.water_percent, material.fat_percent, material.solids_percent) == (0, 1, 2)
    assert material.vanillin_percent == 0.5
    assert material.acids == {"citric": 5}
    assert material.limit is not None
    assert (material.limit.percent_of_product, material.limit.edition) == (2.9, "51")
    assert material.limit.certificate == date(2026, 2, 11)
    assert (material.contains, material.limits) == ({"eugenol": 82}, {"eugenol": 2.5})
    assert material.allergens == ("eugenol", "isoeugenol")
    assert material.origin == ("nut",)
    assert material.price is not None
    assert material.price.amount == Decimal("24.00")
    assert material.price.cost(50) == 12
    assert material.sources["contains"].source == "maker's certificate"
    lot = material.lots["CB-2291"]
    assert lot.best_before == date(2028, 2, 29)
    changed = material.with_lot("CB-2291")
    assert (changed.density_g_per_ml, changed.price) != (material.density_g_per_ml, material.price)
    assert changed.limit is not None
    assert changed.limit.percent_of_product == 2.7


def test_name_and_kind_are_enough() -> None:
    material = parsed("format: 1\nname: Petal water\nkind: liquid\n")
    assert material.water_percent is None
    assert material.solids_percent is None


def test_lots_and_numbers_are_read_as_written() -> None:
    material = parsed(oil("lots:\n  00123: {saponification_value: 188}\n  9e31042: {price: 1.10 per kg}"))
    assert set(material.lots) == {"00123", "9e31042"}
    assert str(material.lots["9e31042"].overrides["price"]) == "1.10 per 1 kg"
    assert material.lots["00123"].overrides["saponification_value"].low == 187


def test_a_makers_file_overrides_only_what_it_states() -> None:
    makers = parsed("format: 1\nname: My olive oil\nkind: oil\nprice: 9.50 per l\nlots: {L1: {iodine_value: 84}}\n")
    builtin = read_builtin_register()
    combined = builtin.combined_with([Material(**{**as_arguments(makers), "slug": "olive-oil"})])["olive-oil"]
    assert combined.name == "My olive oil"
    assert combined.saponification_value == builtin["olive-oil"].saponification_value
    assert combined.how_working_value == builtin["olive-oil"].how_working_value
    assert not combined.builtin
    assert combined.price is not None
    assert combined.price.cost(913, 0.913) == pytest.approx(9.5)
    assert builtin["olive-oil"].price is None


def as_arguments(material: Material) -> dict[str, object]:
    return {name: getattr(material, name) for name in material.__dataclass_fields__}


def test_a_stated_range_goes_through_the_same_rule_over_the_builtin_profile() -> None:
    makers = parsed(oil("saponification_value: {low: 190, high: 200}"), "olive-oil")
    combined = read_builtin_register().combined_with([makers])["olive-oil"]
    assert combined.saponification_value is not None
    assert combined.saponification_value.working == pytest.approx(192.5, abs=0.1)
    assert "so the lower" in combined.how_working_value


def test_a_file_of_another_kind_takes_the_place_of_the_builtin_one() -> None:
    makers = parsed("format: 1\nname: Olive extract\nkind: additive\n", "olive-oil")
    combined = read_builtin_register().combined_with([makers])["olive-oil"]
    assert combined == makers


FAULTS = [
    ("format: 1\nkind: oil\n", "missing-key"),
    ("format: 1\nname: Oil\n", "missing-key"),
    ("name: Oil\nkind: oil\n", "missing-key"),
    ("format: 2\nname: Oil\nkind: oil\n", "format-newer"),
    ("format: 1\nname: Oil\nkind: olil\n", "not-a-choice"),
    (oil("colour: green"), "unknown-key"),
    (oil("density: 0.92"), "bad-value"),
    (oil("density: 92 g/ml"), "bad-value"),
    (oil("melting_point: 24"), "bad-value"),
    (oil("saponification_value: 0.134"), "bad-value"),
    (oil("saponification_value: 1900"), "bad-value"),
    (oil("saponification_value: NaN"), "bad-value"),
    (oil("saponification_value: 690"), "saponification-impossible"),
    (oil("saponification_value: 99"), "saponification-impossible"),
    (oil("saponification_value: {low: 180, high: 300, working: 265}"), "saponification-impossible"),
    (oil("lots: {A: {saponification_value: 690}}"), "saponification-impossible"),
    (oil("lots: {A: {saponification_value: 290}}"), "saponification-impossible"),
    (oil("kind: wax\nsaponification_value: 690").replace("kind: oil\n", ""), "saponification-impossible"),
    (oil("saponification_value: -190"), "bad-value"),
    (oil("saponification_value: {low: 196, high: 184}"), "range-order"),
    (oil("saponification_value: {low: 184, high: 196, working: 200}"), "range-order"),
    (oil("saponification_value: {low: 184}"), "missing-key"),
    (oil("fatty_acids: {oleic: 72}"), "bad-value"),
    (oil("fatty_acids: {C18:1: 72, C18:2: 40}"), "fatty-acids-total"),
    (oil("fatty_acids: {C18:1: 0.72, C18:2: 0.2}"), "fraction"),
    (oil("water: 101 %"), "out-of-bounds"),
    (oil("water: 60 %\nfat: 50 %"), "composition-total"),
    (oil("acids: {citrik: 5 %}"), "bad-value"),
    (oil("acids: {citric: 105 %}"), "bad-value"),
    (oil("assay: 97"), "assay-kind"),
    (oil("price: 24"), "bad-value"),
    (oil("price: 24 per pinch"), "bad-value"),
    (oil("price: 24 per tsp"), "bad-value"),
    (oil("lots: {A: {opened: 2026-01-01, received: 2026-02-01}}"), "lot-dates"),
    (oil("lots: {A: {opened: yesterday}}"), "bad-value"),
    (oil("lots: {A: {colour: green}}"), "unknown-key"),
    (oil("limit: {certificate: 2026-02-11}"), "missing-key"),
    (oil("measures: {pinch: 1 g}"), "measure-unknown"),
    (oil("name: Oil again"), "duplicate-key"),
    (oil("alkali: sodium-hydroxide"), "alkali-kind"),
    ("format: 1\nname: Lye\nkind: alkali\n", "alkali-missing"),
    ("format: 1\nname: Caustic soda\nkind: alkali\nalkali: potassium-hydroxide\n", "alkali-misnamed"),
    ("format: 1\nname: Lye\nkind: alkali\nalkali: sodium-hydroxide\nassay: 0.97\n", "fraction"),
    ("format: 1\nname: Lye\nkind: alkali\nalkali: sodium-hydroxide\nassay: 197\n", "out-of-bounds"),
    ("format: 1\nname: Lye\nkind: alkali\nalkali: sodium-hydroxide\nassay: 9.7\n", "assay-low"),
    ("format: 1\nname: Lye\nkind: alkali\nalkali: sodium-hydroxide\nassay: 20 %\n", "assay-low"),
    ("format: 1\nname: Lye\nkind: alkali\nalkali: potassium-hydroxide\nlots: {A: {assay: 79}}\n", "assay-low"),
    ("format: 1\nname: Lye\nkind: alkali\nalkali: sodium-hydroxide\nmeasures: {tsp: 5 g}\n", "measure-refused"),
]


@pytest.mark.parametrize(("text", "code"), FAULTS)
def test_a_fault_is_found_with_its_place_and_what_to_do(text: str, code: str) -> None:
    material, findings = parse_material(text, "materials/thing.yaml", "thing")
    assert material is None
    assert code in [finding.code for finding in findings]
    for finding in findings:
        assert finding.place.path == "materials/thing.yaml"
        assert finding.place.line is not None
        assert finding.do


def test_all_faults_are_told_together_in_the_order_of_the_file() -> None:
    _, findings = parse_material(oil("density: 0.92\nprice: 24\ncolour: green"), "m.yaml", "thing")
    assert [finding.place.line for finding in findings] == [4, 5, 6]


def test_a_low_value_is_warned_of_because_it_may_be_for_another_alkali() -> None:
    material, findings = parse_material(oil("saponification_value: 134"), "m.yaml", "thing")
    assert material is not None
    assert [(finding.code, finding.severity) for finding in findings] == [("saponification-low", Severity.WARN)]
    assert "188" in findings[0].do


def test_assays_unknown_and_stated() -> None:
    head = "format: 1\nname: Lye\nkind: alkali\n"
    unknown = parsed(head + "assay: unknown\n", "potassium-hydroxide")
    assert unknown.alkali is Alkali.POTASSIUM_HYDROXIDE
    assert unknown.assay_percent is not None
    assert (unknown.assay_percent.low, unknown.assay_percent.working) == (85, 100)
    silent = parsed(head + "alkali: sodium-hydroxide\n")
    assert silent.assay_percent is not None
    assert (silent.assay_percent.low, silent.assay_percent.working) == (95, 100)
    stated = parsed(head + "alkali: sodium-hydroxide\nassay: 98.5 %\n")
    assert stated.assay_percent is not None
    assert (stated.assay_percent.low, stated.assay_percent.working, stated.assay_percent.high) == (98, 98.5, 99)
    assert [each.has_unknown_assay for each in (unknown, silent, stated)] == [True, True, False]


def test_spoons_are_calibrated() -> None:
    head = "format: 1\nname: Rose clay\nkind: colourant\n"
    assert parsed(head + "measures: {tsp: 2.1 g}\n").measures == {"tsp": SpoonMass(2.1)}
    assert parsed(head + "measures: {tsp: {mass: 2.1 g, n: 3}}\n").measures == {"tsp": SpoonMass(2.1, 3)}


def test_any_bytes_give_findings_and_never_an_exception() -> None:
    for data in (
        b"",
        b"\xff\xfe",
        b"a: [",
        b"format: 1\n\tname: x",
        b"- a\n- b",
        b"format: 1\nname: [x]\nkind: {a: b}",
    ):
        material, findings = parse_material(data, "m.yaml", "thing")
        assert material is None
        assert findings


@pytest.mark.parametrize(
    ("slug", "name", "alkali", "is_misnamed"),
    [
        ("sodium-hydroxide", "Sodium hydroxide", "potassium-hydroxide", True),
        ("sodium-hydroxide-pearls", "Pearls", "potassium-hydroxide", True),
        ("naoh-micro", "Pearls", "potassium-hydroxide", True),
        ("flakes", "KOH flakes", "sodium-hydroxide", True),
        ("sodium-hydroxide", "Potassium hydroxide", None, True),
        ("sodium-hydroxide", "Sodium hydroxide", None, False),
        ("sodium-hydroxide", "Sodium hydroxide", "sodium-hydroxide", False),
        ("flakes", "Flakes", "potassium-hydroxide", False),
        ("kohlrabi-lye", "Lye from the market", "sodium-hydroxide", False),
    ],
)
def test_no_hydroxide_is_weighed_under_the_name_of_the_other(
    slug: str, name: str, alkali: str | None, *, is_misnamed: bool
) -> None:
    text = f"format: 1\nname: {name}\nkind: alkali\nassay: 99\n" + (f"alkali: {alkali}\n" if alkali else "")
    material, findings = parse_material(text, "m.yaml", slug)
    assert [finding.code for finding in findings] == ["alkali-misnamed"] * is_misnamed
    assert (material is None) is is_misnamed
    # A name may well be the slip, and as much of the other hydroxide is another lye.
    assert all(finding.do.startswith("read its label") for finding in findings)
