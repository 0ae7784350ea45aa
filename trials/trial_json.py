"""A trial for programs: everything that is recorded of it, with what was really in the pot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from formulary.batch.model import PotLine
from formulary.finding import Finding
from formulary.materials.model import Material
from trials.as_made.effective import effective_portion, expected_cure
from trials.as_made.portions_text import portions_json, scent_json
from trials.as_made.pot_as_made import pot_of_batter
from trials.as_made.unknown_weights import is_unknown_line, unknown_words
from trials.checks.sale import fit_to_sell
from trials.outcomes.find import find_values
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue
from trials.trial.model import Conditions, Release, Trial, done_once
from trials.trial.on_day import as_it_stood
from trials.trial.rebatch import is_rebatched_in_part
from trials.trial.words import as_made_words
from trials.trial_text import trial_row


def trial_json(
    trial: Trial,
    findings: Sequence[Finding],
    outcomes: Mapping[str, Outcome],
    *,
    register: Mapping[str, Material] | None = None,
    today: date | None = None,
) -> dict[str, object]:
    """A trial with stable keys: planned grams, grams really in the pot, events, values, and why values are missing.

    findings: what the trial has to say for itself, from `check_trial`. register: as it is today, by which a sale is
    judged, too. today: with it nothing that is recorded of a later day counts in what is worked out.
    """
    stood = as_it_stood(trial, today)
    made = pot_of_batter(trial)
    figures = effective_portion(stood, as_bars=True).figures
    # A mean over other bars would hide the worst of them; and what nobody weighed, nobody knows.
    is_one_batter = not is_rebatched_in_part(stood) and not unknown_words(stood, for_lye=True, as_bars=True)
    unknown = unknown_words(stood, as_bars=True)
    return {
        **trial_row(trial, outcomes),
        "size": {trial.plan.size[0]: trial.plan.size[1]},
        "planned": [_line_json(line) for line in trial.plan.pot.lines],
        "in_the_pot": [
            {**_line_json(line), **({"grams": None} if is_unknown_line(trial, line.material, line.at) else {})}
            for line in made.lines
        ],
        "as_made": [as_made_words(entry) for entry in trial.as_made],
        "worked_in_later": [
            {
                "material": each.material,
                "grams": _number(each.weighed_g),
                "give_or_take_grams": float(each.give_or_take_g),
                "portion": step.portion,
                "hours": _number(step.at_h),
            }
            for step in done_once(trial.after_pour)
            for each in step.taken_in
        ],
        "superfat": {
            "effective": figures.superfat_effective if is_one_batter else None,
            "low": figures.superfat_low if is_one_batter else None,
            "high": figures.superfat_high if is_one_batter else None,
        },
        "cured": {**expected_cure(stood).to_json(), **({"grams": None, "mass_loss_percent": None} if unknown else {})},
        "lots": {name: [use.lot for use in uses] for name, uses in trial.lots.items()},
        "lot_grams": {name: {use.lot: _number(use.grams) for use in uses} for name, uses in trial.lots.items()},
        "scent": scent_json(stood, figures.scent),
        "portions": portions_json(stood),
        "who": trial.who,
        "conditions": _conditions_json(trial.conditions),
        "bars": {
            "cut": trial.bars.cut,
            "kept_back": trial.bars.kept_back,
            "scrapped": trial.bars.scrapped,
            "lightest_grams": _number(trial.bars.lightest_g),
        },
        "release": None if trial.release is None else _release_json(trial.release),
        "decided_before": [_release_json(each) for each in trial.decided_before],
        "not_fit_to_sell": [finding.to_json() for finding in fit_to_sell(trial, today, register=register)],
        "notes": trial.notes,
        "events": [
            {"what": event.what, "at": str(event.at), "portion": part.name}
            for part in trial.parts()
            for event in part.events
        ],
        "missing": [
            {"outcome": name, "portion": value.portion, "why": value.why}
            for name, outcome in outcomes.items()
            for value in find_values(trial, outcome)
            if not isinstance(value, OutcomeValue)
        ],
        "findings": [finding.to_json() for finding in findings],
    }


def _conditions_json(seen: Conditions) -> dict[str, object]:
    return {
        "room_c": _number(seen.room_c),
        "humidity_percent": _number(seen.humidity_percent),
        "lye_temperature_c": _number(seen.lye_temperature_c),
        "oil_temperature_c": _number(seen.oil_temperature_c),
        "mould": seen.mould,
        "cover": seen.cover,
        "blender": seen.blender,
    }


def _release_json(release: Release) -> dict[str, object]:
    return {
        "decision": release.decision,
        "who": release.who,
        "why": release.why,
        "on": None if release.on is None else release.on.isoformat(),
        "despite": list(release.despite),
    }


def _number(number: Decimal | None) -> float | None:
    return None if number is None else float(number)


def _line_json(line: PotLine) -> dict[str, object]:
    return {
        "material": line.material,
        "role": line.role,
        "at": line.at,
        "grams": line.grams,
        "portion": line.portion,
    }
