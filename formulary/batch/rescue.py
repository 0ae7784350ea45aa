"""What remains to weigh when something went over: new alkali while it is not mixed yet, else the oil to add."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from formulary.batch.checks import check_pot
from formulary.batch.figures import acid_mol, alkali_of, fat_mol, water_in, work_out_pot
from formulary.batch.lye_checks import check_strong_jug
from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.scale import Scale
from formulary.batch.size import parse_size_g
from formulary.batch.vessel_checks import check_vessels
from formulary.chemistry.alkali import alkali_mass_g, discounted_mol, hydroxide_mol, rounded_down_g
from formulary.errors import InputError
from formulary.fields import suggest
from formulary.finding import Finding, Place
from formulary.materials.model import Material
from formulary.settings import Settings

_WEIGHED = re.compile(r"(\S+)\s+(.+)")


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

    weighed_g: material -> grams that are in the vessels by now. An oil that went over gets more alkali, and the other
    oils stay as planned, so that the superfat stays as stated. Alkali that is in already and went over cannot be
    taken back: every oil, and all that follows the oils, rises by the same part instead. What else went over stays as
    it is, and the findings say what that means.
    Raises InputError for a material that the batch does not weigh.
    """
    known = {line.material for line in batch.pot.lines}
    for name in weighed_g:
        if name not in known:
            do = suggest(name, known, f"weighed here: {', '.join(sorted(known))}")
            raise InputError.of("unknown-line", f"the batch has nothing called {name[:40]!r}", do)
    planned = _by_material(batch.pot.lines)
    over = [alkali for alkali in batch.lye if weighed_g.get(alkali.material, 0.0) > alkali.grams]
    if over:
        factor = max(weighed_g[alkali.material] / alkali.grams for alkali in over)
        lines = _at_least_weighed([_grams(line, line.grams * factor) for line in batch.pot.lines], weighed_g)
        way = "more-oil"
    elif any(weighed_g.get(name, 0.0) > grams for (name, role), grams in planned.items() if role == "oil"):
        lines = _at_least_weighed(_with_new_alkali(batch, weighed_g, materials, settings), weighed_g)
        way = "new-alkali"
    else:
        lines = _at_least_weighed(list(batch.pot.lines), weighed_g)
        way = "as-it-is"
    pot = Pot(tuple(lines), batch.pot.portions)
    figures = work_out_pot(pot, materials, settings)
    remaining = tuple(
        Remaining(name, role, planned[name, role], weighed_g.get(name, 0.0), grams - weighed_g.get(name, 0.0))
        for (name, role), grams in _by_material(lines).items()
    )
    return Rescue(
        way=way,
        remaining=remaining,
        superfat_percent=figures.superfat_effective,
        in_jug_percent=figures.in_jug_percent,
        effective_percent=figures.effective_percent,
        remarks=tuple(_remarks(batch, way, remaining, weighed_g)),
        findings=(
            *check_pot(pot, figures, materials, batch.purpose),
            *check_strong_jug(pot, materials, _nowhere),
            *check_vessels(pot, materials, settings),
        ),
        scale=batch.scale,
    )


def _remarks(batch: Batch, way: str, remaining: Iterable[Remaining], weighed_g: Mapping[str, float]) -> Iterable[str]:
    for line in remaining:
        if line.role == "water" and line.weighed_grams > line.planned_grams + 0.05:
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


def _by_material(lines: Iterable[PotLine]) -> dict[tuple[str, str], float]:
    grams: dict[tuple[str, str], float] = {}
    for line in lines:
        key = (line.material, line.role)
        grams[key] = grams.get(key, 0.0) + line.grams
    return grams


def _at_least_weighed(lines: list[PotLine], weighed_g: Mapping[str, float]) -> list[PotLine]:
    """Nothing can be taken out again: what is there already counts where it is more than is wanted."""
    totals = _by_material(lines)
    counted: list[PotLine] = []
    for line in lines:
        total_g = totals[line.material, line.role]
        over_g = max(weighed_g.get(line.material, 0.0) - total_g, 0.0)
        counted.append(_grams(line, line.grams + over_g * (line.grams / total_g if total_g > 0 else 1.0)))
    return counted


def _grams(line: PotLine, grams: float) -> PotLine:
    return PotLine(line.material, line.role, line.at, grams, line.portion, line.water)


def _with_new_alkali(
    batch: Batch, weighed_g: Mapping[str, float], materials: Mapping[str, Material], settings: Settings
) -> list[PotLine]:
    planned = _by_material(batch.pot.lines)
    lines = [
        _grams(line, line.grams * max(weighed_g[line.material] / planned[line.material, "oil"], 1.0))
        if line.role == "oil" and line.material in weighed_g
        else line
        for line in batch.pot.lines
    ]
    wanted_mol = discounted_mol(
        sum(fat_mol(line, materials[line.material]) for line in lines if line.role == "oil"), batch.superfat.nominal
    ) + sum(acid_mol(line, materials) for line in lines)
    planned_mol = {
        alkali.material: hydroxide_mol(alkali.pure_grams, alkali_of(materials[alkali.material])) for alkali in batch.lye
    }
    more: dict[str, float] = {}
    for alkali in batch.lye:
        part = planned_mol[alkali.material] / sum(planned_mol.values())
        pure_g = alkali_mass_g(wanted_mol * part, alkali_of(materials[alkali.material]))
        more[alkali.material] = rounded_down_g(pure_g * 100.0 / alkali.assay_percent, float(settings.alkali_step_g))
    more_pure = sum(more[alkali.material] * alkali.assay_percent / 100.0 for alkali in batch.lye)
    pure = sum(alkali.pure_grams for alkali in batch.lye)
    nominal_g = pure * (100.0 - batch.water.nominal_percent) / batch.water.nominal_percent
    # A ready-made lye brings water of its own.
    with_alkali_g = sum(
        water_in(_grams(line, more[line.material] - line.grams), materials) for line in lines if line.role == "alkali"
    )
    more_water_g = nominal_g * (more_pure / pure - 1.0) - with_alkali_g
    return [
        _grams(line, more[line.material])
        if line.role == "alkali"
        else _grams(line, line.grams + more_water_g)
        if line.role == "water"
        else line
        for line in lines
    ]
