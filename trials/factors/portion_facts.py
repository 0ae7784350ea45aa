"""Everything recorded about how one portion was really made, as one flat table of facts.

The figures come from the effective formula, so a forgotten replacement of water or a lot used up halfway is a fact
like any other. What is not recorded is missing and never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from formulary.batch.model import WHOLE, Pot
from formulary.batch.temperature_checks import parse_celsius
from formulary.read_only import ReadOnly
from trials.as_made.effective import EffectiveFormula, effective_portion
from trials.as_made.lots_used import as_poured
from trials.as_made.unknown_weights import unknown_words
from trials.factors.steps import ADDITION_STEPS, STEPS, STRONG_LIQUIDS, TENTH, Step
from trials.trial.model import REBATCHED, Trial, TrialPortion

# In the order in which people think of a batch; `FORMULA` is what a repeat of it must share exactly.
KINDS = (
    "oil",
    "held back",
    "alkali",
    "addition",
    "scent",
    "water",
    "superfat",
    "lot",
    "blending",
    "condition",
    "vessel",
    "handling",
    "size",
)
FORMULA = frozenset({"oil", "held back", "alkali", "addition", "scent", "water", "superfat", "lot", "vessel"})
_COUNTS_AS_NONE = frozenset({"oil", "held back", "alkali", "addition", "scent"})  # absent means none of it
STAGE_WORDS: Mapping[str, str] = ReadOnly(
    {"lye water": "in the lye water", "oils": "in the oils", "trace": "at trace", "top": "on top"}
)
NONE_USED = "none used"
_COVERS = ("covered", "insulated", "fridge", "oven")
_DONE = ("fan", "sprayed", "uncovered")


@dataclass(frozen=True, slots=True, order=True)
class Aspect:
    """One thing about a pour that could have been otherwise.

    kind: one of KINDS. subject: a material's slug, or what the figure is called. stage: when a material went in.
    step: the name of its step in the table of steps.
    """

    kind: str
    subject: str
    stage: str = ""
    step: str = ""

    @property
    def step_of(self) -> Step:
        """The change that counts as one step."""
        return STEPS[self.step]

    @property
    def place(self) -> tuple[int, str, str]:
        """Where it stands in a list."""
        return KINDS.index(self.kind), self.subject, self.stage

    def missing(self) -> float | None:
        """What it means that a pour says nothing of it: none of a material, no rebatch, or not recorded (None)."""
        return 0.0 if self.kind in _COUNTS_AS_NONE or self.subject == REBATCHED else None


@dataclass(frozen=True, slots=True)
class LotShares:
    """Which lots of a material went in, and how much of each, in parts of 1. Empty: none of the material did."""

    shares: tuple[tuple[str, float], ...]

    def share(self, lot: str) -> float:
        """How much of the material came from a lot."""
        return dict(self.shares).get(lot, 0.0)

    def __str__(self) -> str:
        if len(self.shares) == 1:
            return self.shares[0][0]
        return " + ".join(f"{100 * share:.0f} % {lot}" for lot, share in self.shares)


Fact = float | str | LotShares | None


@dataclass(frozen=True, slots=True, eq=False)
class Pour:
    """One portion of one trial (or the whole batter, portion None) and all facts about it.

    as_planned: aspects that nobody measured and that are taken from the recipe's process. weighed: what the formula's
    figures are to the last gram, where `facts` count a small miss as the plan.
    """

    trial: Trial
    portion: str | None
    facts: Mapping[Aspect, Fact]
    as_planned: frozenset[Aspect] = frozenset()
    weighed: Mapping[Aspect, float] = field(default_factory=lambda: ReadOnly({}))

    @property
    def key(self) -> tuple[str, str]:
        """What names it: the trial's id and the portion."""
        return self.trial.id, self.portion or ""

    def fact(self, aspect: Aspect) -> Fact:
        """What is known of an aspect; None when it was not recorded."""
        if aspect in self.facts:
            return self.facts[aspect]
        if aspect.kind == "lot":
            return LotShares(())
        return aspect.missing()

    def went_in(self, lot: Aspect) -> bool:
        """Whether the material of a lot went in; one of which no lot is recorded did."""
        fact = self.fact(lot)
        return not isinstance(fact, LotShares) or bool(fact.shares)

    def weighed_fact(self, aspect: Aspect) -> Fact:
        """What is known of an aspect, by the weights that really went in."""
        return self.weighed[aspect] if aspect in self.weighed else self.fact(aspect)


