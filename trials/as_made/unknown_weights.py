"""What went into a trial and nobody knows how much of: then no superfat can be told, nor anything compared."""

from __future__ import annotations

from collections.abc import Iterable

from formulary.batch.mixed_lye import LYE
from formulary.errors import InputError
from formulary.finding import Finding, stop
from formulary.materials.model import Material, MaterialKind
from formulary.materials.plain_name import material_words
from formulary.recipes.model import STAGES
from trials.as_made.entry_lines import is_in_weighed_lye, stages_of
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import find_taken_in, has_no_oils
from trials.trial.identity import code_of
from trials.trial.model import AsMade, Handling, Trial, done_once
from trials.trial.words import hour_words, weighed_words

UNKNOWN_LYE = "weight-unknown"


def unknown_words(trial: Trial, *, for_lye: bool = False, as_bars: bool = False) -> str:
    """That weights of a trial are not known, in words: `how much olive oil went in is not known`; empty where all are.

    for_lye: only of what takes part in the balance of lye and fat. as_bars: of what a rebatch took in, too.
    """
    materials = materials_of(trial)
    names = [
        "lye" if entry.went_in == LYE else material_words(entry.went_in)
        for entry in _entries(trial, as_bars=as_bars)
        if entry.is_unknown and (not for_lye or _takes_part(entry, trial, materials))
    ]
    return f"how much {' and '.join(dict.fromkeys(names))} went in is not known" if names else ""


def why_nothing_compares(trial: Trial, portion: str | None = None) -> str:
    """Why a trial, or a portion of it, has no formula that can be held against others; empty where it has one."""
    if has_no_oils(trial, portion):
        return "no oil went in, as it is recorded"
    return unknown_words(trial)


def _entries(trial: Trial, *, as_bars: bool) -> tuple[AsMade, ...]:
    return (*trial.as_made, *find_taken_in(trial)) if as_bars else trial.as_made


def demand_known_weights(trials: Iterable[Trial], *, as_bars: bool = False) -> None:
    """Refuse trials of which a weight is not known, where something is to be worked out or compared by them.

    as_bars: of what a rebatch took in, too.
    """
    for trial in trials:
        unknown = unknown_words(trial, as_bars=as_bars)
        if unknown:
            commands = [way for section, way, _ in _ways(trial) if as_bars or section == "as_made"]
            do = f"say between which weights it surely was: {'; '.join(dict.fromkeys(commands))}"
            raise InputError.of(UNKNOWN_LYE, f"{unknown} in {trial.id}, so nothing can be worked out", do)


def is_unknown_line(trial: Trial, material: str, at: str, *, as_bars: bool = False) -> bool:
    """Whether nobody knows how much of a material went in at a stage. as_bars: with what a rebatch took in.

    Of a jug of whose lye so much went in, it is all that was in it where anything in it is not known.
    """
    return any(
        entry.is_unknown
        and at in stages_of(entry, trial.plan)
        and (entry.went_in in (material, LYE) or (at == "lye water" and is_in_weighed_lye(entry, trial)))
        for entry in _entries(trial, as_bars=as_bars)
    )


def is_unknown_material(trial: Trial, material: str) -> bool:
    """Whether nobody knows how much of a material is in the bars."""
    return any(is_unknown_line(trial, material, at, as_bars=True) for at in STAGES)


def check_unknown(trial: Trial) -> Iterable[Finding]:
    """A stop for what is not known and decides whether the bars are safe: lye, fat, acid, or a scent and its limit."""
    materials = materials_of(trial)
    for section, command, entry in _ways(trial):
        name = entry.went_in
        known, place = materials.get(name), entry.place._replace(field=section)
        what = f"how much {'lye' if name == LYE else material_words(name)} went in is not known, so nobody can tell"
        do = f"say between which weights it surely was: {command}; its worse end counts then"
        if _takes_part(entry, trial, materials):
            yield stop("weight-unknown", f"{what} how much superfat, or free lye, the bars have", do, place)
        elif known is not None and known.kind is MaterialKind.FRAGRANCE:
            yield stop("scent-unweighed", f"{what} whether it is within its limit", do, place)


def _ways(trial: Trial) -> Iterable[tuple[str, str, AsMade]]:
    """Every entry whose weight nobody knows, with the section that it stands in and the command that says it anew."""
    for entry in trial.as_made:
        if entry.is_unknown:
            yield "as_made", _as_made_command(entry, trial), entry
    for step in done_once(trial.after_pour):
        for entry in step.extras:
            if entry.is_unknown:
                yield "after_pour", _rebatch_command(step, trial), entry


# No grams of ours in these: who takes the line as it is would record weights that nobody saw.
def _as_made_command(entry: AsMade, trial: Trial) -> str:
    said = f"{entry.instead} instead of {entry.line}" if entry.instead else entry.material
    return f'formulary trial as-made {code_of(trial.id)} "{said} LOW-HIGH g"'


def _rebatch_command(step: Handling, trial: Trial) -> str:
    """All that it took in is said anew: what a correction names takes the place of the whole."""
    at = "unknown" if step.at_h is None else f'"{hour_words(step.at_h)}"'
    parts = [
        f"{entry.material} LOW-HIGH g" if entry.is_unknown else f"{entry.material}{weighed_words(entry)}"
        for entry in step.extras
    ]
    said = " ".join(f'--with "{part}"' for part in parts)
    portion = f" --portion {step.portion}" if step.portion else ""
    return f"formulary trial after {code_of(trial.id)} {step.what} --at {at} {said}{portion} --correct"


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
