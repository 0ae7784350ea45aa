"""Effects to draw: candidates with their chances and what one step of each does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from trials.answer import INTERVALS, SEVERAL_AT_WORK, WORTH_A_LINE, Answer
from trials.charts.effects_data import EffectRow, EffectsData
from trials.sentences import count, difference_unit

if TYPE_CHECKING:
    from trials.charts.figure import Chart

_MOST_ROWS = 10


@dataclass(frozen=True, slots=True)
class Effects(EffectsData):
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
    rows: list[EffectRow] = []
    for cause in shown:
        effect = cause.main_effect
        has_unit = effect is not None and bool(answer.factor(effect.factor).unit)
        rows.append(
            EffectRow(
                names=cause.factors,
                only_together=cause.is_together,
                probability=cause.probability,
                effect=None if effect is None else effect.effect,
                low=None if effect is None else effect.low,
                high=None if effect is None else effect.high,
                per="" if effect is None else f"per {effect.per}" if has_unit else effect.per,
                said="" if effect is None else {"up": "raises it", "down": "lowers it"}.get(effect.direction, ""),
                is_likely=cause.is_likely,
            )
        )
    left = answer.causes[len(shown) :]
    rest = ""
    if left:
        rest = f"{count(len(left), 'other')}, {'each ' if len(left) > 1 else ''}under {_bound(left[0].probability)} %"
    trials = count(len(answer.trials), "trial")
    foot = f"From {trials}"
    if len(answer.seen) != len(answer.trials):
        foot += f" in {len(answer.seen)} portions"
    if answer.limits:
        foot += f", {answer.limits} known only as a limit"
    foot = f"{foot}. Past 80 % (dashed) a candidate counts as the likely cause." if rows else f"{foot}."
    if any(row.low is not None for row in rows):
        foot += f" {INTERVALS}"
    if answer.adds_to_more_than_all:
        foot += f" {SEVERAL_AT_WORK}"
    return Effects(
        title=f"What did it: {answer.label}",
        label=answer.label,
        unit=difference_unit(answer.outcome),
        rows=tuple(rows),
        nothing=answer.nothing,
        rest=rest,
        foot=foot,
        empty=answer.no_answer,
    )


def _bound(probability: float) -> int:
    return max(1, int(100 * probability) + 1)
