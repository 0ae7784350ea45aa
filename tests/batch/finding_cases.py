"""What a maker's kitchen must hold for each finding to be raised, and what it holds once its `do` was followed.

All materials, values and recipes are invented for these tests.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from formulary.batch.model import PotLine
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN


@dataclass(frozen=True)
class Case:
    """A finding, the smallest kitchen that raises it, its nearest neighbour that does not, and the one after `do`.

    do: the piece of the finding's `do` that was followed; stands: why it cannot be made to vanish, for a finding that
    is a fact of what the maker wants and no fault.
    """

    finding: str
    triggers: Kitchen
    neighbour: Kitchen
    do: str
    mended: Kitchen | None = None
    stands: str = ""


def plain(*changes: tuple[str, str], more: str = "") -> Kitchen:
    """The plain bar with some of its text changed."""
    text = PLAIN
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after)
    return Kitchen(text + more)


def superfat(percent: str, more: str = "") -> Kitchen:
    return plain(("superfat: 5", f"superfat: {percent}"), more=more)


def water(rule: str, more: str = "") -> Kitchen:
    return plain(("lye_concentration: 33", rule), more=more)


def oils(*lines: tuple[str, float], superfat: str = "5", more: str = "") -> Kitchen:
    text = "".join(f"  {name}: {percent:g}\n" for name, percent in lines)
    changes = (
        ("  olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15\n", text),
        ("superfat: 5", f"superfat: {superfat}"),
    )
    return plain(*changes, more=more)


def coarse(percent: str, step: str) -> Kitchen:
    """150 g of oils, one of which a coarse scale rounds down by 5 g."""
    three = oils(("olive-oil", 70), ("coconut-oil", 15), ("castor-oil", 15), superfat=percent)
    return replace(three, oils_g=150.0, settings=f"format: 1\nscale: {{step: {step}, alkali_step: 0.1 g}}\n")


def addition(material: str, rate: str, at: str = "trace", **said: str) -> str:
    more = "".join(f", {key}: {text}" for key, text in said.items())
    return f"additions:\n  - {{material: {material}, rate: {rate}, at: {at}{more}}}\n"


def added(material: str, percent: float, at: str = "trace", **said: str) -> Kitchen:
    return plain(more=addition(material, f"{percent:g} % of oils", at, **said))


def scented(*lines: tuple[str, float], more: str = "") -> str:
    scents = [f"  - {{material: {name}, rate: {percent:g} % of oils, at: trace}}\n" for name, percent in lines]
    return f"scent:\n{''.join(scents)}{more}"


def fragrance(limit: float | None = None, more: str = "") -> str:
    said = "" if limit is None else f"limit: {{percent_of_product: {limit}}}\n"
    return f"format: 1\nname: Invented scent\nkind: fragrance\ninci: PARFUM\nwater: 0 %\n{said}{more}"


def halves(name: str, first: int, share: int = 50) -> str:
    return (
        f"portions:\n  - {{name: one, share: {share}, gets: {{{name}: {first}}}}}\n"
        f"  - {{name: two, share: {100 - share}, gets: {{{name}: {100 - first}}}}}\n"
    )


WET = {"water": "replaces"}
ACID = addition("citric-acid-anhydrous", "2 % of oils")
ASSAY = "format: 1\nname: Sodium hydroxide\nkind: alkali\nassay: {assay}\n"
PUREE = "format: 1\ninci: INVENTED FRUIT\nname: Unmeasured puree\nkind: liquid\ngroup: puree\n{water}"
OIL = "format: 1\nname: Invented oil\nkind: oil\n{more}"
NEW_OIL = oils(("olive-oil", 60), ("coconut-oil", 25), ("invented-oil", 15))
ONE = scented(("one", 3))
BOTH = scented(("one", 2), ("two", 2))
MOSS = "contains: {citronellal: 75}\n"
POWDER = "format: 1\nname: Invented powder\nkind: additive\ninci: INVENTED POWDER\n"
RANGE = "saponification_value: {{low: 184, high: 220, working: {}}}"
OLIVE = "format: 1\nname: Olive oil\nkind: oil\n{more}\n"
VANILLA = {"vanilla": fragrance(50, "vanillin: 8 %\n")}
ALKALIS = "alkali: sodium-hydroxide"


def one(percent: float, limit: float | None, more: str = "", of: str = "") -> Kitchen:
    return replace(plain(more=scented(("one", percent), more=more)), materials={"one": fragrance(limit, of)})


def two(first: float, second: float, limit: float | None, of: str = "") -> Kitchen:
    both = scented(("one", first), ("two", second))
    return replace(plain(more=both), materials=dict.fromkeys(("one", "two"), fragrance(limit, of)))


def process(text: str) -> str:
    return f"process: {{{text}}}\n"


def made(material: str, role: str, at: str, grams: float, water: str | None = None) -> tuple[PotLine, ...]:
    return (PotLine(material, role, at, grams, water=water),)


ERRORS = [
    Case(
        "error unknown-material",
        oils(("olive-oil", 60), ("coconut-oil", 25), ("zed", 15)),
        plain(),
        "formulary materials add zed",
        replace(
            oils(("olive-oil", 60), ("coconut-oil", 25), ("zed", 15)),
            materials={"zed": OIL.format(more="saponification_value: 190\ninci: ZED\n")},
        ),
    ),
    Case(
        "error not-an-oil",
        oils(("olive-oil", 60), ("coconut-oil", 25), ("sunflower-oil", 14), ("rose-clay", 1)),
        plain(),
        "move it to `additions` or `scent`, and raise an oil",
        added("rose-clay", 1),
    ),
    Case(
        "error scent-addition",
        added("lavender-oil", 2),
        plain(more=scented(("lavender-oil", 2))),
        "move it to `scent`",
        plain(more=scented(("lavender-oil", 2))),
    ),
    Case(
        "error alkali-addition",
        added("potassium-hydroxide", 1, "lye water"),
        added("salt", 1, "lye water"),
        "state it under `lye`",
        plain((ALKALIS, "alkali: {by: mass, sodium-hydroxide: 93, potassium-hydroxide: 7}")),
    ),
    Case(
        "error volume-refused",
        plain(more=addition("lemon-juice", "1 tbsp per kg oils", **WET)),
        plain(more=addition("rose-clay", "1 tbsp per kg oils")),
        "weigh it in grams",
        plain(more=addition("lemon-juice", "15 g per kg oils", **WET)),
    ),
    Case(
        "error spoon-unknown",
        replace(
            plain(more=addition("invented", "1 tbsp per kg oils")),
            materials={"invented": POWDER},
        ),
        plain(more=addition("rose-clay", "1 tbsp per kg oils")),
        'weigh it: "20 g per kg oils"',
        replace(
            plain(more=addition("invented", "20 g per kg oils")),
            materials={"invented": POWDER},
        ),
    ),
    Case(
        "error water-unsaid",
        added("oat-milk", 5),
        added("rose-clay", 5),
        "add `water: replaces`",
        added("oat-milk", 5, water="replaces"),
    ),
    Case(
        "error not-a-scent",
        plain(more=scented(("rose-clay", 1))),
        plain(more=scented(("lavender-oil", 1))),
        "move it to `additions`",
        added("rose-clay", 1),
    ),
    Case(
        "error not-an-alkali",
        plain((ALKALIS, "alkali: citric-acid-anhydrous")),
        plain(),
        "write sodium-hydroxide",
        plain(),
    ),
    Case(
        "error alkali-twice",
        plain((ALKALIS, "alkali: {by: mass, sodium-hydroxide: 50, sodium-hydroxide-solution-50: 50}")),
        plain((ALKALIS, "alkali: {by: mass, sodium-hydroxide: 50, potassium-hydroxide: 50}")),
        "use one of them",
        plain(),
    ),
    Case(
        "error batter-rates",
        plain(more=addition("kaolin", "51 % of batter")),
        plain(more=addition("kaolin", "50 % of batter")),
        "at most 50 % of the batter in all",
        plain(more=addition("kaolin", "50 % of batter")),
    ),
    Case(
        "error bad-mould",
        replace(plain(), settings="format: 1\nmoulds: {tube: 7 cm diameter x 20 cm}\n"),
        replace(plain(), settings="format: 1\nmoulds: {tube: cylinder 7 x 20 cm}\n"),
        '"cylinder 8 x 20 cm"',
        replace(plain(), settings="format: 1\nmoulds: {tube: cylinder 8 x 20 cm}\n"),
    ),
    Case(
        "warn unknown-check",
        replace(plain(), settings="format: 1\nchecks: {off: [castor-muhc]}\n"),
        replace(plain(), settings="format: 1\nchecks: {off: [castor-much]}\n"),
        "did you mean castor-much",
        replace(plain(), settings="format: 1\nchecks: {off: [castor-much]}\n"),
    ),
    Case(
        "error divided-too-early",
        plain(more=addition("oat-milk", "8 % of oils", "lye water", **WET) + halves("oat-milk", 50)),
        plain(more=addition("oat-milk", "8 % of oils", "trace", **WET) + halves("oat-milk", 50)),
        "take oat-milk out of `gets` in every portion",
        plain(
            more=addition("oat-milk", "8 % of oils", "lye water", **WET)
            + "portions: [{name: one, share: 50}, {name: two, share: 50}]\n"
        ),
    ),
    Case(
        "error divided-too-early",
        plain(more=addition("rose-clay", "2 % of oils", "oils") + halves("rose-clay", 0)),
        plain(more=addition("rose-clay", "2 % of oils", "trace") + halves("rose-clay", 0)),
        "give its line `at: trace`",
        plain(more=addition("rose-clay", "2 % of oils", "trace") + halves("rose-clay", 0)),
    ),
]

SUPERFAT = [
    Case("stop superfat-negative", superfat("-0.1"), superfat("0"), "raise the superfat to 2 % or more", superfat("2")),
    Case("stop lye-excess", superfat("-0.1"), superfat("0"), "raise the superfat to 2 % or more", superfat("2")),
    Case(
        "stop lye-excess",
        plain(more=addition("citric-acid-anhydrous", "5 % of oils") + halves("citric-acid-anhydrous", 0)),
        plain(more=addition("citric-acid-anhydrous", "5 % of oils") + halves("citric-acid-anhydrous", 50)),
        "take acids, fats and alkali out of `gets`",
        plain(
            more=addition("citric-acid-anhydrous", "5 % of oils")
            + "portions: [{name: one, share: 50}, {name: two, share: 50}]\n"
        ),
    ),
    Case(
        "warn superfat-negative",
        superfat("-1", "purpose: household\n"),
        superfat("0", "purpose: household\n"),
        "label it for household cleaning",
        stands="free lye is what some household soaps are made with on purpose; the caution stays with them",
    ),
    Case(
        "warn lye-excess",
        replace(superfat("0", "purpose: household\n"), made=made("sodium-hydroxide", "alkali", "lye water", 3)),
        replace(superfat("0", "purpose: household\n"), made=()),
        "label it for household cleaning",
        stands="what is in the pot cannot be taken out; the caution stays with the soap",
    ),
    Case("warn superfat-low", superfat("1.9"), superfat("2"), "raise the superfat to 2 % or more", superfat("2")),
    Case(
        "warn superfat-low",
        plain(more=ACID + halves("citric-acid-anhydrous", 30)),
        plain(more=ACID + halves("citric-acid-anhydrous", 35)),
        "take acids, fats and alkali out of `gets`",
        plain(more=ACID + "portions: [{name: one, share: 50}, {name: two, share: 50}]\n"),
    ),
    Case("warn superfat-high", superfat("20.1"), superfat("20"), "until it is 20 % or less", superfat("20")),
    Case(
        "stop superfat-high",
        replace(plain(), made=made("olive-oil", "oil", "oils", 500)),
        replace(plain(), made=made("olive-oil", "oil", "oils", 300)),
        "rework it with the lye that it lacks",
        replace(
            plain(),
            made=(*made("olive-oil", "oil", "oils", 500), *made("sodium-hydroxide", "alkali", "lye water", 60)),
        ),
    ),
    Case(
        "stop boiling-hot",
        plain(more=process("oil_temperature: 213 °F")),
        plain(more=process("oil_temperature: 212 °F")),
        "let both cool to about 40 °C",
        plain(more=process("oil_temperature: 40 °C")),
    ),
    Case(
        "warn superfat-band",
        oils(("olive-oil", 80), ("lanolin", 20)),
        oils(("olive-oil", 90), ("lanolin", 10)),
        "or raise the superfat to 11.9 % or more",
        oils(("olive-oil", 80), ("lanolin", 20), superfat="11.9"),
    ),
    Case(
        "warn superfat-band",
        oils(("olive-oil", 60), ("lanolin", 40)),
        oils(("olive-oil", 90), ("lanolin", 10)),
        "use less lanolin",
        oils(("olive-oil", 95), ("lanolin", 5)),
    ),
    Case(
        "note superfat-band",
        superfat("2", addition("sunflower-oil", "5 % of oils") + halves("sunflower-oil", 100)),
        superfat("2.1", addition("sunflower-oil", "5 % of oils") + halves("sunflower-oil", 100)),
        "take acids, fats and alkali out of `gets`",
        superfat(
            "2",
            addition("sunflower-oil", "5 % of oils") + "portions: [{name: one, share: 50}, {name: two, share: 50}]\n",
        ),
    ),
    Case(
        "note superfat-band",
        superfat("2"),
        superfat("2.1"),
        "raise the superfat to 2.1 % or more",
        superfat("2.1"),
    ),
    Case(
        "note superfat-band",
        superfat("2"),
        superfat("2.1"),
        "give the saponification value of your olive-oil from its certificate (`formulary materials lot`)",
        replace(
            superfat("2"),
            materials={"olive-oil": OLIVE.format(more="lots: {OL-1: {saponification_value: 189}}")},
            lots={"olive-oil": "OL-1"},
        ),
    ),
]

LYE = [
    Case(
        "note assay-unknown",
        plain(),
        plain((ALKALIS, "alkali: sodium-hydroxide-solution-50")),
        "formulary materials add sodium-hydroxide --set assay=98.5",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="98.5 %")}),
    ),
    Case(
        "note assay-unknown",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="unknown")}),
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="99 %")}),
        "set `assay` in materials/sodium-hydroxide.yaml",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="98.5 %")}),
    ),
    Case(
        "warn lye-crystallises",
        plain((ALKALIS, "alkali: sodium-hydroxide-solution-50")),
        plain((ALKALIS, "alkali: potassium-hydroxide-solution-45")),
        "warm it until it is clear to the bottom",
        stands="nobody can see from a recipe whether the bottle stood in the cold",
    ),
    Case(
        "stop alkali-none",
        replace(plain(), oils_g=0.5),
        replace(plain(), oils_g=1.0),
        "make a larger batch",
        replace(plain(), oils_g=150.0),
    ),
    Case(
        "stop alkali-none",
        plain((ALKALIS, "alkali: {by: mass, sodium-hydroxide: 100, potassium-hydroxide: 0}")),
        plain((ALKALIS, "alkali: {by: mass, sodium-hydroxide: 90, potassium-hydroxide: 10}")),
        "leave potassium-hydroxide out of `alkali`",
        plain(),
    ),
    Case(
        "warn scale-coarse",
        replace(plain(), oils_g=100.0),
        replace(plain(), oils_g=150.0),
        "use a scale that shows 0.01 g (and set `alkali_step`)",
        replace(plain(), oils_g=100.0, settings="format: 1\nscale: {alkali_step: 0.01 g}\n"),
    ),
    Case(
        "warn scale-coarse",
        replace(plain(), oils_g=100.0),
        replace(plain(), oils_g=150.0),
        "or make 1.5 times as much",
        replace(plain(), oils_g=150.0),
    ),
    Case(
        "stop oils-rounded",
        coarse("3", "10 g"),
        coarse("5", "10 g"),
        "use a scale for the oils that shows 5 g",
        coarse("3", "5 g"),
    ),
    Case(
        "warn oils-rounded",
        coarse("5", "10 g"),
        coarse("5", "5 g"),
        "use a scale for the oils that shows 5 g",
        coarse("5", "5 g"),
    ),
    Case(
        "note weight-small",
        added("rose-clay", 0.9),
        added("rose-clay", 1),
        "weigh on a scale that shows 0.1 g (and set `scale: {step: 0.1 g}`)",
        replace(added("rose-clay", 0.9), settings="format: 1\nscale: {step: 0.1 g}\n"),
    ),
    Case(
        "note weight-small",
        added("rose-clay", 0.9),
        added("rose-clay", 1),
        "or write the rate in spoons",
        plain(more=addition("rose-clay", "1 tbsp per kg oils")),
    ),
    Case(
        "note oil-addition",
        added("sunflower-oil", 1),
        added("sunflower-oil", 1, "top"),
        "else put it under `oils`",
        oils(("olive-oil", 60), ("coconut-oil", 25), ("sunflower-oil", 15)),
    ),
    Case(
        "stop water-unknown",
        replace(added("puree", 5, water="replaces"), materials={"puree": PUREE.format(water="")}),
        replace(added("puree", 5, water="extra"), materials={"puree": PUREE.format(water="")}),
        "set `water` in materials/puree.yaml",
        replace(added("puree", 5, water="replaces"), materials={"puree": PUREE.format(water="water: 90 %\n")}),
    ),
    Case(
        "stop water-unknown",
        replace(added("puree", 5, water="replaces"), materials={"puree": PUREE.format(water="")}),
        added("carrot-puree", 5, water="replaces"),
        "or write `water: extra`",
        replace(added("puree", 5, water="extra"), materials={"puree": PUREE.format(water="")}),
    ),
    Case(
        "warn water-unknown",
        replace(
            plain(), materials={"puree": PUREE.format(water="")}, made=made("puree", "addition", "oils", 50, "extra")
        ),
        replace(plain(), made=made("carrot-puree", "addition", "oils", 50, "extra")),
        "set `water` in materials/puree.yaml",
        replace(
            plain(),
            materials={"puree": PUREE.format(water="water: 90 %\n")},
            made=made("puree", "addition", "oils", 50, "extra"),
        ),
    ),
    Case(
        "warn water-on-top",
        added("oat-milk", 3, "top", water="replaces"),
        added("oat-milk", 3, "trace", water="replaces"),
        "write `water: extra`",
        added("oat-milk", 3, "top", water="extra"),
    ),
    Case(
        "stop water-below-zero",
        added("oat-milk", 33, "lye water", water="replaces", prepared="frozen"),
        added("oat-milk", 30, "lye water", water="replaces", prepared="frozen"),
        "lower the additions that replace water",
        added("oat-milk", 30, "lye water", water="replaces", prepared="frozen"),
    ),
    Case(
        "stop water-below-zero",
        added("oat-milk", 33, water="replaces"),
        added("oat-milk", 30, water="replaces"),
        "or let one be `water: extra`",
        added("oat-milk", 33, water="extra"),
    ),
    # Solubility of sodium hydroxide: 109 g in 100 g of water at 20 °C, 52.2 % (Seidell, Solubilities, from memory).
    Case(
        "stop jug-saturated",
        water("lye_concentration: 52.3"),
        water("lye_concentration: 52.1"),
        "state a lye concentration of 52.1 % or less",
        water("lye_concentration: 52.1"),
    ),
    Case(
        "stop jug-saturated",
        water("water_to_lye: 0.9"),
        water("water_to_lye: 0.95"),
        "state a lye concentration of 52.1 % or less",
        water("lye_concentration: 52.1"),
    ),
    Case(
        "stop jug-saturated",
        added("oat-milk", 20, "oils", water="replaces"),
        added("oat-milk", 15, "oils", water="replaces"),
        "add at `lye water` what replaces water",
        added("oat-milk", 20, "lye water", water="replaces", prepared="frozen"),
    ),
    Case(
        "stop jug-saturated",
        added("oat-milk", 20, "oils", water="replaces"),
        added("oat-milk", 15, "oils", water="replaces"),
        "or state a lye concentration of 31.2 % or less",
        water("lye_concentration: 31.2", addition("oat-milk", "20 % of oils", "oils", water="replaces")),
    ),
    Case(
        "note jug-strong",
        water("lye_concentration: 38.1"),
        water("lye_concentration: 38"),
        "add the alkali slowly to cold water",
        stands="a strong lye is chosen on purpose; how to mix it is told each time",
    ),
]

LIQUIDS = [
    Case(
        "stop sugar-in-lye",
        added("honey", 1, "lye water", water="extra"),
        added("honey", 1, "oils", water="extra"),
        "add it at oils or trace",
        added("honey", 1, "trace", water="extra"),
    ),
    Case(
        "stop spirits-in-lye",
        added("vodka-40", 1, "lye water", water="extra"),
        added("beer", 1, "lye water", water="extra", prepared="[flat, chilled]"),
        "or add a little at trace",
        added("vodka-40", 1, water="extra"),
    ),
    Case(
        "warn sugar-in-lye",
        replace(plain(), made=made("honey", "addition", "lye water", 10, "extra")),
        replace(plain(), made=made("honey", "addition", "oils", 10, "extra")),
        "correct the stage in the record",
        replace(plain(), made=made("honey", "addition", "trace", 10, "extra")),
    ),
    Case(
        "warn spirits-in-lye",
        replace(plain(), made=made("vodka-40", "addition", "lye water", 10, "extra")),
        replace(plain(), made=made("beer", "addition", "lye water", 10, "extra")),
        "correct the stage in the record",
        replace(plain(), made=made("vodka-40", "addition", "trace", 10, "extra")),
    ),
    Case(
        "warn beer-not-flat",
        added("beer", 10, "lye water", water="replaces", prepared="flat"),
        added("beer", 10, "trace", water="replaces"),
        "`prepared: [flat, chilled]`",
        added("beer", 10, "lye water", water="replaces", prepared="[flat, chilled]"),
    ),
    Case(
        "warn milk-not-frozen",
        added("oat-milk", 10, "lye water", water="replaces"),
        added("oat-milk", 10, "oils", water="replaces"),
        "`prepared: frozen`",
        added("oat-milk", 10, "lye water", water="replaces", prepared="frozen"),
    ),
]

SCENT = [
    Case(
        "warn scent-limit-unknown",
        one(3, None),
        one(3, 50),
        "materials/one.yaml has the `limit` of its certificate",
        one(3, 5),
    ),
    Case("stop scent-limit", one(3.3, 2.5), one(3.2, 2.5), "lower it to 3.21 % of oils or less", one(3.21, 2.5)),
    Case(
        "stop scent-limit",
        one(3, 2.5, halves("one", 50, 40)),
        one(3, 2.5, halves("one", 50, 50)),
        "lower it to 2.57 % of oils or less",
        one(2.57, 2.5, halves("one", 50, 40)),
    ),
    Case("stop scent-limit", one(3, 0), plain(), "leave it out", plain()),
    Case(
        "warn scent-limit-dry",
        one(3, 2.5),
        one(2.9, 2.5),
        "lower it to 2.92 % of oils or less",
        one(2.92, 2.5),
    ),
    Case(
        "warn scent-blend",
        two(2, 2, 2.4),
        two(1.5, 1.5, 2.4),
        "lower one and two to 77 % of what they are",
        two(1.54, 1.54, 2.4),
    ),
    # Citronellal: at most 1.4 % of a bar of soap (IFRA Standard Citronellal, Amendment 49, category 9).
    Case(
        "stop constituent-limit",
        two(1.24, 1.24, 90, MOSS),
        two(1.18, 1.18, 90, MOSS),
        "lower one and two to 96 % of what they are",
        two(1.18, 1.18, 90, MOSS),
    ),
    Case(
        "warn constituent-limit-dry",
        two(1.1, 1.1, 90, MOSS),
        two(1, 1, 90, MOSS),
        "lower one and two to 98 % of what they are",
        two(1.078, 1.078, 90, MOSS),
    ),
    Case(
        "note phenol-takes-alkali",
        one(1, 50, of="contains: {eugenol: 50}\n"),
        one(1, 50, of="contains: {linalool: 50}\n"),
        "no change is needed",
        stands="what phenols take is missing from the lye, which is no danger; they quicken trace in any dose",
    ),
]

VESSELS = [
    Case(
        "warn pot-small",
        replace(plain(), settings="format: 1\nvessels: {pot: 1.5 l}\n"),
        replace(plain(), settings="format: 1\nvessels: {pot: 2 l}\n"),
        "take one of 1760 ml or more (and set `vessels`)",
        replace(plain(), settings="format: 1\nvessels: {pot: 1760 ml}\n"),
    ),
    Case(
        "warn size-unlikely",
        replace(plain(), settings="format: 1\nmoulds: {tall: 25 x 8 x 7 cm, tube: 900 ml}\n", oils_g=10_000.0),
        replace(plain(), settings="format: 1\nmoulds: {tall: 25 x 8 x 7 cm, tube: 900 ml}\n", oils_g=4_500.0),
        "add the mould that it is for to `moulds`",
        replace(plain(), settings="format: 1\nmoulds: {tall: 25 x 8 x 7 cm, slab: 15 l}\n", oils_g=10_000.0),
    ),
    Case(
        "warn jug-small",
        replace(plain(), settings="format: 1\nvessels: {jug: 0.5 l}\n"),
        replace(plain(), settings="format: 1\nvessels: {jug: 1 l}\n"),
        "make at most 84 % of this",
        replace(plain(), settings="format: 1\nvessels: {jug: 0.5 l}\n", oils_g=840.0),
    ),
]

MATERIALS = [
    Case(
        "stop saponification-unknown",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="")}),
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 190\n")}),
        "give materials/invented-oil.yaml a saponification_value",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 190\n")}),
    ),
    Case(
        "stop saponification-doubted",
        replace(plain(), materials={"olive-oil": OLIVE.format(more=RANGE.format(219))}),
        replace(plain(), materials={"olive-oil": OLIVE.format(more=RANGE.format(196))}),
        "read its certificate again",
        replace(plain(), materials={"olive-oil": OLIVE.format(more=RANGE.format(191))}),
    ),
    Case(
        "warn saponification-doubted",
        replace(plain(), materials={"olive-oil": OLIVE.format(more="saponification_value: 219")}),
        replace(plain(), materials={"olive-oil": OLIVE.format(more="saponification_value: 190")}),
        "read its certificate again",
        replace(plain(), materials={"olive-oil": OLIVE.format(more="saponification_value: 191")}),
    ),
    Case(
        "warn saponification-doubted",
        replace(plain(), materials={"olive-oil": OLIVE.format(more="lots: {A: {saponification_value: 202}}")}),
        replace(plain(), materials={"olive-oil": OLIVE.format(more="lots: {A: {saponification_value: 197}}")}),
        "read the certificate again",
        replace(plain(), materials={"olive-oil": OLIVE.format(more="lots: {A: {saponification_value: 192}}")}),
    ),
    Case(
        "stop assay-doubted",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="88.5")}),
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="91")}),
        "read its label again",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="98.5")}),
    ),
    Case(
        "warn assay-doubted",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="94")}),
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="95")}),
        "read its label again",
        replace(plain(), materials={"sodium-hydroxide": ASSAY.format(assay="98.5")}),
    ),
    Case(
        "warn fatty-acids-incomplete",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="fatty_acids: {C18:1: 7, C16:0: 23}\n")}),
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="fatty_acids: {C18:1: 70, C16:0: 23}\n")}),
        "add those that are missing",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="fatty_acids: {C18:1: 77, C16:0: 23}\n")}),
    ),
    Case(
        "warn saponification-low",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 135\n")}),
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 155\n")}),
        "write 189",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 189\n")}),
    ),
    Case(
        "warn constituent-doubted",
        one(1, 3, of="contains: {eugenole: 82}\n"),
        one(1, 3, of="contains: {linalool: 82}\n"),
        "write eugenol if that is meant",
        one(1, 3, of="contains: {eugenol: 82}\n"),
    ),
    Case(
        "warn constituent-doubted",
        one(1, 3, of="contains: {citronelal: 1}\n"),
        one(1, 3, of="contains: {citronellol: 1}\n"),
        "give citronelal a limit of its own under `limits`",
        one(1, 3, of="contains: {citronelal: 1}\nlimits: {citronelal: 1}\n"),
    ),
    Case(
        "warn inci-unknown",
        replace(NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 190\n")}),
        plain(),
        "write `inci` in materials/invented-oil.yaml",
        replace(
            NEW_OIL, materials={"invented-oil": OIL.format(more="saponification_value: 190\ninci: INVENTED OIL\n")}
        ),
    ),
    Case(
        "warn inci-in-soap-unknown",
        oils(("camellia-oil", 10), ("olive-oil", 90)),
        oils(("castor-oil", 10), ("olive-oil", 90)),
        "write `inci_in_soap` in materials/camellia-oil.yaml",
        replace(
            oils(("camellia-oil", 10), ("olive-oil", 90)),
            materials={
                "camellia-oil": "format: 1\nname: Camellia oil\nkind: oil\ninci_in_soap: SODIUM SALT AS A LIST HAS IT\n"
            },
        ),
    ),
    Case(
        "warn allergens-unknown",
        one(3, 50),
        one(3, 50, of="allergens: [linalool]\n"),
        "write `allergens` in materials/one.yaml",
        one(3, 50, of="allergens: [linalool]\n"),
    ),
    Case(
        "note label-duty",
        plain(),
        replace(plain(), made=()),
        "have the list checked",
        stands="the label is the maker's duty with every batch",
    ),
    Case(
        "stop conflict-open",
        plain(more="conflicts:\n  - {field: superfat, ours: 5, theirs: 6}\n"),
        plain(),
        "settle each in the file and remove `conflicts:`",
        plain(),
    ),
]


def row(code: str, severity: str, triggers: Kitchen, neighbour: Kitchen, do: str, mended: Kitchen) -> Case:
    return Case(f"{severity} {code}", triggers, neighbour, do, mended)


def beyond(code: str, severity: str, material: str, over: float, at_bound: float, do: str, **said: str) -> Case:
    """A row that looks at one addition: over its bound, at it, and lowered to it."""
    at = added(material, at_bound, **said)
    return row(code, severity, added(material, over, **said), at, do, at)


def potassium(percent: float, purpose: str = "skin") -> Kitchen:
    both = f"alkali: {{by: moles, sodium-hydroxide: {100 - percent:g}, potassium-hydroxide: {percent:g}}}"
    return replace(plain((ALKALIS, both), more=f"purpose: {purpose}\n"), oils_g=3000.0)


def castor(percent: float) -> Kitchen:
    return oils(("olive-oil", 75 - percent), ("coconut-oil", 25), ("castor-oil", percent))


def lauric(percent: float, superfat: str = "5") -> Kitchen:
    return oils(("olive-oil", 100 - percent), ("coconut-oil", percent), superfat=superfat)


def sunflower(percent: float) -> Kitchen:
    return oils(("olive-oil", 75 - percent), ("coconut-oil", 25), ("sunflower-oil", percent))


def hard(material: str, percent: float, more: str = "") -> Kitchen:
    return oils(("olive-oil", 75 - percent), ("coconut-oil", 25), (material, percent), more=more)


def sugar(percent: float, cover: str) -> Kitchen:
    return plain(more=addition("sugar", f"{percent} % of oils") + process(f"cover: {cover}"))


def with_vanilla(white: str) -> Kitchen:
    return replace(plain(more=white + scented(("vanilla", 2))), materials=VANILLA)


PRACTICE = [
    row("castor-much", "note", castor(15.1), castor(15), "lower it to 15 % or less", castor(15)),
    row("lauric-drying", "note", lauric(41), lauric(40), "raise the superfat to 8 % or more", lauric(41, "8")),
    row("lauric-drying", "note", lauric(41), lauric(40), "or lower them to 40 % or less", lauric(40)),
    row("polyunsaturated-much", "note", sunflower(25), sunflower(15), "until it is 20 % or less", sunflower(19)),
    row("polyunsaturated-much", "warn", sunflower(40), sunflower(25), "until it is 20 % or less", sunflower(19)),
    row("beeswax-much", "note", hard("beeswax", 5), hard("beeswax", 4), "lower it to 4 % or less", hard("beeswax", 4)),
    row(
        "stearic-much",
        "note",
        hard("stearic-acid", 9),
        hard("stearic-acid", 8),
        "lower it to 8 % or less",
        hard("stearic-acid", 8),
    ),
    row(
        "lye-weak",
        "note",
        water("lye_concentration: 24.9"),
        water("lye_concentration: 25"),
        "raise the lye concentration to 25 % or more",
        water("lye_concentration: 25"),
    ),
    row(
        "lye-weak",
        "warn",
        water("lye_concentration: 3.3"),
        water("lye_concentration: 18"),
        "raise the lye concentration to 25 % or more",
        water("lye_concentration: 33"),
    ),
    row(
        "lye-strong",
        "note",
        water("lye_concentration: 40.1"),
        water("lye_concentration: 40"),
        "lower the lye concentration to 40 % or less",
        water("lye_concentration: 40"),
    ),
    row("scent-much", "warn", one(10.1, 90), one(10, 90), "lower it to 5 % or less", one(5, 90)),
    row("scent-much", "note", one(5.1, 90), one(5, 90), "lower it to 5 % or less", one(5, 90)),
    row(
        "spice-oil-much",
        "note",
        plain(more=scented(("clove-bud-oil", 1.6))),
        plain(more=scented(("clove-bud-oil", 1.5))),
        "lower them to 1.5 % or less",
        plain(more=scented(("clove-bud-oil", 1.5))),
    ),
    row(
        "spice-oil-much",
        "warn",
        plain(more=scented(("clove-bud-oil", 3.1))),
        plain(more=scented(("clove-bud-oil", 3))),
        "lower them to 1.5 % or less",
        plain(more=scented(("clove-bud-oil", 1.5))),
    ),
    row(
        "sugars-insulated",
        "note",
        sugar(2.6, "insulated"),
        sugar(2.5, "insulated"),
        "leave the mould open (`cover: open`)",
        sugar(2.6, "open"),
    ),
    row(
        "sugars-much",
        "warn",
        sugar(4.6, "open"),
        sugar(4.5, "open"),
        "lower what brings sugars to 45 g per kg of oils or less",
        sugar(4.5, "open"),
    ),
    beyond("honey-much", "note", "honey", 3.1, 3, "lower it to 3 % or less", **WET),
    beyond("honey-much", "warn", "honey", 5.1, 3, "lower it to 3 % or less", **WET),
    row(
        "puree-much",
        "note",
        added("carrot-puree", 21, "lye water", **WET),
        added("carrot-puree", 20, "lye water", **WET),
        "lower it to 20 % or less",
        added("carrot-puree", 20, "lye water", **WET),
    ),
    row(
        "puree-much",
        "warn",
        added("carrot-puree", 31, "lye water", **WET),
        added("carrot-puree", 30, "lye water", **WET),
        "lower it to 20 % or less",
        added("carrot-puree", 20, "lye water", **WET),
    ),
    beyond("clay-much", "note", "kaolin", 5.1, 5, "lower it to 5 % or less"),
    beyond("white-pigment-much", "note", "titanium-dioxide", 1.6, 1.5, "lower it to 1.5 % or less"),
    beyond("mica-much", "note", "mica", 3.1, 3, "lower it to 3 % or less"),
    beyond("pigment-much", "note", "ultramarine-blue", 3.1, 3, "lower them to 3 % or less"),
    beyond("lactate-much", "note", "sodium-lactate-60", 4.1, 4, "lower it to 4 % or less", **WET),
    beyond("acid-much", "note", "citric-acid-anhydrous", 3.1, 3, "until acids are 3 % of the oils or less"),
    beyond("acid-much", "warn", "citric-acid-anhydrous", 6.1, 3, "until acids are 3 % of the oils or less"),
    row("potassium-much", "note", potassium(11), potassium(9), "write sodium-hydroxide", plain()),
    row("potassium-much", "note", potassium(11), potassium(11, "household"), "to 5 % or less", potassium(5)),
    row(
        "brine-strong",
        "note",
        added("salt", 10, "lye water"),
        added("salt", 9, "lye water"),
        "lower the salt to 25 % of salt and water or less",
        added("salt", 9, "lye water"),
    ),
    row(
        "oils-too-cool",
        "note",
        hard("beef-tallow", 15, process("oil_temperature: 40 °C")),
        hard("beef-tallow", 4, process("oil_temperature: 40 °C")),
        "work at the melting point or above",
        hard("beef-tallow", 15, process("oil_temperature: 45 °C")),
    ),
    row(
        "beeswax-too-cool",
        "note",
        hard("beeswax", 2, process("oil_temperature: 59 °C")),
        hard("beeswax", 2, process("oil_temperature: 60 °C")),
        "keep the oils at 60 °C (140 °F) or more",
        hard("beeswax", 2, process("oil_temperature: 60 °C")),
    ),
    row(
        "vanillin-browns",
        "note",
        with_vanilla(addition("titanium-dioxide", "0.5 % of oils")),
        with_vanilla(""),
        "or leave the white pigment out",
        with_vanilla(""),
    ),
    row(
        "cure-short",
        "note",
        plain(more=process("cure: 27 d")),
        plain(more=process("cure: 28 d")),
        "let the bars rest 28 days or more (`cure`)",
        plain(more=process("cure: 28 d")),
    ),
    row(
        "lye-hot",
        "note",
        plain(more=process("lye_temperature: 51 °C")),
        plain(more=process("lye_temperature: 50 °C")),
        "let it cool to about 40 °C",
        plain(more=process("lye_temperature: 40 °C")),
    ),
    row(
        "lye-hot",
        "warn",
        plain(more=process("lye_temperature: 66 °C")),
        plain(more=process("lye_temperature: 65 °C")),
        "let it cool to about 40 °C",
        plain(more=process("lye_temperature: 40 °C")),
    ),
    row(
        "oils-hot",
        "note",
        plain(more=process("oil_temperature: 71 °C")),
        plain(more=process("oil_temperature: 70 °C")),
        "work at about 40 °C",
        plain(more=process("oil_temperature: 40 °C")),
    ),
    row(
        "oils-hot",
        "warn",
        plain(more=process("oil_temperature: 86 °C")),
        plain(more=process("oil_temperature: 85 °C")),
        "work at about 40 °C",
        plain(more=process("oil_temperature: 40 °C")),
    ),
]


def two_lots(first_g: float, second_g: float) -> Kitchen:
    """The plain bar, of which 600 g are olive oil, from two lots."""
    lots = "lots: {OL-1: {saponification_value: 188}, OL-2: {saponification_value: 192}}"
    weights = {"olive-oil": {"OL-1": first_g, "OL-2": second_g}}
    return replace(plain(), materials={"olive-oil": OLIVE.format(more=lots)}, lots=weights)


LOTS = [
    Case(
        "stop lots-short",
        two_lots(300.0, 298.9),
        two_lots(300.0, 299.0),  # a scale of 1 g is no better
        "give weights that make 600 g",
        two_lots(300.0, 300.0),
    ),
    Case(
        "note lots-in-proportion",
        two_lots(300.0, 301.1),
        two_lots(300.0, 301.0),
        "or give weights that make 600 g",
        two_lots(400.0, 200.0),
    ),
]

CASES = [*ERRORS, *SUPERFAT, *LYE, *LIQUIDS, *SCENT, *VESSELS, *MATERIALS, *PRACTICE, *LOTS]
