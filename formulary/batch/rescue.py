"""What remains to weigh when something went over: new alkali while it is not mixed yet, else the oil to add."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from formulary.batch.checks import check_pot
from formulary.batch.figures import acid_mol, alkali_of, fat_mol, water_in, work_out_pot
from formulary.batch.lye_checks import check_strong_jug
from formulary.batch.model import Batch, Pot, PotFigures, PotLine
from formulary.batch.scale import Scale
from formulary.batch.size import parse_size_g
from formulary.batch.vessel_checks import check_vessels
from formulary.chemistry.alkali import alkali_mass_g, discounted_mol, hydroxide_mol, rounded_down_g
from formulary.errors import InputError
from formulary.fields import suggest
from formulary.finding import Finding, Place
from formulary.materials.model import Material
from formulary.quantity import format_number
from formulary.settings import Settings

_WEIGHED = re.compile(r"(\S+)\s+(.+)")
# Material and role of what is weighed, at whatever stage.
_Line: TypeAlias = tuple[str, str]
# So much of the alkali is half a point of superfat.
_SPARE_PART = 0.005
# A difference of the superfat that is worth a word: it moves it by a digit that a sheet shows.
_SUPERFAT_TOLD_PERCENT = 0.2
# Less is what sums of floats leave.
_DUST_G = 1e-6
_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class Remaining:
    """One thing still to weigh, with how it changed from the plan; all in grams."""

    material: str
    role: str
    planned_grams: float
    weighed_grams: float
    remaining_grams: float

    def to_json(self) -> dict[str, object]:
        return {
            "material": self.material,
            "role": self.role,
            "planned_grams": self.planned_grams,
            "weighed_grams": self.weighed_grams,
            "remaining_grams": self.remaining_grams,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescue:
    """How to go on: what remains to weigh, and what comes of it.

    way: "new-alkali", "more-oil", or "as-it-is" when only an addition, a scent or water went over. superfat_percent,
    in_jug_percent, effective_percent: of the pot as it will be. remarks: what else to mind. findings: of that pot.
    scale: what a sheet rounds the grams to.
    """

    way: str
    remaining: tuple[Remaining, ...]
    superfat_percent: float
    in_jug_percent: float
    effective_percent: float
    remarks: tuple[str, ...]
    findings: tuple[Finding, ...]
    scale: Scale

    def to_json(self) -> dict[str, object]:
        return {
            "way": self.way,
            "remaining": [line.to_json() for line in self.remaining],
            "superfat_percent": self.superfat_percent,
            "in_jug_percent": self.in_jug_percent,
            "effective_percent": self.effective_percent,
            "remarks": list(self.remarks),
            "findings": [finding.to_json() for finding in self.findings],
        }


def parse_weighed(text: str) -> tuple[str, float]:
    """A material and the grams of it that are in the vessel: `olive-oil 490 g`. Raises InputError."""
    match = _WEIGHED.fullmatch(text.strip())
    if match is None:
        raise InputError.of("bad-weighed", f"{text!r} does not say what was weighed", 'write "olive-oil 490 g"')
    return match.group(1), parse_size_g(match.group(2))


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
    planned = _by_line(batch.pot.lines)
    way, wanted = _lines_wanted(batch, weighed_g, materials, settings)
    lines = _at_least_weighed(wanted, weighed_g)
    pot = Pot(tuple(lines), batch.pot.portions)
    figures = work_out_pot(pot, materials, settings)
    there = _allot(weighed_g, _by_line(wanted))
    remaining = tuple(
        Remaining(*key, planned[key], there[key], _without_dust(grams - there[key]))
        for key, grams in _by_line(lines).items()
    )
    return Rescue(
        way=way,
        remaining=remaining,
        superfat_percent=figures.superfat_effective,
        in_jug_percent=figures.in_jug_percent,
        effective_percent=figures.effective_percent,
        remarks=tuple(_remarks(batch, way, remaining, weighed_g, _by_line(wanted), figures)),
        findings=(
            *check_pot(pot, figures, materials, batch.purpose),
            *check_strong_jug(pot, materials, _nowhere),
            *check_vessels(pot, materials, settings),
        ),
        scale=batch.scale,
    )


def _remarks(
    batch: Batch,
    way: str,
    remaining: Iterable[Remaining],
    weighed_g: Mapping[str, float],
    wanted: Mapping[_Line, float],
    figures: PotFigures,
) -> Iterable[str]:
    found, stated = figures.superfat_effective, batch.superfat.effective
    if abs(found - stated) >= _SUPERFAT_TOLD_PERCENT:
        yield (
            f"The superfat will be {format_number(found, 1)} %, and no longer the {format_number(stated, 1)} % that"
            " was planned."
        )
    for line in remaining:
        if line.role == "water" and line.weighed_grams > wanted[line.material, line.role] + 0.05:
            yield "Water that is in cannot be taken out: the lye is weaker than stated, so expect slower trace."
        if line.role == "alkali" and line.material in weighed_g and line.remaining_grams >= 0.05:
            yield (
                "Alkali added to lye that is made already heats it again: let it cool first, add it in small amounts,"
                " stirring, with goggles on; or dissolve it in the water that is still to add."
            )
    if way == "more-oil":
        yield "The batch is larger now: check the vessels and the mould for size."
    elif way == "new-alkali" and batch.scent:
        yield "Scent and additions stay as planned; in a larger batch they are a little less than the recipe states."


def _nowhere(*_parts: str) -> Place:
    return Place()


def _by_line(lines: Iterable[PotLine]) -> dict[_Line, float]:
    grams: dict[_Line, float] = {}
    for line in lines:
        key = (line.material, line.role)
        grams[key] = grams.get(key, 0.0) + line.grams
    return grams


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
