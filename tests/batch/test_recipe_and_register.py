"""A recipe is compared with the register before anything is weighed, and each fault points to its own line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formulary.batch.checks import check_recipe
from formulary.finding import Finding
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe
from tests.batch.recipes import PLAIN, weigh_out

REGISTER = read_builtin_register()
FULL = (
    PLAIN + "additions:\n  - {material: kaolin, rate: 2 % of oils, at: oils}\n"
    "scent:\n  - {material: lavender-oil, rate: 2 % of oils, at: trace}\n"
)


def faults(text: str, **changed: object) -> list[Finding]:
    """What is said of a recipe beside a register in which some materials are others, or None for those missing."""
    register = {name: REGISTER[name] for name in REGISTER}
    for slug, material in changed.items():
        register.pop(slug.replace("_", "-"))
        if material is not None:
            register[slug.replace("_", "-")] = material  # type: ignore[assignment]
    recipe, _ = parse_recipe(text, "full", "recipes/full.yaml", materials=REGISTER)
    assert recipe is not None
    return list(check_recipe(recipe, register))


@pytest.mark.parametrize(
    ("missing", "line"),
    [("olive_oil", 4), ("sunflower_oil", 6), ("sodium_hydroxide", 7), ("kaolin", 10), ("lavender_oil", 12)],
)
def test_a_material_that_is_gone_is_told_at_the_line_that_names_it(missing: str, line: int) -> None:
    (found,) = faults(FULL, **{missing: None})
    assert (found.severity.value, found.code, found.place.line) == ("error", "unknown-material", line)
    assert missing.replace("_", "-") in found.what


def test_a_recipe_that_fits_says_nothing() -> None:
    assert faults(FULL) == []


@pytest.mark.parametrize("changes", [{"alkali": None}, {"kind": REGISTER["salt"].kind}])
def test_what_is_no_hydroxide_is_no_alkali_whatever_it_is_called(changes: dict[str, object]) -> None:
    (found,) = faults(FULL, sodium_hydroxide=replace(REGISTER["sodium-hydroxide"], **changes))  # type: ignore[arg-type]
    assert (found.code, found.place.line) == ("not-an-alkali", 7)


def rates(*lines: str) -> str:
    return PLAIN + "additions:\n" + "".join(f"  - {{material: {line}}}\n" for line in lines)


def test_only_rates_of_the_batter_have_to_leave_room_for_it() -> None:
    assert faults(rates("kaolin, rate: 60 % of oils, at: oils", "salt, rate: 50 % of batter, at: trace")) == []
    (found,) = faults(rates("kaolin, rate: 30 % of batter, at: oils", "salt, rate: 20.1 % of batter, at: trace"))
    assert (found.code, "50.1 %" in found.what) == ("batter-rates", True)
    scent = "scent:\n  - {material: lavender-oil, rate: 1 % of batter, at: trace}\n"
    (found,) = faults(rates("kaolin, rate: 50 % of batter, at: oils") + scent)
    assert (found.code, "51 %" in found.what) == ("batter-rates", True)
    # a spoon has no percentage, and weighs little
    assert (
        faults(rates("kaolin, rate: 50 % of batter, at: oils", "rose-clay, rate: 1 tbsp per kg batter, at: oils")) == []
    )


def test_what_goes_in_early_and_late_may_be_divided_late_and_what_goes_in_early_alone_may_not() -> None:
    early = "  - {material: honey, rate: 1 % of oils, at: oils, water: extra}\n"
    late = early.replace("at: oils", "at: trace")
    halves = "portions:\n  - {name: a, share: 50, gets: {honey: 100}}\n  - {name: b, share: 50, gets: {honey: 0}}\n"
    assert faults(f"{PLAIN}additions:\n{early}{late}{halves}") == []
    assert faults(f"{PLAIN}additions:\n{late}{halves}") == []
    told = faults(f"{PLAIN}additions:\n{early}{halves}")
    assert [each.code for each in told] == ["divided-too-early"] * 2


def test_no_kind_of_material_stands_where_its_danger_is_not_looked_at() -> None:
    scent = "scent:\n  - {material: kaolin, rate: 1 % of oils, at: trace}\n"
    assert [each.code for each in faults(PLAIN + scent)] == ["not-a-scent"]
    assert [each.code for each in faults(rates("lavender-oil, rate: 1 % of oils, at: trace"))] == ["scent-addition"]
    assert [each.code for each in faults(rates("sodium-hydroxide, rate: 1 % of oils, at: trace"))] == [
        "alkali-addition"
    ]
    assert [each.code for each in faults(rates("citric-acid-anhydrous, rate: 1 tsp per kg oils, at: oils"))] == [
        "volume-refused"
    ]


def conflict_told(*fields: str) -> str:
    lines = "".join(f'  - "{field}: 5 here, 6 in the base"\n' for field in fields)
    (said,) = (each for each in weigh_out(f"{PLAIN}conflicts:\n{lines}").findings if each.code == "conflict-open")
    assert said.severity.value == "stop"
    return said.what


def test_open_conflicts_are_counted_and_up_to_six_of_them_named() -> None:
    assert conflict_told("superfat") == "a conflict is open: superfat"
    assert conflict_told("superfat", "water") == "2 conflicts are open: superfat, water"
    six = tuple(f"oil-{number}" for number in range(6))
    assert conflict_told(*six) == f"6 conflicts are open: {', '.join(six)}"
    assert conflict_told(*six, "oil-6") == f"7 conflicts are open: {', '.join(six)} and others"
