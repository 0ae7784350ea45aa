"""Which batches a lot went into, and what became of their bars: from a delivery's label to what was sold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from formulary.errors import InputError
from formulary.given import as_name
from formulary.materials.plain_name import material_words
from formulary.names import suggest
from formulary.quantity import format_number
from formulary.text_table import Row, render_rows
from trials.as_made.lots_used import in_bars_g, lots_gap_g, lots_named
from trials.as_made.unknown_weights import is_unknown_material
from trials.trial.identity import code_of
from trials.trial.model import Bars, LotUse, Trial, done_once
from trials.trial.words import sold_words


@dataclass(frozen=True, slots=True)
class LotUsed:
    """One batch that a lot went into.

    grams: how much of it, None where several lots were not told apart, or nobody knows how much went in.
    is_deleted: whether the trial was sold, and its files are not here any more.
    """

    trial: Trial
    material: str
    lot: str
    grams: float | None
    is_deleted: bool = False

    @property
    def bars(self) -> Bars:
        """What became of the batch's bars."""
        return self.trial.bars

    def to_json(self) -> dict[str, object]:
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
            **_decided_json(self.trial),
            "deleted": self.is_deleted,
        }


@dataclass(frozen=True, slots=True)
class LotNotRecorded:
    """A batch with a material of which no lot is recorded, so that any may be in it.

    grams: how much of it is of no recorded lot, None where nobody knows how much went in. is_part: whether lots are
    recorded of the rest.
    """

    trial: Trial
    material: str
    grams: float | None
    is_part: bool

    def to_json(self) -> dict[str, object]:
        return {
            "trial": self.trial.id,
            "recipe": self.trial.recipe,
            "made": self.trial.made.isoformat(),
            "material": self.material,
            "grams": self.grams,
            **_decided_json(self.trial),
        }


def _decided_json(trial: Trial) -> dict[str, object]:
    """The last decision, and whether and when it was last decided to sell it."""
    sold_on = None if trial.sold is None else trial.sold.on
    return {
        "decision": None if trial.release is None else trial.release.decision,
        "sold": trial.sold is not None,
        "sold_on": None if sold_on is None else sold_on.isoformat(),
    }


def find_not_recorded(trials: Iterable[Trial], received: Mapping[str, date | None]) -> tuple[LotNotRecorded, ...]:
    """Every batch that may hold a lot since nobody wrote down which it has, or of which part it has one, by date.

    received: material -> when the lot came in; a batch that was made before has another one, but for what it took in
    when it was rebatched since. None where that day is not known.
    """
    found: list[LotNotRecorded] = []
    for trial in trials:
        for material, since in received.items():
            grams = _without_lot_g(trial, material, since)
            if grams is None or grams > 0:
                known_g = None if is_unknown_material(trial, material) else grams
                found.append(LotNotRecorded(trial, material, known_g, material in lots_named(trial)))
    return tuple(sorted(found, key=lambda item: (item.trial.made, item.trial.id, item.material)))


def _without_lot_g(trial: Trial, material: str, since: date | None) -> float | None:
    """Grams of a material of which nobody wrote down the lot, and that went in since a day; None where it did and
    nobody knows how much of it."""
    uses = lots_named(trial).get(material, ())
    if since is None or trial.made >= since:
        if uses:
            return lots_gap_g(trial, material)
        return None if is_unknown_material(trial, material) else in_bars_g(trial, material)
    # What was worked in later may be of a later lot, whichever is named for the loaf, unless its lots make up all.
    later = [
        each
        for step in done_once(trial.after_pour)
        if step.ended_h is None or trial.made + timedelta(days=math.ceil(step.ended_h / 24)) >= since
        for each in step.taken_in
        if each.material == material
    ]
    weighed = [each.weighed_g for each in later if each.weighed_g is not None]
    if len(weighed) < len(later):
        return None
    later_g = float(sum(weighed))
    are_weighed = bool(uses) and all(use.grams is not None for use in uses)
    return min(later_g, lots_gap_g(trial, material)) if are_weighed else later_g


def find_lot(trials: Iterable[Trial], lot: str, *, material: str | None = None) -> tuple[LotUsed, ...]:
    """Every batch that a lot went into, by date.

    lot: its name as on the label, capitals or not. material: where two materials have lots of one name.
    """
    wanted = as_name(lot).strip().casefold()
    found: list[LotUsed] = []
    for trial in trials:
        for name, uses in lots_named(trial).items():
            if material is None or name == material:
                found += [_used(trial, name, use, uses) for use in uses if use.lot.casefold() == wanted]
    went_in = [used for used in found if used.grams != 0]  # the plan's lot of what was left out did not
    return tuple(sorted(went_in, key=lambda item: (item.trial.made, item.trial.id, item.material)))


def demand_lot(trials: Sequence[Trial], lot: str, *, material: str | None = None) -> tuple[LotUsed, ...]:
    """The same. Raises InputError, with the nearest of those that some have, for a lot that none has."""
    found = find_lot(trials, lot, material=material)
    if not found:
        others = [name for name in lot_names(trials) if find_lot(trials, name)]
        do = suggest(lot, others, "`formulary trial show` lists a trial's lots")
        raise InputError.of("no-lot", f"no batch has lot {lot[:60]!r}", do)
    return found


def _used(trial: Trial, name: str, use: LotUse, uses: Sequence[LotUse]) -> LotUsed:
    """A lot in a trial; where no other lot of the material went in, all of it was of this one."""
    grams = float(use.grams) if use.grams is not None else None
    if grams is None and len(uses) == 1:
        grams = None if is_unknown_material(trial, name) else in_bars_g(trial, name)
    return LotUsed(trial, name, use.lot, grams)


def lot_names(trials: Iterable[Trial]) -> tuple[str, ...]:
    """Every lot that a trial names, in order."""
    return tuple(sorted({use.lot for trial in trials for uses in lots_named(trial).values() for use in uses}))


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
        decided = (sold_words(item.trial) or "not decided") + (", deleted since" if item.is_deleted else "")
        rows.append(
            Row(
                material_words(item.material),
                (code_of(item.trial.id), grams, *cells),
                f"{item.trial.recipe}, {decided}",
            )
        )
    return "\n".join([*lines, "", *render_rows(rows, width=width)])


def render_not_recorded(found: Sequence[LotNotRecorded], received: Mapping[str, date | None]) -> list[str]:
    """A sentence a material on the batches that may hold the lot, too, with those of them that were sold."""
    said: list[str] = []
    for material, since in received.items():
        of_it = [item for item in found if item.material == material]
        mine = [item.trial for item in of_it]
        if not mine:
            continue
        part = ", or of part of it," if any(item.is_part for item in of_it) else ""
        sold = [code_of(trial.id) for trial in mine if trial.sold is not None]
        when = "" if since is None else f" made or rebatched since it came in on {since.isoformat()}"
        batches = f"{len(mine)} batch{'' if len(mine) == 1 else 'es'}"
        what = f"No lot of {material_words(material)}{part} is recorded for {batches}"
        what += f"{when}, and it may be in {'it' if len(mine) == 1 else 'each of them'}, too:"
        what += f" {', '.join(code_of(trial.id) for trial in mine)}"
        said.append(f"{what}; sold of these: {', '.join(sold)}." if sold else f"{what}.")
    return said
