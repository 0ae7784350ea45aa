"""Whether a trial's bars may be sold, and what was tested for it, in words that every view of it shares."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from formulary.materials.model import Material
from formulary.quantity import format_plain_number
from trials.checks.free_alkali import FREE_ALKALI
from trials.checks.sale import find_overridden, fit_to_sell
from trials.trial.model import REBATCHED, Trial
from trials.trial.words import release_words


def decision_words(trial: Trial) -> str:
    """What was decided of it, the last first: "sell, by Orla on 2026-11-04: cured"; empty where nobody has."""
    return "; before that ".join(release_words(each) for each in reversed(trial.decisions))


def sale_words(trial: Trial, register: Mapping[str, Material] | None, today: date | None = None) -> str:
    """Whether it is fit to sell, and what stands against it.

    register: as it is today, against which it is held, too. today: for the age of its cure; with it nothing counts that
    is recorded of a later day.
    """
    standing = fit_to_sell(trial, today, register=register)
    if [finding.code for finding in standing] == ["not-decided"]:
        return "not decided yet whether it is sold"
    if standing:
        return f"not fit to sell: {'; '.join(finding.what for finding in standing)}"
    aside = [each.what for each in find_overridden(trial, today, register=register)]
    if aside:
        return f"to be sold by that decision alone, in spite of: {'; '.join(aside)}"
    return "fit to sell, as far as is recorded here"


def free_alkali_words(trial: Trial) -> tuple[str, ...]:
    """Every test for free alkali at its own age, as it was read, and the rebatches between: ("none at 4 d", ...).

    A loaf is another one after a rebatch, and a test for safety is never worked out for a day on which there was none.
    A rebatch stands where it had been done, as it counts for a sale: after a test of the same age, which may be from
    before it, and after all of them where its time is not recorded.
    """
    told = [
        (
            float(seen.age_days),
            0,
            f"{', '.join(each.text for each in seen.readings)} at {format_plain_number(float(seen.age_days), 1)} d",
            seen.portion,
        )
        for seen in trial.observations
        if seen.outcome == FREE_ALKALI
    ]
    if not told:
        return ()
    for step in trial.after_pour:
        if step.what == REBATCHED:
            done_days = float("inf") if step.ended_h is None else float(step.ended_h) / 24
            when = f"{'until' if step.for_h else 'at'} {format_plain_number(done_days, 1)} d"
            when = "at no recorded time" if step.ended_h is None else when
            told.append((done_days, 1, f"rebatched {when}", step.portion))
    return tuple(
        f"{what}{f' ({portion})' if portion else ''}" for _, _, what, portion in sorted(told, key=lambda each: each[:2])
    )
