"""Checks of common practice: each row triggers beyond its bound, not at it, can be switched off, and never stops.

The bounds are common practice, no source.
"""

from __future__ import annotations

import random

import pytest

from formulary.batch.common_practice import (
    CommonPractice,
    Measured,
    check_common_practice,
    read_common_practice,
)
from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Severity
from formulary.materials.model import Material, MaterialKind
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, codes, weigh_out

TABLE = read_common_practice()
CODES = {row.code for row in TABLE}
VANILLA = Material("vanilla-scent", "Vanilla scent", MaterialKind.FRAGRANCE, vanillin_percent=8.0, water_percent=0.0)
REGISTER = Register([*read_builtin_register().values(), VANILLA])


def bounds(row: CommonPractice) -> list[tuple[float, int, Severity]]:
    """Each bound, which side of it is beyond, and what is told there."""
    found = [
        (row.note_below, -1, Severity.NOTE),
        (row.note_above, 1, Severity.NOTE),
        (row.warn_below, -1, Severity.WARN),
        (row.warn_above, 1, Severity.WARN),
    ]
    return [(bound, side, severity) for bound, side, severity in found if bound is not None]


def told(row: CommonPractice, value: float, *, off: tuple[str, ...] = ()) -> list[Severity]:
    findings = check_common_practice({row.quantity: Measured(value, ("oils",), "x")}, {row.only_when}, off=off)
    return [finding.severity for finding in findings if finding.code == row.code]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.code)
def test_a_row_speaks_beyond_its_bound_and_not_at_it(row: CommonPractice) -> None:
    assert bounds(row)
    for bound, side, severity in bounds(row):
        assert severity in told(row, bound + side * 0.01)
        assert severity not in told(row, bound)
        assert told(row, bound + side * 0.01, off=(row.code,)) == []


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.code)
def test_a_row_says_what_and_what_to_do_and_that_it_is_practice(row: CommonPractice) -> None:
    assert row.source == "common practice, no source"
    assert row.do
    assert "{value}" in row.sentence


@pytest.mark.parametrize("row", [row for row in TABLE if row.only_when], ids=lambda row: row.code)
def test_a_condition_that_does_not_hold_silences_its_row(row: CommonPractice) -> None:
    for bound, side, _ in bounds(row):
        quantities = {row.quantity: Measured(bound + side, ("oils",))}
        assert row.code not in {finding.code for finding in check_common_practice(quantities, ())}


def addition(material: str, rate: str, at: str = "trace", more: str = "") -> str:
    return f"additions: [{{material: {material}, rate: {rate}, at: {at}{more}}}]\n"


