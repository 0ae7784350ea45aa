"""The effective formula: what really went into the pot, and into each portion, in grams.

It is a function of the frozen plan, of what differed from it, and of the portions, and of nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from formulary.batch.model import WHOLE, Cured, Pot, PotFigures, PotLine, WeighedScent, pot_portions
from formulary.errors import InputError
from formulary.materials.lots import mix_lots
from formulary.materials.model import Lot, Material
from formulary.read_only import ReadOnly
from formulary.recipes.model import PORTION_STAGES
from trials.as_made.entry_lines import find_lines, is_mixed_lye, role_of
from trials.as_made.worst_end import alkali_mol_per_g, at_worst_end, is_more_worse
from trials.trial.model import REBATCHED, AsMade, Handling, LotUse, Plan, Trial, TrialPortion, done_once

_OF_NO_LOT = "not recorded"
_ROUNDS = 3
_LOT_TOLERANCE_PERCENT = 1.0  # of the line: scales differ by that much (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectiveFormula:
    """What one portion, or the whole batch, was really made of.

    portion: its name, None for the whole batch. pot: grams by line, of this portion alone.
    figures: what these grams amount to. rates: (material, stage) of additions and scent -> percent of this
    portion's oils. share: this portion's part of the shared batter, a fraction of 1.
    """

    portion: str | None
    pot: Pot
    figures: PotFigures
    rates: Mapping[tuple[str, str], float]
    share: float = 1.0

    @property
    def oil_percents(self) -> Mapping[str, float]:
        """Percent of this portion's oils, by material."""
        return self.figures.oil_percents


def effective_pot(
    plan: Plan,
    as_made: Sequence[AsMade] = (),
    portions: Sequence[TrialPortion] = (),
    added: Mapping[str, Material] = ReadOnly({}),
) -> Pot:
    """The grams that really went into the pot.

    plan: the frozen plan; its planned grams are where everything starts. as_made: what differed, in any order.
    portions: the trial's own; a share divides what follows the share, while lines that were divided by `gets`, or
    weighed for a portion, keep their grams. Without portions the batter stayed whole, whatever was planned.
    added: materials that the plan does not have, by name. Of what is known only about it is the middle; what nobody
    knows counts as planned, which `unknown_weights` tells of.
    """
    materials = {**added, **plan.materials}
    shares = {portion.name: float(portion.share) / 100.0 for portion in portions}
    lines = _take_over_portions(plan.pot.lines, portions)
    # The order in which the entries were written down must not matter: lines are divided where a portion is spoken
    # of, then weighed or left out, then all replacements are made at once, and extras come last.
    for entry in as_made:
        if entry.portion is not None and entry.extra is None:
            lines = _divide(lines, entry, shares)
    for entry in as_made:
        if entry.extra is None and entry.instead is None:
            lines = _weigh(lines, entry)
    lines = _replace(lines, [entry for entry in as_made if entry.instead is not None], materials)
    lines += [_extra(entry, materials) for entry in sorted(as_made, key=_key) if entry.extra is not None]
    for entry in as_made:
        if is_mixed_lye(entry, plan):
            lines = _pour_lye(lines, entry)
    return Pot(
        tuple(lines),
        pot_portions((portion.name, portion.share, portion.by_eye) for portion in portions),
    )


def pot_of_batter(trial: Trial, *, at_worst: bool = False, for_scent: str | None = None) -> Pot:
    """The grams that went into a trial's pot, as `effective_pot` works them out.

    at_worst: what is known only about is taken at the end that leaves more lye, or more scent. for_scent: at the end
    that makes the most of this scent in it.
    """
    pot = effective_pot(trial.plan, trial.as_made, trial.portions, trial.added)
    if not at_worst or not any(entry.give_or_take_g for entry in trial.as_made):
        return pot
    # What makes a weighed lye stronger is seen by how strong it is at its strongest, found from round to round.
    for _ in range(_ROUNDS):
        as_made = [at_worst_end(entry, trial, pot, for_scent=for_scent) for entry in trial.as_made]
        pot = effective_pot(trial.plan, as_made, trial.portions, trial.added)
    return pot


