"""A plan and a batch as it was really made are judged alike, but for what only helps before the lye is mixed."""

from __future__ import annotations

import pytest

from formulary.batch.checks import check_pot
from formulary.batch.common_practice import read_common_practice
from formulary.batch.figures import work_out_pot
from formulary.batch.rescue import work_out_rescue
from formulary.finding import Finding, Severity
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.finding_cases import CASES, Case, added, plain, superfat
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN, weigh_out

# What is told of a plan alone: how to weigh and mix what is not mixed yet, what its file says, and common practice.
PLAN_ONLY = {
    *(
        "jug-strong",
        "conflict-open",
        "boiling-hot",
        "alkali-none",
        "scale-coarse",
        "oils-rounded",
        "weight-small",
        "assay-unknown",
    ),
    *("lye-crystallises", "oil-addition", "water-below-zero", "water-on-top", "milk-not-frozen", "beer-not-flat"),
    *(
        "pot-small",
        "jug-small",
        "size-unlikely",
        "label-duty",
        "inci-unknown",
        "inci-in-soap-unknown",
        "allergens-unknown",
        "saponification-low",
    ),
    *("lots-short", "lots-in-proportion"),
    *(row.code for row in read_common_practice()),
}
BEYOND_A_LIMIT = ("scent-limit", "scent-limit-dry", "scent-blend", "constituent-limit", "constituent-limit-dry")
# A lot is chosen for a plan; a trial names what it used in its own file, which tests/trials holds.
WORKED_OUT = [case for case in CASES if not case.finding.startswith("error") and case.triggers.made is None]


def as_made(kitchen: Kitchen) -> tuple[Finding, ...]:
    """What is said of the batch made exactly as planned."""
    return Kitchen(kitchen.recipe, kitchen.settings, kitchen.materials, kitchen.oils_g, kitchen.lots, made=()).find()


@pytest.mark.parametrize("case", WORKED_OUT, ids=lambda case: case.finding)
def test_a_batch_made_as_planned_is_told_what_its_plan_was_told(case: Case) -> None:
    # a negative superfat is what a plan states; the pot has an excess of lye
    found = [finding.code.replace("superfat-negative", "lye-excess") for finding in case.triggers.find()]
    planned = set(found) - PLAN_ONLY
    made = {finding.code for finding in as_made(case.triggers)} - PLAN_ONLY
    # water that is not known matters to its lye whether it was to replace any or not
    assert planned - {"water-unknown"} == made - {"water-unknown"}
    assert "water-unknown" in made or "water-unknown" not in planned


def test_what_was_never_planned_is_found_in_the_pot() -> None:
    for case in CASES:
        if case.triggers.made:
            assert case.finding in case.triggers.said()
            assert case.finding.split()[1] not in {finding.code for finding in as_made(Kitchen(case.triggers.recipe))}


@pytest.mark.parametrize("code", ["saponification-doubted", "assay-doubted"])
def test_a_doubted_value_is_told_of_a_batch_as_made(code: str) -> None:
    case = next(case for case in CASES if case.finding == f"warn {code}")
    assert code in {finding.code for finding in as_made(case.triggers)}


@pytest.mark.parametrize(
    ("percent", "code"), [("0.9 %", "superfat-low"), ("20.9", "superfat-high"), ("2", "superfat-band")]
)
def test_what_is_in_the_pot_is_not_told_to_be_weighed_otherwise(percent: str, code: str) -> None:
    kitchen = superfat(percent)
    (planned,) = (finding for finding in kitchen.find() if finding.code == code)
    (made,) = (finding for finding in as_made(kitchen) if finding.code == code)
    assert "the superfat" in planned.do
    assert "the superfat" not in made.do
    assert planned.what == made.what


def test_lye_excess_as_made_is_no_advice_to_change_the_recipe() -> None:
    kitchen = superfat("-0.1")
    (made,) = (finding for finding in as_made(kitchen) if finding.code == "lye-excess")
    assert "do not use it on skin" in made.do
    assert "discard it" in made.do


@pytest.mark.parametrize(
    "case", [case for case in WORKED_OUT if case.finding.split()[1] in BEYOND_A_LIMIT], ids=lambda case: case.finding
)
def test_a_scent_that_is_in_the_pot_is_only_told_to_be_lowered_the_next_time(case: Case) -> None:
    code = case.finding.split()[1]
    (planned, *_) = (finding for finding in case.triggers.find() if finding.code == code)
    (made, *_) = (finding for finding in as_made(case.triggers) if finding.code == code)
    assert made.what == planned.what
    assert made.do.endswith(f"next time {planned.do}")
    is_unlawful = planned.severity is Severity.STOP
    assert ("do not sell it nor use it on skin" in made.do) is is_unlawful


@pytest.mark.parametrize(
    "case", [case for case in WORKED_OUT if case.finding.endswith("-doubted")], ids=lambda case: case.finding
)
def test_a_doubt_about_a_value_is_not_told_to_be_settled_before_lye_that_is_weighed(case: Case) -> None:
    code = case.finding.split()[1]
    planned, made = (
        " ".join(finding.do for finding in found if finding.code == code)
        for found in (case.triggers.find(), as_made(case.triggers))
    )
    assert "before you weigh any lye" not in made
    assert ("before you weigh any lye" in planned) == ("before you weigh any more, or anyone uses the bars" in made)


def test_a_jug_that_does_not_dissolve_its_lye_gets_water_and_not_another_recipe() -> None:
    kitchen = plain(("lye_concentration: 33", "lye_concentration: 60"))
    (made,) = (finding for finding in as_made(kitchen) if finding.code == "jug-saturated")
    assert "stir more water in" in made.do


def test_a_rescue_tells_each_thing_once() -> None:
    register = read_builtin_register()
    batch = weigh_out(PLAIN.replace("lye_concentration: 33", "lye_concentration: 50"))
    settings = Settings()
    rescue = work_out_rescue(batch, {"sodium-hydroxide": batch.lye[0].grams * 1.2}, register, settings)
    told = [(finding.code, finding.what) for finding in rescue.findings]
    assert "jug-strong" in {code for code, _ in told}
    assert len(told) == len(set(told))


def test_milk_that_was_frozen_or_not_is_no_matter_once_it_is_in() -> None:
    kitchen = added("oat-milk", 10, "lye water", water="replaces")
    assert "milk-not-frozen" not in {finding.code for finding in as_made(kitchen)}
    assert "warn milk-not-frozen" in kitchen.said()


def test_the_place_of_a_planned_line_is_told_and_an_unknown_place_is_none() -> None:
    register = read_builtin_register()
    batch = weigh_out(PLAIN)
    figures = work_out_pot(batch.pot, register, Settings())
    for finding in check_pot(batch.pot, figures, register, "skin", alkali_step_g=0.1):
        assert finding.place.line is None
    negative = superfat("1.9")
    (low,) = (finding for finding in negative.find() if finding.code == "superfat-low")
    assert low.place.line == 7
