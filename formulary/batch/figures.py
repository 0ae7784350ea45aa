"""What the grams in a pot amount to: superfat with its band, water, scent by portion.

The same functions serve a planned batch and a batch as it was really made.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from formulary.batch.model import WHOLE, PortionFigures, Pot, PotFigures, PotLine, PotPortion, WeighedScent
from formulary.chemistry.acids import equivalents_of_mixture_mol
from formulary.chemistry.alkali import Alkali, hydroxide_mol, hydroxide_mol_for_fat
from formulary.chemistry.fatty_acids import blended_fatty_acids_percent
from formulary.chemistry.superfat_band import SuperfatBand, Uncertain, find_superfat_band
from formulary.chemistry.water import lye_concentration_percent
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from formulary.settings import Settings

# Fat carried by an addition whose own saponification value is not known: ordinary fats lie between these
# (from memory: rapeseed and olive at the low end, milk fat and coconut at the high end), mg KOH per g.
_CARRIED_FAT_SV = (180.0, 195.0, 260.0)

# The acid of juices, vinegars and soured milks varies by about a fifth either way (lemon juice 4.5 to 6.5 %, common
# practice, no source).
JUICE_ACID_DOUBT = 0.2
_JUICES = ("juice", "milk", "puree")

Materials = Mapping[str, Material]


def work_out_pot(pot: Pot, materials: Materials, settings: Settings) -> PotFigures:
    """The figures of a pot: oils in percent, effective superfat and its band, lye concentrations, scent by portion.

    pot: grams by line. materials: what each line's material is, with the values of the lot used.
    settings: for the scale's steps and the water that the cure is expected to take.
    Raises KeyError for a line whose material is not in `materials`; its caller reads names against the register.
    """
    oils = [line for line in pot.lines if line.role == "oil"]
    oil_mass_g = sum(line.grams for line in oils)
    percents: dict[str, float] = {}
    for line in oils:
        percents[line.material] = percents.get(line.material, 0.0) + line.grams * 100.0 / oil_mass_g
    band = superfat_band(pot, materials, settings)
    scent = scent_figures(pot, materials, settings)
    whole = PortionFigures(WHOLE, 100.0, batter_g(pot), scent, band.working, band.low)
    pure_g = pure_alkali_g(pot, materials)
    jug = Pot(tuple(line for line in pot.lines if line.at == "lye water"))
    in_jug_g = sum(water_in(line, materials) for line in jug.lines)
    total_g = sum(water_in(line, materials) for line in pot.lines)
    return PotFigures(
        oil_mass_g=oil_mass_g,
        batter_grams=batter_g(pot),
        oil_percents=ReadOnly(percents),
        superfat_effective=band.working,
        superfat_low=band.low,
        superfat_high=band.high,
        superfat_worst_low=band.worst_low,
        superfat_worst_high=band.worst_high,
        pure_alkali_g=pure_g,
        water_weighed_g=pot.grams("water"),
        water_total_g=total_g,
        in_jug_percent=concentration_percent(pure_alkali_g(jug, materials), in_jug_g),
        effective_percent=concentration_percent(pure_g, total_g),
        scent=scent,
        portions=portion_figures(pot, materials, settings) if pot.portions else (whole,),
        fatty_acids=ReadOnly(pot_fatty_acids_percent(pot, materials)),
        sugars_g_per_kg_oils=1000.0 * sugars_in(pot, materials) / oil_mass_g,
    )


def concentration_percent(pure_g: float, water_g: float) -> float:
    """The lye concentration; 0 without alkali, 100 where no water (or less than none) is left for it."""
    if pure_g <= 0:
        return 0.0
    return lye_concentration_percent(pure_g, water_g) if water_g > 0 else 100.0


def nominal_concentration_percent(pot: Pot, materials: Materials) -> float:
    """The lye concentration as a recipe states it: by the water weighed, that of the lye, and what replaces water."""
    counted = (line for line in pot.lines if line.role in ("water", "alkali") or line.water == "replaces")
    return concentration_percent(pure_alkali_g(pot, materials), sum(water_in(line, materials) for line in counted))


def batter_g(pot: Pot) -> float:
    """Grams of pourable batter: everything but what is put on top."""
    return sum(line.grams for line in pot.lines if line.at != "top")


def water_in(line: PotLine, materials: Materials) -> float:
    """Grams of water that a line brings; an unknown water content counts as none (and is a finding elsewhere)."""
    if line.role == "water" and materials[line.material].water_percent is None:
        return line.grams
    return line.grams * (materials[line.material].water_percent or 0.0) / 100.0


def sugars_in(pot: Pot, materials: Materials) -> float:
    """Grams of sugars in the pot, as far as they are known."""
    return sum(line.grams * (materials[line.material].sugars_percent or 0.0) / 100.0 for line in pot.lines)


def pure_alkali_g(pot: Pot, materials: Materials) -> float:
    """Grams of pure alkali in the pot."""
    return sum(line.grams * assay(materials[line.material])[1] / 100.0 for line in pot.lines if line.role == "alkali")


def assay(material: Material) -> tuple[float, float, float]:
    """The alkali's assay in percent: low, working, high; a material without one is taken as pure."""
    if material.assay_percent is None:
        return 100.0, 100.0, 100.0
    return material.assay_percent.low, material.assay_percent.working, material.assay_percent.high


