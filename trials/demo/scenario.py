"""The invented maker's year, as data: recipes, how they were changed and why, and what was poured when.

A soapmaker in a small harbour town keeps one trusted base bar and branches it for midwinter, spring and summer.
Everything here is invented. What happened to each loaf is not written here: `generator` works it out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from importlib import resources
from string import Template

from formulary.recipes.model import Recipe
from formulary.recipes.tweaks import Tweak, add, set_field, swap

FORMULARY_NAME = "Harbour soap (an invented demonstration)"
BASE = "harbour-base"
CAUSE = "clove-bud-oil"
OIL_SIZE = "1000 g"
OIL_LOT = "OL-7"
_MATERIALS = ("clove-bud-oil", "lavender-oil", "olive-oil", "sodium-hydroxide", "spearmint-oil")

MonthDay = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Beginning:
    """The base bar and the maker's own materials are written down and saved."""

    day: MonthDay
    why: str


@dataclass(frozen=True, slots=True)
class Branching:
    """A variant is branched, completed by hand with `appended` lines, and saved."""

    day: MonthDay
    slug: str
    parent: str
    name: str
    tweaks: tuple[Tweak, ...]
    appended: str
    why: str


@dataclass(frozen=True, slots=True)
class Rework:
    """A recipe's file is changed by hand, (before, after) each, and saved."""

    day: MonthDay
    slug: str
    edits: tuple[tuple[str, str], ...]
    why: str


