"""Where a lot went: every trial that used it, and every recipe whose lye its certificate would change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import chain
from typing import TYPE_CHECKING

from formulary.batch.weigh_out import work_out_batch
from formulary.errors import FormularyError, InputError
from formulary.finding import Finding, error
from formulary.history.versions import slug_of
from formulary.materials.plain_name import material_words
from formulary.names import suggest
from formulary.quantity import format_number
from formulary.read_only import ReadOnly
from formulary.shown_as_text import ShownAsText
from formulary.text_table import Row, paragraph, render_rows
from trials.as_made.lots_used import other_loaves_words
from trials.files.deleted import find_deleted_and_sold
from trials.lots.lot_trace import (
    LotNotRecorded,
    LotUsed,
    find_lot,
    find_not_recorded,
    lot_names,
    render_lot,
    render_not_recorded,
)
from trials.trial.identity import code_of
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.files.trial_files import TrialFiles


@dataclass(frozen=True, slots=True)
class LyeByLot:
    """A recipe's alkali for 1000 g of oils, in grams: as the register has it, and by the lot's certificate."""

    recipe: str
    alkali: str
    before_grams: float
    after_grams: float

    def to_json(self) -> dict[str, object]:
        return {
            "recipe": self.recipe,
            "alkali": self.alkali,
            "before_grams": self.before_grams,
            "after_grams": self.after_grams,
        }


@dataclass(frozen=True, slots=True, repr=False)
class LotUses(ShownAsText):
    """A lot by its number: the materials that have one, the batches made with it, the recipes it would change.

    not_recorded: batches with such a material whose lot, or that of part of it, nobody wrote down: they may have it.
    received: material -> when the lot came in, as far as that is known.
    """

    lot: str
    materials: tuple[str, ...]
    batches: tuple[LotUsed, ...]
    recipes: tuple[LyeByLot, ...]
    not_recorded: tuple[LotNotRecorded, ...] = ()
    received: Mapping[str, date | None] = field(default_factory=dict)
    unread: tuple[Finding, ...] = ()  # trials and materials that could not be read, which may have it too

    def to_json(self) -> dict[str, object]:
        return {
            "lot": self.lot,
            "materials": list(self.materials),
            "trials": [used.to_json() for used in self.batches],
            "not_recorded": [each.to_json() for each in self.not_recorded],
            "recipes": [line.to_json() for line in self.recipes],
            "unread": [finding.to_json() for finding in self.unread],
        }

    def __str__(self) -> str:
        return self.render()

    def render(self, *, width: int = 80) -> str:
        """The uses as text."""
        lines = [render_lot(self.lot, self.batches, width=width)]
        for text in render_not_recorded(self.not_recorded, self.received):
            lines += ["", *paragraph(text, width=width)]
        if self.unread:
            files = {finding.place.path for finding in self.unread if _is_of_material(finding)}
            counts = ((sum(not _is_of_material(each) for each in self.unread), "trial"), (len(files), "material"))
            many = " and ".join(f"{count} {what}{'' if count == 1 else 's'}" for count, what in counts if count)
            lines += paragraph(f"{many} could not be read and may have it too: this is not all of it.", width=width)
        if self.recipes:
            lines += ["", *paragraph("Its certificate changes the lye for 1000 g of oils:", width=width)]
            table = [Row("", ("before g", "after g", "change g"))]
            table += [
                Row(
                    f"{line.recipe}, {material_words(line.alkali)}",
                    (
                        format_number(line.before_grams, 1),
                        format_number(line.after_grams, 1),
                        f"{line.after_grams - line.before_grams:+.1f}",
                    ),
                )
                for line in self.recipes
            ]
            lines += render_rows(table, width=width)
        elif self.materials:
            lines += ["", *paragraph("No recipe's lye changes by its certificate.", width=width)]
        return "\n".join(lines)


def find_lot_uses(bench: TrialFiles, lot: str) -> LotUses:
    """Every batch that a lot went into, and every recipe of the folder whose lye the lot's certificate would change.

    Raises InputError when neither a material nor a trial knows a lot of that number.
    """
    folder = bench.folder
    register = folder.register
    makers = [slug_of(path) for path in folder.store.working_paths("materials/") if path.endswith(".yaml")]
    deleted = find_deleted_and_sold(bench)  # their bars are with people as those of any
    trials = (*bench.trials(), *deleted)
    gone = {trial.id for trial in deleted}
    batches = tuple(replace(used, is_deleted=used.trial.id in gone) for used in find_lot(trials, lot))
    lot = next((used.lot for used in batches), lot)  # as it is written: it is found with capitals or without
    materials = tuple(name for name in makers if name in register and lot in register[name].lots)
    received: dict[str, date | None] = dict.fromkeys(used.material for used in batches)
    for name in materials:
        day, used = register[name].lots[lot].received, [used.trial.made for used in batches if used.material == name]
        # A day that a batch made with it was before is a slip, by which nothing can be ruled out.
        received[name] = None if day is None or any(made < day for made in used) else day
    unread = (*bench.unread, *chain.from_iterable(folder.unread_materials.values()))
    named = lot_names(trials)
    if not (materials or batches or any(each.casefold() == lot.strip().casefold() for each in named)):
        _demand_no_trial(trials, lot)
        known = {number for name in makers if name in register for number in register[name].lots}
        known |= set(named)
        do = suggest(lot, known, f"lots recorded: {', '.join(sorted(known)) or 'none'}")
        readable = " that could be read" if unread else ""
        what = f"no material and no trial{readable} has a lot {lot[:40]!r}"
        raise InputError([error("unknown-lot", what, do), *filter(_is_of_material, unread)])
    told = {(used.trial.id, used.material) for used in batches}
    silent = tuple(each for each in find_not_recorded(trials, received) if (each.trial.id, each.material) not in told)
    changed = tuple(_changed_lyes(bench, materials, lot))
    return LotUses(lot, materials, batches, changed, silent, ReadOnly(received), unread)


def _is_of_material(finding: Finding) -> bool:
    return (finding.place.path or "").startswith("materials/")


def _demand_no_trial(trials: Iterable[Trial], named: str) -> None:
    """Refuse a loaf's own name, which is what a bar that comes back says."""
    for trial in trials:
        if named.strip().casefold() in (code_of(trial.id), trial.id):
            tell = (f"formulary trial show {code_of(trial.id)} tells of it", other_loaves_words(trial))
            raise InputError.of(
                "unknown-lot", f"{named!r} is a loaf, and no lot of a material", "; ".join(filter(None, tell))
            )


def _changed_lyes(bench: TrialFiles, materials: tuple[str, ...], lot: str) -> list[LyeByLot]:
    folder = bench.folder
    changed: list[LyeByLot] = []
    for slug in folder.recipes():
        try:
            version = folder.find_version(slug)
            used = {name: lot for name in materials if name in version.recipe.materials()}
            if not used:
                continue
            before = work_out_batch(version, folder.register, folder.settings, oil_mass_g=1000.0)
            after = work_out_batch(version, folder.register, folder.settings, oil_mass_g=1000.0, lots=used)
        except FormularyError:
            continue  # a broken recipe is told by `check`
        for one, two in zip(before.lye, after.lye, strict=True):
            if one.grams != two.grams:
                changed.append(LyeByLot(slug, one.material, one.grams, two.grams))
    return changed