def pot_of_bars(trial: Trial, *, at_worst: bool = False, for_scent: str | None = None) -> Pot:
    """The grams that are in the bars: what went into the pot, and what was worked in later, when it was rebatched.

    What lay on top is worked in then, too. A rebatch that is written down twice was one (`done_once`); where nobody
    knows when, it may have been two, and at_worst the lye and the scent of each counts.
    Whether the bars are safe and what may be sold is judged by these, at_worst (`pot_of_batter`); how the batter
    thickened, by `pot_of_batter`.
    """
    pot = pot_of_batter(trial, at_worst=at_worst, for_scent=for_scent)
    materials = trial.materials
    later = [
        _extra(at_worst_end(entry, trial, pot, for_scent=for_scent) if at_worst else entry, materials)
        for step, is_again in _worked_in(trial.after_pour)
        for entry in step.extras
        if not is_again
        or (at_worst and step.at_h is None and is_more_worse(materials.get(entry.material), for_scent=for_scent))
    ]
    rebatched = {step.portion for step in trial.after_pour if step.what == REBATCHED}
    worked_in = [
        replace(line, at="trace") if line.at == "top" and rebatched & {None, line.portion} else line
        for line in pot.lines
    ]
    return replace(pot, lines=(*worked_in, *later)) if rebatched else pot


def _worked_in(steps: Sequence[Handling]) -> Iterable[tuple[Handling, bool]]:
    """Everything that was done after pouring, each with whether it stands there already."""
    once = done_once(steps)
    for step in steps:
        yield step, not any(step is each for each in once)


def find_taken_in(trial: Trial) -> tuple[AsMade, ...]:
    """All that rebatches took in."""
    return tuple(entry for step in done_once(trial.after_pour) for entry in step.extras)


def as_poured(trial: Trial, *, at_worst: bool = False) -> Trial:
    """The trial as its batter was poured: without what rebatches took in, and without the lots of that.

    A jar is emptied before the next is opened, so of several lots with weights the batter has the first, as far as they
    make it up. at_worst: nothing is known of that, and all of them stay, of which the worst count.
    """
    taken_in = {entry.went_in for entry in find_taken_in(trial)}
    if not taken_in:
        return trial
    poured = replace(trial, after_pour=tuple(replace(step, taken_in=()) for step in trial.after_pour))
    if at_worst:
        return poured
    lots = {name: _first_lots(poured, name) if name in taken_in else uses for name, uses in trial.lots.items()}
    return replace(poured, lots=ReadOnly(lots))


def _first_lots(trial: Trial, material: str) -> tuple[LotUse, ...]:
    """The lots of a material up to what is in the bars; all of them where they are not all weighed."""
    uses, left_g = trial.lots[material], in_bars_g(trial, material)
    within_g = _tolerance_g(trial, material, left_g)
    first: list[LotUse] = []
    for use in uses:
        if use.grams is None:
            return uses
        if left_g > within_g:
            first.append(replace(use, grams=min(use.grams, Decimal(left_g))))
            left_g -= float(use.grams)
    return tuple(first)


def effective_portion(
    trial: Trial, portion: str | None = None, *, as_bars: bool = False, at_worst: bool = False
) -> EffectiveFormula:
    """What the trial, or one portion of it, was really made of, worked out from the values frozen at its start.

    portion: a portion's name; None for the whole batch. as_bars: with what a rebatch took in. at_worst: what is known
    only about is taken at the end that leaves more lye, or more scent, as it always is for bars.
    Raises KeyError for a portion that the trial does not have, InputError for one into which no oil went: its lye has
    nothing to be measured by.
    """
    from formulary.batch.figures import work_out_pot

    whole = pot_of_bars(trial, at_worst=True) if as_bars else pot_of_batter(trial, at_worst=at_worst)
    pot, share = _of_portion(whole, portion)
    if pot.grams("oil") <= 0:
        what = f"no oil went into {trial.id} as it is recorded, so nothing can be worked out"
        raise InputError.of("no-oils", what, "look at its as_made entries")
    if as_bars:
        figures = figures_of_bars(trial, materials_of(trial), lambda bars: _of_portion(bars, portion)[0])
    else:
        figures = work_out_pot(pot, materials_of(as_poured(trial, at_worst=at_worst)), trial.plan.settings)
    return EffectiveFormula(
        portion=None if portion == WHOLE else portion,
        pot=pot,
        figures=figures,
        rates=ReadOnly(_rates(pot)),
        share=share,
    )