def alkali_of(material: Material) -> Alkali:
    """Which hydroxide a material is or holds. Raises ValueError for a material that is neither."""
    if material.alkali is None:
        raise ValueError(f"{material.slug} is not a hydroxide that is calculated here")
    return material.alkali


def superfat_band(pot: Pot, materials: Materials, settings: Settings, *, share: float = 1.0) -> SuperfatBand:
    """The effective superfat of all saponifiable equivalents in the pot, with its band and worst case.

    share: the part of the batter that the pot holds, which has as much of what the scale left open of the shared lye.
    """
    # What is put on top never meets the lye: it counts in the bar, not in the batter. Lye itself counts wherever it is.
    batter = [line for line in pot.lines if line.at != "top"]
    # What is not known of a material is the same wherever it went in, so that its lines are one source of doubt.
    fats: dict[str, Uncertain] = {}
    alkalis: dict[str, Uncertain] = {}
    acids: dict[str, Uncertain] = {}
    for line in batter:
        fat = _fat(line, materials[line.material]) if line.role in ("oil", "addition") else None
        if fat is not None:
            _add(fats, line.material, fat)
        # What acids take is not free for the fat; a juice holds now more, now less of its acid.
        taken = acid_mol(line, materials)
        if taken:
            doubt = JUICE_ACID_DOUBT if materials[line.material].group in _JUICES else 0.0
            _add(acids, line.material, Uncertain(-taken, -taken * (1.0 + doubt), -taken * (1.0 - doubt)))
    for line in pot.lines:
        if line.role != "alkali":
            continue
        half_step_g = float(settings.alkali_step_g) / 2 * (share if line.portion is None else 1.0)
        material = materials[line.material]
        low, working, high = (percent / 100.0 for percent in assay(material))
        kind = alkali_of(material)
        brought = Uncertain(
            hydroxide_mol(line.grams * working, kind),
            hydroxide_mol(max(line.grams - half_step_g, 0.0) * low, kind),
            hydroxide_mol((line.grams + half_step_g) * high, kind),
        )
        _add(alkalis, line.material, brought)
    return find_superfat_band([*fats.values()], [*alkalis.values(), *acids.values()])


def _add(found: dict[str, Uncertain], material: str, more: Uncertain) -> None:
    """One more line of a material: all of them lie at the same end of what is known of it."""
    so_far = found.get(material, Uncertain(0.0, 0.0, 0.0))
    found[material] = Uncertain(*(one + other for one, other in zip(so_far, more, strict=True)))


