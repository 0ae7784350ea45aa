"""Whether the lye is in the oils decides what can still be done: before, alkali can follow or be held back; after, only
fat helps. Worked out once more from grams, with the sources of `test_rescue_in_grams`."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest

from formulary.batch.rescue import Rescue, work_out_rescue
from formulary.batch.sitting_text import render_rescue
from formulary.settings import Settings
from tests.batch.finding_cases import addition, scented
from tests.batch.recipes import PLAIN
from tests.batch.test_rescue_at_its_bounds import fat_mol, rescued
from tests.batch.test_rescue_in_grams import ACID, BOTH, FINE, NAOH, REGISTER, batch_of, in_pot, pure_g, rescue

HELD_BACK = PLAIN.replace("sunflower-oil: 15", "sunflower-oil: {percent: 15, at: trace}") + scented(("lavender-oil", 2))


def with_lye_in(text: str, weighed_g: Mapping[str, float], settings: Settings = FINE) -> Rescue:
    return work_out_rescue(batch_of(text, settings), weighed_g, REGISTER, settings, lye_is_in=True)


def to_add(found: Rescue) -> dict[str, float]:
    return {line.material: line.remaining_grams for line in found.remaining if line.remaining_grams}


def test_an_oil_that_was_forgotten_is_all_that_lacks() -> None:
    found = with_lye_in(PLAIN, {"sunflower-oil": 0.0})
    assert found.way == "as-it-is"
    assert to_add(found) == pytest.approx({"sunflower-oil": 150})
    assert found.superfat_percent == pytest.approx(5, abs=1e-4)
    assert found.to_json()["lye_is_in"] is True
    assert found.remarks[0].startswith("Warm the oils that lack")
    sheet = " ".join(render_rescue(found).split())
    assert re.search(r"water ([0-9]+) \1 0 sodium hydroxide ([0-9.]+) \2 0.0 olive oil 600 600 0", sheet)
    assert "sunflower oil 150 0 150" in sheet
    assert rescue(PLAIN, {}).to_json()["lye_is_in"] is False


def test_what_follows_the_lye_is_still_to_come_and_what_goes_before_is_in() -> None:
    assert to_add(with_lye_in(HELD_BACK, {})) == pytest.approx({"sunflower-oil": 150, "lavender-oil": 20})
    # an oil that is held back goes in at trace as ever
    assert not any(remark.startswith("Warm") for remark in with_lye_in(HELD_BACK, {}).remarks)
    assert set(to_add(rescue(HELD_BACK, {}))) == {
        "olive-oil",
        "coconut-oil",
        "sunflower-oil",
        "sodium-hydroxide",
        "water",
        "lavender-oil",
    }
    short = with_lye_in(HELD_BACK, {"olive-oil": 500.0, "sunflower-oil": 40.0})
    assert to_add(short) == pytest.approx({"olive-oil": 100, "sunflower-oil": 110, "lavender-oil": 20})


def test_more_of_an_oil_stays_fat_and_is_told_so() -> None:
    found = with_lye_in(PLAIN, {"olive-oil": 700.0})
    assert (found.way, to_add(found)) == ("as-it-is", {})
    assert in_pot(found)["sodium-hydroxide"] == pytest.approx(pure_g(600))
    superfat = 100 * (1 - pure_g(600) / pure_g(700, superfat=0))
    assert found.superfat_percent == pytest.approx(superfat, abs=1e-3)
    assert any(f"The superfat will be {superfat:.1f} %" in remark for remark in found.remarks)
    assert found.remarks[0].startswith("Put no more alkali")
    sheet = " ".join(render_rescue(found).split())
    assert sheet.startswith("The lye is in the oils: weigh what is still to add")


@pytest.mark.parametrize(("text", "acid_g"), [(PLAIN, 0.0), (ACID, 20.0)])
def test_too_much_lye_in_the_oils_is_met_with_oil_to_the_gram(text: str, acid_g: float) -> None:
    alkali_g = pure_g(600, acid_g=acid_g) * 1.15
    found = with_lye_in(text, {"sodium-hydroxide": alkali_g})
    assert found.way == "more-oil"
    whole = in_pot(found)
    times = whole["olive-oil"] / 600
    assert (0.95 * fat_mol(whole) + 3 * acid_g * times / 192.123) * NAOH == pytest.approx(alkali_g)
    assert found.superfat_percent == pytest.approx(5, abs=1e-4)
    assert whole["water"] == pytest.approx(pure_g(600, acid_g=acid_g) * 67 / 33, rel=1e-6)
    assert whole["sodium-hydroxide"] == alkali_g
    assert found.remarks[0].startswith("Warm the oils")
    assert found.remarks[1].startswith("Put no more alkali")
    sheet = " ".join(render_rescue(found).split())
    assert sheet.startswith("The lye is in the oils: there is more alkali than all the oils are due")


def test_an_oil_that_went_over_takes_of_the_alkali_that_went_over_with_it() -> None:
    assert with_lye_in(PLAIN, {"sodium-hydroxide": pure_g(690), "olive-oil": 700.0}).way == "as-it-is"
    found = with_lye_in(PLAIN, {"sodium-hydroxide": pure_g(720), "olive-oil": 700.0})
    assert found.way == "more-oil"
    assert 0.95 * fat_mol(in_pot(found)) * NAOH == pytest.approx(pure_g(720))


def test_too_little_lye_is_not_made_up_for_in_the_batter() -> None:
    found = with_lye_in(PLAIN, {"sodium-hydroxide": pure_g(600) * 0.9, "water": 200.0})
    assert (found.way, to_add(found)) == ("as-it-is", {})
    assert found.superfat_percent == pytest.approx(100 - 95 * 0.9, abs=1e-3)


def test_water_that_went_over_is_told_by_the_plan() -> None:
    planned_g = batch_of(PLAIN).water.weigh_grams
    told = with_lye_in(PLAIN, {"water": planned_g + 0.06})
    assert any(remark.startswith("Water that is in") for remark in told.remarks)
    untold = with_lye_in(PLAIN, {"water": planned_g + 0.04})
    assert not any(remark.startswith("Water that is in") for remark in untold.remarks)


def test_a_jug_that_is_empty_again_is_no_danger_any_more() -> None:
    strong = PLAIN.replace("lye_concentration: 33", "lye_concentration: 45")
    assert "jug-strong" in {finding.code for finding in rescue(strong, {"olive-oil": 600.0}).findings}
    found = with_lye_in(strong, {"olive-oil": 600.0})
    assert "jug-strong" not in {finding.code for finding in found.findings}
    assert not any("Alkali added" in remark or "Never pour" in remark for remark in found.remarks)


def test_no_size_is_proposed_for_a_batter_that_cannot_get_more_lye() -> None:
    assert "Make the batch of" in rescued(1000.0, {"one": 40.0}).way_out
    found = rescued(1000.0, {"one": 40.0}, lye_is_in=True)
    assert found.is_stopped
    assert found.way_out.startswith("With the lye in the oils no other size helps")
    assert "Make the batch of" not in found.way_out
    assert rescued(1000.0, {"one": 20.0}, lye_is_in=True).way_out == ""


@pytest.mark.parametrize("alkali_g", [136.0, 150.0, 222.2, 400.0])
@pytest.mark.parametrize("olive_g", [600.0, 660.0])
def test_the_part_of_a_lye_that_is_poured_leaves_the_stated_superfat(alkali_g: float, olive_g: float) -> None:
    found = rescue(PLAIN, {"sodium-hydroxide": alkali_g, "olive-oil": olive_g, "water": 280.0})
    percent = found.lye_to_pour_percent
    assert (percent is None) == (found.way != "more-oil") == (alkali_g <= pure_g(olive_g))
    if percent is not None:
        superfat = 100 * (1 - alkali_g * percent / 100 / pure_g(olive_g, superfat=0))
        assert 5 - 1e-6 <= superfat < 5.3
        assert f"pour {percent:g} % of it" in " ".join(render_rescue(found).split())
        assert found.to_json()["lye_to_pour_percent"] == percent


def test_lye_is_only_held_back_where_it_can_be() -> None:
    over = {"sodium-hydroxide": 200.0}
    assert rescue(PLAIN, over).lye_to_pour_percent is not None
    assert with_lye_in(PLAIN, over).lye_to_pour_percent is None
    assert rescue(PLAIN, {"olive-oil": 700.0}).lye_to_pour_percent is None
    # with sugar in the jug a part of the lye is a part of that, too; and of two alkalis one may be missing
    assert rescue(PLAIN + addition("sugar", "1 % of oils", "lye water"), over).lye_to_pour_percent is None
    assert rescue(BOTH, over).lye_to_pour_percent is None
    before = " ".join(render_rescue(rescue(PLAIN, over)).split())
    assert before.startswith("As long as the lye is not in the oils: there is more alkali")
    assert "What is left over is lye still" in before
    assert "What is left over" not in render_rescue(with_lye_in(PLAIN, over))


@pytest.mark.parametrize("lye_is_in", [False, True])
@pytest.mark.parametrize("times", [0.98, 1.004, 1.012, 1.03, 1.2])
def test_what_too_much_alkali_leaves_of_the_superfat_is_told_before_any_way_to_mend_it(
    times: float, *, lye_is_in: bool
) -> None:
    alkali_g = pure_g(600) * times
    over = {"sodium-hydroxide": alkali_g}
    found = with_lye_in(PLAIN, over) if lye_is_in else rescue(PLAIN, over)
    sheet = " ".join(render_rescue(found).split())
    left = 100 * (1 - alkali_g / pure_g(600, superfat=0))
    if found.way != "more-oil":
        assert found.superfat_if_left_percent is None
        return
    assert found.superfat_if_left_percent == pytest.approx(left, abs=1e-4)
    assert found.to_json()["superfat_if_left_percent"] == found.superfat_if_left_percent
    # under 2 % a plan is warned of, too
    assert ("there is a little more alkali than the stated superfat leaves" in sheet) == (left >= 2)
    assert ("more alkali than all the oils are due" in sheet) == (left < 2)
    assert re.search(
        rf"Left as it is, .*? will be {left:.1f} %|left as it is the superfat would be {left:.1f} %", sheet
    )


def test_lye_that_is_too_strong_by_now_gets_its_water_before_a_part_of_it_is_poured() -> None:
    planned_g = batch_of(PLAIN).water.weigh_grams
    alkali_g = 2 * pure_g(600)
    found = rescue(PLAIN, {"sodium-hydroxide": alkali_g, "water": planned_g})
    percent = found.lye_to_pour_percent
    assert percent == pytest.approx(50, abs=0.11)
    (lacks_g,) = (line.remaining_grams for line in found.remaining if line.role == "water")
    # what is poured then is the lye as it was planned: its alkali and its water
    assert (planned_g + lacks_g) * (percent or 0.0) / 100 == pytest.approx(planned_g, rel=0.003)
    sheet = " ".join(render_rescue(found).split())
    assert f"pour it slowly into the {lacks_g:.0f} g of water that lack" in sheet
    whole = rescue(PLAIN, {"sodium-hydroxide": alkali_g, "water": 2 * planned_g})
    assert "of water that lack" not in " ".join(render_rescue(whole).split())


def test_what_was_weighed_in_ounces_is_shown_as_the_scale_for_lye_shows_it() -> None:
    # 4.5 oz of 28.349523125 g
    sheet = render_rescue(rescue(PLAIN, {"sodium-hydroxide": 4.5 * 28.349523125}, Settings()))
    (row,) = (line.split() for line in sheet.splitlines() if line.lstrip().startswith("sodium hydroxide"))
    assert row[3] == "127.6"


def test_a_stopped_rescue_tells_no_part_of_the_lye_to_go_on_with() -> None:
    found = rescued(1000.0, {"one": 60.0, "sodium-hydroxide": 200.0})
    assert found.is_stopped
    assert found.to_json()["lye_to_pour_percent"] is None
    assert "% of it into the oils" not in " ".join(render_rescue(found).split())