def figures_of_bars(
    trial: Trial, materials: Mapping[str, Material], part: Callable[[Pot], Pot] = lambda bars: bars
) -> PotFigures:
    """What the bars amount to at their worst: with the most lye, and each scent in the least of all else.

    materials: as they are to count. part: which of the bars are meant, as a pot; all of them unless given.
    """
    from formulary.batch.figures import work_out_pot

    settings = trial.plan.settings
    pot = part(pot_of_bars(trial, at_worst=True))
    figures = work_out_pot(pot, materials, settings)
    for scent in dict.fromkeys(line.material for line in pot.lines if line.role == "scent"):
        least = part(pot_of_bars(trial, at_worst=True, for_scent=scent))
        if least != pot:
            other = work_out_pot(least, materials, settings)
            parts = zip(figures.portions, other.portions, strict=True)
            portions = tuple(replace(one, scent=_with_scent(one.scent, two.scent, scent)) for one, two in parts)
            figures = replace(figures, scent=_with_scent(figures.scent, other.scent, scent), portions=portions)
    return figures


def _with_scent(lines: Sequence[WeighedScent], others: Iterable[WeighedScent], scent: str) -> tuple[WeighedScent, ...]:
    """The lines with those of one scent as others have them."""
    own = iter([line for line in others if line.material == scent])
    return tuple(next(own) if line.material == scent else line for line in lines)


def _of_portion(whole: Pot, portion: str | None) -> tuple[Pot, float]:
    """A portion's pot by itself, with its share; the whole for None."""
    from formulary.batch.figures import portion_pot

    if portion is None or portion == WHOLE:
        return whole, 1.0
    return portion_pot(whole, portion), {part.name: part.share for part in whole.portions}[portion]


def expected_cure(trial: Trial) -> Cured:
    """What the cure is expected to leave of the bars, by the settings of the trial's start."""
    from formulary.batch.volume import cured_figures

    return cured_figures(pot_of_bars(trial), materials_of(trial), trial.plan.settings)


def has_no_oils(trial: Trial, portion: str | None = None) -> bool:
    """Whether the record leaves out every oil, or may, so that no percentage of anything can be told.

    portion: a portion's name; None for the whole batch. Of a weight that is known only about, the least counts.
    """
    from formulary.batch.figures import portion_pot

    pot = pot_of_batter(trial, at_worst=True)
    return (pot if portion in (None, WHOLE) else portion_pot(pot, portion)).grams("oil") <= 0


def materials_of(trial: Trial) -> dict[str, Material]:
    """Every material of the trial with the frozen values that hold for it, as `with_lots_used` chooses them."""
    return with_lots_used(trial, kept_materials(trial))


def kept_materials(trial: Trial) -> dict[str, Material]:
    """Every material of the trial with its frozen general values, and all lots of which something is kept.

    What was kept of a lot when it was recorded goes before what the plan holds of it.
    """
    materials = dict(trial.materials)
    for name, lots in trial.lot_values.items():
        if name in materials:
            materials[name] = replace(materials[name], lots={**materials[name].lots, **lots})
    return materials


def with_lots_used(trial: Trial, materials: Mapping[str, Material]) -> dict[str, Material]:
    """Materials as the lots that went into the trial have them: several lots of one by their weight.

    The lots that the trial's own file names hold; a lot that only the plan names holds where the file is silent. What
    is not known of a lot, and lots whose weights are not known, count with the material's general values. Where the
    weights of the lots do not make up what went in, the worse counts of what may have: more of one, or of no lot; or
    less of one.
    """
    chosen = dict(materials)
    for name, uses in lots_named(trial).items():
        weights = lot_weights(uses)
        if name not in materials or weights is None:
            continue
        unknown = {lot: Lot(lot) for lot in weights if lot not in materials[name].lots}
        if len(unknown) < len(weights):
            known = replace(materials[name], lots={**materials[name].lots, **unknown})
            chosen[name] = max(_possible_mixtures(trial, known, uses, weights), key=_how_bad)
    return chosen


