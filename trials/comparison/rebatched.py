"""Of a loaf that was rebatched its batter is compared; what is in its bars is told beside."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulary.batch.model import WHOLE
from formulary.quantity import format_number
from trials.as_made.effective import effective_portion
from trials.as_made.unknown_weights import unknown_words
from trials.comparison.compared import Column
from trials.factors.portion_facts import Pour
from trials.pours.sentences import say_list
from trials.trial.rebatch import rebatches_days


def is_rebatched(column: Column) -> bool:
    """Whether any of its pours was."""
    return any(_took_part(pour) for pour in column.pours)


def _took_part(pour: Pour) -> bool:
    return bool(rebatches_days(pour.trial, pour.portion))


def _superfat_of_bars(pour: Pour) -> float:
    """Percent; of a portion at the worst end of its split, as everywhere that bars are told of."""
    figures = effective_portion(pour.trial, as_bars=True).figures
    of_portion = {part.name: part.superfat_percent for part in figures.portions}.get(pour.portion or WHOLE)
    return figures.superfat_effective if of_portion is None else of_portion


def rebatched_remarks(columns: Sequence[Column]) -> Iterable[str]:
    """What of the bars of rebatched columns is otherwise than the batter that was compared: their superfat."""
    rebatched = [column for column in columns if is_rebatched(column)]
    if not rebatched:
        return
    bars = []
    for column in rebatched:
        if any(unknown_words(pour.trial, for_lye=True, as_bars=True) for pour in column.pours):
            bars.append(f"{column.label} not known")
            continue
        percents = [_superfat_of_bars(pour) for pour in column.pours]
        least, most = format_number(min(percents), 1), format_number(max(percents), 1)
        bars.append(f"{column.label} {least if least == most else f'{least} to {most}'} %")
    yield (
        f"what is compared of {say_list([column.label for column in rebatched])} is the batter, before it was"
        f" rebatched; effective superfat of the bars: {', '.join(bars)}"
    )
