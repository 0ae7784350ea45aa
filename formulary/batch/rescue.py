"""What remains to weigh when something went over: new alkali while it is not mixed yet, else the oil to add."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

from formulary.batch.checks import check_pot
from formulary.batch.common_practice import check_common_practice
from formulary.batch.common_quantities import find_common_quantities, find_conditions
from formulary.batch.figures import acid_mol, alkali_of, concentration_percent, fat_mol, water_in, work_out_pot
from formulary.batch.lye_checks import check_strong_jug
from formulary.batch.model import Batch, Pot, PotFigures, PotLine, without_grams
from formulary.batch.printed_checks import check_printed_pot
from formulary.batch.remaining import Remaining
from formulary.batch.rescue_remarks import check_jug_as_it_is, find_remarks
from formulary.batch.scale import Scale, format_shown
from formulary.batch.size import parse_size_g
from formulary.batch.vessel_checks import check_vessels
from formulary.chemistry.alkali import alkali_mass_g, discounted_mol, hydroxide_mol, rounded_down_g
from formulary.errors import InputError
from formulary.fields import suggest
from formulary.finding import Finding, Place, Severity, stops
from formulary.materials.model import Material
from formulary.settings import Settings

_WEIGHED = re.compile(r"(\S+)\s+(.+)")
# Material and role of what is weighed, at whatever stage.
_Line: TypeAlias = tuple[str, str]
# So much of the alkali is half a point of superfat.
_SPARE_PART = 0.005
# Less is what sums of floats leave.
_DUST_G = 1e-6
_HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescue:
    """How to go on: what remains to weigh, and what comes of it.

    way: "new-alkali", "more-oil", or "as-it-is" when only an addition, a scent or water went over. superfat_percent,
    in_jug_percent, effective_percent: of the pot as it will be. remarks: what else to mind. findings: of that pot, and
    of the jug as it is now. scale: what a sheet rounds the grams to. way_out: what helps while a finding stops it.
    """

    way: str
    remaining: tuple[Remaining, ...]
    superfat_percent: float
    in_jug_percent: float
    effective_percent: float
    remarks: tuple[str, ...]
    findings: tuple[Finding, ...]
    scale: Scale
    way_out: str = ""

    @property
    def is_stopped(self) -> bool:
        """Whether a finding says that nothing may go on so."""
        return bool(stops(self.findings))

    def to_json(self) -> dict[str, object]:
        """With stable keys; null for every gram while it is stopped."""
        tree: dict[str, object] = {
            "way": self.way,
            "remaining": [line.to_json() for line in self.remaining],
            "superfat_percent": self.superfat_percent,
            "in_jug_percent": self.in_jug_percent,
            "effective_percent": self.effective_percent,
            "remarks": list(self.remarks),
            "findings": [finding.to_json() for finding in self.findings],
            "way_out": self.way_out,
        }
        return without_grams(tree) if self.is_stopped else tree


def parse_weighed(text: str) -> tuple[str, float]:
    """A material and the grams of it that are in the vessel: `olive-oil 490 g`. Raises InputError."""
    match = _WEIGHED.fullmatch(text.strip())
    if match is None:
        raise InputError.of("bad-weighed", f"{text!r} does not say what was weighed", 'write "olive-oil 490 g"')
    return match.group(1), parse_size_g(match.group(2))


def parse_all_weighed(texts: Iterable[str]) -> dict[str, float]:
    """Each material's grams in the vessels. Raises InputError, also for a material that is named twice: nobody knows
    whether the second is meant besides or instead."""
    weighed_g: dict[str, float] = {}
    for name, grams in map(parse_weighed, texts):
        if name in weighed_g:
            do = f"write all of it in one: {name} {format_shown(weighed_g[name] + grams)} g, or the right one alone"
            raise InputError.of("weighed-twice", f"{name} is given twice", do)
        weighed_g[name] = grams
    return weighed_g


def work_out_rescue(
    batch: Batch, weighed_g: Mapping[str, float], materials: Mapping[str, Material], settings: Settings
) -> Rescue:
    """What to weigh after some of a batch was weighed otherwise than planned.

    weighed_g: material -> grams that are in the vessels by now; where a material stands in several parts of the
    recipe, what is there counts for the oils first. An oil that went over gets more alkali, and the other oils stay as
    planned, so that the superfat stays as stated. Alkali that is in already cannot be taken back: where it is more
    than all the oils in the end are due, the oils, and all that follows them, rise until they take it. What else went
    over stays as it is, and the findings say what that means.
    Raises InputError for a material that the batch does not weigh.
    """
    known = {line.material for line in batch.pot.lines}
    for name in weighed_g:
        if name not in known:
            do = suggest(name, known, f"weighed here: {', '.join(sorted(known))}")
            raise InputError.of("unknown-line", f"the batch has nothing called {name[:40]!r}", do)
    found = _go_on(batch, weighed_g, materials, settings)
    if not found.is_stopped:
        return found
    way_out = _find_way_out(batch, weighed_g, materials, settings)
    findings = tuple(
        replace(finding, do="what is in cannot be lowered: take the way out") if _is_of_scent(finding) else finding
        for finding in found.findings
    )
    return replace(found, way_out=way_out, findings=findings)


def _go_on(
    batch: Batch, weighed_g: Mapping[str, float], materials: Mapping[str, Material], settings: Settings
) -> Rescue:
    planned = _by_line(batch.pot.lines)
    way, wanted = _lines_wanted(batch, weighed_g, materials, settings)
    lines = _at_least_weighed(wanted, weighed_g)
    pot = Pot(tuple(lines), batch.pot.portions)
    figures = work_out_pot(pot, materials, settings)
    there = _allot(weighed_g, _by_line(wanted))
    remaining = tuple(
        Remaining(*key, planned[key], there[key], _without_dust(grams - there[key]))
        for key, grams in _in_working_order(lines)
    )
    return Rescue(
        way=way,
        remaining=remaining,
        superfat_percent=figures.superfat_effective,
        in_jug_percent=figures.in_jug_percent,
        effective_percent=figures.effective_percent,
        remarks=tuple(find_remarks(batch, way, remaining, _by_line(wanted), figures)),
        findings=(
            *check_pot(pot, figures, materials, batch.purpose),
            *check_strong_jug(pot, materials, _nowhere),
            *check_printed_pot(
                Pot(tuple(_as_shown(lines, remaining, batch.scale)), batch.pot.portions),
                figures.superfat_effective,
                batch.purpose,
                materials,
                settings,
            ),
            *check_jug_as_it_is(lines, remaining, materials),
            *check_vessels(pot, materials, settings),
            *_check_practice(batch, pot, figures, materials, settings),
        ),
        scale=batch.scale,
    )


def _as_shown(lines: list[PotLine], remaining: Iterable[Remaining], scale: Scale) -> Iterable[PotLine]:
    """What the pot holds when the rest is weighed as a sheet says it."""
    part: dict[_Line, float] = {}
    for each in remaining:
        whole_g = each.weighed_grams + each.remaining_grams
        part[each.material, each.role] = (each.weighed_grams + each.shown_g(scale)) / whole_g if whole_g > 0 else 1.0
    for line in lines:
        yield _grams(line, line.grams * part[line.material, line.role])


def _check_practice(
    batch: Batch, pot: Pot, figures: PotFigures, materials: Mapping[str, Material], settings: Settings
) -> Iterable[Finding]:
    """What common practice says of the pot, as it does of a plan."""
    stated_g = sum(
        water_in(line, materials) for line in pot.lines if line.role in ("water", "alkali") or line.water == "replaces"
    )
    quantities = find_common_quantities(
        pot,
        materials,
        nominal_concentration_percent=concentration_percent(figures.pure_alkali_g, stated_g),
        process=batch.process,
        cure_days=float(settings.cure_days),
    )
    conditions = find_conditions(pot, materials, superfat=figures.superfat_effective, process=batch.process)
    for finding in check_common_practice(quantities, conditions, off=settings.checks_off):
        yield replace(finding, do="")  # what to do is said for a recipe; what is in stays in


def _find_way_out(
    batch: Batch, weighed_g: Mapping[str, float], materials: Mapping[str, Material], settings: Settings
) -> str:
    """The least size at which nothing stops what is in the vessels, in words; or to discard it."""
    discard = "as long as what went over is by itself, discard it and weigh it again"
    planned = _by_line(batch.pot.lines)
    there = _allot(weighed_g, planned)

    def is_stopped(oils_g: float) -> bool:
        return _go_on(_scaled(batch, oils_g / batch.oil_mass_g), weighed_g, materials, settings).is_stopped

    step_g = 10.0 if batch.oil_mass_g >= 100 else 1.0
    least = math.floor(batch.oil_mass_g / step_g)
    most = math.ceil(max(there[key] / grams for key, grams in planned.items() if grams > 0) * batch.oil_mass_g / step_g)
    if most <= least or is_stopped(most * step_g):
        return f"{discard[0].upper()}{discard[1:]}."
    while most - least > 1:
        middle = (least + most) // 2
        least, most = (middle, most) if is_stopped(middle * step_g) else (least, middle)
    return (
        f"Make the batch of {most * step_g:g} g of oils (work it out again at that size), if your vessels and moulds"
        f" hold it; or, {discard}."
    )


def _scaled(batch: Batch, times: float) -> Batch:
    """The batch at another size; its alkali is not rounded again."""
    lines = tuple(_grams(line, line.grams * times) for line in batch.pot.lines)
    lye = tuple(
        replace(alkali, grams=alkali.grams * times, pure_grams=alkali.pure_grams * times) for alkali in batch.lye
    )
    return replace(batch, pot=Pot(lines, batch.pot.portions), lye=lye)


def _is_of_scent(finding: Finding) -> bool:
    return finding.severity is Severity.STOP and finding.code.startswith(("scent", "constituent"))


def _nowhere(*_parts: str) -> Place:
    return Place()


def _by_line(lines: Iterable[PotLine]) -> dict[_Line, float]:
    grams: dict[_Line, float] = {}
    for line in lines:
        key = (line.material, line.role)
        grams[key] = grams.get(key, 0.0) + line.grams
    return grams


def _in_working_order(lines: Iterable[PotLine]) -> list[tuple[_Line, float]]:
    """Grams by material and role; the jug first, and in it the water before the alkali: lye goes into water."""
    stages = ("lye water", "oils", "trace", "top")
    roles = ("water", "oil", "addition", "alkali", "scent")
    first: dict[_Line, int] = {}
    for line in lines:
        first.setdefault((line.material, line.role), stages.index(line.at))
    return sorted(_by_line(lines).items(), key=lambda each: (first[each[0]], roles.index(each[0][1])))


def _allot(weighed_g: Mapping[str, float], wanted: Mapping[_Line, float]) -> dict[_Line, float]:
    """What is there, by what it counts for: each part of the recipe in turn up to what it wants, the rest for the
    first, so that no gram counts twice."""
    keys_of: dict[str, list[_Line]] = {}
    for key in wanted:
        keys_of.setdefault(key[0], []).append(key)
    there: dict[_Line, float] = {}
    for name, (first, *others) in keys_of.items():
        left_g = weighed_g.get(name, 0.0)
        for_others_g = max(left_g - wanted[first], 0.0)
        for key in others:
            there[key] = min(for_others_g, wanted[key])
            for_others_g -= there[key]
            left_g -= there[key]
        there[first] = left_g
    return {key: there[key] for key in wanted}


def _at_least_weighed(lines: list[PotLine], weighed_g: Mapping[str, float]) -> list[PotLine]:
    """Nothing can be taken out again: what is there already counts where it is more than is wanted."""
    totals = _by_line(lines)
    there = _allot(weighed_g, totals)
    counted: list[PotLine] = []
    for line in lines:
        total_g = totals[line.material, line.role]
        over_g = max(there[line.material, line.role] - total_g, 0.0)
        counted.append(_grams(line, line.grams + over_g * (line.grams / total_g if total_g > 0 else 1.0)))
    return counted


def _grams(line: PotLine, grams: float) -> PotLine:
    return PotLine(line.material, line.role, line.at, grams, line.portion, line.water)


def _without_dust(grams: float) -> float:
    return grams if grams > _DUST_G else 0.0


def _lines_wanted(
    batch: Batch, weighed_g: Mapping[str, float], materials: Mapping[str, Material], settings: Settings
) -> tuple[str, list[PotLine]]:
    """The way to go on, and what the pot should hold in the end, before what cannot be taken out is counted."""
    step_g = float(settings.alkali_step_g)

    def enlarged(factor: float) -> tuple[list[PotLine], dict[str, float]]:
        lines = [line if line.role in ("alkali", "water") else _grams(line, line.grams * factor) for line in planned]
        return lines, _alkali_due_g(batch, lines, weighed_g, materials)

    planned = list(batch.pot.lines)
    _, due_g = enlarged(1.0)
    is_over = False
    for alkali in batch.lye:
        due_g[alkali.material] = max(due_g[alkali.material], alkali.grams)
        over_g = weighed_g.get(alkali.material, 0.0) - due_g[alkali.material]
        # What a scale does not show well is not over, as long as it leaves most of the superfat.
        spare_g = min(step_g, due_g[alkali.material] * _SPARE_PART) if batch.superfat.nominal >= 1.0 else 0.0
        is_over = is_over or over_g > spare_g
    if is_over:
        too_small = 1.0
        factor = max(1.0, *(weighed_g.get(alkali.material, 0.0) / alkali.grams for alkali in batch.lye))
        for _ in range(_HALVINGS):
            middle = (too_small + factor) / 2.0
            if all(grams >= weighed_g.get(name, 0.0) for name, grams in enlarged(middle)[1].items()):
                factor = middle
            else:
                too_small = middle
        lines, due_g = enlarged(factor)
        alkali_g = {name: max(rounded_down_g(g, step_g), weighed_g.get(name, 0.0)) for name, g in due_g.items()}
        return "more-oil", _with_lye(batch, lines, alkali_g, materials)
    alkali_g = {name: rounded_down_g(grams, step_g) for name, grams in due_g.items()}
    there = _allot(weighed_g, _by_line(planned))
    more_oil = any(there[key] > grams for key, grams in _by_line(planned).items() if key[1] == "oil")
    if more_oil and any(alkali_g[alkali.material] > alkali.grams for alkali in batch.lye):
        return "new-alkali", _with_lye(batch, planned, alkali_g, materials)
    return "as-it-is", planned


def _alkali_due_g(
    batch: Batch, lines: list[PotLine], weighed_g: Mapping[str, float], materials: Mapping[str, Material]
) -> dict[str, float]:
    """Grams of each alkali, as bought, that leave the stated superfat in the oils of these lines, and in no less of
    each than is there."""
    wanted_mol = discounted_mol(
        sum(
            fat_mol(line, materials[line.material])
            for line in _at_least_weighed(lines, weighed_g)
            if line.role == "oil"
        ),
        batch.superfat.nominal,
    ) + sum(acid_mol(line, materials) for line in lines)
    planned_mol = {
        alkali.material: hydroxide_mol(alkali.pure_grams, alkali_of(materials[alkali.material])) for alkali in batch.lye
    }
    due_g: dict[str, float] = {}
    for alkali in batch.lye:
        part = planned_mol[alkali.material] / sum(planned_mol.values())
        pure_g = alkali_mass_g(wanted_mol * part, alkali_of(materials[alkali.material]))
        due_g[alkali.material] = pure_g * 100.0 / alkali.assay_percent
    return due_g


def _with_lye(
    batch: Batch, lines: list[PotLine], alkali_g: Mapping[str, float], materials: Mapping[str, Material]
) -> list[PotLine]:
    """The lines with so much alkali, and with the water that keeps its strength as stated."""
    more_pure = sum(alkali_g[alkali.material] * alkali.assay_percent / 100.0 for alkali in batch.lye)
    pure = sum(alkali.pure_grams for alkali in batch.lye)
    nominal_g = pure * (100.0 - batch.water.nominal_percent) / batch.water.nominal_percent
    # A ready-made lye brings water of its own, and so does what replaces water.
    brought_g = sum(
        water_in(
            _grams(line, (alkali_g[line.material] if line.role == "alkali" else line.grams) - before.grams), materials
        )
        for before, line in zip(batch.pot.lines, lines, strict=True)
        if line.role == "alkali" or line.water == "replaces"
    )
    more_water_g = nominal_g * (more_pure / pure - 1.0) - brought_g
    return [
        _grams(line, alkali_g[line.material])
        if line.role == "alkali"
        else _grams(line, max(line.grams + more_water_g, 0.0))
        if line.role == "water"
        else line
        for line in lines
    ]
