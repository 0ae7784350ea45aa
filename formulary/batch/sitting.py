"""Several loaves poured in one sitting: one pot of the oils that they share, one jug of lye, then what each gets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from formulary.batch.lot_shares import LOT_CODES, check_lots
from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.printed_checks import check_printed_pot
from formulary.batch.sitting_model import Shared, Sitting
from formulary.batch.sitting_weights import printed_loaf, weigh_sitting
from formulary.batch.vessel_checks import check_shared_vessels
from formulary.errors import InputError
from formulary.finding import Finding, stops
from formulary.materials.model import Material
from formulary.settings import Settings

# Common practice, no source: what is solid in a kitchen is melted in the shared pot; the rest is poured in by loaf.
MELTED_ABOVE_C = 20.0
# Two lyes are the same when a scale could not tell them apart.
_SAME_CONCENTRATION = 0.05


def plan_sitting(
    batches: Sequence[Batch], materials: Mapping[str, Material], settings: Settings | None = None
) -> Sitting:
    """How to share a pot of hard oils and a jug of lye between batches, each of a size of its own.

    settings: whose vessels hold what is shared; the usual ones, which name none, unless given.
    Every gram of every batch is in exactly one place: the pot, the jug, or a loaf's own lines; so the totals agree.
    Raises InputError for fewer than two batches; StopError is the caller's to raise for a batch that is stopped.
    """
    settings = settings if settings is not None else Settings()
    if len(batches) < 2:
        raise InputError.of("sitting-of-one", "a sitting has two loaves or more", "name several recipes")
    if any(stops(batch.findings) for batch in batches):
        raise InputError.of("sitting-stopped", "a loaf of this sitting is stopped", "settle its stop first")
    pot, taken = _shared_oils(batches, materials)
    jug, reason = _shared_lye(batches)
    own = []
    for number, batch in enumerate(batches):
        lines: list[PotLine] = []
        for line in batch.pot.lines:
            if line.role in ("alkali", "water") and jug is not None:
                continue
            grams = line.grams
            if line.role == "oil" and line.at == "oils":
                grams -= taken[number].get(line.material, 0.0)
            if grams > 1e-9:
                lines.append(PotLine(line.material, line.role, line.at, grams, line.portion, line.water))
        own.append(tuple(lines))
    in_jug = [line for batch in batches for line in batch.pot.lines if line.role in ("alkali", "water")]
    melted = [PotLine(name, "oil", "oils", grams) for name, grams in (pot.lines if pot is not None else ())]
    findings = check_shared_vessels(
        Pot(tuple(melted)) if pot is not None else None,
        Pot(tuple(in_jug)) if jug is not None else None,
        materials,
        settings,
    )
    sitting = Sitting(tuple(map(_without_lots_told, batches)), pot, jug, tuple(own), reason, tuple(findings))
    printed = _check_printed(sitting, materials, settings)
    lots = check_lots((line for batch in batches for line in batch.pot.lines), sitting.lots, batches[0].scale)
    return replace(sitting, findings=(*sitting.findings, *printed, *lots))


def _without_lots_told(batch: Batch) -> Batch:
    """What is given of a lot is for all loaves, and so judged by all that they take."""
    return replace(batch, findings=tuple(finding for finding in batch.findings if finding.code not in LOT_CODES))


def _check_printed(sitting: Sitting, materials: Mapping[str, Material], settings: Settings) -> Iterable[Finding]:
    """Whether what the sheet gives each loaf still leaves its superfat."""
    weights = weigh_sitting(sitting)
    for number, batch in enumerate(sitting.batches):
        loaf = printed_loaf(sitting, weights, number)
        of_loaf = {**materials, **batch.materials}  # by the lots that it was worked out with
        for finding in check_printed_pot(loaf, batch.superfat.effective, batch.purpose, of_loaf, settings):
            yield replace(finding, what=f"loaf {number + 1}: {finding.what}")


def _shared_oils(
    batches: Sequence[Batch], materials: Mapping[str, Material]
) -> tuple[Shared | None, list[dict[str, float]]]:
    """The largest pot of one composition that every loaf can take from, and what each takes of each oil.

    What no scale shows of a loaf's oil is not poured off for it: it stays with the loaf.
    """
    least_g = batches[0].scale.finest_g
    nothing: list[dict[str, float]] = [{} for _ in batches]
    amounts = [_melted(batch, materials) for batch in batches]
    names = [name for name in amounts[0] if all(grams.get(name, 0.0) >= least_g for grams in amounts)]
    if not names:
        return None, nothing
    totals = {name: sum(grams[name] for grams in amounts) for name in names}
    all_g = sum(totals.values())
    parts = {name: totals[name] / all_g for name in names}
    each = [min(grams[name] / parts[name] for name in names) for grams in amounts]
    taken = [{name: takes * parts[name] for name in names} for takes in each]
    lines = tuple((name, sum(share[name] for share in taken)) for name in names)
    return Shared(lines, tuple(each)), taken


def _melted(batch: Batch, materials: Mapping[str, Material]) -> dict[str, float]:
    grams: dict[str, float] = {}
    for line in batch.pot.lines:
        melting_c = materials[line.material].melting_point_c
        if line.role == "oil" and line.at == "oils" and melting_c is not None and melting_c >= MELTED_ABOVE_C:
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    return grams


def _shared_lye(batches: Sequence[Batch]) -> tuple[Shared | None, str | None]:
    if any(line.role == "addition" and line.at == "lye water" for batch in batches for line in batch.pot.lines):
        return None, "a loaf has more than water in its jug"
    jugs = [_jug(batch) for batch in batches]
    if any(jug.keys() != jugs[0].keys() for jug in jugs):
        return None, "the loaves do not use the same alkali"
    for name in jugs[0]:
        parts = [100.0 * jug[name] / sum(jug.values()) for jug in jugs]
        if max(parts) - min(parts) > _SAME_CONCENTRATION:
            return None, "the loaves' lyes differ in strength"
    lines = tuple((name, sum(jug[name] for jug in jugs)) for name in jugs[0])
    # By the alkali that each loaf is due: strengths that no scale tells apart still differ by some of it.
    alkalis = {line.material for batch in batches for line in batch.pot.lines if line.role == "alkali"}
    due = [sum(jug[name] for name in alkalis) for jug in jugs]
    all_g = sum(grams for _, grams in lines)
    return Shared(lines, tuple(all_g * grams / sum(due) for grams in due)), None


def _jug(batch: Batch) -> dict[str, float]:
    grams: dict[str, float] = {}
    for line in batch.pot.lines:
        if line.role in ("alkali", "water"):
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    return grams
