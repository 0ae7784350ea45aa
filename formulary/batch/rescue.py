"""How to go on when something went over: new alkali while the lye is not in the oils, else the oil to add."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from formulary.batch.checks import check_pot
from formulary.batch.figures import nominal_concentration_percent, work_out_pot
from formulary.batch.lot_shares import check_lots_of_rescue
from formulary.batch.lye_checks import check_strong_jug
from formulary.batch.mixed_lye import spread_mixed_lye
from formulary.batch.model import Batch, PortionFigures, Pot, PotFigures, PotLine, portions_json, without_grams
from formulary.batch.portion_practice import check_practice
from formulary.batch.portion_weights import PortionWeights
from formulary.batch.printed_checks import check_printed_pot
from formulary.batch.remaining import Remaining
from formulary.batch.rescue_remarks import check_jug_as_it_is, find_remarks
from formulary.batch.rescue_weights import (
    LineKey,
    RescueWeights,
    find_rescue_weights,
    find_weights_there,
    grams_by_line,
    spread_over_lines,
)
from formulary.batch.scale import Scale
from formulary.batch.sheet_weights import batter_of, grams_by_weighing
from formulary.batch.vessel_checks import check_vessels
from formulary.batch.working_steps import WorkingStep, find_division
from formulary.errors import InputError
from formulary.finding import Finding, Severity, locate_nowhere, stops
from formulary.materials.chosen_lots import GivenLots
from formulary.materials.model import Material
from formulary.names import suggest
from formulary.read_only import ReadOnly
from formulary.settings import Settings

# Sizes that help are looked for in such steps.
_SIZE_STEP_G = 10.0
# Less is what sums of floats leave.
_DUST_G = 1e-6
_DISCARD = "as long as what went over is by itself, discard it and weigh it again"

Materials = Mapping[str, Material]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescue:
    """How to go on: what remains to weigh, and what comes of it.

    way: "new-alkali", "more-oil", or "as-it-is" when only an addition, a scent or water went over, or nothing can be
    done about it. lye_is_in: whether the lye is in the oils already, so that neither alkali nor water can follow.
    superfat_percent, in_jug_percent, effective_percent: of the pot as it will be. remarks: what else to mind.
    findings: of that pot, and of the jug as it is now. scale: what a sheet rounds the grams to. pot: what will be in it
    by the weights that the sheet says. portions: each portion of the batter, or the whole, with its scent. lots: as in
    the batch. way_out: what helps while a finding stops it. lye_to_pour_percent: the other way with too much alkali,
    how much of the lye, once it is mixed and has the water that lacks, the oils are due as they were planned; None
    where it is not too much, is in the oils already, or is not of one alkali and water alone.
    superfat_if_left_percent: what too much alkali leaves of the superfat where nothing is done about it; None where it
    is not too much.
    """

    way: str
    lye_is_in: bool
    remaining: tuple[Remaining, ...]
    superfat_percent: float
    in_jug_percent: float
    effective_percent: float
    remarks: tuple[str, ...]
    findings: tuple[Finding, ...]
    scale: Scale
    pot: Pot
    portions: tuple[PortionFigures, ...]
    lots: GivenLots = field(default_factory=lambda: ReadOnly({}))
    way_out: str = ""
    lye_to_pour_percent: float | None = None
    superfat_if_left_percent: float | None = None

    @property
    def is_stopped(self) -> bool:
        """Whether a finding says that nothing may go on so."""
        return bool(stops(self.findings))

    @property
    def division(self) -> tuple[WorkingStep, ...]:
        """How the batter will be divided, and what goes into each portion alone; empty where it is not."""
        if not self.pot.portions:
            return ()
        there = grams_by_weighing(self.pot.lines)
        weights = {key: self.scale.there(self.scale.shown(key[1], grams)) for key, grams in there.items()}
        return tuple(find_division(self.pot, self.scale, weights, batter_of(weights)))

    @property
    def divided(self) -> tuple[PortionWeights, ...]:
        """What is poured off for each portion."""
        return tuple(portion for step in self.division for portion in step.portions)

    def to_json(self) -> dict[str, object]:
        """With stable keys; null for every gram while it is stopped."""
        tree: dict[str, object] = {
            "way": self.way,
            "lye_is_in": self.lye_is_in,
            "remaining": [line.to_json() for line in self.remaining],
            "superfat_percent": self.superfat_percent,
            "in_jug_percent": self.in_jug_percent,
            "effective_percent": self.effective_percent,
            "remarks": list(self.remarks),
            "portions": portions_json(self.portions, self.pot),
            "divided": [portion.to_json() for portion in self.divided],
            "findings": [finding.to_json() for finding in self.findings],
            "way_out": self.way_out,
            "lye_to_pour_percent": None if self.is_stopped else self.lye_to_pour_percent,
            "superfat_if_left_percent": self.superfat_if_left_percent,
        }
        return without_grams(tree) if self.is_stopped else tree


def work_out_rescue(
    batch: Batch,
    weighed_g: Mapping[str, float],
    materials: Materials,
    settings: Settings,
    *,
    lye_is_in: bool = False,
) -> Rescue:
    """What to weigh after some of a batch was weighed otherwise than planned.

    materials: those of the register; what the batch was worked out by, such as a lot's certificate, counts before them.
    weighed_g: material -> grams that are in the vessels by now, and `lye` for all that is in the jug, once it is mixed;
    where a material stands in several parts of the recipe, what is there counts for the oils first. lye_is_in: whether
    the lye is in the oils; what goes in before then is there as planned, unless it is named.
    As long as it is not, an oil that went over gets more alkali, and the other oils stay as planned, so that the
    superfat stays as stated. Where there is more alkali than all the oils in the end are due, the oils, and all that
    follows them, rise until they take it. What else went over stays as it is, and the findings say what that means.
    Raises InputError for a material that the batch does not weigh.
    """
    weighed_g = spread_mixed_lye(batch, weighed_g)
    known = {line.material for line in batch.pot.lines}
    for name in weighed_g:
        if name not in known:
            do = suggest(name, known, f"weighed here: {', '.join(sorted(known))}")
            raise InputError.of("unknown-line", f"the batch has nothing called {name[:40]!r}", do)
    materials = {**materials, **batch.materials}
    found = _go_on(batch, weighed_g, materials, settings, lye_is_in=lye_is_in)
    if not found.is_stopped:
        return found
    findings = tuple(
        replace(finding, do="what is in cannot be lowered: take the way out") if _is_of_scent(finding) else finding
        for finding in found.findings
    )
    size_g = None if lye_is_in else _find_size(batch, weighed_g, materials, settings)
    return replace(found, way_out=_say_way_out(size_g, lye_is_in=lye_is_in), findings=findings)


def _go_on(
    batch: Batch,
    weighed_g: Mapping[str, float],
    materials: Materials,
    settings: Settings,
    *,
    lye_is_in: bool,
) -> Rescue:
    planned = grams_by_line(batch.pot.lines)
    there = find_weights_there(batch, weighed_g, lye_is_in=lye_is_in)
    wanted = find_rescue_weights(
        batch, there, materials, alkali_step_g=float(settings.alkali_step_g), lye_is_in=lye_is_in
    )
    # Nothing can be taken out again.
    whole = {key: max(grams, there[key]) for key, grams in wanted.grams.items()}
    lines = spread_over_lines(batch.pot.lines, whole)
    pot = Pot(lines, batch.pot.portions)
    figures = work_out_pot(pot, materials, settings)
    remaining = tuple(
        _to_add_as_planned(batch, Remaining(*key, planned[key], there[key], _without_dust(whole[key] - there[key])))
        for key in _in_working_order(lines)
    )
    printed = {LineKey(line.material, line.role): line.weighed_grams + line.shown_g(batch.scale) for line in remaining}
    printed_pot = Pot(spread_over_lines(lines, printed), batch.pot.portions)
    return Rescue(
        way=wanted.way,
        lye_is_in=lye_is_in,
        remaining=remaining,
        superfat_percent=figures.superfat_effective,
        in_jug_percent=figures.in_jug_percent,
        effective_percent=figures.effective_percent,
        remarks=tuple(find_remarks(batch, wanted, remaining, figures, lye_is_in=lye_is_in)),
        findings=(
            *check_pot(pot, figures, materials, batch.purpose, alkali_step_g=float(settings.alkali_step_g)),
            *check_printed_pot(
                printed_pot,
                figures.superfat_effective,
                batch.purpose,
                materials,
                settings,
            ),
            *(() if lye_is_in else _check_jugs(pot, there, remaining, materials)),
            *check_vessels(pot, materials, settings),
            *_check_practice(batch, pot, figures, materials, settings),
            *check_lots_of_rescue(printed_pot.lines, batch.lots, batch.scale),
        ),
        scale=batch.scale,
        pot=printed_pot,
        portions=figures.portions,
        lots=batch.lots,
        lye_to_pour_percent=None if lye_is_in else _lye_to_pour_percent(batch, wanted),
        superfat_if_left_percent=_superfat_if_left(batch, there, materials, settings)
        if wanted.way == "more-oil"
        else None,
    )


def _to_add_as_planned(batch: Batch, line: Remaining) -> Remaining:
    """An addition with how it is prepared, and how many spoons are a gram where the recipe measures it so wherever it
    goes in."""
    additions = [each for each in batch.additions if line.role == "addition" and each.material == line.material]
    line = replace(line, prepared=tuple(dict.fromkeys(word for each in additions for word in each.prepared)))
    units = {each.measured_unit for each in additions}
    grams = sum(each.grams for each in additions)
    if len(units) == 1 and grams > 0:
        per_gram = sum(each.measured_amount for each in additions) / grams
        line = replace(line, measured_per_gram=per_gram, measured_unit=units.pop())
    return line


def _lye_to_pour_percent(batch: Batch, wanted: RescueWeights) -> float | None:
    in_jug = [line.role for line in batch.pot.lines if line.at == "lye water"]
    if wanted.way != "more-oil" or sorted(in_jug) != ["alkali", "water"]:
        return None
    return math.floor(1000.0 * wanted.lye_due / wanted.lye_there) / 10.0


def _superfat_if_left(batch: Batch, there: Mapping[LineKey, float], materials: Materials, settings: Settings) -> float:
    """Percent, of the rest weighed as planned."""
    left = {key: max(grams, there[key]) for key, grams in grams_by_line(batch.pot.lines).items()}
    pot = Pot(spread_over_lines(batch.pot.lines, left), batch.pot.portions)
    return work_out_pot(pot, materials, settings).superfat_effective


def _check_jugs(
    pot: Pot, there: Mapping[LineKey, float], remaining: Iterable[Remaining], materials: Materials
) -> Iterable[Finding]:
    """What may boil while the lye is mixed, in the jug as it will be and as it is now."""
    yield from check_strong_jug(pot, materials, locate_nowhere)
    yield from check_jug_as_it_is(Pot(spread_over_lines(pot.lines, there)), remaining, materials)


def _check_practice(
    batch: Batch, pot: Pot, figures: PotFigures, materials: Materials, settings: Settings
) -> Iterable[Finding]:
    """What common practice says of the pot, as it does of a plan."""
    findings = check_practice(
        pot,
        materials,
        nominal_concentration_percent=nominal_concentration_percent(pot, materials),
        process=batch.process,
        cure_days=float(settings.cure_days),
        superfat=figures.superfat_effective,
        off=settings.checks_off,
    )
    for finding in findings:
        yield replace(finding, do="")  # what to do is said for a recipe; what is in stays in


def _find_size(batch: Batch, weighed_g: Mapping[str, float], materials: Materials, settings: Settings) -> float | None:
    """The least size, in grams of oils, at which nothing stops what is in the vessels; None where no size helps."""

    def is_enough(steps: int) -> bool:
        larger = _scaled(batch, steps * _SIZE_STEP_G / batch.oil_mass_g)
        return not _go_on(larger, weighed_g, materials, settings, lye_is_in=False).is_stopped

    there = find_weights_there(batch, weighed_g, lye_is_in=False)
    planned = grams_by_line(batch.pot.lines)
    # At the largest of them nothing is over any more.
    times = max(there[key] / grams for key, grams in planned.items() if grams)
    per_batch = batch.oil_mass_g / _SIZE_STEP_G
    sizes = range(math.floor(per_batch) + 1, math.ceil(per_batch * times) + 1)
    found = bisect_left(sizes, True, key=is_enough)
    return sizes[found] * _SIZE_STEP_G if found < len(sizes) else None


def _say_way_out(size_g: float | None, *, lye_is_in: bool) -> str:
    if lye_is_in:
        return (
            f"With the lye in the oils no other size helps: {_DISCARD}; if it is in the batter, make nothing for use"
            " of it."
        )
    if size_g is None:
        return f"What helps is this alone: {_DISCARD}."
    return (
        f"Make the batch of {size_g:g} g of oils (work it out again at that size), if your vessels and moulds"
        f" hold it; or, {_DISCARD}."
    )


def _scaled(batch: Batch, times: float) -> Batch:
    """The batch at another size; its alkali is not rounded again."""
    lines = tuple(replace(line, grams=line.grams * times) for line in batch.pot.lines)
    lye = tuple(
        replace(alkali, grams=alkali.grams * times, pure_grams=alkali.pure_grams * times) for alkali in batch.lye
    )
    return replace(batch, pot=Pot(lines, batch.pot.portions), lye=lye)


def _is_of_scent(finding: Finding) -> bool:
    return finding.severity is Severity.STOP and finding.code.startswith(("scent", "constituent"))


def _in_working_order(lines: Iterable[PotLine]) -> list[LineKey]:
    """The jug first, and in it the water before the alkali: lye goes into water."""
    stages = ("lye water", "oils", "trace", "top")
    roles = ("water", "oil", "addition", "alkali", "scent")
    first: dict[LineKey, int] = {}
    for line in lines:
        first.setdefault(LineKey(line.material, line.role), stages.index(line.at))
    return sorted(first, key=lambda key: (first[key], roles.index(key.role)))


def _without_dust(grams: float) -> float:
    return grams if grams > _DUST_G else 0.0
