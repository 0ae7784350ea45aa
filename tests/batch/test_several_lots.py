"""Several lots of one material: the sheet says what to weigh of each, and all is worked out for just that.

The certificates are invented. A saponification value is mg KOH for 1 g (ISO 3657); molar masses NaOH 39.997, KOH
56.105 g/mol (CIAAW abridged weights).
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.lot_shares import check_lots_of_cost
from formulary.batch.model import Batch
from formulary.batch.overriding import override_sitting_stops, override_stops
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_model import Sitting
from formulary.batch.sitting_text import render_rescue, render_sitting
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weigh_out_text import render_batch
from formulary.errors import InputError
from formulary.finding import Finding
from formulary.materials.chosen_lots import ChosenLots, parse_chosen_lots
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, read_recipe

VALUES = {"OL-7": 185.0, "OL-8": 195.0}
OLIVE, _ = parse_material(
    "format: 1\nname: Olive oil\nkind: oil\nlots:\n"
    + "".join(f'  "{lot}": {{saponification_value: {value}}}\n' for lot, value in VALUES.items()),
    "materials/olive-oil.yaml",
    "olive-oil",
)
assert OLIVE is not None
REGISTER = read_builtin_register().combined_with([OLIVE])
ONE_OIL = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "olive-oil: 100")
LOT = re.compile(r"([\d.]+) g of lot (OL-\d)")


def batch_of(given_g: Mapping[str, float | None], *, text: str = PLAIN, oils_g: float = 1000.0) -> Batch:
    return work_out_batch(read_recipe(text), REGISTER, oil_mass_g=oils_g, lots={"olive-oil": given_g})


def sitting_of(given_g: Mapping[str, float | None], *oils_g: float) -> Sitting:
    return plan_sitting([batch_of(given_g, oils_g=size_g) for size_g in oils_g], REGISTER, Settings())


def told(findings: Sequence[Finding]) -> set[str]:
    return {f"{each.severity.value} {each.code}" for each in findings if each.code.startswith("lots-")}


def said_lots(text: str) -> dict[str, float]:
    """Grams of each lot, wherever a sheet says them."""
    grams: dict[str, float] = {}
    for weight, lot in LOT.findall(" ".join(text.split())):
        grams[lot] = grams.get(lot, 0.0) + float(weight)
    return grams


@settings(max_examples=40, deadline=None)
@given(st.floats(100, 1500), st.floats(1, 2), st.floats(0.05, 0.95))
def test_the_lye_is_that_of_the_lots_as_the_sheet_has_them_weighed(oils_g: float, times: float, part: float) -> None:
    weights = {"OL-7": oils_g * times * part, "OL-8": oils_g * times * (1 - part)}
    batch = batch_of(weights, text=ONE_OIL, oils_g=oils_g)
    lots_g = said_lots(render_batch(batch))
    assert sum(lots_g.values()) == pytest.approx(oils_g, abs=0.5 + 1e-6)
    assert lots_g["OL-7"] == pytest.approx(oils_g * part, abs=1.0)
    due_g = sum(0.95 * grams * VALUES[lot] / 1000 / 56.105 * 39.997 for lot, grams in lots_g.items())
    # Half a gram of oil takes 0.07 g of it; its own scale rounds down to 0.1 g.
    assert batch.lye[0].grams == pytest.approx(due_g, abs=0.2)
    percents = {line["lot"]: line["percent"] for line in batch.to_json()["lots"]}  # type: ignore[attr-defined]
    assert percents == pytest.approx({"OL-7": 100 * part, "OL-8": 100 * (1 - part)})


def test_weights_that_make_what_is_weighed_are_weighed_as_given_and_nothing_is_said() -> None:
    batch = batch_of({"OL-7": 250.0, "OL-8": 350.0})
    assert said_lots(render_batch(batch)) == {"OL-7": 250.0, "OL-8": 350.0}
    assert told(batch.findings) == set()


def test_more_than_is_weighed_is_said_to_be_a_proportion() -> None:
    batch = batch_of({"OL-7": 500.0, "OL-8": 300.0})
    assert said_lots(render_batch(batch)) == {"OL-7": 375.0, "OL-8": 225.0}
    (finding,) = (each for each in batch.findings if each.code == "lots-in-proportion")
    assert "62 % lot OL-7, 38 % lot OL-8" in finding.what
    assert "600 g" in finding.do


@pytest.mark.parametrize("given_g", [{"OL-7": 300.0, "OL-8": 200.0}, {"OL-7": 500.0}])
def test_lots_that_do_not_cover_the_batch_stop_it_unless_they_are_meant_as_a_proportion(
    given_g: dict[str, float | None],
) -> None:
    batch = batch_of(given_g)
    assert told(batch.findings) == {"stop lots-short"}
    what = next(each.what for each in batch.findings if each.code == "lots-short")
    makes = "the lots of olive-oil make" if len(given_g) > 1 else "the lot of olive-oil makes"
    assert what.startswith(f"{makes} 500 g, and 600 g")
    assert not override_stops(batch, ["lots-short"]).is_stopped


@pytest.mark.parametrize(("second_g", "said"), [(200.0, "warn lots-short"), (400.0, "note lots-in-proportion")])
def test_what_the_lots_are_taken_for_stops_no_cost(second_g: float, said: str) -> None:
    batch = batch_of({"OL-7": 300.0, "OL-8": second_g})
    assert told(list(check_lots_of_cost(batch))) == {said}
    assert len(list(check_lots_of_cost(batch))) == 1


@pytest.mark.parametrize("given_g", [{"OL-7": 600.0}, {"OL-7": 5000.0}, {"OL-7": None}])
def test_one_lot_that_covers_the_batch_needs_no_word(given_g: dict[str, float | None]) -> None:
    batch = batch_of(given_g)
    assert told(batch.findings) == set()
    assert said_lots(render_batch(batch)) == {}
    (line,) = batch.to_json()["lots"]  # type: ignore[misc]
    assert (line["lot"], line["percent"], line["given_grams"]) == ("OL-7", 100.0, given_g["OL-7"])
    assert line["grams"] == pytest.approx(600.0)


def test_the_lots_of_a_sitting_are_for_all_its_loaves() -> None:
    # 600 g and 300 g of olive oil: enough for either loaf, not for both.
    short = sitting_of({"OL-7": 400.0, "OL-8": 300.0}, 1000.0, 500.0)
    assert told(short.findings) == {"stop lots-short"}
    assert short.is_stopped
    assert said_lots(render_sitting(short)) == {}
    weighable = override_sitting_stops(short, ["lots-short"])
    assert not weighable.is_stopped
    enough = sitting_of({"OL-7": 600.0, "OL-8": 300.0}, 1000.0, 500.0)
    assert told(enough.findings) == set()
    for batch in enough.batches:
        assert told(batch.findings) == set()
    assert said_lots(render_sitting(enough)) == pytest.approx({"OL-7": 600.0, "OL-8": 300.0})
    more = sitting_of({"OL-7": 1200.0, "OL-8": 600.0}, 1000.0, 500.0)
    assert told(more.findings) == {"note lots-in-proportion"}
    assert said_lots(render_sitting(more)) == pytest.approx({"OL-7": 600.0, "OL-8": 300.0})


def test_a_shared_vessel_says_what_of_each_lot_goes_into_it() -> None:
    coconut, _ = parse_material("{format: 1, name: C, kind: oil, lots: {A: {}, B: {}}}", "c.yaml", "coconut-oil")
    alkali, _ = parse_material("{format: 1, name: N, kind: alkali, lots: {X: {}, Y: {}}}", "n.yaml", "sodium-hydroxide")
    assert coconut is not None
    assert alkali is not None
    register = REGISTER.combined_with([coconut, alkali])
    lots: ChosenLots = {"coconut-oil": {"A": 300.0, "B": 100.0}, "sodium-hydroxide": {"X": 200.0, "Y": 200.0}}
    loaves = [work_out_batch(read_recipe(PLAIN), register, oil_mass_g=size_g, lots=lots) for size_g in (1000.0, 500.0)]
    sheet = " ".join(render_sitting(plan_sitting(loaves, register)).split())
    # A quarter of 1500 g is coconut oil.
    assert re.search(r"coconut oil 375 281 g of lot A, 94 g of lot B", sheet)
    total, first, second = re.search(
        r"sodium hydroxide ([\d.]+) ([\d.]+) g of lot X, ([\d.]+) g of lot Y", sheet
    ).groups()  # type: ignore[union-attr]
    assert float(first) + float(second) == pytest.approx(float(total))
    assert float(first) == pytest.approx(float(total) / 2, abs=0.1)


def test_a_rescue_goes_on_with_the_lots_as_they_are_mixed_and_says_when_they_do_not_make_it() -> None:
    batch = batch_of({"OL-7": 200.0, "OL-8": 400.0})
    short = work_out_rescue(batch, {"sodium-hydroxide": batch.lye[0].grams * 1.2}, REGISTER, Settings())
    to_add_g = next(line.shown_g(batch.scale) for line in short.remaining if line.material == "olive-oil")
    lots_g = said_lots(render_rescue(short))
    assert sum(lots_g.values()) == pytest.approx(to_add_g)
    assert lots_g["OL-8"] == pytest.approx(2 * lots_g["OL-7"], abs=1.5)
    assert told(short.findings) == {"warn lots-short"}
    assert not short.is_stopped
    as_planned = work_out_rescue(batch, {"coconut-oil": 250.0}, REGISTER, Settings())
    assert told(as_planned.findings) == set()


@pytest.mark.parametrize(
    "given_g", [{"OL-7": None, "OL-8": None}, {"OL-7": None, "OL-8": 300.0}, {"OL-7": 0.0, "OL-8": 0.0}]
)
def test_several_lots_are_refused_where_one_has_no_weight(given_g: dict[str, float | None]) -> None:
    with pytest.raises(InputError) as raised:
        batch_of(given_g)
    assert "not the weight of each" in raised.value.findings[0].what


@pytest.mark.parametrize("second", ["olive-oil=OL-7 200 g", "olive-oil=OL-7"])
def test_a_lot_that_is_given_twice_is_refused_rather_than_the_last_one_taken(second: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_chosen_lots(["olive-oil=OL-7 100 g", second])
    assert "twice" in raised.value.findings[0].what


@pytest.mark.parametrize(
    ("amount", "grams"), [("300 g", 300.0), ("0.3kg", 300.0), ("500 mg", 0.5), ("1 lb", 453.59237)]
)
def test_a_lot_is_weighed_in_any_unit_of_weight(amount: str, grams: float) -> None:
    assert parse_chosen_lots([f"olive-oil=OL 7 {amount}"]) == {"olive-oil": {"OL 7": pytest.approx(grams)}}


@pytest.mark.parametrize("amount", ["300 ml", "0.3 l", "40 %", "0 g", "300,5 g"])
def test_an_amount_that_is_no_weight_is_told_to_be_none(amount: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_chosen_lots([f"olive-oil=OL-7 {amount}"])
    (finding,) = raised.value.findings
    assert finding.code == "bad-lot"
    assert amount in finding.what


def test_the_line_that_adds_a_lot_can_be_typed_as_it_is_told() -> None:
    with pytest.raises(InputError) as raised:
        batch_of({"New 12 (May)": None})
    (finding,) = raised.value.findings
    typed = finding.do.partition("formulary ")[2]
    assert shlex.split(typed) == ["materials", "lot", "olive-oil", "New 12 (May)"]
