"""The balance of moles for recipes with every feature on: hydroxide against ester and acid, from the grams in the pot.

Nothing of the calculation is used here but the register's values. Standard atomic weights H 1.008, C 12.011, N 14.007,
O 15.999, Na 22.990, K 39.098 (CIAAW, abridged); saponification value by its definition, mg KOH for 1 g (ISO 3657);
protons of the acids by general chemistry, from memory.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from formulary.batch.model import Batch
from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Severity
from formulary.materials.model import Known, Lot, Material, ValueRange
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.read import parse_recipe

NAOH, KOH = 39.997, 56.105
# name of the acid in a material's content -> g/mol of the water-free acid, protons
ACIDS = {
    "citric": (192.123, 3),
    "tartaric": (150.086, 2),
    "malic": (134.087, 2),
    "lactic": (90.078, 1),
    "acetic": (60.052, 1),
    "ascorbic": (176.124, 1),
    "hydrogen carbonate": (84.006, 1),
    "disodium edta": (336.207, 2),
}
BUILTIN = read_builtin_register()
KNOWN = Known("maker", "invented for this test")


def with_certificate(slug: str, value: float) -> Material:
    certificate = ValueRange(value - 1, value + 1, value, KNOWN)
    return replace(BUILTIN[slug], lots={"C-1": Lot("C-1", overrides={"saponification_value": certificate})})


ASSAYED = {
    name: replace(BUILTIN[name], slug=f"my-{name}", assay_percent=ValueRange(low, high, working, KNOWN))
    for name, low, working, high in (("sodium-hydroxide", 97.0, 98.5, 99.0), ("potassium-hydroxide", 88.0, 90.0, 91.0))
}
REGISTER = Register(
    [
        *BUILTIN.values(),
        *ASSAYED.values(),
        with_certificate("olive-oil", 187.6),
        with_certificate("coconut-oil", 258.3),
    ]
)
OILS = [name for name in REGISTER if REGISTER[name].kind.value in ("oil", "wax", "fatty-acid")]
ALKALIS = [
    "sodium-hydroxide",
    "potassium-hydroxide",
    "my-sodium-hydroxide",
    "sodium-hydroxide-solution-50",
    "{by: mass, sodium-hydroxide: 70, my-potassium-hydroxide: 30}",
    "{by: moles, my-sodium-hydroxide: 92, potassium-hydroxide: 8}",
]
WATERS = ["lye_concentration: 33", "lye_concentration: 28.5", "water_to_lye: 1.9", "percent_of_oils: 36"]
DRY_ACIDS = ["citric-acid-anhydrous", "citric-acid-monohydrate", "tartaric-acid", "malic-acid", "ascorbic-acid"]
DRY_ACIDS += ["sodium-bicarbonate", "disodium-edta"]
WET = ["oat-milk", "goat-milk", "coconut-milk", "egg-yolk", "yoghurt", "buttermilk", "carrot-puree", "avocado-puree"]
WET += ["kiwi-puree", "tomato-puree", "lemon-juice", "orange-juice", "vinegar-5", "lactic-acid-88", "honey"]
WET += ["beer", "aloe-juice", "sodium-lactate-60", "skimmed-milk-powder"]
DRY = ["rose-clay", "titanium-dioxide", "salt", "sugar", "sodium-citrate", "ground-oats", "turmeric"]
SCENTS = ["lavender-oil", "clove-bud-oil", "citronella-oil", "sweet-orange-oil"]
STAGES = ["lye water", "oils", "trace", "top"]


def draw_recipe(random_: random.Random) -> str:
    """A recipe's text with anything that a recipe can hold, in any proportion that reads."""
    oils = random_.sample(OILS, random_.randint(1, 6))
    cuts = sorted(random_.sample(range(1, 10_000), len(oils) - 1))
    parts = [after - before for before, after in zip([0, *cuts], [*cuts, 10_000], strict=True)]
    lines = ["format: 1", "name: drawn", "oils:"]
    for name, part in zip(oils, parts, strict=True):
        held_back = random_.random() < 0.15
        lines.append(f"  {name}: {{percent: {part / 100}, at: trace}}" if held_back else f"  {name}: {part / 100} %")
    lines.append(f"lye: {{alkali: {random_.choice(ALKALIS)}, superfat: {random_.randint(0, 200) / 10} %}}")
    lines.append(f"water: {{{random_.choice(WATERS)}}}")
    additions = []
    for name in random_.sample(DRY_ACIDS, random_.choice([0, 0, 1, 2])):
        additions.append(f"  - {{material: {name}, rate: {random_.randint(1, 25) / 10} % of oils, at: lye water}}")
    for name in random_.sample(WET, random_.choice([0, 1, 2])):
        rate = random_.choice(["4 % of oils", "25 g per kg oils", "2 % of batter", "1 tbsp per kg oils"])
        # an acid is never measured by volume
        rate = "1 % of oils" if "tbsp" in rate and REGISTER[name].kind.value == "acid" else rate
        says = random_.choice(["replaces", "extra"])
        additions.append(f"  - {{material: {name}, rate: {rate}, at: {random_.choice(STAGES)}, water: {says}}}")
    for name in random_.sample(DRY, random_.choice([0, 1, 2])):
        additions.append(f"  - {{material: {name}, rate: 1.5 % of oils, at: {random_.choice(STAGES[1:])}}}")
    if random_.random() < 0.3:
        additions.append("  - {material: sunflower-oil, rate: 1 % of oils, at: trace}")
    if additions:
        lines += ["additions:", *additions]
    scents = random_.sample(SCENTS, random_.choice([0, 1, 2]))
    if scents:
        lines += ["scent:", *(f"  - {{material: {name}, rate: 1.2 % of oils, at: trace}}" for name in scents)]
        if random_.random() < 0.4:
            share = random_.randint(30, 70)
            lines += [
                "portions:",
                f"  - {{name: one, share: {{percent: {share}, by_eye: 10}}, gets: {{{scents[0]}: 100}}}}",
                f"  - {{name: two, share: {{percent: {100 - share}, by_eye: 10}}, gets: {{{scents[0]}: 0}}}}",
            ]
    return "\n".join(lines) + "\n"


