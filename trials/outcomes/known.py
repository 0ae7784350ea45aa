"""The outcomes that a formulary knows, built in and the maker's own, by name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cache

from formulary.document.fields import Fields
from formulary.document.tree import Block, Scalar
from formulary.errors import InputError
from formulary.finding import Finding, error
from formulary.given import as_name
from formulary.names import suggest
from formulary.quantity import NotAQuantity
from formulary.settings import SETTINGS_FILE, Settings
from trials.outcomes.built_in import BUILT_IN
from trials.outcomes.outcome import DIRECTIONS, Outcome, Scale
from trials.trial.elapsed import parse_age_days

# What people call an outcome besides (common practice, no source) -> its name here.
_SAID_OTHERWISE = {
    "acceleration": "working time",
    "accelerated": "working time",
    "thickening": "working time",
    "trace": "time to light trace",
    "ricing": "riced",
    "seizing": "seized",
    "separation": "separated",
    "gel phase": "gel",
    "cracks": "cracked",
    "cracking": "cracked",
    "soda ash": "ash",
    "discolouration": "colour change",
    "softness": "hardness",
    "weight loss": "mass loss",
    "shrinkage": "mass loss",
    "rancidity": "first rancid spot",
}


def find_outcomes(settings: Settings) -> dict[str, Outcome]:
    """Every outcome that can be recorded, by name: the built-in ones and the maker's own; faulty ones are left out."""
    return read_outcomes(settings)[0]


def read_outcomes(settings: Settings) -> tuple[dict[str, Outcome], tuple[Finding, ...]]:
    """Every outcome by name, and what is wrong with the maker's own definitions under `outcomes:`."""
    outcomes = _built_in(settings.temperature).copy()
    findings: list[Finding] = []
    block = settings.free.get("outcomes")
    if block is None:
        return outcomes, ()
    for entry in block.entries:
        name = entry.key.text
        fields = Fields(block, findings, path=SETTINGS_FILE, within="outcomes")
        if name in outcomes:
            what = f"`{name}` is an outcome that is built in"
            fields.report("outcome-built-in", what, "give yours another name", entry.key, name)
            continue
        own = fields.as_block(entry.value, name)
        outcome = None if own is None else _read_outcome(name, own)
        if outcome is not None:
            outcomes[name] = replace(outcome, told_in=settings.temperature)
    return outcomes, tuple(findings)


@cache  # every trial that is read asks for them
def _built_in(told_in: str) -> dict[str, Outcome]:
    return {outcome.name: replace(outcome, told_in=told_in) for outcome in BUILT_IN}


def find_outcome(text: str, outcomes: Mapping[str, Outcome]) -> tuple[Outcome, Decimal | None]:
    """The outcome that a person asks for, and its age in days: `hardness at 28 d`, `hardness`, `working time`.

    Without an age it is the first of its definition; None for an outcome that has none.
    Raises InputError for an outcome that is not defined (the nearest names are offered) or an age that is none.
    """
    name, at, age_text = as_name(text).strip().rpartition(" at ")
    if not at or text.strip() in outcomes:
        name, age_text = text.strip(), ""
    outcome = outcomes.get(name) or _in_other_letters(name, outcomes)
    if outcome is None:
        raise InputError([unknown_outcome(name, outcomes)])
    if not age_text:
        return outcome, outcome.ages_days[0] if outcome.ages_days else None
    if not outcome.ages_days:
        what = f"{outcome.name} has no age: it is looked at once"
        raise InputError.of("outcome-age", what, f"ask for `{outcome.name}`")
    try:
        return outcome, parse_age_days(age_text)
    except NotAQuantity as problem:
        raise InputError.of("bad-age", problem.what, f"{problem.do}, such as `{name} at 28 d`") from None


def _in_other_letters(name: str, outcomes: Mapping[str, Outcome]) -> Outcome | None:
    """The one outcome whose name differs in capitals alone."""
    alike = [outcome for known, outcome in outcomes.items() if known.casefold() == name.casefold()]
    return alike[0] if len(alike) == 1 else None


def unknown_outcome(name: str, outcomes: Iterable[str]) -> Finding:
    """The finding for an outcome that nobody has defined."""
    meant = _SAID_OTHERWISE.get(name.strip().casefold())
    if meant is not None and meant in outcomes:
        return error("unknown-outcome", f"no outcome is called {name[:40]!r}", f"did you mean {meant}?")
    do = suggest(name, outcomes, "`formulary outcomes` lists them; define your own in formulary.yaml")
    return error("unknown-outcome", f"no outcome is called {name[:40]!r}", do)


def _read_outcome(name: str, fields: Fields) -> Outcome | None:
    start = len(fields.findings)
    scales = [scale.value for scale in Scale if scale is not Scale.COLOUR]
    scale_text = fields.choice("scale", scales, required=True)
    unit = fields.text("unit") or ""
    direction = fields.choice("direction", DIRECTIONS) or "neither"
    how = fields.text("how") or ""
    step = fields.decimal("step", low=Decimal("0.000001"))
    low, high = fields.decimal("low"), fields.decimal("high")
    ages: list[Decimal] = []
    for item in fields.items("ages"):
        age = fields.parse_node(item, parse_age_days, "ages")
        if age is not None:
            ages.append(age)
    grades = tuple(item.text for item in fields.items("grades") if isinstance(item, Scalar))
    fields.finish()
    scale = Scale(scale_text) if scale_text is not None else None
    _check_grades_and_unit(fields, scale, grades, unit)
    if len(fields.findings) > start or scale is None:
        return None
    if scale is Scale.PERCENT:
        unit, low, high = "%", Decimal(0) if low is None else low, Decimal(100) if high is None else high
    return Outcome(
        name=name,
        scale=scale,
        unit=unit,
        direction=direction,
        ages_days=tuple(sorted(ages)),
        how=how,
        step=step or (Decimal("0.1") if scale in (Scale.MEASURED, Scale.LOG_TIME) else Decimal(1)),
        grades=grades,
        low=low,
        high=high,
        at_any_age=scale.is_ordinal and not ages,
    )


def observed_as(word: str) -> Outcome | None:
    """The built-in outcome that somebody means who writes a word as something that happened; None for none."""
    name = _SAID_OTHERWISE.get(word.strip().casefold(), word.strip().casefold())
    return next((outcome for outcome in BUILT_IN if outcome.name == name), None)


def own_event_words(settings: Settings) -> tuple[str, ...]:
    """The maker's own words for events, from `events:` in formulary.yaml."""
    block: Block | None = settings.free.get("events")
    return () if block is None else tuple(entry.key.text for entry in block.entries)


def _check_grades_and_unit(fields: Fields, scale: Scale | None, grades: Sequence[str], unit: str) -> None:
    """That only a graded outcome has grades, two at least, and that a time is in a unit of time."""
    if scale is Scale.GRADED and len(grades) < 2:
        fields.report(
            "outcome-grades", "a graded outcome has its grades in order", "write `grades: [none, some, much]`"
        )
    if scale is not Scale.GRADED and grades:
        fields.report("outcome-grades", "only a graded outcome has grades", "write `scale: graded`", None, "grades")
    if len(set(grades)) != len(grades):
        fields.report("outcome-grades", "a grade stands twice", "keep one of them", None, "grades")
    if scale is Scale.LOG_TIME and unit not in ("min", "h", "d", "s"):
        fields.report("outcome-unit", "a time is in s, min, h or d", "write `unit: min`", None, "unit")