def free_alkali_mol(line: PotLine, materials: Materials) -> float:
    """Moles of alkali that a line brings; below 0 for what it takes up, as fat or as acid."""
    material = materials[line.material]
    if line.role == "alkali":
        return hydroxide_mol(line.grams * assay(material)[1] / 100.0, alkali_of(material))
    fat = _fat(line, material) if line.role in ("oil", "addition") else None
    return -acid_mol(line, materials) - (fat.working_mol if fat is not None else 0.0)


def acid_mol(line: PotLine, materials: Materials) -> float:
    """Moles of alkali that the acids in an addition take at once; what is put on top never meets the lye."""
    if line.role != "addition" or line.at == "top":
        return 0.0
    return equivalents_of_mixture_mol(line.grams, materials[line.material].acids)


def fat_mol(line: PotLine, material: Material) -> float:
    """Saponifiable equivalents, in mol, that an oil line is given alkali for."""
    value = material.saponification_value
    return 0.0 if value is None else hydroxide_mol_for_fat(line.grams, value.working)


def certain_saponification_value(material: Material) -> float:
    """The least that the material takes up for certain, mg KOH per g; 0 for an unknown value."""
    if material.saponification_value is None:
        return 0.0
    if material.kind == "wax":  # its esters react only partly: its free acids alone are certain
        return material.acid_value.low if material.acid_value is not None else 0.0
    return material.saponification_value.low


def _fat(line: PotLine, material: Material) -> Uncertain | None:
    value = material.saponification_value
    # An oil among the additions (to wet a mica, say) is fat like any other, though it is given no alkali.
    if line.role == "oil" or material.kind.is_fat:
        if value is None:
            return Uncertain(0.0, 0.0, 0.0)
        low, working, high = certain_saponification_value(material), value.working, value.high
        grams = line.grams
    elif material.fat_percent:
        grams = line.grams * material.fat_percent / 100.0
        known = material.fat_saponification_value or (value.working if value is not None else None)
        low, working, high = (known, known, known) if known is not None else _CARRIED_FAT_SV
    else:
        return None
    return Uncertain(*(hydroxide_mol_for_fat(grams, sv) for sv in (working, min(low, working), max(high, working))))


def scent_figures(pot: Pot, materials: Materials, settings: Settings) -> tuple[WeighedScent, ...]:
    """Each scent of the whole batch, by line; the lines of one material divided over portions are one."""
    oil_mass_g = pot.grams("oil")
    shares = _Shares(
        batter_g=batter_g(pot),
        bar_g=sum(line.grams for line in pot.lines),
        water_g=sum(water_in(line, materials) for line in pot.lines),
        settings=settings,
    )
    return shares.scent(pot.lines, materials, oil_mass_g)


def portion_figures(pot: Pot, materials: Materials, settings: Settings) -> tuple[PortionFigures, ...]:
    """Each portion of a divided pot: its grams, superfat, and its scent at the worst end of its split."""
    oil_mass_g = pot.grams("oil")
    figures: list[PortionFigures] = []
    for portion in pot.portions:
        worst = _portion_lines(pot, portion.name, portion.share - portion.by_eye)
        usual = _portion_lines(pot, portion.name, portion.share)
        shares = _Shares(
            batter_g=sum(line.grams for line in worst if line.at != "top"),
            bar_g=sum(line.grams for line in worst),
            water_g=sum(water_in(line, materials) for line in worst),
            settings=settings,
        )
        bands = [
            _portion_band(pot, portion.name, share, materials, settings)
            for share in (portion.share - portion.by_eye, portion.share, portion.share + portion.by_eye)
        ]
        figures.append(
            PortionFigures(
                portion.name,
                portion.share * 100.0,
                sum(line.grams for line in usual if line.at != "top"),
                shares.scent(worst, materials, oil_mass_g * max(portion.share - portion.by_eye, 0.0)),
                min(band.working for band in bands),
                min(band.low for band in bands),
            )
        )
    return tuple(figures)