WET = ", water: replaces"
# code: the plain bar changed so that it triggers, and changed a little less so that it does not
RECIPES = {
    "castor-much": (
        PLAIN.replace("sunflower-oil: 15", "castor-oil: 15.1").replace("olive-oil: 60", "olive-oil: 59.9"),
        PLAIN.replace("sunflower-oil: 15", "castor-oil: 15"),
    ),
    "lauric-drying": (
        PLAIN.replace("coconut-oil: 25", "coconut-oil: 21\n  palm-kernel-oil: 20").replace(
            "olive-oil: 60", "olive-oil: 44"
        ),
        PLAIN.replace("coconut-oil: 25", "coconut-oil: 40").replace("olive-oil: 60", "olive-oil: 45"),
    ),
    "polyunsaturated-much": (
        PLAIN.replace("olive-oil: 60", "olive-oil: 50").replace("sunflower-oil: 15", "sunflower-oil: 25"),
        PLAIN,
    ),
    "beeswax-much": (
        PLAIN.replace("sunflower-oil: 15", "beeswax: 5\n  sunflower-oil: 10"),
        PLAIN.replace("sunflower-oil: 15", "beeswax: 4\n  sunflower-oil: 11"),
    ),
    "stearic-much": (
        PLAIN.replace("sunflower-oil: 15", "stearic-acid: 9\n  sunflower-oil: 6"),
        PLAIN.replace("sunflower-oil: 15", "stearic-acid: 8\n  sunflower-oil: 7"),
    ),
    "lye-weak": (
        PLAIN.replace("lye_concentration: 33", "lye_concentration: 24.9"),
        PLAIN.replace("lye_concentration: 33", "lye_concentration: 25"),
    ),
    "lye-strong": (
        PLAIN.replace("lye_concentration: 33", "lye_concentration: 40.1"),
        PLAIN.replace("lye_concentration: 33", "lye_concentration: 40"),
    ),
    "scent-much": (
        PLAIN + "scent: [{material: cedarwood-oil, rate: 5.1 % of oils, at: trace}]\n",
        PLAIN + "scent: [{material: cedarwood-oil, rate: 5 % of oils, at: trace}]\n",
    ),
    "spice-oil-much": (
        PLAIN + "scent: [{material: clove-bud-oil, rate: 1.6 % of oils, at: trace}]\n",
        PLAIN + "scent: [{material: clove-bud-oil, rate: 1.5 % of oils, at: trace}]\n",
    ),
    "sugars-insulated": (
        PLAIN + addition("sugar", "2.6 % of oils") + "process: {cover: insulated}\n",
        PLAIN + addition("sugar", "2.6 % of oils") + "process: {cover: open}\n",
    ),
    "sugars-much": (PLAIN + addition("sugar", "4.6 % of oils"), PLAIN + addition("sugar", "4.5 % of oils")),
    "honey-much": (
        PLAIN + addition("honey", "3.1 % of oils", more=WET),
        PLAIN + addition("honey", "3 % of oils", more=WET),
    ),
    "puree-much": (
        PLAIN + addition("carrot-puree", "21 % of oils", more=WET),
        PLAIN + addition("carrot-puree", "20 % of oils", more=WET),
    ),
    "clay-much": (PLAIN + addition("kaolin", "5.1 % of oils"), PLAIN + addition("kaolin", "5 % of oils")),
    "white-pigment-much": (
        PLAIN + addition("titanium-dioxide", "1.6 % of oils"),
        PLAIN + addition("titanium-dioxide", "1.5 % of oils"),
    ),
    "mica-much": (PLAIN + addition("mica", "3.1 % of oils"), PLAIN + addition("mica", "3 % of oils")),
    "lactate-much": (
        PLAIN + addition("sodium-lactate-60", "4.1 % of oils", more=WET),
        PLAIN + addition("sodium-lactate-60", "4 % of oils", more=WET),
    ),
    "brine-strong": (
        PLAIN + addition("salt", "10 % of oils", "lye water"),
        PLAIN + addition("salt", "10 % of oils", "trace"),
    ),
    "oils-too-cool": (
        PLAIN.replace("sunflower-oil: 15", "beef-tallow: 15") + "process: {oil_temperature: 40 °C}\n",
        PLAIN.replace("sunflower-oil: 15", "beef-tallow: 15") + "process: {oil_temperature: 45 °C}\n",
    ),
    "beeswax-too-cool": (
        PLAIN.replace("sunflower-oil: 15", "beeswax: 2\n  sunflower-oil: 13") + "process: {oil_temperature: 55 °C}\n",
        PLAIN.replace("sunflower-oil: 15", "beeswax: 2\n  sunflower-oil: 13") + "process: {oil_temperature: 60 °C}\n",
    ),
    "lye-hot": (
        PLAIN + "process: {lye_temperature: 51 °C}\n",
        PLAIN + "process: {lye_temperature: 50 °C}\n",
    ),
    "oils-hot": (
        PLAIN + "process: {oil_temperature: 71 °C}\n",
        PLAIN + "process: {oil_temperature: 70 °C}\n",
    ),
    "vanillin-browns": (
        PLAIN
        + addition("titanium-dioxide", "0.5 % of oils")
        + "scent: [{material: vanilla-scent, rate: 2 % of oils, at: trace}]\n",
        PLAIN + "scent: [{material: vanilla-scent, rate: 2 % of oils, at: trace}]\n",
    ),
    "cure-short": (PLAIN + "process: {cure: 3 weeks}\n", PLAIN + "process: {cure: 4 weeks}\n"),
}