def shown_fact(fact: Fact) -> float | str | None:
    """A fact as a plain value."""
    if isinstance(fact, LotShares):
        return str(fact) or NONE_USED
    return fact


def find_facts(trial: Trial, portion: str | None = None) -> Pour:
    """Everything recorded about how a portion was made; None is the whole batter, portions and all.

    A weighing that misses its plan by less than a tenth of a step counts as the plan, so that two pours of one
    recipe do not differ by the last gram. Raises KeyError for a portion that the trial does not have, InputError for
    one into which no oil went.
    """
    made = effective_portion(trial, portion)
    planned = _as_planned(trial, portion) if trial.as_made else made
    facts: dict[Aspect, Fact] = {}
    wanted = _formula_facts(planned, trial)
    weighed = {aspect: round(value, 6) for aspect, value in _formula_facts(made, trial).items()}
    for aspect, value in weighed.items():
        plan = wanted.get(aspect, 0.0)
        near = abs(value - plan) <= TENTH * aspect.step_of.size
        facts[aspect] = round(plan, 6) if near else value
    if unknown_words(trial):  # nor is anything else known that is reckoned by it
        facts, weighed = dict.fromkeys(facts), {}
    facts.update(_lots(as_poured(trial), made))
    facts.update(_blending(trial, portion))
    conditions, as_planned = _conditions(trial, portion)
    facts.update(conditions)
    facts.update(_handling(trial, portion))
    return Pour(trial, portion, ReadOnly(facts), as_planned, ReadOnly(weighed))


def find_pours(trials: Sequence[Trial]) -> tuple[Pour, ...]:
    """One pour a portion for all trials, in the order of their dates."""
    return tuple(
        find_facts(trial, part.name if trial.is_divided else None)
        for trial in sorted(trials, key=lambda trial: (trial.made, trial.id))
        for part in trial.parts()
    )


def _as_planned(trial: Trial, portion: str | None) -> EffectiveFormula:
    from dataclasses import replace

    return effective_portion(replace(trial, as_made=()), portion)


def _formula_facts(formula: EffectiveFormula, trial: Trial) -> dict[Aspect, float]:
    figures, pot = formula.figures, formula.pot
    facts: dict[Aspect, float] = {}
    for material, percent in figures.oil_percents.items():
        facts[Aspect("oil", material, step="oil")] = percent
    for line in pot.lines:
        if line.role == "oil" and line.at != "oils":
            aspect = Aspect("held back", line.material, line.at, "held back")
            facts[aspect] = facts.get(aspect, 0.0) + 100.0 * line.grams / figures.oil_mass_g
    facts.update(_alkali_facts(pot))
    for (material, at), rate in formula.rates.items():
        roles = {line.role for line in pot.lines if line.material == material and line.at == at}
        scent = "scent" in roles
        step = "scent" if scent else _addition_step(trial, material)
        facts[Aspect("scent" if scent else "addition", material, at, step)] = rate
    facts[Aspect("water", "lye with all water", step="lye concentration")] = figures.effective_percent
    facts[Aspect("superfat", "effective superfat", step="superfat")] = figures.superfat_effective
    facts[Aspect("size", "batch size", step="batch size")] = figures.oil_mass_g / (formula.share or 1.0)
    return facts


def _alkali_facts(pot: Pot) -> dict[Aspect, float]:
    alkali_g = pot.grams("alkali")
    facts: dict[Aspect, float] = {}
    for line in pot.lines:
        if line.role == "alkali" and line.material != "sodium-hydroxide" and alkali_g > 0:
            aspect = Aspect("alkali", line.material, step="alkali")
            facts[aspect] = facts.get(aspect, 0.0) + 100.0 * line.grams / alkali_g
    return facts


def _addition_step(trial: Trial, material: str) -> str:
    known = trial.materials.get(material)
    if known is None or str(known.group or "") in STRONG_LIQUIDS:
        return "additive"
    return ADDITION_STEPS.get(str(known.kind), "additive")


def _lots(trial: Trial, formula: EffectiveFormula) -> dict[Aspect, Fact]:
    """The lots of every material that went in; a material without a recorded lot is unknown, not the usual one."""
    facts: dict[Aspect, Fact] = {}
    for material in dict.fromkeys(line.material for line in formula.pot.lines if line.grams > 0):
        uses = trial.lots.get(material, ())
        aspect = Aspect("lot", material, step="instead")
        if not uses:
            facts[aspect] = None
            continue
        weights = [float(use.grams) if use.grams is not None else 0.0 for use in uses]
        total = sum(weights)
        shares = [weight / total for weight in weights] if total > 0 else [1.0 / len(uses)] * len(uses)
        facts[aspect] = LotShares(tuple(sorted(zip((use.lot for use in uses), shares, strict=True))))
    return facts