def _portion_band(pot: Pot, name: str, share: float, materials: Materials, settings: Settings) -> SuperfatBand:
    """The superfat of a portion at a share: acids, fats and alkali of its own count in it alone."""
    if share <= 0:
        return SuperfatBand(100.0, 100.0, 100.0, 100.0, 100.0)  # nothing of the shared lye is in it
    return superfat_band(Pot(_portion_lines(pot, name, share)), materials, settings, share=share)


def portion_pot(pot: Pot, name: str) -> Pot:
    """One portion by itself: its share of what was shared, and all of its own lines.

    Raises KeyError for a portion that the pot does not have.
    """
    if not pot.portions and name == WHOLE:
        return pot
    share = {portion.name: portion.share for portion in pot.portions}[name]
    return _undivided(_portion_lines(pot, name, share))


def portion_at_worst(pot: Pot, portion: PotPortion) -> Pot:
    """A portion by itself, with the smallest share of the batter that its split by eye may give it."""
    return _undivided(_portion_lines(pot, portion.name, portion.share - portion.by_eye))


def take_portion(pot: Pot, name: str) -> Pot:
    """One portion as a pot of its own that knows how exact its share of the shared batter is.

    Its figures by portion are those that the whole pot has of it. Raises KeyError for a portion that it does not have.
    """
    portion = {each.name: each for each in pot.portions}[name]
    by_eye = portion.by_eye / portion.share if portion.share else 0.0
    return Pot(_portion_lines(pot, name, portion.share), (PotPortion(name, 1.0, by_eye),))


def _undivided(lines: tuple[PotLine, ...]) -> Pot:
    return Pot(tuple(replace(line, portion=None) for line in lines))


def _portion_lines(pot: Pot, name: str, share: float) -> tuple[PotLine, ...]:
    lines: list[PotLine] = []
    for line in pot.lines:
        if line.portion is None:
            lines.append(replace(line, grams=line.grams * share))
        elif line.portion == name:
            lines.append(line)
    return tuple(lines)


class _Shares:
    """Turns grams of scent into percentages of one bar's batter, cured and dry weight."""

    def __init__(self, *, batter_g: float, bar_g: float, water_g: float, settings: Settings) -> None:
        self.batter_g = batter_g
        self.cured_g = bar_g - water_g * float(settings.water_lost_percent) / 100.0
        self.dry_g = bar_g - water_g

    def scent(self, lines: tuple[PotLine, ...], materials: Materials, oil_mass_g: float) -> tuple[WeighedScent, ...]:
        grams: dict[tuple[str, str], float] = {}
        for line in lines:
            if line.role == "scent":
                key = (line.material, line.at)
                grams[key] = grams.get(key, 0.0) + line.grams
        return tuple(
            WeighedScent(
                material=material,
                at=at,
                grams=weight_g,
                percent_of_oils=100.0 * weight_g / oil_mass_g,
                percent_of_batter=100.0 * weight_g / self.batter_g,
                percent_of_cured=100.0 * weight_g / self.cured_g,
                percent_of_dry=100.0 * weight_g / self.dry_g,
                limit_percent=limit_percent(materials[material]),
            )
            for (material, at), weight_g in grams.items()
        )


def limit_percent(material: Material) -> float | None:
    """The most of a scent in the finished product, percent, by its certificate."""
    return None if material.limit is None else material.limit.percent_of_product


def pot_fatty_acids_percent(pot: Pot, materials: Materials) -> dict[str, float]:
    """The fatty acids of all oils in a pot, in percent of all of them; an oil that stands in it twice counts twice.

    They total less than 100 by the part of the oils whose acids are not known: it hides none of the others' acids.
    """
    grams: dict[str, float] = {}
    for line in pot.lines:
        if line.role == "oil":
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    known = {name: (mass, materials[name].fatty_acids) for name, mass in grams.items() if materials[name].fatty_acids}
    known_g = sum(mass for mass, _ in known.values())
    return {
        acid: percent * known_g / sum(grams.values()) for acid, percent in blended_fatty_acids_percent(known).items()
    }
