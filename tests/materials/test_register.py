"""The built-in register: complete, consistent, each value with where it is from, and quick to read."""

from __future__ import annotations

import re

import pytest

from formulary.chemistry.acids import ACIDS
from formulary.chemistry.alkali import Alkali
from formulary.chemistry.fatty_acids import parse_fatty_acid
from formulary.materials import builtin
from formulary.materials.builtin import (
    FATTY_ACID_FILES,
    FOOD_FILE,
    SAPONIFICATION_FILES,
    VALUE_FILES,
    read_published_values,
    read_rows,
)
from formulary.materials.model import GROUPS, Material, MaterialKind
from formulary.materials.register import read_builtin_register
from formulary.names import SLUG

REGISTER = read_builtin_register()
ALL_FILES = (*SAPONIFICATION_FILES, *FATTY_ACID_FILES, *VALUE_FILES, FOOD_FILE)
ROWS = [(name, row) for name in ALL_FILES for row in read_rows(name)]
FATS = [material for material in REGISTER.values() if material.kind.is_fat]


def slug(material: Material) -> str:
    return material.slug


def test_it_holds_what_makers_use() -> None:
    assert len(REGISTER) >= 60
    ordinary = """olive-oil coconut-oil palm-oil rice-bran-oil sunflower-oil high-oleic-sunflower-oil castor-oil
        hemp-seed-oil shea-butter cocoa-butter sweet-almond-oil avocado-oil rapeseed-oil lard beef-tallow
        palm-kernel-oil babassu-oil sodium-hydroxide potassium-hydroxide water oat-milk goat-milk cow-milk
        coconut-milk nettle-infusion cucumber-puree carrot-puree honey sugar salt sodium-lactate-60 kaolin rose-clay
        sea-clay french-green-clay titanium-dioxide mica ground-oats clove-bud-oil lavender-oil peppermint-oil
        spearmint-oil sweet-orange-oil cedarwood-oil citric-acid-anhydrous citric-acid-monohydrate lactic-acid-88
        vinegar-5 lemon-juice yoghurt egg-yolk beeswax stearic-acid sodium-bicarbonate disodium-edta"""
    assert [name for name in ordinary.split() if name not in REGISTER] == []


def test_every_kind_is_there() -> None:
    assert {material.kind for material in REGISTER.values()} == set(MaterialKind)


@pytest.mark.parametrize("name", ALL_FILES)
def test_every_row_of_every_table_names_its_material_and_its_source(name: str) -> None:
    for row in read_rows(name):
        assert row["slug"] in REGISTER
        assert row["obtained"] in ("read", "memory", "computed")
        assert len(row["source"]) > 5
        expected = {"from_memory": "memory", "from_memory_fatty_acids": "memory"}
        expected |= {"from_formulas": "computed", "infoods_densities": "read"}
        assert row["obtained"] == expected.get(name, row["obtained"])
        for low, high in (
            ("saponification_low", "saponification_high"),
            ("iodine_low", "iodine_high"),
            ("low", "high"),
        ):
            if row.get(low) and row.get(high):
                assert 0 <= float(row[low]) <= float(row[high])


@pytest.mark.parametrize("material", REGISTER.values(), ids=slug)
def test_a_material_is_well_formed(material: Material) -> None:
    assert SLUG.fullmatch(material.slug)
    assert material.name == material.name.strip() != ""
    assert material.builtin
    assert material.group is None or material.group in GROUPS
    assert set(material.acids) <= set(ACIDS)
    for shorthand in material.fatty_acids:
        parse_fatty_acid(shorthand)
    parts = [material.water_percent, material.fat_percent, material.alcohol_percent, material.sugars_percent]
    assert sum(part or 0.0 for part in parts) <= 100.5
    for percents in (material.acids, material.contains, material.fatty_acids):
        assert all(0 < percent <= 100 for percent in percents.values())
    assert (material.alkali is not None) == (material.kind is MaterialKind.ALKALI)


