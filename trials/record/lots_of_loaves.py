"""The lots that the loaves of a sitting are started with: taken over, weighed out, and planned."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from formulary.batch.lot_shares import check_lots, settle_rests, weigh_lots
from formulary.batch.model import Batch
from formulary.batch.scale import format_shown
from formulary.batch.sheet_weights import shown_weights
from formulary.finding import warn
from formulary.materials.chosen_lots import GivenLots, lot_shares
from formulary.materials.plain_name import material_words
from trials.trial.identity import code_of
from trials.trial.model import LotUse, Trial
from trials.trial.plan import exact
from trials.trial.words import lot_uses_words


def lots_taken_over(trial: Trial | None, names: Collection[str]) -> dict[str, dict[str, float | None]]:
    """The lots of another trial of the sitting, for what a loaf shares with it; not of what it took from several, of
    which nobody knows how much is left. names: the materials of the loaf."""
    if trial is None:
        return {}
    return {name: {uses[0].lot: None} for name, uses in trial.lots.items() if name in names and len(uses) == 1}


def with_lots_by_name(batches: Sequence[Batch], lots: GivenLots) -> list[Batch]:
    """The batches with lots of which nothing is registered, so that they are only known by name, and weighed."""
    settled = settle_rests(lots, (line for batch in batches for line in batch.pot.lines))
    held = {line.material for batch in batches for line in batch.pot.lines}
    with_lots = []
    for batch in batches:
        names = {line.material for line in batch.pot.lines}
        own = {name: of_it for name, of_it in settled.items() if name in names or name not in held}
        findings = (*batch.findings, *check_lots(batch.pot.lines, own, batch.scale))
        with_lots.append(replace(batch, findings=findings, lots={**own, **batch.lots}))
    return with_lots


def with_lots_untold(batch: Batch, shared: Trial | None, named: GivenLots) -> Batch:
    """The batch with a warning where the sitting took a material from several lots, and none is named for this loaf:
    nobody knows how much is left of each, and its general values would count without a word."""
    held = {line.material for line in batch.pot.lines}
    found = [
        warn(
            "lots-not-said",
            f"the {material_words(name)} of {code_of(shared.id)} in this sitting was of lots {lot_uses_words(uses)},"
            " and no lot is named for this loaf",
            f"name what it is made from: --lot {name}=LOT; else its general values count",
        )
        for name, uses in (() if shared is None else shared.lots.items())
        if shared is not None and len(uses) > 1 and name in held and name not in named
    ]
    return replace(batch, findings=(*batch.findings, *found)) if found else batch


def planned_lots(lots: Mapping[str, float | None], batch: Batch, material: str) -> tuple[LotUse, ...]:
    """The lots of a material with the grams planned of each; one alone without, since it is all."""
    if len(lots) == 1:
        return tuple(LotUse(lot) for lot in lots)
    takes_g = sum(line.grams for line in batch.pot.lines if line.material == material)
    return tuple(LotUse(lot, exact(share * takes_g)) for lot, share in lot_shares(lots).items())


def weighed_lots(lots: Mapping[str, float | None], batch: Batch, material: str) -> tuple[LotUse, ...]:
    """The same with the grams that the sheet says to weigh of each."""
    if len(lots) == 1:
        return tuple(LotUse(lot) for lot in lots)
    grams = weigh_lots(lots, material, shown_weights(batch.pot.lines, batch.scale), batch.scale)
    return tuple(LotUse(lot, Decimal(format_shown(grams.get(lot, 0.0)))) for lot in lots)
