"""Entries of a trial's lots: one of a material, or several with what went in of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from formulary.errors import InputError
from formulary.materials.chosen_lots import has_rest, parse_lots, with_rest
from formulary.materials.model import Material
from formulary.materials.plain_name import material_words
from formulary.quantity import format_plain_number
from formulary.read_only import ReadOnly
from trials.as_made.lots_used import in_bars_g, kept_materials
from trials.as_made.unknown_weights import UNKNOWN_LYE, is_unknown_material
from trials.pours.sentences import say_list
from trials.trial.entry import Entry
from trials.trial.lot_use_text import lots_tree
from trials.trial.model import LotUse, Trial
from trials.trial.words import lot_uses_words

_LOT_HELP = 'name the lot alone, or each of several with its weight: "OL-7 300 g" "OL-8 155 g"; one without is the rest'


def lot(
    trial: Trial,
    material: str,
    *lots: str,
    corrects: bool = False,
    register: Mapping[str, Material] = ReadOnly({}),
) -> Entry:
    """The lot of a material, or its lots with their weights: `lot(trial, "olive-oil", "OL-7 300 g", "OL-8")`, where the
    one without a weight is the rest of what went in.

    corrects: whether it takes the place of what is recorded. register: today's, of which a lot may be called as if it
    had a weight. Raises InputError where something else is recorded and it does not correct, for lots that cannot be
    meant, and for a rest of which nobody knows how much it is.
    """
    (entry,) = lots_of_sitting([trial], material, *lots, corrects=corrects, register=register)
    return entry


def lots_of_sitting(
    trials: Sequence[Trial],
    material: str,
    *lots: str,
    corrects: bool = False,
    register: Mapping[str, Material] = ReadOnly({}),
) -> tuple[Entry, ...]:
    """The same for loaves that were made from one pot: weights are for all of them, and each has its part of every lot.

    Loaves into which none of the material went have no entry. Raises InputError as `lot` does, for any of them, and
    where none of it went into any.
    """
    of_it = [materials.get(material) for materials in (register, *map(kept_materials, trials))]
    known = {each for found in of_it if found is not None for each in found.lots}
    named = parse_lots(material, lots, known, example=_LOT_HELP)
    grams = [(trial, in_bars_g(trial, material)) for trial in trials]
    with_it = [(trial, took_g) for trial, took_g in grams if took_g > 0] or _of_unknown(grams, material)
    all_g = sum(took_g for _, took_g in with_it)
    if has_rest(named):
        _demand_known(trials, material)
        named = {**with_rest(material, named, all_g)}
    entries = []
    for trial, took_g in with_it:
        part = took_g / all_g if len(with_it) > 1 and all_g > 0 else 1.0
        uses = [LotUse(name, None if weight_g is None else _shown(weight_g * part)) for name, weight_g in named.items()]
        entries.append(_lots_entry(trial, material, uses, corrects=corrects))
    return tuple(entries)


def _of_unknown(grams: Sequence[tuple[Trial, float]], material: str) -> Sequence[tuple[Trial, float]]:
    """Loaves of which nobody knows how much of a material went in, where none is known to have taken any.

    Raises InputError where none of what was planned went in; of what was not planned either the reader tells.
    """
    trials = [trial for trial, _ in grams]
    planned = any(line.material == material for trial in trials for line in trial.plan.pot.lines)
    if planned and not any(is_unknown_material(trial, material) for trial in trials):
        ids = say_list([trial.id for trial in trials], "or")
        what = f"no {material_words(material)} went into {ids}"
        do = f"correct the lot's material; if some did go in: {material} as planned, or its weight, as made"
        raise InputError.of("lot-not-in-pot", what, do)
    return grams


def _demand_known(trials: Sequence[Trial], material: str) -> None:
    for trial in trials:
        if is_unknown_material(trial, material):
            what = f"how much {material_words(material)} went into {trial.id} is not known, so there is no rest of it"
            raise InputError.of(UNKNOWN_LYE, what, "give the weight of each lot")


def _lots_entry(trial: Trial, material: str, uses: Sequence[LotUse], *, corrects: bool) -> Entry:
    there = trial.lots.get(material, ())
    said = f"{material} from lot {lot_uses_words(uses)}"
    if there and list(there) != list(uses):
        was = lot_uses_words(there)
        if not corrects:
            what = f"{trial.id} has {material} from lot {was} already"
            do = f"add --correct if {lot_uses_words(uses)} is to take its place"
            raise InputError.of("lot-recorded", what, do)
        said += f" (was {was})"
    return Entry(trial.id, "lots", lots_tree(uses), said, None, material)


def _shown(grams: float) -> Decimal:
    return Decimal(format_plain_number(grams, 2))
