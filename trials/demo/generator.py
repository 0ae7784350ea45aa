"""What happened to each loaf, drawn with a seed from a few rules that are known because they are written here.

The rules are invented. They serve to show, and to test, what can be found again in records like a maker's; they are
no knowledge about soap.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from random import Random

from formulary.batch.figures import portion_pot, water_in, work_out_pot
from formulary.batch.model import WHOLE, Pot
from trials.as_made.pot_as_made import effective_pot
from trials.demo.scenario import CAUSE, Loaf
from trials.trial.identity import ALPHABET, CODE_LENGTH
from trials.trial.model import AsMade, Plan, TrialPortion


@dataclass(frozen=True, slots=True)
class Truth:
    """What acts on the working time in a generated history; effects are in natural-log minutes.

    cause: the fragrance that shortens it, None for none. per_percent: effect of 1 % of it in a portion's own oils.
    per_5_c: of oils 5 °C warmer. per_20_s: of 20 s more blending after the scent. usual_minutes: without any of it.
    batch_sd, portion_sd: luck that all of one loaf shares, and of each portion by itself.
    """

    cause: str | None = CAUSE
    per_percent: float = -0.75
    per_5_c: float = -0.08
    per_20_s: float = -0.10
    usual_minutes: float = 13.0
    batch_sd: float = 0.11
    portion_sd: float = 0.09

    def log_minutes(self, *, cause_percent: float, oil_temperature_c: float, blending_s: float) -> float:
        """The natural logarithm of the working time that the rules expect, in minutes."""
        expected = math.log(self.usual_minutes)
        expected += self.per_5_c * (oil_temperature_c - 40.0) / 5.0
        expected += self.per_20_s * (blending_s - 10.0) / 20.0
        return expected + (self.per_percent * cause_percent if self.cause is not None else 0.0)


PLANTED = Truth()


@dataclass(frozen=True, slots=True)
class SittingConditions:
    """How a sitting began: room and its humidity, the lye and the oils, in °C and percent."""

    room_c: float
    humidity_percent: int
    lye_c: int
    oil_c: int


@dataclass(frozen=True, slots=True)
class Timed:
    """An event, in seconds since lye in; for_s: how long it lasted."""

    at_s: int
    what: str
    for_s: int | None = None


@dataclass(frozen=True, slots=True)
class SeenLater:
    """One entry of what was seen or measured later."""

    age_days: int
    outcome: str
    values: tuple[str, ...]
    portion: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """One loaf as its maker saw it. portions: events by portion; empty when the batter stayed whole.

    after_pour: hours since pouring and what was done.
    """

    conditions: SittingConditions
    as_made: tuple[AsMade, ...]
    events: tuple[Timed, ...]
    portions: tuple[tuple[str, tuple[Timed, ...]], ...]
    mould: str
    cover: str
    after_pour: tuple[tuple[int, str], ...]
    seen: tuple[SeenLater, ...]
    notes: str


@dataclass(frozen=True, slots=True)
class _Part:
    """One portion as it really was: its true share of the batter, its own pot, and its own luck in log minutes."""

    name: str
    share: float
    pot: Pot
    luck: float

    def percent(self, material: str) -> float:
        """Percent of this portion's own oils."""
        return 100.0 * sum(line.grams for line in self.pot.lines if line.material == material) / self.pot.grams("oil")

    @property
    def is_scented(self) -> bool:
        return self.pot.grams("scent") > 0


def code_source(seed: int) -> Callable[[], str]:
    """Four characters for a trial's id at each call, the same row of them for the same seed."""
    rng = Random(f"{seed} codes")
    return lambda: "".join(rng.choice(ALPHABET) for _ in range(CODE_LENGTH))


def draw_conditions(room_c: float, humidity_percent: int, *, seed: int, sitting: int) -> SittingConditions:
    """How a sitting began; the same for the same seed and number of the sitting."""
    rng = Random(f"{seed} sitting {sitting}")
    return SittingConditions(room_c, humidity_percent, round(rng.gauss(38.0, 1.5)), round(rng.gauss(41.0, 2.5)))


def pour(
    plan: Plan, loaf: Loaf, conditions: SittingConditions, truth: Truth, *, seed: int, sitting: int, number: int
) -> Poured:
    """What happened to one loaf of a sitting.

    plan: what was to be weighed. conditions: how the sitting began; each further loaf finds the oils a little cooler.
    truth: what acts. The same arguments give the same loaf.
    """
    rng = Random(f"{seed} sitting {sitting} loaf {number}")
    conditions = replace(conditions, oil_c=conditions.oil_c - number)
    as_made = _as_made(plan, loaf)
    parts = _draw_parts(plan, as_made, truth, rng)
    light_s, events = _until_light_trace(plan, as_made, conditions, rng)
    batch_luck = rng.gauss(0.0, truth.batch_sd)
    timed = _after_light_trace(parts, light_s, conditions, truth, batch_luck, rng)
    whole = not plan.pot.portions
    latest_s = max(event.at_s for portion in timed.values() for event in portion)
    return Poured(
        conditions=conditions,
        as_made=as_made,
        events=(*events, *timed[WHOLE]) if whole else events,
        portions=() if whole else tuple(timed.items()),
        mould=plan.recipe.process.get("mould", ""),
        cover=plan.recipe.process.get("cover", ""),
        after_pour=_after_pour(plan, latest_s, rng),
        seen=tuple(_look_later(plan, parts, as_made, conditions, rng)),
        notes=loaf.notes,
    )