def _part(trial: Trial, portion: str | None) -> TrialPortion | None:
    if portion is None and trial.is_divided:
        return None
    return trial.part(portion or WHOLE)


def _blending(trial: Trial, portion: str | None) -> dict[Aspect, Fact]:
    """Seconds of blending before and after the scent; unknown for a trial in which no blending was written down.

    For the whole of a divided batter it is the mean over its portions.
    """
    written = any(event.what == "blending" for other in trial.parts() for event in other.events)
    if not written:
        return {}
    parts = [part for part in trial.parts() if portion is None or part.name == portion]
    found = [blended for part in parts if (blended := _blended_s(trial, part)) is not None]
    if len(found) < len(parts):
        return {}
    facts: dict[Aspect, Fact] = {}
    for number, name in enumerate(("blending before scent", "blending after scent")):
        facts[Aspect("blending", name, step=name)] = float(sum(blended[number] for blended in found)) / len(found)
    return facts


def _blended_s(trial: Trial, part: TrialPortion) -> tuple[Decimal, Decimal] | None:
    """Seconds before and after the scent; None where the length of a blending was not noted."""
    start = scent_at_s(trial, part)
    before = after = Decimal(0)
    for event in part.events:
        if event.what != "blending":
            continue
        if event.for_s is None:
            return None
        if start is not None and event.at.middle_s is not None and event.at.middle_s >= start:
            after += event.for_s
        else:
            before += event.for_s
    return before, after


def scent_at_s(trial: Trial, part: TrialPortion) -> Decimal | None:
    """When the clock of the working time starts for a portion, in seconds since lye in; None when that is unknown."""
    from trials.outcomes.times import start_of_work

    start = start_of_work(trial, part)
    return None if isinstance(start, str) else start[0]


def _conditions(trial: Trial, portion: str | None) -> tuple[dict[Aspect, Fact], frozenset[Aspect]]:
    found, process = trial.conditions, trial.plan.recipe.process
    facts: dict[Aspect, Fact] = {}
    planned: set[Aspect] = set()
    measured = {
        "room": found.room_c,
        "humidity": found.humidity_percent,
        "lye temperature": found.lye_temperature_c,
        "oil temperature": found.oil_temperature_c,
    }
    for name, value in measured.items():
        aspect = Aspect("condition", name, step=name)
        if value is not None:
            facts[aspect] = float(value)
        elif (intended := parse_celsius(process.get(name.replace(" ", "_")))) is not None:
            facts[aspect] = intended
            planned.add(aspect)
    part = _part(trial, portion)
    covers = [step.what for step in trial.after_pour if step.what in _COVERS and step.portion in (None, portion)]
    chosen = {
        "mould": (part.mould if part is not None else None) or found.mould or process.get("mould"),
        "cover": found.cover or (covers[0] if covers else None) or process.get("cover"),
        "blender": found.blender,
    }
    for name, word in chosen.items():
        if word:
            facts[Aspect("vessel", name, step="instead")] = word
    return facts, frozenset(planned)


def _handling(trial: Trial, portion: str | None) -> dict[Aspect, Fact]:
    """What was done after pouring; unknown for a trial in which nothing of it was written down.

    But for a rebatch: nobody works a loaf through anew and does not write it down, since it cannot be sold then.
    """
    steps = [step for step in trial.after_pour if step.portion in (None, portion)]
    facts: dict[Aspect, Fact] = {}
    if any(step.what != REBATCHED for step in trial.after_pour):  # who wrote of one portion wrote of all
        for word in _DONE:
            facts[Aspect("handling", word, step="done")] = float(any(step.what == word for step in steps))
    if any(step.what == REBATCHED for step in steps):
        facts[Aspect("handling", REBATCHED, step="done")] = 1.0
    for name, word in (("hours to unmoulding", "unmoulded"), ("hours to cutting", "cut")):
        hours = [float(step.at_h) for step in steps if step.what == word and step.at_h is not None]
        if hours:
            facts[Aspect("handling", name, step=name)] = min(hours)
    return facts
