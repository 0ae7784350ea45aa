"""Effects to draw: candidates with their chances and what one step of each does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from trials.answer.answer import ENOUGH, INTERVALS, SEVERAL_AT_WORK, WORTH_A_LINE, Answer, FactorEffect, LikelyCause
from trials.answer.chance_words import rests_on_words
from trials.answer.effect_words import as_told, effect_unit, likelier_words, most_possible, step_words
from trials.answer.sentence import cause_words, pair_sides
from trials.answer.text import ONLY_WITH_OTHERS
from trials.charts.drawn import Drawn
from trials.charts.effects_data import EffectRow, EffectsData
from trials.outcomes.outcome import Scale
from trials.pours.sentences import capital, count

if TYPE_CHECKING:
    from trials.charts.figure import Chart

_MOST_ROWS = 10


@dataclass(frozen=True, slots=True, repr=False)
class Effects(Drawn, EffectsData):
    """Candidates that draw themselves."""

    def draw(self, **options: Any) -> Chart:
        """The candidates as a chart, with `savefig` for SVG, PNG or PDF."""
        from trials.charts.effects_drawing import draw

        return draw(self, **options)


def find_effects(answer: Answer) -> Effects:
    """The chart's content for an explanation: candidates of 2 % and more, ten at most."""
    shown = [cause for cause in answer.causes if cause.probability >= WORTH_A_LINE][:_MOST_ROWS]
    if answer.causes and not shown:
        shown = list(answer.causes[:1])
    rows = tuple(_row(answer, cause) for cause in shown)
    return Effects(
        title=f"What did it: {answer.label}",
        label=answer.label,
        unit=effect_unit(answer),
        higher="yes" if answer.outcome.scale is Scale.YES_NO else "a higher grade",
        rows=rows,
        most=most_possible(answer),
        nothing=answer.nothing,
        rest=_rest(answer.causes[len(shown) :]),
        foot=_foot(answer, rows),
        empty=None if answer.no_answer is None else " ".join(filter(None, [f"{answer.no_answer}.", answer.advice])),
    )


def _row(answer: Answer, cause: LikelyCause) -> EffectRow:
    effect = cause.main_effect
    if effect is not None:
        effect = as_told(answer, effect, cause if cause.is_together else None)
    return EffectRow(
        names=tuple(pair_sides(cause)) if cause.is_together else cause.factors,
        only_together=cause.is_together,
        probability=cause.probability,
        effect=None if effect is None else effect.effect,
        low=None if effect is None else effect.low,
        high=None if effect is None else effect.high,
        per=_per(answer, effect, cause) if effect is not None else ONLY_WITH_OTHERS if cause.is_mostly_together else "",
        said="" if effect is None else likelier_words(effect.direction),
        is_likely=cause.is_likely,
    )


def _rest(left: Sequence[LikelyCause]) -> str:
    """The candidates that are not shown, counted."""
    if not left:
        return ""
    each = "each " if len(left) > 1 else ""
    return f"{capital(count(len(left), 'other'))}, {each}under {_bound(left[0].probability)} %."


def _foot(answer: Answer, rows: Sequence[EffectRow]) -> str:
    """What it rests on, and how it is to be read."""
    foot = f"From {count(len(answer.trials), 'trial')}"
    if len(answer.seen) != len(answer.trials):
        foot += f" in {len(answer.seen)} portions"
    if answer.limits:
        foot += f", {answer.limits} known only as a limit"
    foot = f"{foot}. Past 80 % (dashed) a candidate counts as the likely cause." if rows else f"{foot}."
    for cause in answer.causes:
        if cause.probability >= ENOUGH and cause.rests_on:
            foot += f" {capital(cause_words(cause))} does not: {rests_on_words(answer, cause)}."
        elif cause.probability >= ENOUGH and cause.is_partner:
            foot += f" {capital(cause_words(cause))} does not: it is likely only beside what is surer."
    if any(row.low is not None for row in rows):
        foot += f" {INTERVALS}"
    if any(abs(end) > most_possible(answer) for row in rows for end in (row.low, row.high) if end is not None):
        foot += " An arrow goes on beyond what can be told."
    if answer.adds_to_more_than_all:
        foot += f" {SEVERAL_AT_WORK}"
    return foot


def _per(answer: Answer, effect: FactorEffect, cause: LikelyCause) -> str:
    """The step that an effect is of, with the name of its factor where it stands among others."""
    factor = answer.factor(effect.factor)
    if cause.is_together or not factor.unit:
        return effect.per
    step = step_words(factor, effect.per)
    if len(cause.factors) == 1:
        return f"per {step}"
    return (
        f"per {step.removesuffix(' of oils')} {factor.name}"
        if factor.unit == "% of oils"
        else f"{factor.name}, per {step}"
    )


def _bound(probability: float) -> int:
    return max(1, int(100 * probability) + 1)
