"""What went into a trial and nobody knows how much of: then no superfat can be told, nor anything compared."""

from __future__ import annotations

from collections.abc import Iterable

from formulary.batch.mixed_lye import LYE
from formulary.errors import InputError
from formulary.finding import Finding, Place, stop
from formulary.materials.model import Material, MaterialKind
from formulary.materials.plain_name import material_words
from formulary.recipes.model import STAGES
from trials.as_made.effective import has_no_oils, materials_of
from trials.as_made.entry_lines import is_in_weighed_lye, stages_of
from trials.trial.identity import code_of
from trials.trial.model import AsMade, Trial

UNKNOWN_LYE = "weight-unknown"


def unknown_words(trial: Trial, *, for_lye: bool = False) -> str:
    """That weights of a trial are not known, in words: `how much olive oil went in is not known`; empty where all are.

    for_lye: only of what takes part in the balance of lye and fat.
    """
    materials = materials_of(trial)
    names = [
        "lye" if _went_in(entry) == LYE else material_words(_went_in(entry))
        for entry in trial.as_made
        if entry.is_unknown and (not for_lye or _takes_part(entry, trial, materials))
    ]
    return f"how much {' and '.join(dict.fromkeys(names))} went in is not known" if names else ""


def why_nothing_compares(trial: Trial, portion: str | None = None) -> str:
    """Why a trial, or a portion of it, has no formula that can be held against others; empty where it has one."""
    if has_no_oils(trial, portion):
        return "no oil went in, as it is recorded"
    return unknown_words(trial)


def demand_known_weights(trials: Iterable[Trial]) -> None:
    """Refuse trials of which a weight is not known, where something is to be worked out or compared by them."""
    for trial in trials:
        unknown = unknown_words(trial)
        if unknown:
            do = f"say between which weights it was: formulary trial as-made {code_of(trial.id)} --help"
            raise InputError.of(UNKNOWN_LYE, f"{unknown} in {trial.id}, so nothing can be worked out", do)


def is_unknown_line(trial: Trial, material: str, at: str) -> bool:
    """Whether nobody knows how much of a material went in at a stage."""
    return any(
        entry.is_unknown and _went_in(entry) in (material, LYE) and at in stages_of(entry, trial.plan)
        for entry in trial.as_made
    )


def is_unknown_material(trial: Trial, material: str) -> bool:
    """Whether nobody knows how much of a material went in altogether."""
    return any(is_unknown_line(trial, material, at) for at in STAGES)


def check_unknown(trial: Trial) -> Iterable[Finding]:
    """A stop for what is not known and decides whether the bars are safe: lye, fat, acid, or a scent and its limit."""
    materials = materials_of(trial)
    for entry in trial.as_made:
        if not entry.is_unknown:
            continue
        name = _went_in(entry)
        known, place = materials.get(name), Place(trial.path, entry.place.line, entry.place.column, "as_made")
        what = f"how much {'lye' if name == LYE else material_words(name)} went in is not known, so nobody can tell"
        said = f"{entry.instead} instead of {entry.line}" if entry.instead else name
        # No grams of ours in it: who takes the line as it is would record weights that nobody saw.
        do = f'say between which weights it surely was: formulary trial as-made {code_of(trial.id)} "{said} LOW-HIGH g"'
        do += "; its worse end counts then"
        if _takes_part(entry, trial, materials):
            yield stop("weight-unknown", f"{what} how much superfat, or free lye, the bars have", do, place)
        elif known is not None and known.kind is MaterialKind.FRAGRANCE:
            yield stop("scent-unweighed", f"{what} whether it is within its limit", do, place)


def _went_in(entry: AsMade) -> str:
    return entry.instead or entry.material


def _takes_part(entry: AsMade, trial: Trial, materials: dict[str, Material]) -> bool:
    """Whether an entry's weight decides how much lye is left.

    Also where something went in for such a line; and of all that was in the jug when only so much of it is known to
    have gone in, mixed: how much of that was alkali follows from the rest.
    """
    names = [name for name in (entry.line, entry.extra, entry.instead) if name is not None]
    return any(name == LYE or _reacts(materials.get(name)) for name in names) or is_in_weighed_lye(entry, trial)


def _reacts(material: Material | None) -> bool:
    if material is None:
        return False
    kinds = (MaterialKind.ALKALI, MaterialKind.ACID)
    return material.kind.is_fat or material.kind in kinds or bool(material.acids) or (material.fat_percent or 0.0) > 0
