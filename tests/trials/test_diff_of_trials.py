"""A trial as one side of a diff: compared as it was really made."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from formulary import InputError
from formulary.materials.chosen_lots import ChosenLots
from tests.trials.examples import folder_with
from trials.bench import Bench, open_bench
from trials.record import as_made, forgot_to_replace
from trials.trial.model import Trial

MILKY = """\
format: 1
name: Milky bar
oils:
  olive-oil: 55
  coconut-oil: 25
  sunflower-oil: 20
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
additions:
  - {material: oat-milk, rate: 10 % of oils, at: oils, water: replaces}
  - {material: rose-clay, rate: 15 g per kg oils, at: oils}
scent:
  - {material: lavender-oil, rate: 2 % of oils}
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    folder = folder_with(tmp_path / "soap", MILKY, "milky-bar")
    folder.save_changed(why="milk")
    return open_bench(folder)


def start(bench: Bench) -> Trial:
    return bench.start("milky-bar", oils="800 g", now=datetime(2026, 10, 3, 9, 0, tzinfo=UTC))


def test_a_trial_made_as_planned_differs_in_nothing_from_its_version(bench: Bench) -> None:
    trial = start(bench)
    changes = bench.diff("milky-bar@latest", trial.id)
    tree = changes.to_json()
    assert (tree["oils"], tree["rates"], tree["process"]) == ([], [], [])
    assert tree["findings"] == {"appeared": [], "vanished": []}
    assert tree["superfat"]["before"] == pytest.approx(tree["superfat"]["after"])


def test_a_forgotten_water_replacement_shows_as_weaker_lye_and_not_as_another_recipe(bench: Bench) -> None:
    trial = start(bench)
    bench.record(forgot_to_replace(trial, "oat-milk"))
    tree = bench.diff("milky-bar", trial.id).to_json()
    assert tree["oils"] == []
    assert tree["rates"] == []
    # Oat milk of 90 % water: 100 g of it in 1000 g of oils bring 90 g that were not taken off.
    added = tree["water"]["after"]["weigh_grams"] - tree["water"]["before"]["weigh_grams"]
    assert added == pytest.approx(90, abs=0.5)


def test_an_excess_of_lye_as_made_is_told_in_the_diff(bench: Bench) -> None:
    trial = bench.record(as_made(start(bench), "sodium-hydroxide 130 g"))
    appeared = bench.diff("milky-bar", trial.id).to_json()["findings"]["appeared"]
    assert "lye-excess" in [finding["code"] for finding in appeared]
    assert "as made" in next(finding["what"] for finding in appeared if finding["code"] == "lye-excess")


def test_an_excess_of_lye_as_made_is_a_stop_in_diff_and_compare_and_asks_for_no_other_recipe(bench: Bench) -> None:
    plain = start(bench)
    spoilt = bench.record(as_made(start(bench), "sodium-hydroxide 130 g"))
    there, back = bench.diff("milky-bar", spoilt.id), bench.diff(spoilt.id, "milky-bar")
    (told,) = [finding for finding in there.appeared if finding.code == "lye-excess"]
    assert [finding.code for finding in there.stops] == ["lye-excess"]
    assert [finding.code for finding in back.vanished if finding.severity.value == "stop"] == ["lye-excess"]
    assert all(figure.after is not None for figure in there.lye), "the grams in the pot are shown in spite of it"
    assert "do not use it on skin" in told.do
    assert "raise the superfat" not in str(there)
    compared = bench.compare(plain, spoilt)
    assert [(finding.severity.value, finding.code) for _, finding in compared.stops] == [("stop", "lye-excess")]
    assert str(compared).startswith("STOP ")
    assert "do not use it on skin" in " ".join(str(compared).split())
    assert bench.compare(plain, plain).stops == ()


def test_a_loaf_without_lye_is_told_not_to_be_soap_and_is_not_for_sale(bench: Bench) -> None:
    without = bench.record(as_made(start(bench), "no sodium-hydroxide"))
    (told,) = [finding for finding in bench.check_trial(without) if finding.code == "superfat-high"]
    assert told.severity.value == "stop"
    assert "not soap" in told.what
    assert "sell" not in told.do
    assert "superfat-high" in {finding.code for finding in bench.fit_to_sell(without)}


def test_two_trials_are_compared_for_the_same_oils_whatever_their_size(bench: Bench) -> None:
    first = start(bench)
    second = bench.start("milky-bar", oils="1600 g", now=datetime(2026, 10, 4, 9, 0, tzinfo=UTC))
    second = bench.record(as_made(second, "no rose-clay"), as_made(second, "sunflower-oil 160 g"))
    tree = bench.diff(first.id, second.id).to_json()
    assert [line["material"] for line in tree["rates"] if line["after"] == 0] == ["rose-clay"]
    points = {line["material"]: line["points"] for line in tree["oils"]}
    assert sum(points.values()) == pytest.approx(0, abs=1e-9)
    # 160 g instead of 320 g of sunflower oil in what is then 1440 g of oils: 11.11 % instead of 20 %.
    assert points["sunflower-oil"] == pytest.approx(-8.89, abs=0.01)