def practice_codes(text: str, settings: Settings | None = None) -> set[str]:
    recipe, findings = parse_recipe(text, "plain", "recipes/plain.yaml", materials=REGISTER)
    assert recipe is not None, [str(finding) for finding in findings]
    batch = work_out_batch(recipe, REGISTER, settings, oil_mass_g=1000.0)
    return {finding.code for finding in batch.findings} & CODES


def test_every_row_has_its_recipes() -> None:
    assert set(RECIPES) == CODES


@pytest.mark.parametrize("code", RECIPES)
def test_a_recipe_triggers_its_row_and_its_neighbour_does_not(code: str) -> None:
    triggers, neighbour = RECIPES[code]
    assert code in practice_codes(triggers)
    assert code not in practice_codes(neighbour)
    assert code not in practice_codes(triggers, Settings(checks_off=(code,)))


def test_a_finding_names_the_place_in_the_recipe() -> None:
    batch = weigh_out(PLAIN + addition("honey", "6 % of oils", more=WET))
    found = next(finding for finding in batch.findings if finding.code == "honey-much")
    assert found.severity is Severity.WARN
    assert found.place.line is not None
    assert found.place.field is not None
    assert "honey" in found.place.field


def ordinary_recipe(random_: random.Random) -> str:
    """A recipe in the proportions of the trade: soft oils, a lauric oil, a hard fat, a little castor, a few extras."""
    lauric, castor = random_.randint(15, 30), random_.choice([0, 0, 4, 5, 8])
    hard = random_.choice([0, 10, 15, 20, 25])
    soft = 100 - lauric - castor - hard
    second = random_.randint(0, min(15, soft // 3))
    oils = {
        random_.choice(["olive-oil", "high-oleic-sunflower-oil"]): soft - second,
        random_.choice(["coconut-oil", "palm-kernel-oil", "babassu-oil"]): lauric,
        random_.choice(["palm-oil", "lard", "shea-butter", "cocoa-butter"]): hard,
        random_.choice(["rice-bran-oil", "sunflower-oil", "sweet-almond-oil", "rapeseed-oil", "avocado-oil"]): second,
        "castor-oil": castor,
    }
    lines = "".join(f"  {name}: {percent}\n" for name, percent in oils.items() if percent)
    extras = []
    if random_.random() < 0.5:
        clay = random_.choice(["kaolin", "rose-clay", "french-green-clay", "sea-clay"])
        extras.append(f"  - {{material: {clay}, rate: {random_.randint(1, 3)} % of oils, at: oils}}\n")
    if random_.random() < 0.4:
        milk = random_.choice(["oat-milk", "goat-milk", "coconut-milk", "cucumber-puree", "carrot-puree"])
        extras.append(
            f"  - {{material: {milk}, rate: {random_.randint(5, 12)} % of oils, at: oils, water: replaces}}\n"
        )
    if random_.random() < 0.3:
        extras.append("  - {material: honey, rate: 1.5 % of oils, at: trace, water: extra}\n")
    scent = ""
    if random_.random() < 0.7:
        oil = random_.choice(["lavender-oil", "peppermint-oil", "sweet-orange-oil", "cedarwood-oil"])
        scent = f"scent: [{{material: {oil}, rate: {random_.choice([1.5, 2, 2.5, 3])} % of oils, at: trace}}]\n"
    return (
        f"format: 1\nname: Ordinary\noils:\n{lines}"
        f"lye: {{alkali: sodium-hydroxide, superfat: {random_.choice([5, 5, 6, 7, 8])}}}\n"
        f"water: {{lye_concentration: {random_.choice([28, 30, 31, 33, 33, 35])}}}\n"
        + (f"additions:\n{''.join(extras)}" if extras else "")
        + scent
        + "process: {lye_temperature: 38 °C, oil_temperature: 42 °C, cover: covered}\n"
    )


def test_two_hundred_ordinary_recipes_raise_no_stop_and_few_warnings() -> None:
    random_ = random.Random(20261125)
    warned = 0
    for _ in range(200):
        batch = weigh_out(ordinary_recipe(random_))
        assert codes(batch, "stop") == set()
        # no built-in scent has a limit, so that each says so; that is no matter of common practice
        warned += len(codes(batch, "warn") - {"scent-limit-unknown"})
    assert warned <= 10
