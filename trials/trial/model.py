"""A trial: a batch as it was really made, and what happened to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from formulary.batch.model import WHOLE, Pot
from formulary.finding import Finding, Place
from formulary.given import Figure
from formulary.materials.model import Lot, Material
from formulary.quantity import NotAQuantity
from formulary.read_only import ReadOnly
from formulary.recipes.model import Recipe
from formulary.settings import Settings
from formulary.temperature import CELSIUS
from trials.trial.elapsed import Elapsed, parse_age_days

if TYPE_CHECKING:
    from trials.trial.entry import Entry

# In the order in which they are usual. Zero is `lye in`; only preparations may stand before it.
PREPARATIONS = ("lye mixed", "oils melted")
EVENT_WORDS = (
    *PREPARATIONS,
    "lye in",
    "emulsion",
    "light trace",
    "medium trace",
    "thick trace",
    "scent in",
    "colour in",
    "blending",
    "temperature",
    "too thick to pour",
    "poured",
)
REBATCHED = "rebatched"  # worked through anew, with what it then took in
HANDLING_WORDS = (
    "covered",
    "uncovered",
    "insulated",
    "fridge",
    "oven",
    "fan",
    "sprayed",
    "sides loosened",
    "unmoulded",
    "cut",
    "stamped",
    REBATCHED,
)
DECISIONS = ("sell", "rework", "discard", "hold")


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at a time on making day.

    at: since lye in. for_s: how long it lasted, for blending. temperature_c: of the batter, for a temperature.
    clock: the time of day, "14:05:10", where it was noted; it is what a later entry without a time counts from.
    """

    what: str
    at: Elapsed
    for_s: Decimal | None = None
    temperature_c: Decimal | None = None
    clock: str | None = None
    note: str = ""
    place: Place = field(default=Place(), compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class AsMade:
    """One thing that went otherwise than planned, in grams as weighed.

    Either `line` (a material of the plan, or "water") or `extra` (one that the plan does not have) is given.
    instead: what went in for `line`. left_out: `line` did not go in. at: the stage; for a line that the plan has
    twice, which one. portion: the one portion that it went into. give_or_take_g: how far it may have been from
    weighed_g, either way. is_unknown: nobody knows how much it was.
    """

    line: str | None = None
    extra: str | None = None
    instead: str | None = None
    left_out: bool = False
    weighed_g: Decimal | None = None
    at: str | None = None
    portion: str | None = None
    note: str = ""
    place: Place = field(default=Place(), compare=False, repr=False)
    give_or_take_g: Decimal = Decimal(0)
    is_unknown: bool = False

    @property
    def material(self) -> str:
        """The material that the entry is about, as the plan names it."""
        return self.line or self.extra or ""

    @property
    def went_in(self) -> str:
        """The material that was weighed: what went in for the line, where something did."""
        return self.instead or self.material


@dataclass(frozen=True, slots=True)
class LotUse:
    """A lot that went in, and how much of it where several lots made up one line."""

    lot: str
    grams: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """How the sitting was: °C, percent of relative humidity, and the mould and cover by name."""

    room_c: Decimal | None = None
    humidity_percent: Decimal | None = None
    lye_temperature_c: Decimal | None = None
    oil_temperature_c: Decimal | None = None
    mould: str | None = None
    cover: str | None = None
    blender: str | None = None
    place: Place = field(default=Place(), compare=False, repr=False)


# As they are called in a trial's file.
CONDITIONS = ("room", "humidity", "lye_temperature", "oil_temperature", "mould", "cover", "blender")


@dataclass(frozen=True, slots=True)
class TrialPortion:
    """Part of the trial's batter handled by itself.

    share: percent of the batter before its own scent; by_eye: give or take, in percent of the batter.
    instead_of: the portion of the plan that it takes the place of, where the name is another.
    gets: material -> percent of that line's whole amount, where it differs from the plan.
    """

    name: str
    share: Decimal = Decimal(100)
    by_eye: Decimal = Decimal(0)
    instead_of: str | None = None
    gets: tuple[tuple[str, Decimal], ...] = ()
    events: tuple[Event, ...] = ()
    mould: str | None = None
    place: Place = field(default=Place(), compare=False, repr=False)

    @property
    def planned_name(self) -> str:
        """What the plan calls this portion."""
        return self.instead_of or self.name


class TakenIn(NamedTuple):
    """What a rebatch took in, in grams as weighed, known as in `AsMade`; None where nobody knows how much it was."""

    material: str
    weighed_g: Decimal | None
    give_or_take_g: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Handling:
    """Something done after pouring, at hours since then.

    for_h: how long it lasted. taken_in: of a rebatch, what was worked in then: it is in the bars, and was not in the
    batter.
    """

    what: str
    at_h: Decimal | None
    temperature_c: Decimal | None = None
    for_h: Decimal | None = None
    portion: str | None = None
    note: str = ""
    place: Place = field(default=Place(), compare=False, repr=False)
    taken_in: tuple[TakenIn, ...] = ()

    @property
    def ended_h(self) -> Decimal | None:
        """Hours from pouring to when it had been done; None where its time is not recorded."""
        return None if self.at_h is None else self.at_h + (self.for_h or 0)

    @property
    def extras(self) -> tuple[AsMade, ...]:
        """What it took in, as what went into the bars beside the plan's."""
        return tuple(
            AsMade(
                extra=each.material,
                weighed_g=each.weighed_g,
                at="trace",
                portion=self.portion,
                place=self.place,
                give_or_take_g=each.give_or_take_g,
                is_unknown=each.weighed_g is None,
            )
            for each in self.taken_in
        )


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of an outcome: the text as written and what it says in the outcome's own unit.

    value: in the outcome's unit; for a graded outcome the step (0 is the first), for yes / no 1 or 0.
    low, high: for a reading that is only known to lie between two values. bound: "exact" | "above" | "below" |
    "between". colour: L*, a*, b* (CIE 1976, D65) of a colour reading, which has no value.
    """

    text: str
    value: Decimal | None
    bound: str = "exact"
    low: Decimal | None = None
    high: Decimal | None = None
    colour: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Observation:
    """Something measured or graded later. portion: None for the whole trial. age_days: since it was made."""

    age_days: Decimal
    outcome: str
    readings: tuple[Reading, ...]
    portion: str | None = None
    who: str | None = None
    how: str | None = None
    note: str = ""
    place: Place = field(default=Place(), compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Bars:
    """What became of the bars, in bars; lightest_g: the lightest one, in grams."""

    cut: int | None = None
    kept_back: int | None = None
    scrapped: int | None = None
    lightest_g: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Release:
    """What was decided about the batch (one of DECISIONS), by whom, when and why.

    despite: codes of what stood against selling and was overridden knowingly. In a file that was written by hand who
    and why may be empty, which `check` tells.
    """

    decision: str
    who: str
    why: str
    on: date | None = None
    despite: tuple[str, ...] = ()
    place: Place = field(default=Place(), compare=False, repr=False)


def done_once(steps: Sequence[Handling]) -> tuple[Handling, ...]:
    """What was done after pouring without what was written down again: the same, to the same bars, at the same time.

    A loaf is not rebatched twice in one moment, so that what a line typed twice took in is in its bars once. A remark
    or a temperature beside it makes no other of it; of unknown times none says that they are two.
    """
    once: dict[tuple[str, Decimal | None, str | None, tuple[TakenIn, ...]], Handling] = {}
    for step in steps:
        once.setdefault((step.what, step.at_h, step.portion, tuple(sorted(step.taken_in))), step)
    return tuple(once.values())


def find_brought(as_made: Sequence[AsMade], after_pour: Sequence[Handling]) -> tuple[str, ...]:
    """The materials that entries bring: extras, what took a line's place, and what a rebatch took in."""
    names = [name for entry in as_made for name in (entry.extra, entry.instead) if name]
    names += [each.material for step in after_pour for each in step.taken_in]
    return tuple(dict.fromkeys(names))


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What was planned, frozen when the trial was started: nothing in it ever changes by itself.

    edition: of the calculation. recipe_text: the version's file, character for character; `version` is its blob id.
    materials: every material value used, with its source; lots: the lots whose certificates were used, with the planned
    grams of each where a material has several. pot: the planned grams. size: how it was asked for, ("oils", "1000 g").
    findings: warnings that stood when it was started, and stops that were overridden.
    """

    edition: str
    recipe: Recipe
    recipe_text: str
    version: str
    label: str | None
    materials: Mapping[str, Material]
    settings: Settings
    size: tuple[str, str]
    oil_mass_g: float
    batter_g: float
    pot: Pot
    lots: Mapping[str, tuple[LotUse, ...]] = field(default_factory=lambda: ReadOnly({}))
    findings: tuple[Finding, ...] = ()

    def __repr__(self) -> str:
        return f"<Plan of {self.slug}@{self.version[:8]}>"

    @property
    def slug(self) -> str:
        """The recipe's name on the command line."""
        return self.recipe.slug


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One trial as its file states it, beside its frozen plan. Equality is of the content, not of where it stands.

    version: the full id of the recipe version. sitting: trials of one sitting share oils, jug and conditions.
    events: of the whole batter; in a divided one, what happened before the division and so to every portion.
    portions: empty when the batter was not divided. release: the decision that holds, the last one; decided_before: all
    earlier ones, in their order. despite: codes of stops that were overridden.
    added: values of materials that went in without standing in the plan, kept like the plan's own. lot_values:
    material -> lot -> what its certificate says, for lots that the plan does not hold or holds otherwise.
    told_in: what people are told its temperatures in, as its formulary has it today.
    """

    id: str
    recipe: str
    version: str
    made: date
    plan: Plan
    sitting: str | None = None
    size: tuple[str, str] | None = None
    who: str | None = None
    as_made: tuple[AsMade, ...] = ()
    lots: Mapping[str, tuple[LotUse, ...]] = field(default_factory=lambda: ReadOnly({}))
    conditions: Conditions = Conditions()
    events: tuple[Event, ...] = ()
    portions: tuple[TrialPortion, ...] = ()
    after_pour: tuple[Handling, ...] = ()
    observations: tuple[Observation, ...] = ()
    bars: Bars = Bars()
    release: Release | None = None
    decided_before: tuple[Release, ...] = ()
    despite: tuple[str, ...] = ()
    notes: str = ""
    added: Mapping[str, Material] = field(default_factory=lambda: ReadOnly({}))
    lot_values: Mapping[str, Mapping[str, Lot]] = field(default_factory=lambda: ReadOnly({}))
    told_in: str = field(default=CELSIUS, compare=False)
    path: str | None = field(default=None, compare=False)
    place: Place = field(default=Place(), compare=False, repr=False)

    def __repr__(self) -> str:
        return f"<Trial {self.id} of {self.recipe}@{self.version[:8]}>"

    @property
    def is_divided(self) -> bool:
        """Whether the batter was handled in portions."""
        return bool(self.portions)

    @property
    def occasion(self) -> str:
        """What shares its luck: its sitting on its day, else it alone. A sitting's name may come again another day."""
        return self.id if self.sitting is None else f"{self.made.isoformat()} {self.sitting}"

    @property
    def decisions(self) -> tuple[Release, ...]:
        """All that was decided about it, in its order; the last one holds."""
        return self.decided_before if self.release is None else (*self.decided_before, self.release)

    @property
    def sold(self) -> Release | None:
        """The last decision to sell it, though another one may have followed: its bars may be with people."""
        return next((each for each in reversed(self.decisions) if each.decision == "sell"), None)

    @property
    def materials(self) -> Mapping[str, Material]:
        """Every material of the trial with its frozen general values."""
        return {**self.added, **self.plan.materials}

    @property
    def settings(self) -> Settings:
        """The settings of its plan, which tell temperatures as they are told today."""
        return replace(self.plan.settings, temperature=self.told_in)

    @property
    def brought(self) -> tuple[str, ...]:
        """The materials that went in, by what was recorded, in place of the plan's or beside them."""
        return find_brought(self.as_made, self.after_pour)

    def parts(self) -> tuple[TrialPortion, ...]:
        """The portions, each with all events that happened to it; the whole batter as one when it was not divided."""
        if not self.portions:
            return (TrialPortion(WHOLE, events=self.events, place=self.place),)
        return tuple(replace(portion, events=self.events + portion.events) for portion in self.portions)

    def part(self, name: str) -> TrialPortion | None:
        """One of `parts()` by its name."""
        return next((part for part in self.parts() if part.name == name), None)

    # -- entries for the record; `Bench.record` writes them ----------------------------------------

    def observe(
        self,
        outcome: str,
        *values: Figure,
        age: Figure,
        portion: str | None = None,
        who: str | None = None,
        how: str | None = None,
        note: str | None = None,
        corrects: bool = False,
    ) -> Entry:
        """Something measured or graded, to be recorded: `trial.observe("hardness", "3.1 mm", "3.3 mm", age="28 d")`.

        values: one reading or several repeats of it. age: since the soap was made. who, how: who measured, and how.
        corrects: whether it takes the place of what was recorded for the same outcome, age and portion.
        """
        from trials.trial.entry import observation_entry

        there = self._readings_of(outcome, age, portion)
        return observation_entry(
            self.id,
            outcome,
            *values,
            age=age,
            portion=portion,
            corrects=corrects,
            readings_there=there,
            who=who,
            how=how,
            note=note,
        )

    def _readings_of(self, outcome: str, age: Figure, portion: str | None) -> int:
        """How many readings of an outcome were recorded at an age; none for an age that cannot be read."""
        try:
            age_days = parse_age_days(age)
        except NotAQuantity:
            return 0  # reading the file says so
        return sum(
            len(seen.readings)
            for seen in self.observations
            if (seen.outcome, seen.age_days, seen.portion) == (outcome, age_days, portion)
        )

    def event(
        self,
        what: str,
        at: Figure,
        *,
        portion: str | None = None,
        lasted: Figure | None = None,
        temperature: Figure | None = None,
        clock: str | None = None,
        note: str | None = None,
        corrects: bool = False,
    ) -> Entry:
        """Something that happened on making day, to be recorded: `trial.event("light trace", "4:10", portion="clove")`.

        at: since lye in, as "4:10", "~4 min", "3-5 min" or "unknown". lasted: for blending. temperature: for a
        temperature. clock: the time of day. corrects: whether it takes the place of the same word recorded before (for
        blending and temperatures, which come several times: of the one at the same time).
        """
        from trials.trial.entry import event_entry

        own = [each for part in self.portions if part.name == portion for each in part.events]
        recorded = self.events if portion is None else own
        return event_entry(
            self.id,
            what,
            at,
            portion=portion,
            lasted=lasted,
            temperature=temperature,
            corrects=corrects,
            taken_away=[str(each.at) for each in recorded if each.what == what],
            clock=clock,
            note=note,
        )
