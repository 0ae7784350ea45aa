"""Why nothing can be told yet, and what would help."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from formulary.quantity import format_decimal
from trials.answer.answer import Answer
from trials.outcomes.faults import is_fault
from trials.outcomes.observed import not_recorded
from trials.outcomes.outcome import Outcome
from trials.pours.pour_book import pours_label, short_names
from trials.pours.seen import Seen
from trials.pours.sentences import number

if TYPE_CHECKING:
    from trials.explain.result import NoAnswer


def why_nothing(why: NoAnswer, answer: Answer) -> tuple[str, str | None]:
    """Why there is nothing to weigh, and what would help."""
    if why.why == "no-factors":
        return "nothing that is recorded differed between these trials", "Change one thing in the next one."
    if why.why == "all-censored":
        advice = "Watch it to its end once, in a cupful kept back: one time that was seen is worth several limits."
        said = f"{answer.label} was never read in any trial, only that it lies beyond a limit"
        return said, advice if answer.outcome.from_events else None
    if why.why == "no-rows":
        return (
            f"{answer.label} was never observed",
            f'`formulary outcomes "{answer.outcome.name}"` tells how it is done.',
        )
    if why.why == "one-row":
        return "one trial alone cannot be compared with anything", _second_pour(answer)
    if why.why == "two-rows":
        lows, highs = zip(*(item.value.bounds for item in answer.seen), strict=True)
        if len(set(lows)) == len(set(highs)) == 1:
            return "two pours showed the same, so there is nothing to explain", "Change one thing in the next one."
        if max(lows) <= min(highs):
            return "two pours may have been the same, as far as they are known", _third_pour(answer)
        return "two pours show a difference, but not how much repeats differ", _third_pour(answer)
    return why.what, None


def _second_pour(answer: Answer) -> str:
    """What to pour after a single one; never the same again where that was a fault."""
    if is_fault(answer.outcome, answer.seen[0].value):
        return f"Pour a second with one thing changed, not the same once more.{_say_where_not(answer)}"
    return f"Pour a second: the same once more, or with one thing changed.{_say_where_not(answer)}"


def _third_pour(answer: Answer) -> str:
    """What to pour after two that differ: the better of them again, unless that was a fault as well."""
    better = _better_of(answer.outcome, answer.seen)
    if better is not None and is_fault(answer.outcome, better.value):
        return f"Pour a third with one thing changed, neither of them once more.{_say_where_not(answer)}"
    names = short_names([trial.id for trial in answer.trials])
    which = "one of them" if better is None else pours_label([better.pour], names)
    said = f"Pour {which} once more, all else the same; `formulary compare` shows in what they differ."
    return f"{said}{_say_where_not(answer)}"


def _better_of(outcome: Outcome, seen: Sequence[Seen]) -> Seen | None:
    """The pour that showed the better value; None where neither way is better."""
    if outcome.direction == "neither":
        return None
    return (max if outcome.direction == "higher" else min)(seen, key=lambda item: item.value.bounds)


def _say_where_not(answer: Answer) -> str:
    """Of a fault, that the pours of which nothing is recorded speak as well, once somebody says so."""
    silent = next((item for item in answer.left_out if item.why == not_recorded(answer.outcome)), None)
    if not answer.outcome.scale.is_ordinal or silent is None:
        return ""
    name = short_names([*(trial.id for trial in answer.trials), *(item.trial for item in answer.left_out)])[
        silent.trial
    ]
    age = f"{format_decimal(answer.age_days or Decimal(0))}d"
    said = [name, answer.outcome.name, number(answer.outcome, 0), "--age", age]
    said += [] if silent.portion is None else ["--portion", silent.portion]
    return f" Where it was not so, record that, too, for it tells as much: formulary trial observe {shlex.join(said)}"
