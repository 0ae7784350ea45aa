"""Every safety stop: the smallest file that triggers it, its nearest neighbour that does not, the file after `do`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import pytest

from formulary.batch import checks
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weigh_out_text import render_batch
from formulary.errors import StopError
from formulary.folder import demand_weighable
from formulary.materials.model import FragranceLimit, Known
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from tests.batch.recipes import PLAIN, codes, read_recipe


@dataclass(frozen=True)
class Case:
    """A stop's code, and three endings of the plain bar's text."""

    code: str
    triggers: str
    neighbour: str
    mended: str


ADDED = "additions:\n  - {{material: {material}, rate: {rate}, at: {at}, water: {water}}}\n"


def added(material: str, rate: str, at: str = "oils", water: str = "replaces") -> str:
    return PLAIN + ADDED.format(material=material, rate=rate, at=at, water=water)


SCENT = "scent:\n  - {{material: limited-scent, rate: {rate}, at: trace}}\n"
HALVES = """\
portions:
  - {{name: one, share: {share}, gets: {{limited-scent: 50}}}}
  - {{name: two, share: {rest}, gets: {{limited-scent: 50}}}}
"""

CASES = [
    Case(
        "superfat-negative",
        PLAIN.replace("superfat: 5", "superfat: -0.1"),
        PLAIN.replace("superfat: 5", "superfat: 0"),
        PLAIN.replace("superfat: 5", "superfat: 2"),
    ),
    Case(
        "lye-excess", PLAIN.replace("superfat: 5", "superfat: -1"), PLAIN.replace("superfat: 5", "superfat: 0"), PLAIN
    ),
    Case(
        "water-below-zero",
        added("oat-milk", "32 % of oils"),
        added("oat-milk", "25 % of oils", "lye water"),
        added("oat-milk", "32 % of oils", water="extra"),
    ),
    # Solubility of sodium hydroxide: 109 g in 100 g of water at 20 °C, 52.2 % (Seidell, Solubilities, from memory).
    Case(
        "jug-saturated",
        PLAIN.replace("lye_concentration: 33", "lye_concentration: 52.3"),
        PLAIN.replace("lye_concentration: 33", "lye_concentration: 52"),
        PLAIN,
    ),
    Case(
        "jug-saturated",
        added("oat-milk", "20 % of oils"),
        added("oat-milk", "10 % of oils"),
        added("oat-milk", "20 % of oils", "lye water"),
    ),
    Case(
        "water-unknown",
        added("unmeasured-puree", "5 % of oils"),
        added("unmeasured-puree", "5 % of oils", water="extra"),
        added("oat-milk", "5 % of oils"),
    ),
    Case("saponification-unknown", PLAIN.replace("sunflower-oil", "nameless-oil"), PLAIN, PLAIN),
    Case(
        "scent-limit",
        PLAIN + SCENT.format(rate="3.6 % of oils"),
        PLAIN + SCENT.format(rate="2.8 % of oils"),
        PLAIN + SCENT.format(rate="1 % of oils"),
    ),
    Case(
        "scent-limit",
        PLAIN + SCENT.format(rate="2.8 % of oils") + HALVES.format(share=40, rest=60),
        PLAIN + SCENT.format(rate="2.8 % of oils") + HALVES.format(share=50, rest=50),
        PLAIN + SCENT.format(rate="2 % of oils") + HALVES.format(share=40, rest=60),
    ),
    Case(
        "sugar-in-lye",
        added("honey", "1 % of oils", "lye water"),
        added("honey", "1 % of oils", "oils"),
        added("honey", "1 % of oils", "trace"),
    ),
    Case(
        "spirits-in-lye",
        added("vodka-40", "1 % of oils", "lye water"),
        added("vodka-40", "1 % of oils", "trace"),
        added("vodka-40", "0.5 % of oils", "trace"),
    ),
    # Citronellal: at most 1.4 % of a bar of soap (IFRA Standard Citronellal, Amendment 49, category 9).
    Case(
        "constituent-limit",
        PLAIN + SCENT.format(rate="3 % of oils").replace("limited-scent", "grassy-scent"),
        PLAIN + SCENT.format(rate="2 % of oils").replace("limited-scent", "grassy-scent"),
        PLAIN + SCENT.format(rate="1 % of oils").replace("limited-scent", "grassy-scent"),
    ),
    Case("conflict-open", PLAIN + "conflicts:\n  - {field: superfat, ours: 5, theirs: 6}\n", PLAIN, PLAIN),
]


@pytest.fixture(scope="module")
def register() -> Register:
    """The built-in materials, and invented ones that the table needs."""
    builtin = read_builtin_register()
    known = Known("maker", "invented for this test")
    scent = replace(
        builtin["lavender-oil"],
        slug="limited-scent",
        contains=MappingProxyType({}),
        limit=FragranceLimit(2.3, None, None, known),
    )
    grassy = replace(
        builtin["lavender-oil"], slug="grassy-scent", contains=MappingProxyType({"citronellal": 75.0}), limit=None
    )
    puree = replace(builtin["oat-milk"], slug="unmeasured-puree", water_percent=None)
    oil = replace(builtin["sunflower-oil"], slug="nameless-oil", saponification_value=None)
    return builtin.combined_with([scent, grassy, puree, oil])


def read_with(text: str, register: Register) -> Recipe:
    recipe, findings = parse_recipe(text, "plain", "recipes/plain.yaml", materials=register)
    assert recipe is not None, [str(finding) for finding in findings]
    return recipe


def stop_codes(text: str, register: Register) -> set[str]:
    return codes(work_out_batch(read_with(text, register), register, oil_mass_g=1000.0), "stop")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.code)
def test_each_stop_is_raised_by_its_smallest_file_and_not_by_its_neighbour(case: Case, register: Register) -> None:
    assert case.code in stop_codes(case.triggers, register)
    assert case.code not in stop_codes(case.neighbour, register)
    assert stop_codes(case.mended, register) == set()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.code)
def test_a_stopped_batch_shows_no_gram_anywhere(case: Case, register: Register) -> None:
    batch = work_out_batch(read_with(case.triggers, register), register, oil_mass_g=1000.0)
    assert batch.is_stopped
    assert not list(grams_in(batch.to_json()))
    text = render_batch(batch)
    assert "STOP" in text
    assert "In the jug" not in text


def grams_in(value: object) -> Iterator[object]:
    """Every value in the JSON whose key ends in `grams` and that is not null."""
    if isinstance(value, dict):
        for key, item in value.items():
            if key.endswith("grams") and item is not None:
                yield item
            yield from grams_in(item)
    elif isinstance(value, list):
        for item in value:
            yield from grams_in(item)


def test_a_batch_too_small_for_the_scale_is_stopped() -> None:
    recipe = read_recipe(PLAIN)
    register = read_builtin_register()
    assert "alkali-none" in codes(work_out_batch(recipe, register, oil_mass_g=0.5), "stop")
    assert "alkali-none" not in codes(work_out_batch(recipe, register, oil_mass_g=1.0), "stop")


def test_an_alkali_with_no_share_is_left_out_and_no_larger_batch_is_asked_for() -> None:
    text = PLAIN.replace(
        "alkali: sodium-hydroxide", "alkali: {by: mass, sodium-hydroxide: 100, potassium-hydroxide: 0}"
    )
    batch = work_out_batch(read_recipe(text), read_builtin_register(), oil_mass_g=1000.0)
    (finding,) = (finding for finding in batch.findings if finding.code == "alkali-none")
    assert finding.do.startswith("leave potassium-hydroxide out of `alkali`")


def test_household_soap_may_have_a_negative_superfat_and_is_warned_of_it(register: Register) -> None:
    text = PLAIN.replace("superfat: 5", "superfat: -1") + "purpose: household\n"
    batch = work_out_batch(read_with(text, register), register, oil_mass_g=1000.0)
    assert codes(batch, "stop") == set()
    assert "superfat-negative" in codes(batch, "warn")


@pytest.mark.parametrize("code", ["lye-excess", "superfat-negative", "saponification-unknown", "conflict-open"])
def test_some_stops_can_never_be_overridden(code: str, register: Register) -> None:
    text = next(case.triggers for case in CASES if case.code == code)
    batch = work_out_batch(read_with(text, register), register, oil_mass_g=1000.0)
    with pytest.raises(StopError) as raised:
        demand_weighable(batch, despite=stop_codes(text, register))
    assert code in [finding.code for finding in raised.value.findings]


def test_another_stop_can_be_overridden_by_its_code_alone(register: Register) -> None:
    text = PLAIN + SCENT.format(rate="3.6 % of oils")
    batch = work_out_batch(read_with(text, register), register, oil_mass_g=1000.0)
    assert not demand_weighable(batch, despite=["scent-limit"]).is_stopped
    with pytest.raises(StopError):
        demand_weighable(batch, despite=["jug-saturated"])


def test_every_stop_in_the_code_stands_in_the_table() -> None:
    folder = Path(checks.__file__).parent
    raised = {
        code for path in folder.glob("*checks.py") for code in re.findall(r'stop\("([a-z-]+)"', path.read_text("utf-8"))
    }
    assert raised == {case.code for case in CASES} | {"alkali-none"}