@dataclass(frozen=True, slots=True)
class Loaf:
    """One loaf to pour from the latest version of a recipe.

    clove_lot: which lot, where clove goes in. forgets_water: the water that an addition brings is not taken off.
    """

    recipe: str
    clove_lot: str = "CB-1"
    forgets_water: bool = False
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Sitting:
    """One day at the bench: the room, in °C and percent of relative humidity, and the loaves in order."""

    day: MonthDay
    room_c: float
    humidity_percent: int
    loaves: tuple[Loaf, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen and measured of every loaf poured so far is written up and saved."""

    day: MonthDay
    why: str


Step = Beginning | Branching | Rework | Sitting | Look

_HALVES = """
# The batter is divided by eye; `gets` says how much of a line goes where. The plain part is the control.
portions:
  - {{name: plain, share: {{percent: {plain}, by_eye: 5}}, gets: {{{scent}: 0}}}}
  - {{name: {name}, share: {{percent: {scented}, by_eye: 5}}, gets: {{{scent}: 100}}}}
"""
_THREE_STRENGTHS = """
# Three parts of one batter: none, about half a percent, about one percent of clove in each part's own oils.
portions:
  - {name: plain, share: {percent: 34, by_eye: 4}, gets: {clove-bud-oil: 0}}
  - {name: faint, share: {percent: 33, by_eye: 4}, gets: {clove-bud-oil: 35}}
  - {name: strong, share: {percent: 33, by_eye: 4}, gets: {clove-bud-oil: 65}}
"""

STEPS: tuple[Step, ...] = (
    Beginning((9, 5), "the base bar as it has been poured for years"),
    Sitting((9, 12), 20.5, 66, (Loaf(BASE),)),
    Sitting((9, 26), 18.5, 70, (Loaf(BASE, notes="The same again, to see how far two loaves differ by themselves."),)),
    Branching(
        (10, 2),
        "midwinter-oat",
        f"{BASE}@latest",
        "Midwinter oat",
        (
            add("oat-milk", "8 % of oils", at="oils", water="replaces"),
            add("honey", "2 % of oils", at="trace", water="extra"),
            set_field("notes", "For those who want no scent. Stir the honey into a little of the milk first."),
        ),
        "",
        "oat milk and honey, for the midwinter market",
    ),
    Branching(
        (10, 2),
        "midwinter-clove",
        "midwinter-oat@latest",
        "Midwinter clove",
        (
            add("clove-bud-oil", "0.6 % of oils", at="trace"),
            set_field("notes", "Half plain, half clove, one swirl."),
        ),
        _HALVES.format(scent="clove-bud-oil", name="clove", plain=50, scented=50),
        "the oat bar with clove in one half",
    ),
    Sitting(
        (10, 3),
        17.5,
        68,
        (
            Loaf(BASE, notes="Poured beside the two oat loaves, from the same pot of oils."),
            Loaf("midwinter-oat"),
            Loaf("midwinter-clove", notes="The clove half was on the spoon before I had the colour straight."),
        ),
    ),
    Sitting((10, 10), 17.0, 70, (Loaf("midwinter-clove", notes="Once more, to be sure that it was not me."),)),
    Sitting(
        (10, 17),
        16.0,
        72,
        (
            Loaf(
                "midwinter-oat",
                forgets_water=True,
                notes="Forgot to take the oat milk's water off. Saw it when the jug was already clear.",
            ),
        ),
    ),
    Rework(
        (10, 24),
        "midwinter-clove",
        (
            ("rate: 0.6 % of oils", "rate: 0.4 % of oils"),
            (
                "  - {material: kaolin, rate: 1 % of oils, at: oils}\n",
                "  - {material: kaolin, rate: 1 % of oils, at: oils}\n"
                "  - {material: rose-clay, rate: 1 % of oils, at: oils}\n",
            ),
        ),
        "less clove, it left no time for a swirl; rose clay for warmth",
    ),
    Sitting((10, 25), 15.5, 71, (Loaf("midwinter-clove"), Loaf("midwinter-clove"))),
    Sitting((11, 7), 14.0, 74, (Loaf("midwinter-clove", notes="The shed heater was off."),)),
    Look((12, 20), "autumn's bars at the cut, through the cure, and cured"),
    Rework(
        (1, 17),
        BASE,
        (("lye_concentration: 33 ", "lye_concentration: 35 "),),
        "a little less water, to unmould the next morning",
    ),
    Sitting((1, 18), 14.5, 63, (Loaf(BASE), Loaf(BASE))),
    Rework(
        (1, 30),
        "midwinter-clove",
        (("lye_concentration: 33 ", "lye_concentration: 35 "),),
        "take over the base's lesser water",
    ),
    Sitting((1, 31), 14.0, 64, (Loaf("midwinter-clove", "CB-2", notes="First loaf from the new lot of clove."),)),
    Branching(
        (2, 13),
        "spring-nettle",
        f"{BASE}@latest",
        "Spring nettle",
        (
            swap("8 %", "olive-oil", "hemp-seed-oil"),
            add("nettle-infusion", "20 % of oils", at="lye water", water="replaces"),
            add("lavender-oil", "1.2 % of oils", at="trace"),
            set_field("notes", "Nettles from behind the shed; strain the infusion twice."),
        ),
        _HALVES.format(scent="lavender-oil", name="lavender", plain=30, scented=70),
        "a green bar for spring: nettle, hemp seed oil, lavender",
    ),
    Sitting((2, 14), 15.0, 61, (Loaf("spring-nettle"), Loaf(BASE))),
    Sitting((2, 28), 16.0, 60, (Loaf("spring-nettle", notes="The same again."),)),
    Branching(
        (3, 6),
        "harbour-clove",
        f"{BASE}@latest",
        "Harbour clove",
        (
            add("clove-bud-oil", "0.5 % of oils", at="trace"),
            set_field("notes", "Clove and nothing else: was it the clove, or the milk and honey?"),
        ),
        _THREE_STRENGTHS,
        "clove without milk and honey, in three strengths",
    ),
    Sitting((3, 7), 16.5, 62, (Loaf("harbour-clove", "CB-2"), Loaf("harbour-clove", "CB-2"))),
    Rework(
        (3, 20),
        "spring-nettle",
        (("olive-oil: 40", "olive-oil: 48"), ("  hemp-seed-oil: 8\n", ""), ("1.2 % of oils", "1.4 % of oils")),
        "back to olive, the hemp bars felt waxy; a little more lavender",
    ),
    Sitting((3, 21), 17.0, 60, (Loaf("spring-nettle"), Loaf("spring-nettle"))),
    Look((4, 23), "what became of the spring bars so far"),
    Branching(
        (4, 24),
        "summer-cucumber",
        f"{BASE}@latest",
        "Summer cucumber",
        (
            add("cucumber-puree", "8 % of oils", at="oils", water="replaces"),
            add("spearmint-oil", "0.8 % of oils", at="trace"),
            set_field("notes", "Puree with the peel, sieved, at room temperature."),
        ),
        _HALVES.format(scent="spearmint-oil", name="mint", plain=50, scented=50),
        "a cool bar for summer: cucumber and mint",
    ),
    Sitting((4, 25), 18.5, 58, (Loaf("summer-cucumber"), Loaf(BASE))),
    Sitting((5, 9), 20.0, 61, (Loaf("summer-cucumber"),)),
    Rework(
        (5, 22),
        "summer-cucumber",
        (
            (
                "  - {material: kaolin, rate: 1 % of oils, at: oils}\n",
                "  - {material: kaolin, rate: 1 % of oils, at: oils}\n"
                "  - {material: sea-clay, rate: 2 % of oils, at: oils}\n",
            ),
        ),
        "sea clay, for the green that the cucumber does not keep",
    ),
    Sitting((5, 23), 21.0, 64, (Loaf("summer-cucumber"), Loaf("summer-cucumber"))),
    Sitting(
        (6, 6),
        22.5,
        66,
        (Loaf("harbour-clove", notes="Used up what was left of the first lot of clove."), Loaf("summer-cucumber")),
    ),
    Look((7, 18), "the summer bars, cured, and the rest of spring's"),
)
FIRST_MONTH = 9


def season_beginning(today: date) -> int:
    """The year of the latest season (September to July) that was over by `today`."""
    year = today.year - 1
    return year if season_date(year, STEPS[-1].day) <= today else year - 1


def season_date(season: int, day: MonthDay) -> date:
    """The date of a day of the season that began in the year `season`."""
    return date(season if day[0] >= FIRST_MONTH else season + 1, *day)


def season_moment(season: int, day: MonthDay, hour: int) -> datetime:
    """An hour of such a day."""
    found = season_date(season, day)
    return datetime(found.year, found.month, found.day, hour, tzinfo=UTC)


def read_base_text() -> str:
    """The base bar's file."""
    return _file(f"{BASE}.yaml")


def read_material_texts(season: int) -> Mapping[str, str]:
    """The maker's own material files, by slug, with the dates of that season."""
    dates = {
        "certificate": season_date(season - 1, (5, 11)),
        "oil_received": season_date(season, (9, 1)),
        "first_received": season_date(season, (9, 1)),
        "first_opened": season_date(season, (10, 2)),
        "second_received": season_date(season, (1, 20)),
        "second_opened": season_date(season, (1, 31)),
    }
    return {slug: Template(_file(f"materials/{slug}.yaml")).substitute(dates) for slug in _MATERIALS}


def _file(path: str) -> str:
    return resources.files("trials.demo").joinpath("files", path).read_text(encoding="utf-8")


def lots_of(recipe: Recipe, loaf: Loaf) -> dict[str, str]:
    """The lots that are written down for a loaf: of the olive oil, and of the clove where it goes in."""
    lots = {"olive-oil": OIL_LOT, CAUSE: loaf.clove_lot}
    return {material: lot for material, lot in lots.items() if material in recipe.materials()}


def edit_text(text: str, edits: tuple[tuple[str, str], ...]) -> str:
    """A file's text after changes by hand. Raises ValueError when what is to be changed is not there exactly once."""
    for before, after in edits:
        if text.count(before) != 1:
            raise ValueError(f"{before!r} stands {text.count(before)} times in the file")
        text = text.replace(before, after)
    return text
