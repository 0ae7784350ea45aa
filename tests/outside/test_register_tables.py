"""The register and the constituents' limits against the reference tables that they were taken from, row by row.

Sources stand in the `source` columns of `data/oils_saponification.csv`, `data/materials_composition.csv` (USDA SR28,
FAO/INFOODS) and `data/fragrance_rules.csv` (IFRA Standards, Regulation (EC) No 1223/2009).
"""

from __future__ import annotations

import csv
from pathlib import Path
from statistics import median

import pytest

from formulary.chemistry.constituents import (
    ALLERGEN_NAMED_ABOVE_PERCENT,
    CONSTITUENT_LIMITS,
    find_constituent_limit,
)
from formulary.materials.builtin import FOOD_FILE, read_published_values, read_rows
from formulary.materials.register import read_builtin_register
from formulary.materials.working_value import SINGLE_VALUE_HALF_WIDTH_PERCENT

DATA = Path(__file__).parent / "data"


def reference(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


OILS = [row for row in reference("oils_saponification.csv") if row["kind"] != "theoretical"]
# Two fats that the register does not hold; both are tallow or lard under another name.
NOT_HELD = {"premier_jus", "rendered_pork_fat"}


def ends(row: dict[str, str]) -> tuple[float | None, ...]:
    columns = ("sv_min_mg_koh_per_g", "sv_max_mg_koh_per_g", "iv_min_g_i2_per_100g", "iv_max_g_i2_per_100g")
    return tuple(float(row[column]) if row[column] else None for column in columns)


@pytest.mark.parametrize("row", OILS, ids=lambda row: f"{row['oil_id']} {row['source'][:40]}")
def test_every_published_range_is_in_the_register_as_it_was_read(row: dict[str, str]) -> None:
    if row["oil_id"] in NOT_HELD:
        pytest.skip("not held")
    held = [
        (
            value.saponification_low,
            value.saponification_high,
            value.iodine_low,
            value.iodine_high,
            value.known.obtained,
        )
        for value in read_published_values()
        if value.known.source == row["source"]
    ]
    assert (*ends(row), row["obtained"]) in held


@pytest.mark.parametrize("row", reference("materials_composition.csv"), ids=lambda row: row["material_id"])
def test_foods_are_as_in_the_composition_table(row: dict[str, str]) -> None:
    held = [food for food in read_rows(FOOD_FILE) if row["ndb_no"] and food["food"] == row["material"]]
    if not held:
        pytest.skip("not held")
    material = read_builtin_register()[held[0]["slug"]]
    for column, value in (
        ("water_g_per_100g", material.water_percent),
        ("sugars_g_per_100g", material.sugars_percent),
        ("fat_g_per_100g", material.fat_percent),
        ("alcohol_g_per_100g", material.alcohol_percent),
    ):
        assert value == (float(row[column]) if row[column] else None)
    if row["density_kind"] == "liquid":
        assert material.density_g_per_ml == float(row["density_g_per_ml"])
    elif row["g_per_cup"]:
        assert material.density_g_per_ml is None or material.group == "puree"
        assert material.bulk_density_g_per_ml == pytest.approx(float(row["density_g_per_ml"]), abs=2e-4)


@pytest.mark.parametrize(
    "row",
    [row for row in reference("fragrance_rules.csv") if row["topic"] == "limit" and row["category"] == "9"],
    ids=lambda row: row["subject"],
)
def test_limits_of_constituents_are_those_of_category_9(row: dict[str, str]) -> None:
    limit = find_constituent_limit(row["subject"])
    assert limit is not None
    assert (limit.percent_of_product, limit.obtained) == (float(row["value"]), row["obtained"])
    assert row["edition"].startswith(limit.edition)


def test_no_limit_stands_here_that_was_not_read() -> None:
    read = {row["subject"] for row in reference("fragrance_rules.csv") if row["topic"] == "limit"}
    assert {limit.names[0] for limit in CONSTITUENT_LIMITS} <= read
    assert find_constituent_limit("eugenol") is None


def test_allergens_are_named_above_the_threshold_for_what_is_rinsed_off() -> None:
    row = next(row for row in reference("fragrance_rules.csv") if row["rule_id"] == "eu-allergen-rinse-off")
    assert float(row["value"]) == ALLERGEN_NAMED_ABOVE_PERCENT


def test_the_half_width_of_a_single_value_is_the_usual_one_of_the_standards() -> None:
    half_widths = [
        (value.saponification_high - value.saponification_low) / (value.saponification_high + value.saponification_low)
        for value in read_published_values()
        if value.is_preferred
        and value.saponification_low is not None
        and value.saponification_high is not None
        and value.saponification_low < value.saponification_high
        and "Codex" in value.known.source
    ]
    assert 100 * median(half_widths) == pytest.approx(SINGLE_VALUE_HALF_WIDTH_PERCENT, abs=0.6)