def balance(batch: Batch, lots: dict[str, str]) -> float:
    """Percent of the esters and acids of fat that find no hydroxide, from the grams in the pot."""
    fat_mol = acid_mol = base_mol = 0.0
    for line in batch.pot.lines:
        if line.at == "top":
            continue  # what lies on the loaf never meets the lye
        material = REGISTER[line.material]
        if line.material in lots:
            material = material.with_lot(lots[line.material])
        if line.role == "alkali":
            assert material.assay_percent is not None
            molar_mass = NAOH if "sodium" in line.material else KOH
            base_mol += line.grams * material.assay_percent.working / 100 / molar_mass
        elif line.role != "water" and line.role != "scent":
            if material.saponification_value is not None:
                fat_mol += line.grams * material.saponification_value.working / 1000 / KOH
            if material.fat_percent and material.fat_saponification_value:
                fat_mol += line.grams * material.fat_percent / 100 * material.fat_saponification_value / 1000 / KOH
            for acid, percent in material.acids.items():
                molar_mass, protons = ACIDS[acid]
                acid_mol += line.grams * percent / 100 / molar_mass * protons
    return 100 * (fat_mol + acid_mol - base_mol) / fat_mol


def check_recipes(count: int, seed: int) -> None:
    random_ = random.Random(seed)
    stopped = 0
    for _ in range(count):
        text = draw_recipe(random_)
        recipe, findings = parse_recipe(text, "drawn", materials=REGISTER)
        assert recipe is not None, (text, [str(finding) for finding in findings])
        named = set(recipe.materials())
        lots = {name: "C-1" for name in ("olive-oil", "coconut-oil") if name in named and random_.random() < 0.5}
        batch = work_out_batch(recipe, REGISTER, oil_mass_g=float(random_.randint(200, 5_000)), lots=lots)
        stopped += any(finding.severity is Severity.STOP for finding in batch.findings)
        assert balance(batch, lots) == pytest.approx(batch.superfat.effective, abs=0.01), text
        assert batch.superfat.effective >= batch.superfat.nominal - 0.01, text
        for alkali in batch.lye:
            assert round(alkali.grams * 10) == pytest.approx(alkali.grams * 10, abs=1e-6), text
        assert batch.water.total_grams == pytest.approx(
            sum(
                line.grams * (REGISTER[line.material].water_percent or 0.0) / 100
                for line in batch.pot.lines
                if line.role != "oil"
            )
        ), text
    assert stopped < count


def test_four_hundred_recipes_balance_to_a_hundredth_of_a_point() -> None:
    check_recipes(400, seed=20261125)


@pytest.mark.slow
def test_ten_thousand_recipes_balance_to_a_hundredth_of_a_point() -> None:
    check_recipes(10_000, seed=4)
