"""What is said of alkali, jug, water and small weights, from pots in round grams, at each bound and just beside it.

Solubility at 20 °C in 100 g of water: 109 g of sodium hydroxide, 112 g of potassium hydroxide (Seidell, Solubilities,
from memory). Every material is invented.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.batch.lye_checks import (
    check_alkali_weights,
    check_jug,
    check_oils_added,
    check_small_weights,
    check_strong_jug,
    check_water,
    check_water_as_made,
)
from formulary.batch.model import Pot, PotLine, WeighedAlkali
from formulary.chemistry.alkali import Alkali
from formulary.chemistry.heat import may_boil
from formulary.finding import Finding, Place
from formulary.materials.model import Known, Material, MaterialKind, ValueRange
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.finding_cases import added, addition, plain, scented

KNOWN = Known("maker", "invented for this test")
SODIUM, POTASSIUM = Alkali.SODIUM_HYDROXIDE, Alkali.POTASSIUM_HYDROXIDE


def alkali(slug: str, which: Alkali, percent: float = 100.0, **more: object) -> Material:
    stated = ValueRange(percent - 3.0, percent + 2.0, percent, KNOWN)
    return Material(slug, slug, MaterialKind.ALKALI, alkali=which, assay_percent=stated, **more)  # type: ignore[arg-type]


MATERIALS = {
    each.slug: each
    for each in (
        alkali("soda", SODIUM),
        alkali("weak-soda", SODIUM, 50.0),
        alkali("potash", POTASSIUM),
        alkali("ready-made", SODIUM, 50.0, group="lye-solution", water_percent=50.0),
        alkali("ready-made-45", SODIUM, 45.0, group="lye-solution", water_percent=55.0),
        alkali("ready-made-44", SODIUM, 44.9, group="lye-solution", water_percent=55.1),
        alkali("ready-made-potash", POTASSIUM, 50.0, group="lye-solution", water_percent=50.0),
        Material("water", "Water", MaterialKind.LIQUID, water_percent=100.0),
        Material("half", "Half water", MaterialKind.LIQUID, water_percent=50.0),
        Material("unknown", "Unknown", MaterialKind.LIQUID),
        Material("clay", "Clay", MaterialKind.COLOURANT),
        Material("rose-scent", "Rose", MaterialKind.FRAGRANCE),
        Material("oil", "Oil", MaterialKind.OIL),
    )
}


def line(name: str, role: str, grams: float, at: str = "lye water", water: str | None = None) -> PotLine:
    return PotLine(name, role, at, grams, water=water)


SODA = line("soda", "alkali", 109.0)


def nowhere(*_parts: str) -> Place:
    return Place()


def jug(*lines: PotLine, is_planned: bool = True) -> list[Finding]:
    found = [*check_jug(Pot(lines), MATERIALS, nowhere, is_planned=is_planned)]
    return [*found, *check_strong_jug(Pot(lines), MATERIALS, nowhere)]


def codes(findings: Iterable[Finding]) -> list[str]:
    return [finding.code for finding in findings]


@pytest.mark.parametrize(
    ("lines", "is_full"),
    [
        ([SODA, line("water", "water", 100.0)], False),
        ([line("soda", "alkali", 109.1), line("water", "water", 100.0)], True),
        ([line("potash", "alkali", 112.0), line("water", "water", 100.0)], False),
        ([line("potash", "alkali", 112.1), line("water", "water", 100.0)], True),
        # only what is pure counts, over all lines of an alkali
        ([line("weak-soda", "alkali", 218.0), line("water", "water", 100.0)], False),
        ([line("weak-soda", "alkali", 218.2), line("water", "water", 100.0)], True),
        ([line("soda", "alkali", 54.0), line("weak-soda", "alkali", 110.0), line("water", "water", 100.0)], False),
        ([line("soda", "alkali", 55.0), line("weak-soda", "alkali", 110.0), line("water", "water", 100.0)], True),
        # two alkalis share the water
        ([line("soda", "alkali", 54.5), line("potash", "alkali", 56.0), line("water", "water", 100.0)], False),
        ([line("soda", "alkali", 54.6), line("potash", "alkali", 56.1), line("water", "water", 100.0)], True),
        # the water of what is in the jug counts, and nothing that comes later
        ([SODA, line("water", "water", 50.0), line("half", "addition", 100.0)], False),
        ([SODA, line("water", "water", 50.0), line("half", "addition", 100.0, "oils")], True),
        ([line("ready-made", "alkali", 100.0), line("water", "water", 0.0)], False),
        ([line("soda", "alkali", 1.0), line("water", "water", 0.0)], True),
        ([line("soda", "alkali", 1.0), line("water", "water", -5.0)], True),
        ([line("soda", "alkali", 0.0), line("water", "water", 0.0)], False),
        ([line("water", "water", 10.0)], False),
    ],
)
def test_a_jug_that_cannot_dissolve_its_alkali_is_stopped(lines: list[PotLine], *, is_full: bool) -> None:
    assert ("jug-saturated" in codes(jug(*lines))) == is_full
    assert ("jug-saturated" in codes(jug(*lines, is_planned=False))) == is_full


@pytest.mark.parametrize(
    ("lines", "is_strong"),
    [
        ([line("soda", "alkali", 38.0), line("water", "water", 62.0)], False),
        ([line("soda", "alkali", 38.1), line("water", "water", 61.9)], True),
        ([line("weak-soda", "alkali", 76.2), line("water", "water", 61.9)], True),
        ([line("soda", "alkali", 20.0), line("weak-soda", "alkali", 36.2), line("water", "water", 61.9)], True),
        # a ready-made lye gave off its heat when it was made
        ([line("ready-made", "alkali", 100.0), line("water", "water", 10.0)], False),
        # half of it solid, half ready-made: the solid half still warms all of the water
        ([line("soda", "alkali", 60.0), line("ready-made", "alkali", 60.0), line("water", "water", 60.0)], True),
        ([line("soda", "alkali", 1.0), line("ready-made", "alkali", 100.0), line("water", "water", 5.0)], False),
    ],
)
def test_a_strong_jug_of_solid_alkali_is_noted(lines: list[PotLine], *, is_strong: bool) -> None:
    assert codes(jug(*lines)) == (["jug-strong"] if is_strong else [])


@pytest.mark.parametrize("grams", [109.0, 1.09, 0.5])
def test_a_jug_that_is_just_full_is_strong_whatever_its_size(grams: float) -> None:
    assert codes(jug(line("soda", "alkali", grams), line("water", "water", grams * 100 / 109))) == ["jug-strong"]


def test_a_full_jug_tells_its_strength() -> None:
    (full,) = jug(line("soda", "alkali", 120.0), line("water", "water", 80.0))
    assert "would hold 60.0 % lye" in full.what
    (strong,) = jug(line("soda", "alkali", 45.0), line("water", "water", 55.0))
    assert "(45.0 %)" in strong.what
    (dry,) = jug(line("soda", "alkali", 120.0), line("water", "water", -30.0))
    assert "would hold 100.0 % lye" in dry.what


# 109 g of pure soda need 100 g of water, 112 g of potash another 100 g
@pytest.mark.parametrize(
    ("lines", "most", "is_replaced"),
    [
        ([SODA, line("water", "water", 90.0)], 100 * 109 / 209, False),
        ([line("weak-soda", "alkali", 218.0), line("water", "water", 90.0)], 100 * 109 / 209, False),
        (
            [SODA, line("potash", "alkali", 112.0), line("water", "water", 90.0)],
            100 * 221 / 421,
            False,
        ),
        # 80 g of milk at the oils take 40 g from the jug: 140 g must be stated for 100 g to stay in it
        (
            [
                SODA,
                line("water", "water", 60.0),
                line("half", "addition", 80.0, "oils", "replaces"),
            ],
            100 * 109 / 249,
            True,
        ),
        (
            [
                SODA,
                line("water", "water", 59.0),
                line("half", "addition", 80.0, "oils", "replaces"),
            ],
            100 * 109 / 249,
            False,
        ),
        # what is in the jug already replaces nothing that is not there
        (
            [
                SODA,
                line("water", "water", 50.0),
                line("half", "addition", 80.0, water="replaces"),
            ],
            100 * 109 / 209,
            False,
        ),
        # 80 g of extra milk in the jug bring 40 g beside what is stated
        (
            [
                SODA,
                line("water", "water", 50.0),
                line("half", "addition", 80.0, water="extra"),
            ],
            100 * 109 / 169,
            False,
        ),
        (
            [
                SODA,
                line("water", "water", 90.0),
                line("half", "addition", 80.0, "oils", "extra"),
            ],
            100 * 109 / 209,
            False,
        ),
        (
            [
                SODA,
                line("water", "water", 20.0),
                line("half", "addition", 80.0, "oils", "replaces"),
                line("half", "addition", 100.0, "trace", "replaces"),
                line("half", "addition", 40.0, water="extra"),
                line("half", "addition", 20.0, water="extra"),
            ],
            100 * 109 / (109 + 100 + 90 - 30),
            True,
        ),
    ],
)
def test_the_concentration_to_state_leaves_enough_water_in_the_jug(
    lines: list[PotLine], most: float, *, is_replaced: bool
) -> None:
    (full,) = jug(*lines)
    stated = re.search(r"state a lye concentration of ([0-9.]+) % or less$", full.do)
    assert stated is not None
    assert float(stated.group(1)) <= most < float(stated.group(1)) + 0.1
    assert full.do.startswith("add at `lye water`") == is_replaced


def weights(*lye: WeighedAlkali, step: str = "0.1") -> list[Finding]:
    settings = Settings(alkali_step_g=Decimal(step))
    return list(check_alkali_weights(lye, MATERIALS, settings, nowhere))


def weighed(name: str, grams: float, percent: float = 100.0) -> WeighedAlkali:
    return WeighedAlkali(name, grams, grams * percent / 100, percent)


def test_what_crystallises_is_a_strong_ready_made_sodium_lye() -> None:
    for name, percent, is_so in (
        ("ready-made", 50.0, True),
        ("ready-made-45", 45.0, True),
        ("ready-made-44", 44.9, False),
        ("ready-made-potash", 50.0, False),
        ("weak-soda", 50.0, False),
    ):
        assert codes(weights(weighed(name, 100.0, percent))) == (["lye-crystallises"] if is_so else [])


@pytest.mark.parametrize(
    ("grams", "step", "do"),
    [
        (20.0, "0.1", None),
        (19.9, "0.1", "use a scale that shows 0.01 g (and set `alkali_step`), or make 1.1 times as much"),
        (6.0, "0.1", "use a scale that shows 0.01 g (and set `alkali_step`), or make 3.4 times as much"),
        (6.0, "1", "use a scale that shows 0.01 g (and set `alkali_step`), or make 33.7 times as much"),
        (199.0, "1", "use a scale that shows 0.1 g (and set `alkali_step`), or make 1.1 times as much"),
        (200.0, "1", None),
        (20.0, "1", "use a scale that shows 0.1 g (and set `alkali_step`), or make 10.1 times as much"),
        # a hundredth more than it takes, since the alkali of another size is rounded down otherwise
        (2.019, "0.1", "use a scale that shows 0.01 g (and set `alkali_step`), or make 10.1 times as much"),
        (2.021, "0.1", "use a scale that shows 0.01 g (and set `alkali_step`), or make 10 times as much"),
        (0.5, "0.1", "use a scale that shows 0.001 g (and set `alkali_step`), or make 40.4 times as much"),
    ],
)
def test_a_coarse_scale_says_how_fine_and_how_much_larger(grams: float, step: str, do: str | None) -> None:
    found = weights(weighed("soda", grams), step=step)
    assert [finding.do for finding in found if finding.code == "scale-coarse"] == ([] if do is None else [do])


def test_a_coarse_scale_says_how_coarse() -> None:
    (coarse,) = weights(weighed("soda", 0.54))
    assert coarse.what == "the scale's step of 0.1 g is 18.5 % of the 0.5 g of soda"


def test_nothing_to_weigh_is_a_stop_and_no_coarse_scale() -> None:
    (alone,) = weights(weighed("soda", 0.0))
    assert alone.code == "alkali-none"
    assert alone.do == "make a larger batch, or set a finer `alkali_step`"
    (beside,) = weights(weighed("soda", 0.0), weighed("potash", 50.0))
    assert beside.do.startswith("leave soda out of `alkali`")
    assert weights(weighed("soda", 0.0), weighed("potash", 0.5))[0].do.startswith("leave soda out of `alkali`")
    assert codes(weights(weighed("soda", 0.0), weighed("potash", 0.0))) == ["alkali-none"] * 2
    assert "leave" not in weights(weighed("soda", 0.0), weighed("potash", 0.0))[0].do
    assert codes(weights(weighed("soda", 0.05))) == ["scale-coarse"]


def test_an_unknown_assay_names_the_file_that_is_the_makers() -> None:
    builtin = read_builtin_register()["sodium-hydroxide"]
    for material, do in (
        (builtin, "formulary materials add sodium-hydroxide --set assay"),
        (replace(builtin, builtin=False), "set `assay` in materials/sodium-hydroxide.yaml"),
    ):
        lye = [weighed("sodium-hydroxide", 100.0)]
        (unknown,) = check_alkali_weights(lye, {"sodium-hydroxide": material}, Settings(), nowhere)
        assert unknown.code == "assay-unknown"
        assert unknown.do.startswith(do)


def small(*lines: PotLine, recipe: str = "", step: str = "1") -> list[Finding]:
    kitchen = plain(more=recipe)
    return list(check_small_weights(Pot(lines), kitchen.read_recipe(), Settings(scale_step_g=Decimal(step))))


def test_small_weights_are_those_below_ten_steps() -> None:
    assert small(line("clay", "addition", 10.0)) == []
    (note,) = small(line("clay", "addition", 9.9), line("rose-scent", "scent", 3.0), line("oil", "oil", 2.0))
    assert "clay 9.9 g, rose scent 3.0 g" in note.what
    assert "oil" not in note.what
    assert note.do == "weigh on a scale that shows 0.1 g (and set `scale: {step: 0.1 g}`)"
    # over all portions and stages
    assert small(line("clay", "addition", 6.0), line("clay", "addition", 4.0, "top")) == []
    assert small(line("clay", "addition", 0.0)) == []
    assert small(line("clay", "addition", 0.5), step="0.1")[0].do.startswith("weigh on a scale that shows 0.01 g")
    assert small(line("clay", "addition", 1.0), line("rose-scent", "scent", 9.0))[0].do.count("0.1 g") == 2


def test_spoons_are_no_matter_of_the_scale() -> None:
    spoon = addition("rose-clay", "1 tsp per kg oils")
    assert small(line("rose-clay", "addition", 3.0), recipe=spoon) == []
    by_mass = addition("rose-clay", "3 g per kg oils")
    both = small(line("rose-clay", "addition", 3.0), recipe=by_mass)
    assert both[0].do.endswith("or write the rate in spoons")
    with_scent = by_mass + scented(("lavender-oil", 0.3))
    mixed = small(line("rose-clay", "addition", 3.0), line("lavender-oil", "scent", 3.0), recipe=with_scent)
    assert "spoons" not in mixed[0].do


def test_water_below_nothing() -> None:
    recipe = plain().read_recipe()
    for grams, is_below in ((0.0, False), (-1e-12, False), (-1e-9, False), (-1e-6, True), (-20.4, True), (5.0, False)):
        found = list(check_water(Pot((line("water", "water", grams),)), recipe, MATERIALS))
        assert codes(found) == (["water-below-zero"] if is_below else [])
    (below,) = check_water(Pot((line("water", "water", -20.4),)), recipe, MATERIALS)
    assert "bring 20 g more water" in below.what


def test_water_that_is_not_known_is_asked_for_where_it_counts() -> None:
    pot = Pot((line("water", "water", 100.0),))
    for says, is_told in (("replaces", True), ("extra", False)):
        recipe = added("oat-milk", 5, "oils", water=says).read_recipe()
        for percent, code in ((None, ["water-unknown"] if is_told else []), (0.0, []), (90.0, [])):
            milk = replace(MATERIALS["unknown"], water_percent=percent)
            assert codes(check_water(pot, recipe, {"oat-milk": milk})) == code
    for made, told in (
        (line("unknown", "addition", 5.0, water="extra"), ["water-unknown"]),
        (line("unknown", "addition", 5.0, water="replaces"), ["water-unknown"]),
        (line("unknown", "addition", 5.0), []),
        (line("half", "addition", 5.0, water="extra"), []),
        (line("unknown", "scent", 5.0, water="extra"), []),
    ):
        assert codes(check_water_as_made(Pot((made, made)), MATERIALS, nowhere)) == told


def test_oils_among_the_additions_are_noted_unless_they_lie_on_top() -> None:
    for name, kind, at, is_told in (
        ("oil", MaterialKind.OIL, "trace", True),
        ("wax", MaterialKind.WAX, "oils", True),
        ("acid", MaterialKind.FATTY_ACID, "oils", True),
        ("oil", MaterialKind.OIL, "top", False),
        ("clay", MaterialKind.COLOURANT, "trace", False),
    ):
        recipe = added("rose-clay", 1, at).read_recipe()
        found = check_oils_added(recipe, {"rose-clay": Material(name, name, kind)})
        assert codes(found) == (["oil-addition"] if is_told else [])


def test_only_what_is_solid_warms_the_jug_up() -> None:
    # 200 g of ready-made lye hold 100 g of water; the bound of the warm-up is that of `heat.may_boil`
    def solid_enough_g(low_g: float, high_g: float) -> float:
        middle_g = (low_g + high_g) / 2
        if high_g - low_g < 1e-6:
            return middle_g
        boils = may_boil({SODIUM: middle_g}, 200.0)
        return solid_enough_g(low_g, middle_g) if boils else solid_enough_g(middle_g, high_g)

    enough_g = solid_enough_g(1.0, 200.0)
    for over_g in (-0.3, 0.3):
        for solids in (
            [line("soda", "alkali", enough_g + over_g)],
            [line("weak-soda", "alkali", 2 * (enough_g + over_g))],
            [line("soda", "alkali", 10.0), line("weak-soda", "alkali", 2 * (enough_g + over_g - 10))],
        ):
            told = jug(*solids, line("ready-made", "alkali", 200.0), line("water", "water", 100.0))
            assert codes(told) == (["jug-strong"] if over_g > 0 else [])
