"""The settings of a formulary, from `formulary.yaml`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from formulary.document.fields import Fields, read_file
from formulary.document.tree import Block, Node, Scalar
from formulary.finding import Finding, Place
from formulary.quantity import SPOON_UNITS, Kind, parse_quantity
from formulary.read_only import ReadOnly
from formulary.temperature import CELSIUS, TEMPERATURE_UNITS

SETTINGS_FILE = "formulary.yaml"

_STANDARD_MEASURES_ML = ReadOnly(
    # Metric spoons and cup (common practice, no source); US fluid ounce 29.5735 ml (NIST Handbook 44, from memory).
    {"tsp": Decimal(5), "tbsp": Decimal(15), "cup": Decimal(250), "fl_oz": Decimal("29.5735")}
)
# What other parts read themselves, and how it is written.
_LATER_KEYS = ReadOnly(
    {
        "outcomes": "scent left: {scale: graded, grades: [none, some, much]}",
        "events": "swirled: colours drawn through one another",
        "follow_up": "hardness: [28 d]",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What holds for every batch of this formulary.

    scale_step_g, alkali_step_g: what the scales resolve. measures_ml: spoons and cups in millilitres.
    cure_days: until bars are sold. water_lost_percent: of the water, expected to be lost in that cure.
    temperature: the unit that people are told temperatures in, "°C" or "°F"; files and JSON keep °C.
    checks_off: codes of common-practice checks switched off. moulds: name -> its inside as filled ("25 x 8 x 7 cm").
    vessels_ml: "pot" and "jug", what they hold in millilitres. free: the blocks that other parts read themselves.
    places: where moulds (`moulds/tall`) and codes (`checks/castor-much`) stand in the file.
    """

    name: str = "formulary"
    scale_step_g: Decimal = Decimal(1)
    alkali_step_g: Decimal = Decimal("0.1")
    measures_ml: Mapping[str, Decimal] = field(default_factory=lambda: _STANDARD_MEASURES_ML)
    cure_days: Decimal = Decimal(28)
    water_lost_percent: Decimal = Decimal(60)
    currency: str = ""
    temperature: str = CELSIUS
    checks_off: tuple[str, ...] = ()
    moulds: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))
    vessels_ml: Mapping[str, Decimal] = field(default_factory=lambda: ReadOnly({}))
    free: Mapping[str, Block] = field(default_factory=lambda: ReadOnly({}), compare=False, repr=False)
    places: Mapping[str, Place] = field(default_factory=lambda: ReadOnly({}), compare=False, repr=False)


def parse_settings(data: bytes | str, path: str = SETTINGS_FILE) -> tuple[Settings, tuple[Finding, ...]]:
    """The settings in a file's content, with the usual ones where it is silent, and every fault found."""
    settings, findings = read_file(data, path, read_settings)
    return settings or Settings(), findings


def read_settings(fields: Fields) -> Settings:
    """The settings in a block that is open already."""
    usual = Settings()
    fields.check_format()
    name = fields.text("name") or usual.name
    step, alkali_step = _read_scale(fields)
    measures = _read_measures(fields)
    cure = fields.block_of("cure")
    days = lost = None
    if cure is not None:
        days = cure.decimal("days", low=Decimal(0), high=Decimal(3650))
        lost = cure.percent("water_lost", refuse_fraction=True)
        cure.finish()
    checks = fields.block_of("checks")
    off: tuple[str, ...] = ()
    places: dict[str, Place] = {}
    if checks is not None:
        items = checks.items("off")
        off = tuple(_texts(checks, items, "off"))
        places.update(
            (f"checks/{node.text}", checks.place_of(node, "off")) for node in items if isinstance(node, Scalar)
        )
        checks.finish()
    entries = fields.entries("moulds")
    sizes = _texts(fields, [entry.value for entry in entries], "moulds")
    moulds = dict(zip((entry.key.text for entry in entries), sizes, strict=False))
    places.update((f"moulds/{entry.key.text}", fields.place_of(entry.value, "moulds")) for entry in entries)
    vessels = _read_vessels(fields)
    free = _read_free(fields)
    currency = fields.text("currency") or ""
    temperature = fields.choice("temperature", TEMPERATURE_UNITS) or usual.temperature
    fields.finish()
    return Settings(
        name=name,
        scale_step_g=step or usual.scale_step_g,
        alkali_step_g=alkali_step or usual.alkali_step_g,
        measures_ml=ReadOnly(measures),
        cure_days=usual.cure_days if days is None else days,
        water_lost_percent=usual.water_lost_percent if lost is None else lost,
        currency=currency,
        temperature=temperature,
        checks_off=off,
        moulds=ReadOnly(moulds),
        vessels_ml=ReadOnly(vessels),
        free=ReadOnly(free),
        places=ReadOnly(places),
    )