@pytest.mark.parametrize("material", REGISTER.values(), ids=slug)
def test_every_value_says_where_it_is_from(material: Material) -> None:
    for attribute in (
        "saponification_value",
        "iodine_value",
        "fatty_acids",
        "density_g_per_ml",
        "bulk_density_g_per_ml",
        "melting_point_c",
        "flash_point_c",
        "water_percent",
        "sugars_percent",
        "fat_percent",
        "fat_saponification_value",
        "alcohol_percent",
        "acids",
        "contains",
        "allergens",
        "assay_percent",
        "inci",
    ):
        if getattr(material, attribute):
            assert material.sources[attribute].source, attribute


@pytest.mark.parametrize("material", FATS, ids=slug)
def test_a_fat_can_be_worked_with(material: Material) -> None:
    value = material.saponification_value
    assert value is not None
    assert value.low <= value.working <= value.high
    assert material.how_working_value.endswith(".")
    assert material.density_g_per_ml is not None
    assert any(row.slug == material.slug for row in read_published_values()), "no published row"


def test_fats_carried_by_additions_have_a_saponification_value() -> None:
    for material in REGISTER.values():
        if not material.kind.is_fat and material.fat_percent:
            assert material.fat_saponification_value is not None, material.slug


def test_liquids_have_their_water() -> None:
    for material in REGISTER.values():
        if material.kind is MaterialKind.LIQUID:
            assert material.water_percent is not None, material.slug


def test_no_builtin_scent_has_an_invented_limit() -> None:
    for material in REGISTER.values():
        assert material.limit is None
        assert material.limits == {}
        if material.kind is MaterialKind.FRAGRANCE and material.contains:
            assert material.sources["contains"].obtained == "memory"


def test_alkalis_as_bought_have_an_unknown_assay_with_its_band() -> None:
    for name, low in (("sodium-hydroxide", 95.0), ("potassium-hydroxide", 85.0)):
        assay = REGISTER[name].assay_percent
        assert assay is not None
        assert (assay.low, assay.working, assay.high) == (low, 100.0, 100.0)
        assert REGISTER[name].alkali is Alkali(name)
        assert REGISTER[name].has_unknown_assay
    assert not REGISTER["sodium-hydroxide-solution-50"].has_unknown_assay


def test_a_ready_made_lye_crystallises_in_a_cold_room() -> None:
    # 50 % caustic soda solution freezes at about 14 °C (manufacturer's page, tests/outside/data/alkali.csv)
    assert REGISTER["sodium-hydroxide-solution-50"].melting_point_c == 14


def test_names_meant_are_found() -> None:
    assert "olive-oil" in REGISTER.nearest("olive oil")
    assert "olive-oil" in REGISTER.nearest("oliveoil")
    assert REGISTER.nearest("clove") == ("clove-bud-oil",)
    assert set(REGISTER.nearest("citric-acid")) >= {"citric-acid-anhydrous", "citric-acid-monohydrate"}
    assert REGISTER.nearest("zzz") == ()
    assert REGISTER.find("zzz") is None


def test_the_data_files_hold_no_line_that_is_not_read() -> None:
    assert all(re.fullmatch(r"[a-z0-9-]+", row["slug"]) for _, row in ROWS)
    assert len({row["slug"] for row in read_rows("register")}) == len(read_rows("register"))


def test_a_row_of_a_field_that_is_none_is_refused_and_not_taken_for_another(monkeypatch: pytest.MonkeyPatch) -> None:
    row = {"slug": "olive-oil", "field": "saponification_value", "value": "191", "obtained": "memory", "source": "none"}
    monkeypatch.setattr(builtin, "read_rows", lambda name: [*read_rows(name), *([row] if name in VALUE_FILES else [])])
    with pytest.raises(ValueError, match="olive-oil: saponification_value is no field of"):
        builtin.read_builtin_tables().build("olive-oil")
