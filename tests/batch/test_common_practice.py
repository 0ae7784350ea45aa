"""Checks of common practice: each row triggers beyond its bound, not at it, can be switched off, and never stops.

The bounds are common practice, no source.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from formulary.batch.common_practice import (
    CommonPractice,
    Measured,
    check_common_practice,
    read_common_practice,
)
from formulary.finding import Severity
from tests.batch.finding_cases import PRACTICE, Case
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN, codes, weigh_out

TABLE = read_common_practice()


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
    assert "{value}" in row.sentence or "{written}" in row.sentence


@pytest.mark.parametrize("row", [row for row in TABLE if row.only_when], ids=lambda row: row.code)
def test_a_condition_that_does_not_hold_silences_its_row(row: CommonPractice) -> None:
    for bound, side, _ in bounds(row):
        quantities = {row.quantity: Measured(bound + side, ("oils",))}
        assert row.code not in {finding.code for finding in check_common_practice(quantities, ())}


@pytest.mark.parametrize("case", PRACTICE, ids=lambda case: case.finding)
def test_a_check_that_is_switched_off_says_nothing(case: Case) -> None:
    code = case.finding.split()[1]
    assert case.finding in case.triggers.said()
    off = replace(case.triggers, settings=f"format: 1\nchecks: {{off: [{code}]}}\n")
    assert case.triggers.said() - off.said() == {case.finding}


def test_acids_are_added_up_over_what_meets_the_lye() -> None:
    def told(*lines: str) -> set[str]:
        found = weigh_out(PLAIN + "additions:\n" + "".join(f"  - {{{line}}}\n" for line in lines))
        return {f"{finding.severity.value} {finding.code}" for finding in found.findings} & {
            "note acid-much",
            "warn acid-much",
        }

    citric = "material: citric-acid-anhydrous, rate: {} % of oils, at: {}"
    lactic = "material: lactic-acid-88, rate: {} % of oils, at: oils, water: replaces"
    assert told(citric.format(2, "oils")) == set()
    # 2 % and 88 % of 2 %: 3.76 %
    assert told(citric.format(2, "oils"), lactic.format(2)) == {"note acid-much"}
    assert told(citric.format(20, "lye water")) == {"warn acid-much"}
    assert told(citric.format(20, "top")) == set()
    # half the lye's water as lemon juice of 5.5 % acid is no slip
    assert told("material: lemon-juice, rate: 15 % of oils, at: lye water, water: replaces") == set()


def test_a_finding_names_the_place_in_the_recipe() -> None:
    honey = "additions: [{material: honey, rate: 6 % of oils, at: trace, water: replaces}]\n"
    batch = weigh_out(PLAIN + honey)
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
    assert warned <= 4


def test_a_bound_is_passed_by_more_than_a_rounding_of_the_last_digit() -> None:
    for bound in (0.0, 1.0, 40.0):
        slack = 1e-9 * max(1.0, bound)
        row = TABLE[0]._replace(note_below=bound, note_above=bound, warn_below=bound, warn_above=bound)
        for part, is_beyond in ((0.0, False), (0.5, False), (1.5, True), (2.5, True)):
            for side in (-1, 1):
                assert row.is_noted(bound + side * part * slack) == is_beyond
                assert row.is_warned_of(bound + side * part * slack) == is_beyond
    at_zero = TABLE[0]._replace(note_below=0.0, note_above=0.0)
    assert not at_zero.is_noted(1e-9)
    assert not at_zero.is_noted(-1e-9)


@pytest.mark.parametrize(("value", "told"), [(15.14, "15.1 %"), (15.16, "15.2 %"), (16.0, "16 %"), (15.96, "16 %")])
def test_a_value_is_told_to_a_tenth(value: float, told: str) -> None:
    (row,) = (row for row in TABLE if row.code == "castor-much")
    found = check_common_practice({row.quantity: Measured(value, ("oils",))}, ())
    assert f"is {told} of the oils" in next(finding.what for finding in found if finding.code == row.code)


def test_a_temperature_is_answered_in_the_unit_that_was_written() -> None:
    hot = Kitchen(PLAIN + "process: {oil_temperature: 200 °F}\n").find()
    (told,) = [finding for finding in hot if finding.code == "oils-hot"]
    # 200 °F = (200 - 32) / 1.8 °C, by the definition of the scale
    assert "200 °F (93.3 °C)" in told.what