def _as_made(plan: Plan, loaf: Loaf) -> tuple[AsMade, ...]:
    if not loaf.forgets_water:
        return ()
    replaced_g = sum(water_in(line, plan.materials) for line in plan.pot.lines if line.water == "replaces")
    weighed_g = Decimal(round(plan.pot.grams("water") + replaced_g))
    return (AsMade(line="water", weighed_g=weighed_g),)


def _draw_parts(plan: Plan, as_made: Sequence[AsMade], truth: Truth, rng: Random) -> tuple[_Part, ...]:
    """The portions as they were really divided: by eye, so not quite as the recipe says."""
    if not plan.pot.portions:
        return (_Part(WHOLE, 1.0, effective_pot(plan, as_made), rng.gauss(0.0, truth.portion_sd)),)
    planned = plan.pot.portions
    drawn = [max(0.05, portion.share + rng.gauss(0.0, portion.by_eye / 2.0)) for portion in planned]
    shares = [share / sum(drawn) for share in drawn]
    divided = [TrialPortion(portion.name, Decimal(100 * share)) for portion, share in zip(planned, shares, strict=True)]
    pot = effective_pot(plan, as_made, divided)
    return tuple(
        _Part(portion.name, share, portion_pot(pot, portion.name), rng.gauss(0.0, truth.portion_sd))
        for portion, share in zip(planned, shares, strict=True)
    )


def _until_light_trace(
    plan: Plan, as_made: Sequence[AsMade], conditions: SittingConditions, rng: Random
) -> tuple[int, tuple[Timed, ...]]:
    first_s, second_s = rng.choice((15, 20, 25)), rng.choice((10, 15, 20))
    figures = work_out_pot(effective_pot(plan, as_made), plan.materials, plan.settings)
    expected = math.log(4.6)
    expected += -0.10 * (conditions.oil_c - 40.0) / 5.0
    expected += -0.35 * (first_s + second_s - 35.0) / 20.0
    expected += -0.12 * (figures.effective_percent - 33.0) / 3.0
    light_s = max(150, _round_s(60.0 * math.exp(expected + rng.gauss(0.0, 0.08))))
    emulsion_s = max(110, _round_s(light_s * rng.uniform(0.40, 0.50)))
    events = (
        Timed(-60 * rng.randint(35, 60), "lye mixed"),
        Timed(-60 * rng.randint(10, 20), "oils melted"),
        Timed(0, "lye in"),
        Timed(15, "blending", first_s),
        Timed(75, "blending", second_s),
        Timed(emulsion_s, "emulsion"),
        Timed(light_s, "light trace"),
    )
    return light_s, tuple(sorted(events, key=lambda event: event.at_s))


def _after_light_trace(
    parts: Sequence[_Part], light_s: int, conditions: SittingConditions, truth: Truth, batch_luck: float, rng: Random
) -> dict[str, tuple[Timed, ...]]:
    """What happened to each portion until it was in the mould.

    A portion stands until it just no longer pours and is then spooned in; when that takes longer than the maker has
    patience for, it is poured, and its working time is only known to be longer.
    """
    scent_s = light_s + _round_s(rng.uniform(40.0, 80.0))
    timed: dict[str, tuple[Timed, ...]] = {}
    clock_s = light_s if not any(part.is_scented for part in parts) else scent_s
    patience_s = 60 * rng.randint(12, 18)
    for part in parts:
        events: list[Timed] = []
        start_s = clock_s
        if part.is_scented:
            start_s = scent_s
            scent_s += _round_s(rng.uniform(35.0, 60.0))
            events.append(Timed(start_s, "scent in"))
        blending_s = rng.choice((5, 10, 10, 15, 20))
        events.append(Timed(start_s + 10, "blending", blending_s))
        expected = truth.log_minutes(
            cause_percent=part.percent(truth.cause) if truth.cause is not None else 0.0,
            oil_temperature_c=conditions.oil_c,
            blending_s=blending_s,
        )
        working_s = max(40, _round_s(60.0 * math.exp(expected + batch_luck + part.luck)))
        medium_s = start_s + max(35, _round_s(0.35 * working_s))
        if working_s <= patience_s:
            events.append(Timed(medium_s, "medium trace"))
            events.append(Timed(start_s + working_s, "too thick to pour"))
            events.append(Timed(start_s + working_s + _round_s(rng.uniform(20.0, 60.0)), "poured"))
        else:
            events.append(Timed(medium_s, "medium trace"))
            events.append(Timed(start_s + patience_s, "poured"))
        timed[part.name] = tuple(sorted(events, key=lambda event: event.at_s))
    return timed