def _how_bad(material: Material) -> tuple[float, float]:
    """More lye goes before a lower limit: a scent brings none."""
    return alkali_mol_per_g(material), 0.0 if material.limit is None else -material.limit.percent_of_product


def _possible_mixtures(
    trial: Trial, material: Material, uses: Sequence[LotUse], weights: Mapping[str, float]
) -> Iterable[Material]:
    """A material as its lots are recorded, and as it may be where something else than their sum went in."""
    yield mix_lots(material, weights)
    gap_g = lots_gap_g(trial, material.slug)
    if gap_g > 0:
        of_no_lot = replace(material, lots={**material.lots, _OF_NO_LOT: Lot(_OF_NO_LOT)})
        recorded = {use.lot: float(use.grams or 0) for use in uses}
        for lot in (*recorded, _OF_NO_LOT):
            yield mix_lots(of_no_lot, {**recorded, lot: recorded.get(lot, 0.0) + gap_g})
    elif gap_g < 0:
        left_g = sum(weights.values()) + gap_g
        used: dict[str, float] = {}
        for lot in sorted(weights, key=lambda lot: -alkali_mol_per_g(material.with_lot(lot))):
            used[lot] = min(weights[lot], left_g)
            left_g -= used[lot]
        if sum(used.values()) > 0:
            yield mix_lots(material, used)


def lots_named(trial: Trial) -> Mapping[str, tuple[LotUse, ...]]:
    """The lots of each material: those of the trial's own file, else those that its plan was worked out by."""
    return {**trial.plan.lots, **trial.lots}


def lot_weights(uses: Sequence[LotUse]) -> dict[str, float] | None:
    """Lot -> grams of it, 1 g where it is the only one; None for several lots that were not all weighed."""
    if len(uses) == 1:
        return {uses[0].lot: 1.0}
    weights = {use.lot: float(use.grams) for use in uses if use.grams is not None}
    return weights if len(weights) == len(uses) and sum(weights.values()) > 0 else None


def in_bars_g(trial: Trial, material: str) -> float:
    """Grams of a material in the bars, of all lots and stages together."""
    return sum(line.grams for line in pot_of_bars(trial).lines if line.material == material)


def lots_gap_g(trial: Trial, material: str) -> float:
    """Grams of a material in the bars that are of none of its lots, below 0 where these make more than went in.

    0 where they make it up as near as scales tell, and where not all of them, or none, were weighed.
    """
    uses = lots_named(trial).get(material, ())
    if not uses or any(use.grams is None for use in uses):
        return 0.0
    went_in_g = in_bars_g(trial, material)
    gap_g = went_in_g - sum(float(use.grams) for use in uses if use.grams is not None)
    return gap_g if abs(gap_g) > _tolerance_g(trial, material, went_in_g) else 0.0


def _tolerance_g(trial: Trial, material: str, went_in_g: float) -> float:
    """How near the lots of a material must come to what went in: as near as that is known, and as scales tell."""
    went_in = (*trial.as_made, *find_taken_in(trial))
    about_g = sum(float(entry.give_or_take_g) for entry in went_in if entry.went_in == material)
    return about_g + max(1.0, went_in_g * _LOT_TOLERANCE_PERCENT / 100.0)


def _key(entry: AsMade) -> tuple[str, str, str]:
    return entry.material, entry.at or "", entry.portion or ""


def _take_over_portions(planned: Iterable[PotLine], portions: Sequence[TrialPortion]) -> list[PotLine]:
    """The planned lines under the trial's portion names; a trial's own `gets` divide their line anew."""
    if not portions:
        return _merge([replace(line, portion=None) for line in planned])
    names = {portion.planned_name: portion.name for portion in portions}
    lines = [
        line if line.portion is None else replace(line, portion=names.get(line.portion, line.portion))
        for line in planned
    ]
    redivided = {material for portion in portions for material, _ in portion.gets}
    late = [line for line in lines if line.material in redivided and line.at in PORTION_STAGES]
    kept = [line for line in lines if line not in late]
    for line in _merge([replace(line, portion=None) for line in late]):
        for portion in portions:
            percent = float(dict(portion.gets).get(line.material, 0))
            if percent:
                kept.append(replace(line, portion=portion.name, grams=line.grams * percent / 100.0))
    return kept


