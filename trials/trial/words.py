"""What a trial's file holds in numbers, as a person says it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal, format_plain_number
from formulary.read_only import ReadOnly
from formulary.temperature import CELSIUS, say_degrees
from trials.trial.model import AsMade, Handling, LotUse, Release, Trial

# A stage, said behind what went in at it.
STAGES: Mapping[str, str] = ReadOnly(
    {"lye water": "in the jug", "oils": "in the oils", "trace": "at trace", "top": "on top"}
)
_DECIDED = {"sell": "sold", "rework": "to be reworked", "discard": "discarded", "hold": "held back"}
_SAID_IN_DAYS_H = 72


def as_made_words(entry: AsMade) -> str:
    """One thing that went otherwise than planned, in words."""
    weighed = weighed_words(entry)
    stage = entry.at or ("trace" if entry.extra else "")  # what is recorded without one went in there
    where = (f" {STAGES[stage]}" if stage else "") + (f" in the {entry.portion} portion" if entry.portion else "")
    name = material_words(entry.material)
    if entry.left_out:
        return f"no {name}{where}"
    if entry.instead:
        return f"{material_words(entry.instead)} instead of {name}{weighed}{where}"
    return f"{'extra ' if entry.extra else ''}{name}{weighed}{where}"


def weighed_words(entry: AsMade) -> str:
    """What was weighed, behind what it was: ` 283 g`, ` 118 to 126 g`; empty where no weight was said."""
    if entry.is_unknown:
        return " (nobody knows how much)"
    if entry.weighed_g is None:
        return ""
    if not entry.give_or_take_g:
        return f" {_grams(entry.weighed_g)} g"
    low_g, high_g = (entry.weighed_g + sign * entry.give_or_take_g for sign in (-1, 1))
    return f" {_grams(low_g)} to {_grams(high_g)} g"


def _grams(exact_g: Decimal) -> str:
    """As fine as a scale shows any: what was weighed in ounces has no end of digits."""
    shown_g = round(exact_g, 2)
    return format_decimal((shown_g or exact_g).normalize())


def divided_words(trial: Trial) -> str:
    """How the batter was divided, where that went otherwise than planned; empty where it went as planned."""
    planned = {each.name: each.share for each in trial.plan.recipe.portions}
    divided = {each.planned_name: each.share for each in trial.portions}
    if divided == planned and not any(each.instead_of or each.gets for each in trial.portions):
        return ""
    shares = ", ".join(f"{each.name} {format_decimal(each.share)} %" for each in trial.portions)
    return f"divided into {shares}" if shares else "not divided"


def lot_uses_words(uses: Sequence[LotUse]) -> str:
    """The lots of one material with the grams of each, where they are known: "OL-7 (300 g) and OL-8 (155 g)"."""
    return " and ".join(use.lot if use.grams is None else f"{use.lot} ({_grams(use.grams)} g)" for use in uses)


def release_words(release: Release) -> str:
    """One decision: "sell, by Orla on 2026-11-04: cured"."""
    on = f" on {release.on.isoformat()}" if release.on is not None else ""
    despite = f" (despite {', '.join(release.despite)})" if release.despite else ""
    return f"{release.decision}, by {decider_words(release)}{on}: {release.why or 'no reason given'}{despite}"


def decider_words(release: Release) -> str:
    """Who decided, as far as the record says."""
    return release.who.strip() or "nobody who is named"


def sold_words(trial: Trial) -> str:
    """What became of the bars by decision, with its days: "sold 2026-05-20, then discarded 2026-11-26"; empty for none.

    Of earlier decisions only the last to sell is told, since its bars may be with people.
    """
    told = [trial.sold, trial.release] if trial.sold is not trial.release else [trial.release]
    return ", then ".join(
        f"{_DECIDED[each.decision]}{'' if each.on is None else f' {each.on.isoformat()}'}"
        for each in told
        if each is not None
    )


def taken_in_words(step: Handling) -> str:
    """What a rebatch took in, in words."""
    said = [
        f"{material_words(each.material)}{weighed_words(each)}"
        if each.is_unknown
        else f"{weighed_words(each).strip()} of {material_words(each.material)}"
        for each in step.extras
    ]
    return f"with {' and '.join(said)}" if said else ""


def handling_words(step: Handling) -> str:
    """One thing that was done after pouring, in words: `rebatched with 60 g of olive oil, 20 h after pouring`."""
    what = " ".join(part for part in (step.what, taken_in_words(step)) if part)
    since = "" if step.at_h is None else f"{hour_words(step.at_h)} after pouring"
    where = f"in the {step.portion} portion" if step.portion else ""
    return ", ".join(part for part in (what, since, where) if part)


def degree_words(celsius: Decimal, told_in: str = CELSIUS) -> str:
    """A temperature, to a tenth: what was read in °F has endless decimals."""
    return say_degrees(float(celsius), told_in)


def hour_words(hours: Decimal) -> str:
    """A length of time that is kept in hours: `10 min`, `2.5 h`, `27 d`."""
    if 0 < hours < 1:
        return f"{format_plain_number(float(hours) * 60, 1)} min"
    if hours >= _SAID_IN_DAYS_H and hours % 24 == 0:
        return f"{format_plain_number(float(hours) / 24, 0)} d"
    return f"{format_plain_number(float(hours), 2)} h"
