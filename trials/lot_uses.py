"""Where a lot went: every trial that used it, and every recipe whose lye its certificate would change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weigh_out_text import words
from formulary.errors import FormularyError, InputError
from formulary.fields import suggest
from formulary.quantity import format_number
from formulary.text_table import Row, paragraph, render_rows

if TYPE_CHECKING:
    from trials.bench import Bench


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


@dataclass(frozen=True, slots=True)
class LotUses:
    """A lot by its number: the materials that have one of that number, trials made with it, recipes it would change.

    trials: (trial's id, material, grams of it where they were noted, bars cut where they were noted).
    """

    lot: str
    materials: tuple[str, ...]
    trials: tuple[tuple[str, str, float | None, int | None], ...]
    recipes: tuple[LyeByLot, ...]

    def to_json(self) -> dict[str, object]:
        return {
            "lot": self.lot,
            "materials": list(self.materials),
            "trials": [
                {"trial": trial, "material": material, "grams": grams, "bars_cut": cut}
                for trial, material, grams, cut in self.trials
            ],
            "recipes": [line.to_json() for line in self.recipes],
        }

    def render(self, *, width: int = 80) -> str:
        """The uses as text."""
        of = " and ".join(words(name) for name in self.materials) or "a material that has no such lot recorded"
        lines = paragraph(f"Lot {self.lot} of {of}: in {len(self.trials)} trial(s).", width=width)
        rows = []
        for trial, material, grams, cut in self.trials:
            noted = [] if grams is None else [f"{format_number(grams, 1)} g"]
            noted += [] if cut is None else [f"{cut} bars cut"]
            rows.append(Row(trial, (), "; ".join([words(material), *noted])))
        lines += render_rows(rows, width=width)
        if self.recipes:
            lines += ["", *paragraph("Its certificate changes the lye for 1000 g of oils:", width=width)]
            table = [Row("", ("before g", "after g", "change g"))]
            table += [
                Row(
                    f"{line.recipe}, {words(line.alkali)}",
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


def find_lot_uses(bench: Bench, lot: str) -> LotUses:
    """Every trial that used a lot, and every recipe of the folder whose lye the lot's certificate would change.

    Raises InputError when neither a material nor a trial knows a lot of that number.
    """
    folder = bench.folder
    register = folder.register
    makers = [_slug(path) for path in folder.store.working_paths("materials/") if path.endswith(".yaml")]
    materials = tuple(name for name in makers if name in register and lot in register[name].lots)
    trials = [
        (trial.id, material, None if use.grams is None else float(use.grams), trial.bars.cut)
        for trial in bench.trials()
        for material, uses in trial.lots.items()
        for use in uses
        if use.lot == lot
    ]
    if not materials and not trials:
        known = [number for name in makers if name in register for number in register[name].lots]
        do = suggest(lot, known, f"lots recorded: {', '.join(sorted(known)) or 'none'}")
        raise InputError.of("unknown-lot", f"no material and no trial has a lot {lot[:40]!r}", do)
    return LotUses(lot, materials, tuple(trials), tuple(_changed_lyes(bench, materials, lot)))


def _changed_lyes(bench: Bench, materials: tuple[str, ...], lot: str) -> list[LyeByLot]:
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


def _slug(path: str) -> str:
    return path.rsplit("/", 1)[-1].removesuffix(".yaml")
