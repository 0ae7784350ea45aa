"""Which batches a lot went into, and what became of their bars: from a delivery's label to what was sold."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from formulary.text_table import Row, render_rows
from trials.effective import pot_of_bars
from trials.identity import code_of
from trials.model import Bars, LotUse, Trial


@dataclass(frozen=True, slots=True)
class LotUsed:
    """One batch that a lot went into. grams: how much of it, None where several lots were not told apart."""

    trial: Trial
    material: str
    lot: str
    grams: float | None

    @property
    def bars(self) -> Bars:
        """What became of the batch's bars."""
        return self.trial.bars

    def to_json(self) -> dict[str, object]:
        release = self.trial.release
        return {
            "trial": self.trial.id,
            "recipe": self.trial.recipe,
            "made": self.trial.made.isoformat(),
            "material": self.material,
            "lot": self.lot,
            "grams": self.grams,
            "bars_cut": self.bars.cut,
            "bars_kept_back": self.bars.kept_back,
            "bars_scrapped": self.bars.scrapped,
            "decision": None if release is None else release.decision,
        }


def find_lot(trials: Iterable[Trial], lot: str, *, material: str | None = None) -> tuple[LotUsed, ...]:
    """Every batch that a lot went into, by date.

    lot: its name as on the label, capitals or not. material: where two materials have lots of one name.
    """
    wanted = lot.strip().casefold()
    found: list[LotUsed] = []
    for trial in trials:
        for name, uses in trial.lots.items():
            if material is None or name == material:
                found += [_used(trial, name, use, uses) for use in uses if use.lot.casefold() == wanted]
    return tuple(sorted(found, key=lambda item: (item.trial.made, item.trial.id, item.material)))


def _used(trial: Trial, name: str, use: LotUse, uses: Sequence[LotUse]) -> LotUsed:
    """A lot in a trial; where no other lot of the material went in, all of it was of this one."""
    grams = float(use.grams) if use.grams is not None else None
    if grams is None and len(uses) == 1:
        grams = sum(line.grams for line in pot_of_bars(trial).lines if line.material == name)
    return LotUsed(trial, name, use.lot, grams)


def lot_names(trials: Iterable[Trial]) -> tuple[str, ...]:
    """Every lot that a trial names, in order."""
    return tuple(sorted({use.lot for trial in trials for uses in trial.lots.values() for use in uses}))


def render_lot(lot: str, used: Sequence[LotUsed], *, width: int = 80) -> str:
    """Where a lot went, a batch a line."""
    if not used:
        return f"No batch has lot {lot}."
    batches = len({item.trial.id for item in used})
    lines = [f"Lot {used[0].lot} went into {batches} batch{'es' if batches > 1 else ''}."]
    rows = [Row("", ("batch", "g", "bars", "kept back", "scrapped"))]
    for item in used:
        counts = (item.bars.cut, item.bars.kept_back, item.bars.scrapped)
        cells = ["" if count is None else str(count) for count in counts]
        grams = "" if item.grams is None else format_number(item.grams, 1)
        decided = item.trial.release.decision if item.trial.release is not None else "not decided"
        rows.append(
            Row(
                material_words(item.material),
                (code_of(item.trial.id), grams, *cells),
                f"{item.trial.recipe}, {decided}",
            )
        )
    return "\n".join([*lines, "", *render_rows(rows, width=width)])
