"""Trials made up for the tests: every name and figure here is invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from formulary.batch.weigh_out import work_out_batch
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from trials.trial.elapsed import parse_elapsed
from trials.trial.model import (
    AsMade,
    Conditions,
    Event,
    Handling,
    LotUse,
    Observation,
    Plan,
    Reading,
    Trial,
    TrialPortion,
)

BASE_OILS = {"olive-oil": "53", "coconut-oil": "25", "rice-bran-oil": "22"}
SPRING = date(2026, 3, 1)


def version(
    slug: str = "harbour-base",
    oils: Mapping[str, str] = BASE_OILS,
    *,
    additions: str = "",
    scent: str = "",
    portions: str = "",
    superfat: str = "5",
    concentration: str = "33",
    alkali: str = "sodium-hydroxide",
) -> Version:
    """A version of a recipe from the lines of its file."""
    lines = [f"  {oil}: {percent}" for oil, percent in oils.items()]
    text = "\n".join(["format: 1", f"name: {slug}", "oils:", *lines])
    text += f"\nlye: {{alkali: {alkali}, superfat: {superfat}}}\nwater: {{lye_concentration: {concentration}}}\n"
    for key, block in (("additions", additions), ("scent", scent), ("portions", portions)):
        if block:
            text += f"{key}:\n" + "".join(f"  - {{{item.strip()}}}\n" for item in block.splitlines() if item.strip())
    recipe, findings = parse_recipe(text, slug)
    assert recipe is not None, findings
    return Version(recipe=recipe, text=text, is_saved=True, label=None)


def trial(
    made_of: Version,
    code: str,
    day: int = 0,
    *,
    working: str | None = None,
    poured: str | None = None,
    scent_in: str = "3:00",
    blending: int | None = 30,
    blending_after: int | None = None,
    room: str | None = "19",
    lots: Mapping[str, str] = MappingProxyType({}),
    portions: Mapping[str, Mapping[str, Any]] = MappingProxyType({}),
    as_made: Sequence[AsMade] = (),
    after_pour: Sequence[Handling] = (),
    seen: Mapping[str, str] = MappingProxyType({}),
    mould: str | None = None,
) -> Trial:
    """One trial poured `day` days after the first of March.

    working, poured: when it was too thick to pour, or poured, since lye in. portions: name -> {share, working,
    poured, blending, blending_after}. seen: outcome -> value, at 28 days.
    """
    when = SPRING + timedelta(days=day)
    parts = tuple(
        TrialPortion(
            name,
            Decimal(str(own.get("share", 50))),
            events=_events(own.get("working"), own.get("poured"), own.get("scent_in"), None, own.get("blending_after")),
        )
        for name, own in portions.items()
    )
    shared = _events(
        None if parts else working,
        None if parts else poured,
        None if parts else scent_in,
        blending,
        None if parts else blending_after,
    )
    return Trial(
        id=f"{when:%Y-%m-%d}-{made_of.slug}-{code}",
        recipe=made_of.slug,
        version=made_of.id,
        made=when,
        plan=plan(made_of),
        sitting=f"{when:%Y-%m-%d}",
        as_made=tuple(as_made),
        lots=MappingProxyType({name: (LotUse(lot),) for name, lot in lots.items()}),
        conditions=Conditions(room_c=None if room is None else Decimal(room), mould=mould),
        events=shared,
        portions=parts,
        after_pour=tuple(after_pour),
        observations=tuple(
            Observation(Decimal(28), name, (Reading(value, Decimal(value)),)) for name, value in seen.items()
        ),
    )


def _events(
    working: str | None, poured: str | None, scent_in: str | None, blending: int | None, after: int | None
) -> tuple[Event, ...]:
    events = []
    if blending is not None:
        events.append(Event("lye in", parse_elapsed("0:00")))
        events.append(Event("blending", parse_elapsed("0:20"), for_s=Decimal(blending)))
    if scent_in is not None:
        events.append(Event("scent in", parse_elapsed(scent_in)))
    if after is not None:
        events.append(Event("blending", parse_elapsed(scent_in or "3:00"), for_s=Decimal(after)))
    if working is not None:
        events.append(Event("too thick to pour", parse_elapsed(working)))
    if poured is not None:
        events.append(Event("poured", parse_elapsed(poured)))
    return tuple(events)


@lru_cache(maxsize=1)
def _register() -> Register:
    return read_builtin_register()


def plan(made_of: Version) -> Plan:
    """The frozen plan of a version for 1000 g of oils."""
    register = _register()
    batch = work_out_batch(made_of, register, Settings(), oil_mass_g=1000.0)
    names = dict.fromkeys(line.material for line in batch.pot.lines)
    extra = ("sunflower-oil", "honey", "kaolin", "hemp-seed-oil", "castor-oil", "potassium-hydroxide")
    return Plan(
        edition="1",
        recipe=made_of.recipe,
        recipe_text=made_of.text,
        version=made_of.id,
        label=None,
        materials=MappingProxyType({name: register[name] for name in (*names, *extra)}),
        settings=Settings(),
        size=("oils", "1000 g"),
        oil_mass_g=batch.oil_mass_g,
        batter_g=batch.batter_grams,
        pot=batch.pot,
    )


def steady(count: int, made_of: Version, times: Sequence[str], start: int = 0) -> tuple[Trial, ...]:
    """So many repeats of one version, each with its own working time."""
    return tuple(trial(made_of, f"r{start + k:03d}", start + k, working=times[k % len(times)]) for k in range(count))