def _after_pour(plan: Plan, latest_s: int, rng: Random) -> tuple[tuple[int, str], ...]:
    cover = plan.recipe.process.get("cover", "covered")
    unmoulded = rng.randint(18, 22) + (3 if latest_s > 1500 else 0)
    steps = [(0, cover)] if cover != "open" else []
    return (*steps, (unmoulded, "unmoulded"), (unmoulded + rng.randint(1, 3), "cut"))


def _look_later(
    plan: Plan, parts: Sequence[_Part], as_made: Sequence[AsMade], conditions: SittingConditions, rng: Random
) -> list[SeenLater]:
    """The next day, in the cure, and cured: also by invented rules, one for each thing that is looked at."""
    pot = effective_pot(plan, as_made)
    figures = work_out_pot(pot, plan.materials, plan.settings)
    insulated = plan.recipe.process.get("cover") == "insulated"
    wet = 33.0 - figures.effective_percent
    seen: list[SeenLater] = []
    warmth = (5.0 if insulated else 0.0) + 0.25 * figures.sugars_g_per_kg_oils + 0.3 * (conditions.room_c - 18.0)
    peak_c = 61.0 + 0.4 * (conditions.oil_c - 40.0) + warmth + rng.gauss(0.0, 1.2)
    seen.append(SeenLater(1, "peak temperature", (f"{peak_c:.0f} °C",)))
    for part in parts:
        portion = None if part.name == WHOLE else part.name
        reached = 100.0 / (1.0 + math.exp(-(peak_c - 67.0 + 1.5 * part.percent("clove-bud-oil")) / 1.6))
        gel = 5 * round(min(100.0, max(0.0, reached + rng.gauss(0.0, 3.0))) / 5.0)
        seen.append(SeenLater(1, "gel", (f"{gel} %",), portion))
        seen.append(SeenLater(1, "colour", (_colour(part, 0.0, rng),), portion))
        ash = 0.9 - gel / 100.0 + rng.gauss(0.0, 0.25)
        grade = "none" if ash < 0.45 else "up to a quarter" if ash < 0.8 else "up to a half"
        seen.append(SeenLater(7, "ash", (grade,), portion))
    seen.append(SeenLater(2, "free alkali", ("none",)))
    for part in parts:
        portion = None if part.name == WHOLE else part.name
        depth_mm = 3.1 + 0.13 * wet + 0.10 * part.percent("honey") + rng.gauss(0.0, 0.07)
        seen.append(SeenLater(28, "colour", (_colour(part, 1.0, rng),), portion))
        for age_days, softness in ((28, 1.0), (42, 0.9)):
            readings = [f"{softness * depth_mm + rng.gauss(0.0, 0.12):.1f} mm" for _ in range(6)]
            seen.append(SeenLater(age_days, "hardness", tuple(readings), portion))
    masses = [rng.gauss(112.0, 2.0) for _ in range(3)]
    water_percent = 100.0 * figures.water_total_g / figures.batter_grams
    for age_days, gone in ((1, 0.0), (28, 0.50), (42, 0.57)):
        kept = [mass * (1.0 - gone * water_percent / 100.0) + rng.gauss(0.0, 0.15) for mass in masses]
        seen.append(SeenLater(age_days, "mass", tuple(f"{mass:.1f} g" for mass in kept)))
    return sorted(seen, key=lambda entry: (entry.age_days, entry.outcome))


def _colour(part: _Part, cured: float, rng: Random) -> str:
    """The cut face: cream, browned by milk, honey and clove, greened by nettle, cucumber and clay. cured: 0 to 1."""
    brown = 2.0 * part.percent("honey") + 0.4 * part.percent("oat-milk")
    brown += part.percent("clove-bud-oil") * (6.0 + 22.0 * cured)
    green = 0.35 * part.percent("nettle-infusion") + 0.4 * part.percent("cucumber-puree")
    green = green * (1.0 - 0.6 * cured) + 6.0 * part.percent("sea-clay")
    rose = 9.0 * part.percent("rose-clay")
    channels = (
        238.0 - 1.5 * brown - 2.0 * green - 0.4 * rose,
        230.0 - 2.2 * brown - 0.8 * green - 2.2 * rose,
        212.0 - 3.2 * brown - 2.4 * green - 2.0 * rose,
    )
    return "#" + "".join(f"{min(255, max(0, round(channel + rng.gauss(0.0, 1.5)))):02x}" for channel in channels)


def _round_s(seconds: float) -> int:
    """To the five seconds that a person reads off a clock with a batter in hand."""
    return 5 * round(seconds / 5.0)
