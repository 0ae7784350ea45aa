"""A frozen plan reads back as the same plan, whatever the recipe's text looks like, and an altered one is noticed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.laws.strategies import words, written_recipes
from tests.trials.examples import MIDWINTER_CLOVE, plan_of, version_of
from trials.trial.plan import make_plan, parse_plan, render_plan


@settings(max_examples=20)
@given(written_recipes(), st.sampled_from([1000.0, 333.3, 1234.567]), st.none() | words())
def test_what_was_frozen_reads_back_as_the_same_plan(
    written: tuple[Recipe, str], oil_mass_g: float, label: str | None
) -> None:
    recipe, text = written
    version = Version(recipe=version_of(text, recipe.slug).recipe, text=text, is_saved=True, label=label)
    try:
        batch = work_out_batch(version, read_builtin_register(), oil_mass_g=oil_mass_g)
    except InputError:
        assume(False)
    assume(batch.pot.grams("water") >= 0)  # water below nothing is stopped before a trial is started
    plan = make_plan(version, batch, read_builtin_register(), Settings())
    frozen = render_plan(plan)
    assert frozen == render_plan(make_plan(version, batch, read_builtin_register(), Settings()))
    again, findings = parse_plan(frozen)
    assert findings == ()
    assert again == plan
    assert again.recipe_text == text
    assert again.version == version.id


def test_a_plan_that_was_changed_by_hand_is_noticed() -> None:
    frozen = render_plan(plan_of())
    altered = frozen.replace("rose-clay, rate: 2 %", "rose-clay, rate: 3 %")
    assert altered != frozen
    plan, findings = parse_plan(altered, "planned.yaml")
    assert plan is None
    assert [finding.code for finding in findings] == ["plan-altered"]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("role: alkali, at: lye water, weigh: 1", "role: alkali, at: lye water, weigh: 2"),
        ("role: oil, at: oils, weigh: 450 g", "role: oil, at: oils, weigh: 45 g"),
        ("water, role: water", "water, role: addition"),
        ("batter: 1", "batter: 2"),
    ],
)
def test_a_weight_that_was_changed_by_hand_is_noticed(before: str, after: str) -> None:
    frozen = render_plan(plan_of())
    altered = frozen.replace(before, after, 1)
    assert altered != frozen
    plan, findings = parse_plan(altered, "planned.yaml")
    assert plan is None
    assert [finding.code for finding in findings] == ["plan-altered"]


def test_a_plan_is_the_same_whatever_the_ends_of_its_lines_are() -> None:
    frozen = render_plan(plan_of())
    for changed in (frozen.replace("\n", "\r\n"), "\ufeff" + frozen):
        plan, findings = parse_plan(changed.encode("utf-8"), "planned.yaml")
        assert [finding.code for finding in findings] == []
        assert plan == plan_of()


def test_a_plan_without_its_digest_is_noticed() -> None:
    frozen = render_plan(plan_of())
    line = next(line for line in frozen.splitlines() if line.startswith("digest: "))
    plan, findings = parse_plan(frozen.replace(line + "\n", ""), "planned.yaml")
    assert plan is None
    assert [finding.code for finding in findings] == ["missing-key"]


def test_a_material_without_values_is_noticed() -> None:
    frozen = render_plan(plan_of())
    start = frozen.index("  rose-clay:\n")
    end = frozen.index("  clove-bud-oil:\n")
    plan, findings = parse_plan(frozen[:start] + frozen[end:], "planned.yaml")
    assert plan is None
    assert "rose-clay" in findings[0].what


def test_numbers_do_not_change_when_the_register_does() -> None:
    plan, _ = parse_plan(render_plan(plan_of()))
    assert plan is not None
    oil = plan.materials["olive-oil"]
    today = replace(read_builtin_register()["olive-oil"], saponification_value=None)
    assert oil.saponification_value is not None
    assert today.saponification_value is None
    assert oil.sources["saponification_value"].source


def test_a_newer_format_says_who_made_it() -> None:
    plan, findings = parse_plan(render_plan(plan_of()).replace("format: 1\ndigest", "format: 2\ndigest"))
    assert plan is None
    assert findings[0].code == "format-newer"


def test_the_planned_grams_are_those_of_the_batch() -> None:
    version = version_of(MIDWINTER_CLOVE)
    batch = work_out_batch(version, read_builtin_register(), oil_mass_g=1000.0)
    plan, _ = parse_plan(render_plan(make_plan(version, batch, read_builtin_register(), Settings())))
    assert plan is not None
    assert plan.pot == batch.pot
    assert plan.edition == "1"


def test_a_plan_is_read_by_the_quick_parser(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(text: str) -> object:
        raise AssertionError(f"the slow parser was asked to read {len(text)} characters")

    monkeypatch.setattr("formulary.document.parse._slow_events", refuse)
    assert parse_plan(render_plan(plan_of()))[0] == plan_of()


FROZEN = render_plan(plan_of()).encode("utf-8")


@settings(max_examples=40)
@given(st.integers(0, 20_000), st.integers(1, 40), st.binary(max_size=6))
def test_a_damaged_plan_gives_findings_and_never_an_exception(start: int, count: int, instead: bytes) -> None:
    at = start % len(FROZEN)
    plan, findings = parse_plan(FROZEN[:at] + instead + FROZEN[at + count :], "planned.yaml")
    assert plan is not None or findings


def test_a_plan_whose_lye_comes_as_strong_as_it_is_wanted_weighs_no_water_and_is_kept() -> None:
    lye = "alkali: sodium-hydroxide-solution-33, superfat: 5"
    for oil_mass_g in (1000.0, 777.0, 1234.5):
        text = MIDWINTER_CLOVE.replace("alkali: sodium-hydroxide, superfat: 5", lye).replace(
            "water: replaces", "water: extra"
        )
        plan = plan_of(text, oil_mass_g)
        assert plan.pot.grams("water") == 0
        assert parse_plan(render_plan(plan))[0] == plan
