"""What cannot be right of a delivery is told when it is typed, and nothing is weighed or recorded by it unawares."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Run
from tests.schemas import read_schema


@pytest.mark.usefixtures("home")
def test_an_impossible_certificate_is_told_when_it_is_typed_and_stops_the_weigh_out(formulary: Run) -> None:
    typed = formulary("materials", "lot", "olive-oil", "OY", "--set", "saponification_value=250")
    assert typed.status == 0
    assert "250 is hard to believe" in typed.err
    weighed = formulary("batch", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OY", "--json")
    assert weighed.status == 1
    assert json.loads(weighed.out)["lye"][0]["grams"] is None
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OY").status == 1
    knowingly = ("--lot", "olive-oil=OY", "--despite", "saponification-doubted")
    assert formulary("batch", "harbour-base", "--oils", "1000g", *knowingly).status == 0


@pytest.mark.usefixtures("home")
def test_a_doubtful_value_of_a_new_material_is_told_when_it_is_typed(formulary: Run) -> None:
    values = ("--set", "saponification_value=240", "--set", "fatty_acids={C18:1: 75, C16:0: 25}")
    typed = formulary("materials", "add", "meadow-oil", "--kind", "oil", *values)
    assert typed.status == 0
    assert "its fatty acids imply 19" in typed.err


@pytest.mark.usefixtures("home")
def test_a_lot_that_its_material_does_not_have_is_refused_with_those_that_it_has(formulary: Run) -> None:
    assert formulary("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=189").status == 0
    refused = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-9")
    assert (refused.status, "lots of it: OL-7" in refused.err) == (2, True)
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    trial = json.loads(formulary("trial", "list", "--json").out)["trials"][0]["trial"]
    assert formulary("trial", "lot", trial, "olive-oil", "OL-7").status == 0
    refused = formulary("trial", "lot", trial, "olive-oil", "OL-9", "--correct")
    assert (refused.status, "lots of it: OL-7" in refused.err) == (2, True)
    assert formulary("trial", "lot", trial, "coconut-oil", "any").status == 0  # nothing of it is recorded by lot


def test_a_lot_that_was_written_by_hand_and_is_not_known_is_told_in_check(formulary: Run, home: Path) -> None:
    assert formulary("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=189").status == 0
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-7").status == 0
    assert "unknown-lot" not in formulary("check").out
    file = next(home.glob("trials/*/*/trial.yaml"))
    file.write_text(file.read_text(encoding="utf-8").replace("OL-7", "OL-9"), encoding="utf-8")
    checked = formulary("check").out
    assert "olive-oil has no lot 'OL-9'" in checked
    assert "lots of it: OL-7" in checked


@pytest.mark.usefixtures("home")
def test_a_recorded_lot_is_only_replaced_when_the_person_says_so(formulary: Run) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    trial = json.loads(formulary("trial", "list", "--json").out)["trials"][0]["trial"]
    assert formulary("trial", "lot", trial, "olive-oil", "A").status == 0
    refused = formulary("trial", "lot", trial, "olive-oil", "B")
    assert refused.status == 2
    assert "from lot A already" in refused.err
    assert "--correct" in refused.err
    corrected = formulary("trial", "lot", trial, "olive-oil", "B", "--correct", "--whole-sitting")
    assert corrected.status == 0
    assert "olive-oil from lot B (was A)" in corrected.out


@pytest.mark.usefixtures("home")
def test_a_lot_past_its_best_is_told_where_it_is_typed_weighed_and_used(formulary: Run) -> None:
    typed = formulary("materials", "lot", "olive-oil", "E1", "--best-before", "2020-01")
    assert "lot E1 of olive-oil was best before 2020-01-31" in typed.err
    weighed = formulary("batch", "harbour-base", "--oils", "500g", "--lot", "olive-oil=E1")
    assert (weighed.status, "was best before 2020-01-31" in weighed.err) == (0, True)
    started = formulary("trial", "start", "harbour-base", "--oils", "500g", "--lot", "olive-oil=E1")
    assert started.status == 0
    assert "was best before 2020-01-31" in " ".join(started.out.split())
    assert "lot-expired" in formulary("check").out


@pytest.mark.usefixtures("home")
def test_a_lot_that_comes_in_the_future_is_told_where_it_is_typed_and_in_check(formulary: Run) -> None:
    typed = formulary("materials", "lot", "olive-oil", "F1", "--received", "2999-01-01")
    assert "received on 2999-01-01, after" in typed.err
    assert "lot-ahead" in formulary("check").out


@pytest.mark.usefixtures("home")
def test_a_decision_of_another_day_than_could_be_is_refused(formulary: Run) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    trial = json.loads(formulary("trial", "list", "--json").out)["trials"][0]["trial"]
    decided = ("trial", "release", trial, "hold", "--who", "me", "--why", "soft yet")
    for on, why in (("2999-01-01", "lies ahead of today"), ("1999-01-01", "before the soap was made")):
        ran = formulary(*decided, "--on", on)
        assert ran.status == 2
        assert why in ran.err


def register_two_lots(formulary: Run) -> None:
    for lot, value in (("OL-7", "186"), ("OL-8", "194")):
        assert formulary("materials", "lot", "olive-oil", lot, "--set", f"saponification_value={value}").status == 0


@pytest.mark.usefixtures("home")
def test_lots_that_do_not_cover_a_batch_stop_it_and_only_are_a_proportion_when_that_is_said(formulary: Run) -> None:
    register_two_lots(formulary)
    # 530 g of olive oil a loaf.
    short = ("--oils", "1000g", "--lot", "olive-oil=OL-7 400 g", "--lot", "olive-oil=OL-8 100 g")
    ran = formulary("batch", "harbour-base", *short)
    assert (ran.status, "In the jug" in ran.out) == (1, False)
    assert "500 g, and 530 g" in " ".join(ran.out.split())
    knowingly = formulary("batch", "harbour-base", *short, "--despite", "lots-short")
    assert (knowingly.status, knowingly.err) == (0, "")
    assert "424 g of lot OL-7, 106 g of lot OL-8" in " ".join(knowingly.out.split())
    tree = json.loads(formulary("batch", "harbour-base", *short, "--json").out)
    assert {line["grams"] for line in tree["lots"]} == {None}
    assert {line["percent"] for line in tree["lots"]} == {80.0, 20.0}
    cost = formulary("cost", "harbour-base", *short)
    assert cost.status == 0
    assert "warn: the lots of olive-oil make 500 g, and 530 g" in cost.err


@pytest.mark.usefixtures("home")
def test_the_lots_of_a_sitting_have_to_cover_all_its_loaves(formulary: Run) -> None:
    schema = read_schema("sitting")
    register_two_lots(formulary)
    loaves = ("batch", "harbour-base", "harbour-base", "--oils", "1000g")
    for_one = (*loaves, "--lot", "olive-oil=OL-7 400 g", "--lot", "olive-oil=OL-8 200 g")
    ran = formulary(*for_one, "--json")
    assert ran.status == 1
    tree = json.loads(ran.out)
    jsonschema.validate(tree, schema)
    assert {line["grams"] for own in tree["own"] for line in own} == {None}
    assert "600 g, and 1060 g" in tree["findings"][0]["what"]
    idle = formulary(*for_one, "--despite", "lots-short", "--despite", "scent-limit")
    assert (idle.status, "'scent-limit'" in idle.err, "'lots-short'" in idle.err) == (2, True, False)
    knowingly = formulary(*for_one, "--despite", "lots-short")
    assert (knowingly.status, knowingly.err) == (0, "")
    enough = formulary(*loaves, "--lot", "olive-oil=OL-7 700 g", "--lot", "olive-oil=OL-8 360 g")
    assert enough.status == 0
    assert "lots-" not in enough.out
    assert " ".join(enough.out.split()).count("350 g of lot OL-7, 180 g of lot OL-8") == 2


def test_a_lot_is_registered_by_its_name_and_not_with_a_weight_that_would_be_taken_off_it(
    formulary: Run, home: Path
) -> None:
    ran = formulary("materials", "lot", "olive-oil", "OL-9 300 g", "--set", "saponification_value=191")
    assert ran.status == 2
    assert "is a lot and a weight" in ran.err
    assert not (home / "materials/olive-oil.yaml").exists()
    named = formulary("materials", "lot", "olive-oil", "OL 9 (May)", "--set", "saponification_value=191")
    assert named.status == 0
    assert "materials where 'OL 9 (May)' shows" in " ".join(named.out.split()) + " ".join(named.err.split())
    assert formulary("batch", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL 9 (May) 600 g").status == 0
