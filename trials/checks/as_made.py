"""What the grams in a pot, and the record of its making, say of a trial: is it safe, and do its lots add up?"""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from formulary.batch.checks import check_pot
from formulary.batch.scent_checks import find_scents_without_limit
from formulary.finding import Finding, Place, note, stops, warn
from formulary.materials.lot_dates import check_dates_of_chosen
from formulary.materials.model import Material
from formulary.quantity import format_number
from trials.as_made.effective import effective_portion
from trials.as_made.lots_used import kept_materials, lot_weights, lots_gap_g, lots_named, materials_of
from trials.as_made.pot_as_made import find_taken_in
from trials.as_made.recalculate import find_later_lye
from trials.as_made.unknown_weights import check_unknown, is_unknown_material
from trials.checks.likely import check_likely
from trials.checks.minutes import check_minutes
from trials.trial.identity import code_of
from trials.trial.model import Trial
from trials.trial.on_day import as_it_stood

_NO_LIMIT = "scent-limit-unknown"


def check_as_made(
    trial: Trial, today: date | None = None, *, register: Mapping[str, Material] | None = None
) -> tuple[Finding, ...]:
    """What makes the batch as made unsafe, and what in the record of its making does not add up."""
    findings = [*check_unknown(trial), *_check_bars(trial, today, register)]
    if register is not None and (trial.release is None or trial.release.decision != "discard"):
        findings += find_later_lye(as_it_stood(trial, today), register)
    findings += _check_lots(trial)
    used = {name: tuple(use.lot for use in uses) for name, uses in lots_named(trial).items()}
    findings += check_dates_of_chosen(materials_of(trial), used, trial.made)
    findings += check_likely(trial)
    findings += check_minutes(trial)
    return tuple(placed(finding, trial) for finding in findings)


def _check_bars(trial: Trial, today: date | None, register: Mapping[str, Material] | None) -> Iterable[Finding]:
    """What the grams in the bars decide, by what was worked in until today; stops that are to come are told, too."""
    stood = as_it_stood(trial, today)
    told: set[str] = set()
    for loaf in (stood,) if stood is trial else (stood, trial):
        formula, materials = effective_portion(loaf, as_bars=True), materials_of(loaf)
        purpose, step_g = loaf.plan.recipe.purpose, float(loaf.plan.settings.alkali_step_g)
        found = check_pot(formula.pot, formula.figures, materials, purpose, alkali_step_g=step_g)
        without_limit = iter(find_scents_without_limit(formula.pot, materials))
        found = tuple(
            replace(each, do=_way_to_a_limit(next(without_limit), loaf, register)) if each.code == _NO_LIMIT else each
            for each in found
        )
        if loaf is not stood:
            found = tuple(map(_of_rebatch_ahead, stops(found)))
        yield from (each for each in found if each.code not in told)
        told |= {each.code for each in stops(found)}


def _of_rebatch_ahead(found: Finding) -> Finding:
    """A stop as it is told of bars that there are only when a rebatch is done as it is recorded."""
    what = f"with what the rebatch that lies ahead of today takes in, {found.what}"
    return replace(found, what=what, do=f"do not rebatch it so; if it is done already, write when: {found.do}")


def _way_to_a_limit(scent: str, trial: Trial, register: Mapping[str, Material] | None) -> str:
    """How the limit of a scent comes to count for a loaf: by the lot that went in, since its plan stays as it was."""
    known = None if register is None else register.get(scent)
    lot = next((use.lot for use in lots_named(trial).get(scent, ())), None)
    said = "LOT" if lot is None else shlex.quote(lot)
    limit = "PERCENT" if known is None or known.limit is None else f"{known.limit.percent_of_product:g}"
    name_it = f"formulary trial lot {code_of(trial.id)} {scent} {said}"
    if lot is None or known is None or lot not in known.lots:
        do = f"formulary materials lot {scent} {said} --set limit={limit}; {name_it}"
    elif "limit" not in known.lots[lot].overrides:
        do = f"write `limit: {{percent_of_product: {limit}}}` to lot {lot} in materials/{scent}.yaml; {name_it}"
    else:
        do = name_it
    if limit != "PERCENT":
        return f"{scent} has a limit by now, and this loaf's plan has none: give it to the lot that went in: {do}"
    return f"not for sale until the lot that went in has the limit of its certificate: {do}"


def _check_lots(trial: Trial) -> Iterable[Finding]:
    """Several lots of a line should make up what was weighed, and what is known of one should be known of all."""
    for material, uses in trial.lots.items():
        yield from _check_certificates(trial, material)
        if lot_weights(uses) is None:
            what = f"the lots of {material} are not all weighed, so that none of their certificates can hold"
            yield warn("lots-unweighed", what, "write the grams of each under `lots:`")
        yield from _check_lot_of_rebatch(trial, material)
        gap_g = lots_gap_g(trial, material)
        if gap_g and not is_unknown_material(trial, material):
            made_g = sum(float(use.grams) for use in uses if use.grams is not None)
            what = (
                f"the lots of {material} make {format_number(made_g, 1)} g,"
                f" but {format_number(made_g + gap_g, 1)} g went in"
            )
            yield warn("lots-total", what, "correct the lots, or record what was weighed under as_made")


def _check_lot_of_rebatch(trial: Trial, material: str) -> Iterable[Finding]:
    """Days after a pour another jar may stand on the shelf: what a rebatch took in is said to count as the same lot."""
    frozen, uses = kept_materials(trial).get(material), trial.lots[material]
    if len(uses) > 1 or uses[0].grams is not None or frozen is None or uses[0].lot not in frozen.lots:
        return
    if any(entry.went_in == material for entry in find_taken_in(trial)):
        lot = uses[0].lot
        what = f"the {material} of a rebatch counts as of lot {lot}, which is recorded of the pour"
        name_it = f"formulary trial lot {code_of(trial.id)} {material} {shlex.quote(f'{lot} GRAMS g')} LOT --correct"
        yield note("lot-of-rebatch", what, f"if it was of another: {name_it}")


def _check_certificates(trial: Trial, material: str) -> Iterable[Finding]:
    """A lot of which nothing is kept, where the lye was worked out, or is, by the certificate of another."""
    frozen = kept_materials(trial).get(material)
    used = [use.lot for use in trial.lots[material]]
    kept = {} if frozen is None else frozen.lots
    unknown = [lot for lot in used if lot not in kept]
    if unknown and (material in trial.plan.lots or any(lot in kept for lot in used)):
        what = f"no certificate of lot {' and '.join(unknown)} of {material} is kept with this trial"
        if material in trial.plan.lots:
            what += f", and its lye was weighed for lot {' and '.join(use.lot for use in trial.plan.lots[material])}"
        do = "the general values are used for it; look at its certificate before you use the soap"
        yield warn("lot-certificate-missing", what, do)


def placed(finding: Finding, trial: Trial) -> Finding:
    """The finding said to be in the trial's file; an as-made entry for its material is where it stands."""
    if finding.place.path is not None:
        return finding
    place = trial.place
    for entry in trial.as_made:
        if entry.material and entry.material in finding.what:
            place = entry.place
            break
    return Finding(
        finding.severity,
        finding.code,
        finding.what,
        finding.do,
        Place(trial.path, place.line, place.column, finding.place.field),
        finding.found,
    )
