"""The next pour that would tell two leading explanations apart, where it is plain what that is."""

from __future__ import annotations

from collections import Counter

from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from trials.answer import ENOUGH, Answer
from trials.factor_steps import TENTH
from trials.factors import Factor

_SUSPECTED = 0.05  # a candidate below this is not worth a pour
_CAN_BE_CHOSEN = frozenset({"oil", "held back", "addition", "scent", "water", "superfat", "lot", "vessel", "condition"})


def say_how_to_tell_apart(answer: Answer) -> str | None:
    """`pour harbour-base with 4 % honey and no clove bud oil`; None where nothing so simple would help.

    The pour has one of two suspects and not the other, all else as in the recipe that most trials came from.
    """
    pair = _suspects(answer)
    if pair is None:
        return None
    one, other = pair
    with_it = _said(answer, one)
    if with_it is None:
        return None
    return f"pour {_usual_recipe(answer)} with {with_it} {_without(other)}"


def _suspects(answer: Answer) -> tuple[Factor, Factor] | None:
    """The factor to have and the one to leave out: of twins the first two, else the second suspect and the first."""
    leading = [cause for cause in answer.causes if cause.probability >= _SUSPECTED and not cause.is_together]
    if not leading:
        return None
    first = leading[0]
    twins = next((cause for cause in leading if len(cause.factors) > 1 and cause.probability >= 0.3), None)
    if twins is not None:
        pairs = [(one, other) for one in twins.factors for other in twins.factors if one != other]
    elif len(leading) > 1 and 0.2 <= first.probability < ENOUGH:
        pairs = [(leading[1].factors[0], first.factors[0]), (first.factors[0], leading[1].factors[0])]
    else:
        return None
    for one, other in pairs:
        chosen, left = answer.factor(one), answer.factor(other)
        if chosen.kind in _CAN_BE_CHOSEN and left.kind in _CAN_BE_CHOSEN:
            return chosen, left
    return None


def _said(answer: Answer, factor: Factor) -> str | None:
    """The factor at the value that it mostly had where it was off base."""
    moved = [
        value
        for value in answer.table.column(factor.name)
        if value is not None and abs(value - factor.baseline) > TENTH * factor.step
    ]
    if not moved:
        return None
    value = min(Counter(moved).items(), key=lambda item: (-item[1], item[0]))[0]
    if factor.step == 1.0 and factor.unit == "":
        return factor.name
    places = factor.aspects[0].step_of.places
    text = format_number(value, places)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    unit = factor.unit.removesuffix(" of oils")
    if factor.kind in ("addition", "scent", "oil", "held back"):
        return f"{text} {unit} {factor.name}"
    return f"{factor.name} at {text} {unit}"


def _without(factor: Factor) -> str:
    name = factor.name.partition(" for ")[0] if factor.kind == "oil" else factor.name
    if factor.kind in ("addition", "scent", "oil", "held back") and factor.baseline == 0:
        return f"and no {name}"
    if factor.kind == "lot":
        return f"and the usual {factor.words.rpartition(' instead of ')[2]} instead of {factor.name}"
    value = f"{factor.baseline:g} {factor.unit}".strip() if factor.unit else factor.words.rpartition(" instead of ")[2]
    subject = material_words(factor.aspects[0].subject)
    return f"and the usual {subject} ({value})"


def _usual_recipe(answer: Answer) -> str:
    counts = Counter(trial.recipe for trial in answer.trials)
    versions = Counter((trial.recipe, trial.version) for trial in answer.trials)
    best = min(versions, key=lambda key: (-versions[key], -counts[key[0]], key))
    return best[0]