def _read_scale(fields: Fields) -> tuple[Decimal | None, Decimal | None]:
    """What the scales resolve, for oils and for alkali, in grams."""
    scale = fields.block_of("scale")
    if scale is None:
        return None, None
    step = _above_zero(scale, "step", scale.amount("step", "g", Kind.MASS))
    alkali_step = _above_zero(scale, "alkali_step", scale.amount("alkali_step", "g", Kind.MASS))
    scale.finish()
    return step, alkali_step


def _read_measures(fields: Fields) -> dict[str, Decimal]:
    """What spoons and cups hold, in millilitres."""
    measures = dict(_STANDARD_MEASURES_ML)
    spoons = fields.block_of("measures")
    if spoons is not None:
        for unit in SPOON_UNITS:
            size = spoons.parsed(unit, lambda text: parse_quantity(text, Kind.VOLUME).to("ml"))
            if _above_zero(spoons, unit, size) is not None and size is not None:
                measures[unit] = size
        spoons.finish()
    return measures


def _read_free(fields: Fields) -> dict[str, Block]:
    """The blocks that other parts read themselves."""
    free = {}
    for key, example in _LATER_KEYS.items():
        node = fields.node(key)
        if isinstance(node, Block):
            free[key] = node
        elif node is not None:
            do = f"write lines below it, such as {example}"
            fields.report("wrong-shape", f"`{key}` is not a block", do, node, key)
    return free


def _texts(fields: Fields, nodes: Iterable[Node], key: str) -> list[str]:
    """The texts of several values; anything else among them is reported."""
    texts: list[str] = []
    for node in nodes:
        if isinstance(node, Scalar) and not node.is_empty:
            texts.append(node.text)
        else:
            fields.report("wrong-shape", f"`{key}` holds more than words here", "write one word or size", node, key)
    return texts


def _read_vessels(fields: Fields) -> dict[str, Decimal]:
    block = fields.block_of("vessels")
    vessels: dict[str, Decimal] = {}
    if block is None:
        return vessels
    for name in ("pot", "jug"):
        size = block.parsed(name, lambda text: parse_quantity(text, Kind.VOLUME).to("ml"))
        if _above_zero(block, name, size) is not None and size is not None:
            vessels[name] = size
    block.finish()
    return vessels


def for_calculation(settings: Settings) -> Settings:
    """The settings that a calculation uses, which a frozen plan keeps: without what only money and
    temperatures are told in."""
    return replace(settings, currency="", temperature=CELSIUS)


def without_vessels(settings: Settings) -> Settings:
    """The settings for what nobody is to pour, such as the 1000 g of oils that recipes are told for: no vessel is too
    small for it."""
    return replace(settings, vessels_ml={}, moulds={})


def settings_tree(settings: Settings) -> dict[str, object]:
    """The settings that a calculation uses, as they are written in a file; `read_settings` reads back
    `for_calculation` of them."""
    tree: dict[str, object] = {
        "format": 1,
        "name": settings.name,
        "scale": {"step": f"{settings.scale_step_g:f} g", "alkali_step": f"{settings.alkali_step_g:f} g"},
        "measures": {unit: f"{size:f} ml" for unit, size in settings.measures_ml.items()},
        "cure": {"days": settings.cure_days, "water_lost": f"{settings.water_lost_percent:f} %"},
    }
    if settings.moulds:
        tree["moulds"] = dict(settings.moulds)
    if settings.vessels_ml:
        tree["vessels"] = {name: f"{size:f} ml" for name, size in settings.vessels_ml.items()}
    if settings.checks_off:
        tree["checks"] = {"off": list(settings.checks_off)}
    return tree


def _above_zero(fields: Fields, key: str, number: Decimal | None) -> Decimal | None:
    if number is not None and number <= 0:
        fields.report("out-of-bounds", f"`{key}` is not above zero", "write more than 0", fields.scalar(key), key)
        return None
    return number
