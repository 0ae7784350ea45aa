"""The invented year holds what it promises, and every recipe of it may be weighed out."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pytest

from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Severity
from formulary.settings import Settings
from tests.demo.in_memory import PlannedLoaf, plan_year
from trials.demo.scenario import (
    BASE,
    CAUSE,
    STEPS,
    Branching,
    Rework,
    Sitting,
    edit_text,
    read_base_text,
    read_material_texts,
    season_beginning,
    season_date,
)

YEAR = plan_year()


def _rates(planned: PlannedLoaf) -> dict[str, float]:
    pot = planned.plan.pot
    grams: dict[str, float] = {}
    for line in pot.lines:
        if line.role in ("addition", "scent"):
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    return {material: 100.0 * mass / pot.grams("oil") for material, mass in grams.items()}


def test_no_recipe_of_the_year_is_stopped_or_faulty() -> None:
    for planned in YEAR:
        batch = work_out_batch(planned.plan.recipe, planned.plan.materials, Settings(), oil_mass_g=1000.0)
        bad = [finding for finding in batch.findings if finding.severity in (Severity.ERROR, Severity.STOP)]
        assert not bad, (planned.plan.slug, bad)


def test_the_year_has_trials_variants_and_repeats_enough() -> None:
    assert len(YEAR) >= 18
    assert len({planned.plan.slug for planned in YEAR} - {BASE}) >= 3
    versions = Counter(planned.plan.version for planned in YEAR)
    assert versions.most_common(1)[0][1] >= 3
    assert max(len(step.loaves) for step in STEPS if isinstance(step, Sitting)) >= 3


def test_the_year_reaches_over_midwinter_spring_and_summer() -> None:
    months = {step.day[0] for step in STEPS if isinstance(step, Sitting)}
    assert {10, 11} & months
    assert {2, 3} & months
    assert {5, 6} & months


def test_water_was_forgotten_once_and_one_new_lot_came() -> None:
    assert sum(planned.loaf.forgets_water for planned in YEAR) == 1
    clove = [planned.loaf.clove_lot for planned in YEAR if CAUSE in _rates(planned)]
    assert set(clove) == {"CB-1", "CB-2"}


def test_oat_milk_and_honey_always_came_together_in_one_proportion() -> None:
    pairs = {(round(rates.get("oat-milk", 0.0), 9), round(rates.get("honey", 0.0), 9)) for rates in map(_rates, YEAR)}
    assert pairs == {(0.0, 0.0), (8.0, 2.0)}


def test_every_loaf_with_the_cause_has_an_unscented_control_portion() -> None:
    for planned in YEAR:
        if CAUSE in _rates(planned):
            lines = [line for line in planned.plan.pot.lines if line.material == CAUSE]
            with_it = {line.portion for line in lines if line.grams > 0}
            assert {portion.name for portion in planned.plan.pot.portions} - with_it


def test_a_variant_gained_a_version_after_its_base_had_changed() -> None:
    reworked = [step.slug for step in STEPS if isinstance(step, Rework)]
    branched = {step.slug for step in STEPS if isinstance(step, Branching)}
    after_the_base = reworked[reworked.index(BASE) + 1 :]
    assert branched & set(after_the_base)


def test_every_save_says_why() -> None:
    assert all(step.why for step in STEPS if not isinstance(step, Sitting))


def test_every_file_of_the_scenario_says_first_that_it_is_invented() -> None:
    for text in (read_base_text(), *read_material_texts(2024).values()):
        assert text.startswith("# Invented for the demonstration")
    assert all(planned.plan.recipe_text.startswith("# Invented") for planned in YEAR)


@pytest.mark.parametrize("today", [date(2026, 11, 25), date(2026, 7, 18), date(2026, 7, 17), date(2024, 2, 29)])
def test_the_season_is_the_latest_one_that_was_over(today: date) -> None:
    season = season_beginning(today)
    over = [season_date(year, STEPS[-1].day) for year in (season, season + 1)]
    assert over[0] <= today < over[1]


def test_every_loaf_was_last_looked_at_when_it_was_six_weeks_old() -> None:
    last_poured = [step.day for step in STEPS if isinstance(step, Sitting)][-1]
    assert season_date(2025, STEPS[-1].day) - season_date(2025, last_poured) >= timedelta(days=42)


def test_a_change_by_hand_must_find_its_place() -> None:
    with pytest.raises(ValueError, match="stands 0 times"):
        edit_text("olive-oil: 48", (("olive-oil: 60", "olive-oil: 50"),))
    with pytest.raises(ValueError, match="stands 2 times"):
        edit_text("a: 1\nb: 1\n", ((": 1", ": 2"),))