def _merge(lines: list[PotLine]) -> list[PotLine]:
    """Lines that differ only in grams, as one."""
    merged: dict[tuple[str, str, str, str | None], PotLine] = {}
    for line in lines:
        key = (line.material, line.role, line.at, line.portion)
        before = merged.get(key)
        merged[key] = line if before is None else replace(before, grams=before.grams + line.grams)
    return list(merged.values())


def _weigh(lines: list[PotLine], entry: AsMade) -> list[PotLine]:
    """The lines with one of them weighed otherwise, or left out."""
    everywhere = find_lines(lines, entry.line or "", entry.at)
    chosen = [line for line in everywhere if entry.portion in (None, line.portion)]
    if entry.left_out:
        return [line for line in lines if line not in chosen]
    if entry.weighed_g is None or not everywhere:
        return lines
    if not chosen:  # the plan gives this portion none of it
        return [*lines, replace(everywhere[0], portion=entry.portion, grams=float(entry.weighed_g))]
    return [_scaled(line, chosen, entry) if line in chosen else line for line in lines]


def _scaled(line: PotLine, chosen: Sequence[PotLine], entry: AsMade) -> PotLine:
    """A line's part of what was weighed for several lines together."""
    planned_g = sum(other.grams for other in chosen)
    if entry.weighed_g is None:
        return line
    part = line.grams / planned_g if planned_g else 1.0 / len(chosen)
    return replace(line, grams=float(entry.weighed_g) * part)


def _pour_lye(lines: list[PotLine], entry: AsMade) -> list[PotLine]:
    """The lines when of all that was in the jug only so much went into the oils."""
    mixed_g = sum(line.grams for line in lines if line.at == "lye water")
    if entry.weighed_g is None or mixed_g <= 0:
        return lines
    part = float(entry.weighed_g) / mixed_g
    return [replace(line, grams=line.grams * part) if line.at == "lye water" else line for line in lines]


def _replace(lines: list[PotLine], entries: Iterable[AsMade], materials: Mapping[str, Material]) -> list[PotLine]:
    """The lines with other materials in their place."""
    changed = list(lines)
    for entry in entries:
        everywhere = find_lines(lines, entry.line or "", entry.at)
        chosen = [line for line in everywhere if entry.portion in (None, line.portion)]
        if not chosen and everywhere and entry.weighed_g is not None:  # the plan gives this portion none of the line
            changed.append(_extra(replace(entry, extra=entry.instead, at=everywhere[0].at), materials))
        for number, line in enumerate(lines):
            if line in chosen and entry.instead is not None:
                role = role_of(entry.instead, materials, line.role)
                water = (line.water or "extra") if role == "addition" else None
                after = replace(_scaled(line, chosen, entry), material=entry.instead, role=role, water=water)
                changed[number] = after
    return changed


def _extra(entry: AsMade, materials: Mapping[str, Material]) -> PotLine:
    material = entry.extra or ""
    # Oil poured in beside the others is an oil like them.
    role = role_of(material, materials, "oil" if material in materials else "addition")
    water = "extra" if role == "addition" else None
    return PotLine(material, role, entry.at or "trace", float(entry.weighed_g or 0), entry.portion, water)


def _divide(lines: list[PotLine], entry: AsMade, shares: Mapping[str, float]) -> list[PotLine]:
    """A line of the whole batter as one line a portion, so that one of them can be weighed by itself."""
    shared = [line for line in find_lines(lines, entry.line or "", entry.at) if line.portion is None]
    divided: list[PotLine] = []
    for line in lines:
        if any(line is other for other in shared):
            divided += [replace(line, portion=name, grams=line.grams * share) for name, share in shares.items()]
        else:
            divided.append(line)
    return divided


def _rates(pot: Pot) -> dict[tuple[str, str], float]:
    oil_g = pot.grams("oil")
    rates: dict[tuple[str, str], float] = {}
    for line in pot.lines:
        if line.role in ("addition", "scent"):
            key = (line.material, line.at)
            rates[key] = rates.get(key, 0.0) + 100.0 * line.grams / oil_g
    return rates