def test_a_side_that_is_neither_recipe_nor_trial_is_refused_with_the_nearest_names(bench: Bench) -> None:
    start(bench)
    with pytest.raises(InputError) as raised:
        bench.diff("milky-bar", "milky-baar")
    assert "milky-bar" in raised.value.findings[0].do


def test_oil_weighed_short_is_said_as_more_lye_for_the_oils_and_not_as_other_materials(bench: Bench) -> None:
    one_oil = MILKY.partition("additions:")[0].replace("olive-oil: 55", "olive-oil: 100")
    one_oil = one_oil.replace("  coconut-oil: 25\n", "").replace("  sunflower-oil: 20\n", "")
    (bench.folder.root / "recipes/milky-bar.yaml").write_text(one_oil, encoding="utf-8")
    bench.folder.refresh()
    bench.folder.save_changed(why="one oil")
    trial = start(bench)
    bench.record(as_made(trial, "olive-oil 750 g"))
    there, back = bench.diff("milky-bar", trial.id), bench.diff(trial.id, "milky-bar")
    (lye,) = there.lye
    assert lye.before is not None
    # 750 g of oil got the lye of 800 g: for 1000 g it is 1000/750 less 1000/800 of what was weighed
    assert lye.difference == pytest.approx(lye.before * (800 / 750 - 1), abs=0.1)
    assert there.sentence.startswith("The recipe is the same; as made there was more sodium hydroxide (+")
    assert "g) for 1000 g of oils, and the effective superfat fell from" in there.sentence.replace(
        " and more water", ""
    )
    assert re.search(r"to -1\.\d %", there.sentence)
    assert "materials" not in there.sentence
    assert back.sentence.startswith("The recipe is the same; the recipe asks for less sodium hydroxide (-")
    assert "the effective superfat rose from -1." in back.sentence
    again = bench.diff(trial.id, trial.id)
    assert again.sentence.startswith("Nothing changed, and the effective superfat is -1.")


def test_trials_of_other_lots_are_told_to_be_and_the_register_is_not_blamed(bench: Bench) -> None:
    folder = bench.folder
    for lot, value in (("CC-1", 255), ("CC-2", 258)):
        folder.add_lot("coconut-oil", lot, {"saponification_value": value})
    now = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
    one, two = (
        bench.start("milky-bar", oils="800 g", lots={"coconut-oil": lot, "lavender-oil": scent}, now=now)
        for lot, scent in (("CC-1", "LV-1"), ("CC-2", "LV-2"))  # nothing is known of the lots of the scent
    )
    changes = bench.diff(one.id, two.id)
    assert [(each.field, each.before, each.after) for each in changes.lots] == [
        ("coconut-oil", "CC-1", "CC-2"),
        ("lavender-oil", "LV-1", "LV-2"),
    ]
    assert changes.sentence.startswith("Coconut oil is of lot CC-2 instead of CC-1 and lavender oil is of lot LV-2")
    assert not changes.is_empty
    text = str(changes)
    assert "lot of lavender oil: LV-1 -> LV-2" in text
    assert "register itself" not in text
    assert "255 -> 258" in text
    assert bench.diff(one.id, one.id).is_empty
    unnamed = bench.start("milky-bar", oils="800 g", now=now)
    assert bench.diff(one.id, unnamed.id).lots == ()  # nobody knows that it was another
    assert bench.diff("milky-bar", one.id).lots == ()


def test_the_register_is_blamed_only_for_what_it_says_otherwise(bench: Bench) -> None:
    folder, now = bench.folder, datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
    for lot, value in (("CC-1", 255), ("CC-2", 258)):
        folder.add_lot("coconut-oil", lot, {"saponification_value": value})

    def start(lots: ChosenLots | None = None) -> str:
        return bench.start("milky-bar", oils="800 g", lots=lots, now=now).id

    in_general, of_one = start(), start({"coconut-oil": "CC-1"})
    mostly_one, mostly_other = (start({"coconut-oil": {"CC-1": grams, "CC-2": None}}) for grams in (150.0, 50.0))
    sides = [in_general, "milky-bar", of_one, mostly_one, mostly_other]
    for before, after in [*pairwise(sides), (of_one, in_general), ("milky-bar", mostly_other)]:
        changes = bench.diff(before, after)
        is_same = {before, after} == {in_general, "milky-bar"}
        assert [each.is_of_lots for each in changes.register] == ([] if is_same else [True]), (before, after)
        assert "the register itself changed" not in str(changes)
        assert ("by the certificates of lots" in str(changes)) is not is_same
    path = folder.root / "materials" / "coconut-oil.yaml"
    path.write_text(path.read_text().replace("255", "250"))
    folder.save_changed(why="a slip in the certificate of CC-1")
    corrected = bench.diff(of_one, start({"coconut-oil": "CC-1"}))
    assert [(each.before, each.after, each.is_of_lots) for each in corrected.register] == [(255, 250, False)]
    assert "the register itself changed" in str(corrected)
