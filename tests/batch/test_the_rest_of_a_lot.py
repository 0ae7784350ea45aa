"""One jar runs out and the next is opened: of several lots one may be the rest, for all loaves together.

The certificates are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.lot_shares import settle_rests, weigh_lots
from formulary.batch.model import Batch, PotLine
from formulary.batch.scale import Scale
from formulary.batch.size import Size
from formulary.errors import InputError
from formulary.finding import Finding
from formulary.materials.chosen_lots import ChosenLots, has_rest, lots_with_values, with_rest
from formulary.materials.model import Material
from formulary.materials.read import parse_material
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from formulary.workshop.workshop import Workshop
from tests.batch.recipes import PLAIN, read_recipe

OLIVE = "{format: 1, name: Olive oil, kind: oil, lots: {OL-7: {saponification_value: 185}, OL-8: {}, OL-9: {}}}"
SODA = "{format: 1, name: Soda, kind: alkali, lots: {weak: {assay: 95 %}, strong: {assay: 100 %}}}"
COCONUT = "{format: 1, name: Coconut oil, kind: oil, lots: {C-1: {}, C-2: {}}}"


def material(text: str, slug: str) -> Material:
    found, findings = parse_material(text, f"materials/{slug}.yaml", slug)
    assert found is not None, findings
    return found


class Bench(Workshop):
    """Recipes of which nothing is known but their text."""

    register: Register = read_builtin_register().combined_with(  # type: ignore[assignment]
        [material(OLIVE, "olive-oil"), material(SODA, "sodium-hydroxide"), material(COCONUT, "coconut-oil")]
    )
    settings = Settings()  # type: ignore[assignment]

    def find_recipe(self, reference: str) -> Version:
        raise NotImplementedError

    def check_recipe(self, reference: str) -> tuple[Finding, ...]:
        raise NotImplementedError

    def remarks(self, version: Version) -> tuple[Finding, ...]:  # noqa: ARG002
        return ()

    def _materials_for(self, recipe: Recipe) -> Register:  # noqa: ARG002
        return self.register


BENCH = Bench()
VERSION = Version(recipe=read_recipe(PLAIN), text=PLAIN, is_saved=True)
WITHOUT = PLAIN.replace("coconut-oil: 25", "lard: 25")
OTHER = Version(recipe=read_recipe(WITHOUT), text=WITHOUT, is_saved=True)


def weighed(lots: ChosenLots, *oils_g: float, versions: tuple[Version, ...] = ()) -> tuple[Batch, ...]:
    each = versions or (VERSION,) * len(oils_g)
    sizes = [Size(oils=f"{size_g:.3f} g") for size_g in oils_g]
    return BENCH.batches_of_sizes(list(zip(each, sizes, strict=True)), lots=lots)


def grams_of(batches: tuple[Batch, ...], name: str) -> float:
    return sum(line.grams for batch in batches for line in batch.pot.lines if line.material == name)


def given_of(batches: tuple[Batch, ...], name: str) -> Mapping[str, float | None]:
    assert all(batch.lots[name] == batches[0].lots[name] for batch in batches)
    return batches[0].lots[name]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(200, 2000), min_size=1, max_size=3), st.floats(0.01, 0.99))
def test_the_rest_is_what_the_others_leave_of_all_loaves(oils_g: list[float], part: float) -> None:
    first_g = round(0.6 * sum(oils_g) * part, 1)
    rest = weighed({"olive-oil": {"OL-7": first_g, "OL-8": None}}, *oils_g)
    lots = given_of(rest, "olive-oil")
    assert lots["OL-7"] == first_g
    assert sum(each or 0 for each in lots.values()) == pytest.approx(grams_of(rest, "olive-oil"))
    said = weighed({"olive-oil": lots}, *oils_g)
    assert [each.pot for each in said] == [each.pot for each in rest]
    together = rest[0].findings if len(rest) == 1 else BENCH.sitting(rest).findings
    assert not [each.code for each in together if each.code.startswith("lots-")]


@pytest.mark.parametrize("weak_g", [10, 70.5, 130])
def test_of_an_alkali_the_rest_settles_though_its_grams_follow_its_own_assay(weak_g: float) -> None:
    (batch,) = weighed({"sodium-hydroxide": {"weak": weak_g, "strong": None}}, 1000)
    lots, all_g = given_of((batch,), "sodium-hydroxide"), grams_of((batch,), "sodium-hydroxide")
    assert sum(each or 0 for each in lots.values()) == pytest.approx(all_g, abs=0.1)
    pure_g = weak_g * 0.95 + (all_g - weak_g)
    assert batch.lye[0].pure_grams == pytest.approx(pure_g, abs=0.1)
    assert "lots-short" not in {each.code for each in batch.findings}


def test_a_lot_counts_in_every_loaf_that_holds_its_material_and_a_rest_is_of_those() -> None:
    lots: ChosenLots = {"coconut-oil": {"C-1": 100.0, "C-2": None}, "olive-oil": "OL-7"}
    with_it, without = weighed(lots, 1000, 500, versions=(VERSION, OTHER))
    assert with_it.lots["coconut-oil"] == {"C-1": 100.0, "C-2": pytest.approx(150.0)}
    assert set(without.lots) == {"olive-oil"}
    with pytest.raises(InputError, match="nothing here is called 'shea-butter'"):
        weighed({"shea-butter": "S"}, 1000)


@pytest.mark.parametrize("lots", [{"OL-7": None, "OL-8": None}, {"OL-7": 0.0, "OL-8": None}])
def test_of_two_without_a_weight_neither_is_the_rest(lots: dict[str, float | None]) -> None:
    with pytest.raises(InputError, match="not the weight of each"):
        weighed({"olive-oil": lots}, 1000)


def test_one_lot_alone_is_no_rest_and_of_three_one_may_be() -> None:
    assert not has_rest({"A": None})
    assert not has_rest({"A": 1.0, "B": 2.0})
    assert has_rest({"A": 1.0, "B": None})
    assert with_rest("oil", {"A": 10.0, "B": None, "C": 25.5}, 100.0) == {"A": 10.0, "B": 64.5, "C": 25.5}
    (batch,) = weighed({"olive-oil": {"OL-7": None}}, 1000)
    assert batch.lots["olive-oil"] == {"OL-7": None}


def test_the_weights_that_a_batch_is_worked_out_for_stay() -> None:
    (batch,) = weighed({"olive-oil": {"OL-7": 300.0, "OL-8": None}}, 1000)
    with pytest.raises(TypeError):
        cast("dict[str, float]", batch.lots["olive-oil"])["OL-7"] = 0.0
    assert {batch: "by two lots"}[batch]


@pytest.mark.parametrize("first_g", [600.0, 600.1, 5000.0])
def test_where_nothing_is_left_the_lot_of_the_rest_is_named(first_g: float) -> None:
    with pytest.raises(InputError) as raised:
        weighed({"olive-oil": {"OL-8": None, "OL-7": first_g}}, 1000)
    (told,) = raised.value.findings
    assert told.what.startswith("of olive-oil 600 g are weighed, and the other lots make")
    assert told.do.startswith("nothing is left for lot OL-8")


def test_lots_of_what_is_not_in_the_pot_stay_as_they_are_given() -> None:
    lots = {"clay": {"A": 1.0, "B": None}, "olive-oil": {"OL-7": None}}
    assert settle_rests(lots, [PotLine("olive-oil", "oil", "oils", 100.0)]) == lots


def test_a_sheets_weights_of_a_lot_are_those_of_all_its_weighings() -> None:
    sheet = {("fat", "oil", "oils"): 300.0, ("fat", "oil", "trace"): 100.0, ("other", "oil", "oils"): 77.0}
    assert weigh_lots({"A": 1.0, "B": 3.0}, "fat", sheet, Scale()) == {"A": 100.0, "B": 300.0}
    assert weigh_lots({"A": 1.0, "B": 3.0}, "none", sheet, Scale()) == {}


def test_lots_have_values_only_where_all_of_them_are_registered() -> None:
    named = {"olive-oil": {"OL-7": 1.0, "OL-9": 2.0}, "coconut-oil": {"C-1": 1.0, "X": 2.0}}
    assert lots_with_values(Bench.register, named) == {"olive-oil": named["olive-oil"]}
    every = {"olive-oil": {"OL-7": 1.0, "OL-8": 2.0, "OL-9": None}}
    assert lots_with_values(Bench.register, every) == every
