"""The maker's year without files or git: the same recipes, plans and records, for studies over many seeds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.finding import has_errors
from formulary.materials.read import parse_material
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from trials.demo.generator import PLANTED, Truth, code_source, draw_conditions, pour
from trials.demo.record import write_day, write_seen
from trials.demo.scenario import (
    BASE,
    OIL_SIZE,
    STEPS,
    Beginning,
    Branching,
    Loaf,
    Rework,
    Sitting,
    edit_text,
    lots_of,
    read_base_text,
    read_material_texts,
    season_date,
)
from trials.outcomes.known import find_outcomes
from trials.read.trial import parse_trial
from trials.record.new_trial_text import render_new_trial
from trials.trial.identity import make_trial_id
from trials.trial.model import LotUse, Plan, Trial
from trials.trial.plan import make_plan

_SEASON = 2024

WITHOUT_CAUSE = Truth(cause=None)
NOTHING_ACTS = Truth(cause=None, per_5_c=0.0, per_20_s=0.0)


@dataclass(frozen=True, slots=True)
class PlannedLoaf:
    """One loaf of the year with its frozen plan. sitting, number: which of the year, which loaf of that day."""

    sitting: Sitting
    sitting_number: int
    number: int
    loaf: Loaf
    plan: Plan


@lru_cache(maxsize=1)
def plan_year() -> tuple[PlannedLoaf, ...]:
    """Every loaf of the scenario with its plan. Worked out once; what happens to the loaves is not part of it."""
    return tuple(_plan_loaves(_register()))


def draw_year(seed: int, truth: Truth = PLANTED) -> tuple[Trial, ...]:
    """The trials of one year as they read back from their files, for a seed."""
    draw_code = code_source(seed)
    outcomes = find_outcomes(Settings())
    trials: list[Trial] = []
    for planned in plan_year():
        sitting, plan = planned.sitting, planned.plan
        made = season_date(_SEASON, sitting.day)
        trial_id = make_trial_id(made, plan.slug, [trial.id for trial in trials], draw_code=draw_code)
        conditions = draw_conditions(
            sitting.room_c, sitting.humidity_percent, seed=seed, sitting=planned.sitting_number
        )
        poured = pour(
            plan,
            planned.loaf,
            conditions,
            truth,
            seed=seed,
            sitting=planned.sitting_number,
            number=planned.number,
        )
        lots = lots_of(plan.recipe, planned.loaf)
        text = write_seen(write_day(render_new_trial(trial_id, plan, made), poured, lots), poured.seen)
        trial, findings = parse_trial(text, trial_id, plan=plan, outcomes=outcomes)
        if trial is None or has_errors(findings):
            raise InputError(findings)
        trials.append(trial)
    return tuple(trials)


def _register() -> Register:
    own = []
    for slug, text in read_material_texts(_SEASON).items():
        material, findings = parse_material(text, f"materials/{slug}.yaml", slug)
        if material is None:
            raise InputError(findings)
        own.append(material)
    return read_builtin_register().combined_with(own)


def _plan_loaves(register: Register) -> Iterator[PlannedLoaf]:
    latest: dict[str, Version] = {}
    sitting_number = 0
    for step in STEPS:
        if isinstance(step, Beginning):
            latest[BASE] = _version(read_base_text(), BASE, register)
        elif isinstance(step, Branching):
            parent = latest[step.parent.partition("@")[0]]
            variant = parent.branch(step.slug, *step.tweaks, register=register, name=step.name)
            latest[step.slug] = _version(variant.text + step.appended, step.slug, register)
        elif isinstance(step, Rework):
            latest[step.slug] = _version(edit_text(latest[step.slug].text, step.edits), step.slug, register)
        elif isinstance(step, Sitting):
            for number, loaf in enumerate(step.loaves):
                plan = _plan(latest[loaf.recipe], loaf, register)
                yield PlannedLoaf(step, sitting_number, number, loaf, plan)
            sitting_number += 1


def _version(text: str, slug: str, materials: Mapping[str, object]) -> Version:
    recipe, findings = parse_recipe(text, slug, f"recipes/{slug}.yaml", materials=list(materials))
    if recipe is None:
        raise InputError(findings)
    return Version(recipe=recipe, text=text, is_saved=True)


def _plan(version: Version, loaf: Loaf, register: Register) -> Plan:
    lots = lots_of(version.recipe, loaf)
    batch = work_out_batch(version, register, Settings(), oil_mass_g=1000.0, lots=lots)
    used = {name: (LotUse(lot),) for name, lot in lots.items()}
    return make_plan(version, batch, register, Settings(), size=("oils", OIL_SIZE), lots=used)
