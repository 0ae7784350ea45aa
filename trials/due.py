"""What should be looked at now and next: the follow-up plan, the maker's own where it says otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from types import MappingProxyType

from formulary.document import Listing, Scalar
from formulary.fields import Fields, suggest
from formulary.finding import Finding
from formulary.quantity import parse_age_days
from formulary.settings import Settings
from trials.model import HANDLING_WORDS, Trial
from trials.on_day import as_it_stood
from trials.outcomes.outcome import Outcome
from trials.rebatch import find_last_rebatch

_D = Decimal
# What is looked at when, in days: common practice, no source.
USUAL_FOLLOW_UP: Mapping[str, tuple[Decimal, ...]] = MappingProxyType(
    {
        "cut": (_D(1),),
        "free alkali": (_D(2), _D(7)),
        "colour": (_D(7), _D(14), _D(28)),
        "mass": (_D(1), _D(28), _D(42)),
        "hardness": (_D(28), _D(42)),
        "first rancid spot": (_D(90), _D(180), _D(365)),
    }
)
_VOID_BY_REBATCH = "free alkali"
_EARLY_PART = Decimal("0.1")  # a look may be this part of its age early (common practice, no source)
_HOW_CUT = "cut the loaf, and look for gel, cracks, tunnels and weeping"


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to look at. late_days: above 0 when it should have been done. portions: those that still lack it."""

    trial_id: str
    recipe: str
    task: str
    age_days: Decimal
    on: date
    late_days: int
    portions: tuple[str, ...] = ()
    how: str = ""

    @property
    def is_missed(self) -> bool:
        """Whether it is so late that the value at its age cannot be had any more (common practice, no source)."""
        return self.late_days > max(_D(28), self.age_days / 2)

    def to_json(self) -> dict[str, object]:
        return {
            "trial": self.trial_id,
            "recipe": self.recipe,
            "task": self.task,
            "age_days": float(self.age_days),
            "on": self.on.isoformat(),
            "late_days": self.late_days,
            "is_missed": self.is_missed,
            "portions": list(self.portions),
            "how": self.how,
        }


def read_follow_up(
    settings: Settings, outcomes: Mapping[str, Outcome], path: str = "formulary.yaml"
) -> tuple[Mapping[str, tuple[Decimal, ...]], tuple[Finding, ...]]:
    """Task -> ages in days: the usual plan, with what `follow_up:` in formulary.yaml says instead; and its faults.

    A task is an outcome, or something done after pouring such as `cut`. `hardness: []` takes a task out.
    """
    plan = dict(USUAL_FOLLOW_UP)
    findings: list[Finding] = []
    block = settings.free.get("follow_up")
    if block is None:
        return MappingProxyType(plan), ()
    fields = Fields(block, findings, path=path, within="follow_up")
    for entry in block.entries:
        task = entry.key.text
        if task not in outcomes and task not in HANDLING_WORDS:
            do = suggest(task, [*outcomes, *HANDLING_WORDS], "`formulary outcomes` lists what can be looked at")
            fields.report("unknown-outcome", f"{task[:40]!r} is nothing to look at", do, entry.key, task)
            continue
        nodes = entry.value.items if isinstance(entry.value, Listing) else (entry.value,)
        if isinstance(entry.value, Scalar) and entry.value.is_empty:
            nodes = ()
        ages = [fields.parse_node(node, parse_age_days, task) for node in nodes]
        plan[task] = tuple(sorted({age for age in ages if age is not None}))
    return MappingProxyType(plan), tuple(findings)


def find_due(
    trials: Iterable[Trial],
    today: date,
    follow_up: Mapping[str, tuple[Decimal, ...]],
    outcomes: Mapping[str, Outcome],
    *,
    days_ahead: int = 14,
) -> tuple[Due, ...]:
    """What is late, due today, or due within `days_ahead` days: late ones first, then by date.

    A look that was missed is asked for until the next of its kind is due. Batches that were discarded, or are to be
    reworked and were not yet, are left alone. What is asked for of free alkali counts from the last rebatch, before
    which no test speaks for the loaf. What is recorded of a later day than today has not been done yet.
    """
    found: list[Due] = []
    for trial in (as_it_stood(each, today) for each in trials):
        decision = None if trial.release is None else trial.release.decision
        rebatch = find_last_rebatch(trial)
        if decision == "discard" or (decision == "rework" and rebatch is None):
            continue
        for task, ages in follow_up.items():
            begun = (None if rebatch is None else rebatch.ended_days) if task == _VOID_BY_REBATCH else None
            of_loaf = ages if begun is None else tuple(begun + age for age in ages)
            found += _due_of(trial, task, of_loaf, today, outcomes.get(task), days_ahead, begun or _D(0))
    return tuple(sorted(found, key=lambda item: (item.late_days <= 0, item.on, item.trial_id, item.task)))


def _due_of(
    trial: Trial,
    task: str,
    ages: tuple[Decimal, ...],
    today: date,
    outcome: Outcome | None,
    days_ahead: int,
    begun_days: Decimal,
) -> Iterable[Due]:
    """What is due of one kind. begun_days: the loaf's age from which on its looks count."""

    def early(age: Decimal) -> Decimal:
        return age - _EARLY_PART * (age - begun_days)

    for number, age in enumerate(ages):
        on = due_date(trial.made, age)
        following = due_date(trial.made, ages[number + 1]) if number + 1 < len(ages) else None
        if (following is not None and following <= today) or on > today + timedelta(days=days_ahead):
            continue
        until = early(ages[number + 1]) if number + 1 < len(ages) else None
        lacking = _lacking(trial, task, early(age), until)
        if lacking is None:
            continue
        how = _HOW_CUT if task == "cut" else outcome.how if outcome is not None else ""
        yield Due(trial.id, trial.recipe, task, age, on, (today - on).days, lacking, how)


def due_date(made: date, age_days: Decimal) -> date:
    """The day on which something made on `made` reaches an age."""
    return made + timedelta(days=int(age_days.to_integral_value(ROUND_HALF_UP)))


def _lacking(trial: Trial, task: str, since: Decimal, until: Decimal | None) -> tuple[str, ...] | None:
    """The portions that lack a look between two ages; () when the whole trial does, None when nothing does."""
    if task in HANDLING_WORDS:
        done = any(step.what == task for step in trial.after_pour) or (task == "cut" and trial.bars.cut is not None)
        return None if done else ()
    if task == "first rancid spot" and any(
        reading.value for item in trial.observations if item.outcome == task for reading in item.readings
    ):
        return None  # once found there is nothing more to look for
    seen = {
        item.portion
        for item in trial.observations
        if item.outcome == task and item.age_days >= since and (until is None or item.age_days < until)
    }
    if None in seen:
        return None
    names = [portion.name for portion in trial.portions]
    lacking = tuple(name for name in names if name not in seen)
    if seen and not lacking:
        return None
    return lacking if seen else ()
