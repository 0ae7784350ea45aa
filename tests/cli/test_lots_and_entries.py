"""Lots and materials of the maker's own, and the entries of a trial, one line a call."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def start_trial(formulary: Run) -> str:
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-7")
    assert ran.status == 0, ran.err
    return str(json.loads(formulary("trial", "list", "--json").out)["trials"][0]["trial"]).rsplit("-", 1)[-1]


@pytest.mark.usefixtures("home")
def test_a_lot_with_a_certificate_changes_the_lye_and_is_found_where_it_was_used(formulary: Run) -> None:
    made = formulary(
        *("materials", "lot", "olive-oil", "OL-7", "--received", "2026-08-02", "--best-before", "2028-02"),
        *("--price", "5.00 per 1 kg", "--set", "saponification_value=184"),
    )
    assert (made.status, made.err) == (0, "")
    usual = json.loads(formulary("batch", "harbour-base", "--oils", "1000g", "--json").out)
    by_lot = json.loads(formulary("batch", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-7", "--json").out)
    # 530 g of olive oil at 184 instead of 190 mg KOH per g take 0.95 * 530 * 6 / 56105 mol less of NaOH.
    less_g = 0.95 * 530 * 6 / 56105 * 39.997
    assert usual["lye"][0]["grams"] - by_lot["lye"][0]["grams"] == pytest.approx(less_g, abs=0.11)
    trial = start_trial(formulary)
    uses = json.loads(formulary("materials", "where", "OL-7", "--json").out)
    assert [line["trial"].rsplit("-", 1)[-1] for line in uses["trials"]] == [trial]
    assert "harbour-base" in [line["recipe"] for line in uses["recipes"]]
    assert formulary("materials", "where", "OL-8").status == 2


@pytest.mark.usefixtures("home")
def test_two_lots_of_one_oil_count_by_weight(formulary: Run) -> None:
    for lot, value in (("OL-7", "184"), ("OL-8", "196")):
        assert formulary("materials", "lot", "olive-oil", lot, "--set", f"saponification_value={value}").status == 0
    both = ("--lot", "olive-oil=OL-7 265 g", "--lot", "olive-oil=OL-8 265 g")
    mixed = json.loads(formulary("batch", "harbour-base", "--oils", "1000g", *both, "--json").out)
    usual = json.loads(formulary("batch", "harbour-base", "--oils", "1000g", "--json").out)
    assert mixed["lye"][0]["grams"] == pytest.approx(usual["lye"][0]["grams"], abs=0.11)
    wrong = formulary("batch", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-7", "--lot", "olive-oil=OL-8")
    assert wrong.status == 2
    assert "weight" in wrong.err


def register_lots(formulary: Run) -> None:
    for lot, value in (("OL-7", "184"), ("OL-8", "196")):
        assert formulary("materials", "lot", "olive-oil", lot, "--set", f"saponification_value={value}").status == 0


def lots_of(formulary: Run, trial: str) -> dict[str, float]:
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    return dict(shown["lot_grams"]["olive-oil"])


@pytest.mark.usefixtures("home")
def test_the_rest_of_one_jar_and_then_a_new_one_is_weighed_planned_and_recorded_alike(formulary: Run) -> None:
    """530 g of olive oil to 1000 g; a saponification value is mg KOH for 1 g (ISO 3657), of a mixture the mean by
    weight; molar masses NaOH 39.997, KOH 56.105 g/mol (CIAAW abridged weights)."""
    register_lots(formulary)
    base = ("harbour-base", "--oils", "1000g")
    rest = ("--lot", "olive-oil=OL-7 180 g", "--lot", "olive-oil=OL-8")
    said, whole = (
        json.loads(formulary("batch", *base, *lots, "--json").out)
        for lots in (rest, ("--lot", "olive-oil=OL-7 180 g", "--lot", "olive-oil=OL-8 350 g"))
    )
    assert said == whole
    alone = json.loads(formulary("batch", *base, "--lot", "olive-oil=OL-8", "--json").out)
    less_g = 0.95 * 180 * (196 - 184) / 56105 * 39.997
    assert alone["lye"][0]["grams"] - said["lye"][0]["grams"] == pytest.approx(less_g, abs=0.11)
    started = formulary("trial", "start", *base, *rest)
    assert (started.status, "180 g of lot OL-7, 350 g of lot OL-8" in " ".join(started.out.split())) == (0, True)
    (trial,) = (row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"])
    assert lots_of(formulary, trial) == {"OL-7": 180.0, "OL-8": 350.0}
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert shown["superfat"]["effective"] == pytest.approx(said["superfat"]["effective"])
    assert not {each["code"] for each in shown["findings"]} & {"lots-total", "lots-unweighed", "plan-altered"}
    # On the day the jar held less, and more went in.
    formulary("trial", "as-made", trial, "olive-oil 540 g")
    lots = ("lot", trial, "olive-oil", "OL-7 0.15 kg", "OL-8")
    refused = formulary("trial", *lots)
    assert (refused.status, "OL-7 (180 g) and OL-8 (350 g) already" in refused.err) == (2, True)
    recorded = formulary("trial", *lots, "--correct")
    assert (recorded.status, "lots-total" in recorded.out) == (0, False)
    assert lots_of(formulary, trial) == {"OL-7": 150.0, "OL-8": 390.0}
    assert "olive oil OL-7 (150 g) and OL-8 (390 g)" in formulary("trial", "show", trial).out
    assert "1 batch" in formulary("materials", "where", "OL-7").out


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize("known", [True, False], ids=["certificates", "names alone"])
def test_weights_of_lots_are_for_all_loaves_of_a_sitting_and_each_has_its_part(formulary: Run, known: bool) -> None:
    if known:
        register_lots(formulary)
    loaves = ("harbour-base", "--oils", "1000g", "harbour-base", "--oils", "500g")
    short = ("--lot", "olive-oil=OL-7 400 g", "--lot", "olive-oil=OL-8 300 g")
    assert formulary("trial", "start", *loaves, *short).status == 1
    assert json.loads(formulary("trial", "list", "--json").out)["trials"] == []
    rest = ("--lot", "olive-oil=OL-7 450 g", "--lot", "olive-oil=OL-8")  # 795 g go in
    started = formulary("trial", "start", *loaves, *rest)
    assert (started.status, started.err) == (0, "")
    trials = [row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"]]
    assert sorted(tuple(lots_of(formulary, trial).values()) for trial in trials) == [(150.0, 115.0), (300.0, 230.0)]
    lots = ("olive-oil", "OL-7 300 g", "OL-8")
    assert formulary("trial", "lot", trials[0], *lots, "--correct", "--whole-sitting").status == 0
    assert sorted(tuple(lots_of(formulary, trial).values()) for trial in trials) == [(100.0, 165.0), (200.0, 330.0)]
    assert formulary("check").status == 0


@pytest.mark.usefixtures("home")
def test_a_loaf_of_a_sitting_that_took_none_of_a_material_has_no_lot_of_it(formulary: Run) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "harbour-base", "--oils", "500g").status == 0
    trials = [row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"]]
    sizes = {json.loads(formulary("trial", "show", trial, "--json").out)["size"]["oils"]: trial for trial in trials}
    large, small = sizes["1000 g"], sizes["500 g"]
    formulary("trial", "as-made", small, "sunflower-oil instead of olive-oil 265 g")
    recorded = formulary("trial", "lot", small, "olive-oil", "OL-7 200 g", "OL-8", "--whole-sitting")
    assert (recorded.status, "lots-total" in recorded.out) == (0, False), recorded.err
    assert lots_of(formulary, large) == {"OL-7": 200.0, "OL-8": 330.0}
    assert "olive-oil" not in json.loads(formulary("trial", "show", small, "--json").out)["lot_grams"]
    assert "1 batch" in formulary("materials", "where", "OL-7").out


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("lots", "said"),
    [
        (("OL-7 600 g", "OL-8"), "nothing is left for lot OL-8"),
        (("OL-7", "OL-8"), "not the weight of each"),
        (("OL-7 100 g", "OL-7 200 g"), "twice"),
        (("OL-7 100 ml", "OL-8"), "volume"),
    ],
)
def test_lots_that_cannot_be_meant_start_no_trial_and_are_not_recorded(
    formulary: Run, home: Path, lots: tuple[str, ...], said: str
) -> None:
    register_lots(formulary)
    given = [part for lot in lots for part in ("--lot", f"olive-oil={lot}")]
    for command in (("batch",), ("trial", "start")):
        ran = formulary(*command, "harbour-base", "--oils", "1000g", *given)
        assert (ran.status, said in ran.err) == (2, True), ran.err
    assert not list(home.glob("trials/*/*"))
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    trial = next(home.glob("trials/*/*"))
    before = (trial / "trial.yaml").read_bytes()
    ran = formulary("trial", "lot", trial.name[-4:], "olive-oil", *lots)
    assert (ran.status, said in ran.err) == (2, True), ran.err
    assert (trial / "trial.yaml").read_bytes() == before


@pytest.mark.usefixtures("home")
def test_a_further_loaf_of_a_sitting_is_not_left_without_its_lots_in_silence(formulary: Run) -> None:
    register_lots(formulary)
    start = ("trial", "start", "harbour-base", "--oils", "1000g", "--sitting", "saturday")
    assert "lots-not-said" not in formulary(*start, "--lot", "olive-oil=OL-7 180 g", "--lot", "olive-oil=OL-8").out
    second = " ".join(formulary(*start).out.split())
    assert "was of lots OL-7 (180 g) and OL-8 (350 g), and no lot is named" in second
    assert "lots-not-said" not in formulary(*start, "--lot", "olive-oil=OL-8").out


@pytest.mark.usefixtures("home")
def test_there_is_no_rest_of_what_nobody_weighed(formulary: Run) -> None:
    formulary("trial", "start", "harbour-base", "--oils", "1000g")
    (trial,) = (row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"])
    formulary("trial", "as-made", trial, "olive-oil unknown")
    ran = formulary("trial", "lot", trial, "olive-oil", "OL-7 180 g", "OL-8")
    assert (ran.status, "there is no rest" in ran.err) == (2, True)
    assert formulary("trial", "lot", trial, "olive-oil", "OL-7 180 g", "OL-8 350 g").status == 1
    assert formulary("trial", "lot", trial, "coconut-oil", "A 100 g", "B").status == 1


def test_a_new_material_is_written_with_what_is_known_and_comments_on_the_rest(formulary: Run, home: Path) -> None:
    ran = formulary(
        *("materials", "add", "quay-scent", "--kind", "fragrance", "--called", "Quay scent (invented)"),
        *("--set", "limit.percent_of_product=2.5", "--set", "limit.certificate=2026-10-01"),
    )
    assert (ran.status, ran.err) == (0, "")
    assert "# allergens" in (home / "materials/quay-scent.yaml").read_text(encoding="utf-8")
    assert formulary("materials", "show", "quay-scent").status == 0
    assert formulary("materials", "add", "quay-scent", "--kind", "fragrance").status == 2
    unsaid = formulary("materials", "add", "other-scent")
    assert unsaid.status == 2
    assert "fragrance" in unsaid.err
    wrong = formulary("materials", "add", "third-scent", "--kind", "fragrance", "--set", "limmit.percent=2")
    assert wrong.status == 2
    assert not (home / "materials/third-scent.yaml").exists()


@pytest.mark.usefixtures("home")
def test_a_trial_is_recorded_one_line_a_call(formulary: Run) -> None:
    formulary("materials", "lot", "olive-oil", "OL-7")
    trial = start_trial(formulary)
    for arguments in (
        ("event", trial, "lye in", "--at", "0:00"),
        ("blending", trial, "15s", "--at", "0:20"),
        ("temperature", trial, "38C", "--at", "1:00"),
        ("event", trial, "light trace", "--at", "4:10"),
        ("event", trial, "poured", "--at", "9:30"),
        ("after", trial, "covered", "--at", "0 h"),
        ("as-made", trial, "water 283 g"),
        ("condition", trial, "room", "19 °C"),
        ("note", trial, "smelled of hay"),
        ("bars", trial, "--cut", "12", "--lightest", "98 g"),
        ("observe", trial, "hardness", "3.1mm", "3.3mm", "3.0mm", "--age", "28d"),
        ("release", trial, "hold", "--who", "the maker", "--why", "still curing"),
    ):
        ran = formulary("trial", *arguments)
        assert (ran.status, ran.err) == (0, ""), arguments
    shown = " ".join(formulary("trial", "show", trial).out.split())
    assert "time to light trace 4.2" in shown
    assert "hardness at 28 d 3.1" in shown


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("event", "lite trace", "--at", "4:10"), "light trace"),
        (("event", "poured", "--at", "4.10"), "4:10"),
        (("observe", "hardnes", "3.1mm", "--age", "28d"), "hardness"),
        (("observe", "hardness", "3.1 g", "--age", "28d"), "mm"),
        (("as-made", "olive 500 g"), "olive-oil"),
        (("as-made",), "water 283 g"),
        (("bars",), "--cut"),
    ],
)
def test_a_wrong_entry_is_refused_and_nothing_is_written(
    formulary: Run, home: Path, arguments: tuple[str, ...], said: str
) -> None:
    formulary("materials", "lot", "olive-oil", "OL-7")
    trial = start_trial(formulary)
    before = {path: path.read_bytes() for path in (home / "trials").rglob("*.yaml")}
    ran = formulary("trial", arguments[0], trial, *arguments[1:])
    assert ran.status == 2
    assert said in ran.err
    assert {path: path.read_bytes() for path in (home / "trials").rglob("*.yaml")} == before


@pytest.mark.usefixtures("home")
def test_an_excess_of_lye_is_said_at_once(formulary: Run) -> None:
    formulary("materials", "lot", "olive-oil", "OL-7")
    trial = start_trial(formulary)
    ran = formulary("trial", "as-made", trial, "sodium-hydroxide 160 g")
    assert "Not fit to sell" in ran.out
    assert "lye-excess" in ran.out
    assert "lye-excess" in formulary("trial", "show", trial).out


@pytest.mark.usefixtures("home")
def test_what_a_sitting_shares_is_said_once_for_all_its_loaves(formulary: Run) -> None:
    for _ in range(2):
        assert formulary("trial", "start", "harbour-base", "--oils", "500g", "--sitting", "autumn day").status == 0
    trials = [row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"]]
    code = trials[0].rsplit("-", 1)[-1]
    for arguments in (("condition", code, "room", "19 °C"), ("event", code, "lye in", "--at", "0:00")):
        ran = formulary("trial", *arguments, "--whole-sitting")
        assert (ran.status, ran.err) == (0, "")
        assert all(trial in ran.out for trial in trials)
    for trial in trials:
        shown = " ".join(formulary("trial", "show", trial.rsplit("-", 1)[-1]).out.split())
        assert "room 19 °C" in shown
        assert "lye in 0:00" in shown


@pytest.mark.parametrize(
    ("room", "kept"), [("19C", "19 °C"), ("66F", "66 °F"), ("66 °F", "66 °F"), ("19.5 degC", "19.5 °C")]
)
def test_a_trial_starts_with_its_room_as_the_files_write_it(formulary: Run, home: Path, room: str, kept: str) -> None:
    ran = formulary("trial", "start", "harbour-base", "--oils", "500g", "--room", room)
    assert ran.status == 0
    assert "unlikely-value" not in ran.out
    assert f"room: {kept}" in next(home.glob("trials/*/*/trial.yaml")).read_text(encoding="utf-8")


@pytest.mark.parametrize("room", ["warm", "19", "19 g", "-300C", "19,5 C", "19-21C", "~19C"])
def test_a_room_that_is_no_temperature_starts_no_trial(formulary: Run, home: Path, room: str) -> None:
    ran = formulary("trial", "start", "harbour-base", "--oils", "500g", "--room", room)
    assert ran.status == 2
    assert "conditions, room" in ran.err
    assert not list(home.glob("trials/*/*"))


def test_what_no_bench_shows_is_kept_and_warned_of(formulary: Run, home: Path) -> None:
    started = formulary("trial", "start", "harbour-base", "--oils", "500g", "--room", "66C")
    assert started.status == 0
    assert "if °F was meant, write 66 °F" in " ".join(started.out.split())
    trial = next(home.glob("trials/*/*")).name[-4:]
    formulary("trial", "event", trial, "lye in")
    for arguments in (
        ("condition", trial, "humidity", "0.5"),
        ("condition", trial, "lye_temperature", "500F"),
        ("blending", trial, "15 h", "--at", "0:10"),
        ("temperature", trial, "190C", "--at", "0:20"),
        ("after", trial, "oven", "--at", "1h", "--temperature", "900C"),
        ("as-made", trial, "water 28.3 kg"),
        ("bars", trial, "--lightest", "95 kg"),
    ):
        ran = formulary("trial", *arguments)
        assert (ran.status, ran.out.count("[unlikely-value]")) == (0, 1), arguments
    assert formulary("trial", "condition", trial, "room", "19C").out.count("[unlikely-value]") == 0
    for which in ("lye_temperature", "oil_temperature"):  # each alone beside the other that is likely
        ran = formulary("trial", "condition", trial, which, "100C")
        assert "if °F was meant, write 100 °F" in " ".join(ran.out.split())
        assert formulary("trial", "condition", trial, which, "85C").out.count("[unlikely-value]") == 0


@pytest.mark.parametrize("arguments", [("condition", "mould", " "), ("lot", "olive-oil", ""), ("note", "")])
def test_an_entry_that_says_nothing_is_refused(formulary: Run, home: Path, arguments: tuple[str, ...]) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "500g").status == 0
    trial = next(home.glob("trials/*/*")).name[-4:]
    ran = formulary("trial", arguments[0], trial, *arguments[1:])
    assert ran.status == 2
    assert "do: write" in ran.err


def test_humidity_is_written_in_percent(formulary: Run, home: Path) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "500g").status == 0
    trial = next(home.glob("trials/*/*"))
    assert formulary("trial", "condition", trial.name[-4:], "humidity", "50").status == 0
    assert "humidity: 50 %" in (trial / "trial.yaml").read_text(encoding="utf-8")


@pytest.mark.usefixtures("home")
def test_a_condition_that_takes_the_place_of_another_says_which_and_for_which_loaves(formulary: Run) -> None:
    first, _ = start_trial(formulary), start_trial(formulary)
    trials = [row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"]]
    assert "was" not in formulary("trial", "condition", first, "room", "18C").out
    assert "was" not in formulary("trial", "condition", first, "room", "18 °C").out
    assert "was 18 °C" in formulary("trial", "condition", first, "room", "25C").out
    everywhere = formulary("trial", "condition", first, "room", "30C", "--whole-sitting").out
    assert "2 loaves" in everywhere
    assert everywhere.count("was 25 °C") == 1
    assert all(trial in everywhere for trial in trials)


@pytest.mark.usefixtures("home")
def test_minutes_that_no_batter_has_are_told_when_they_are_recorded(formulary: Run) -> None:
    trial = start_trial(formulary)
    assert "warn" not in formulary("trial", "event", trial, "poured", "--at", "6:00").out
    assert "comes after pouring" in formulary("trial", "event", trial, "light trace", "--at", "12:00").out
    twice = formulary("trial", "event", trial, "poured", "--at", "9000min").out
    assert "stands twice" in twice
    assert "150 hours" in twice
    checked = formulary("check").out
    assert all(code in checked for code in ("after-pouring", "event-twice", "unlikely-time"))


@pytest.mark.usefixtures("home")
def test_a_lot_that_is_registered_after_it_was_named_is_told_as_one_that_was_before(formulary: Run) -> None:
    start_trial(formulary)
    start_trial(formulary)
    listed = json.loads(formulary("trial", "list", "--json").out)["trials"]
    before, after = (each["trial"] for each in listed)
    assert "Nothing is registered of this lot" in formulary("trial", "lot", after, "coconut-oil", "NEW").out
    formulary("materials", "lot", "coconut-oil", "NEW", "--set", "saponification_value=250")
    told = [" ".join(formulary("trial", "lot", trial, "coconut-oil", "NEW").out.split()) for trial in (before, after)]
    assert all("What is registered of this lot counts from now on" in text for text in told)
    assert told[0].replace(before, "") == told[1].replace(after, "")
    assert "counts from now on" not in formulary("trial", "lot", after, "coconut-oil", "NEW").out


@pytest.mark.usefixtures("home")
def test_what_is_of_the_whole_batter_is_not_said_to_be_of_a_portion(formulary: Run) -> None:
    trial = start_trial(formulary)
    formulary("trial", "portions", trial, "plain 50", "clove 50")
    formulary("trial", "event", trial, "light trace", "--at", "4:10")
    twice = formulary("trial", "event", trial, "light trace", "--at", "5:10").out
    assert "light trace stands twice" in twice
    own = formulary("trial", "event", trial, "poured", "--at", "9:00", "--portion", "plain")
    assert own.status == 0
    assert (
        "poured (plain) stands twice"
        in formulary("trial", "event", trial, "poured", "--at", "9:30", "--portion", "plain").out
    )


def test_no_label_is_listed_of_bars_that_a_stop_stands_against_without_that_stop(formulary: Run, home: Path) -> None:
    trial = start_trial(formulary)
    assert formulary("ingredients", trial).status == 0
    formulary("trial", "as-made", trial, "sodium-hydroxide 249.4 g")
    loaf = formulary("ingredients", trial)
    recipe = home / "recipes" / "harbour-base.yaml"
    text = recipe.read_text(encoding="utf-8")
    assert "superfat: 5" in text
    recipe.write_text(text.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    for listed in (loaf, formulary("ingredients", "harbour-base")):
        assert listed.status == 1
        assert "STOP" in listed.out
        assert "[lye-excess]" in listed.out


@pytest.mark.usefixtures("home")
def test_a_rebatch_typed_twice_is_refused_and_every_change_of_the_pot_says_the_superfat(formulary: Run) -> None:
    trial = start_trial(formulary)
    weighed = formulary("trial", "as-made", trial, "sodium-hydroxide 249.4 g")
    assert weighed.status == 1
    assert "Superfat -" in weighed.out
    rescue = ("trial", "after", trial, "rebatched", "--at", "10 min", "--with", "olive oil 900 g")
    first = formulary(*rescue)
    assert "before it was rebatched" in " ".join(first.out.split())
    again = formulary(*rescue)
    assert again.status == 2
    assert "nothing was written" in again.err
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert len(shown["worked_in_later"]) == 1
    assert "Superfat" not in formulary("trial", "event", trial, "poured", "--at", "9:00").out


@pytest.mark.usefixtures("home")
def test_a_portion_that_was_misnamed_can_be_renamed_with_all_that_is_recorded_of_it(formulary: Run) -> None:
    trial = start_trial(formulary)
    formulary("trial", "portions", trial, "plain 50", "violet 50")
    formulary("trial", "as-made", trial, "extra honey 4 g at trace", "--portion", "violet")
    formulary("trial", "event", trial, "poured", "--at", "9:00", "--portion", "violet")
    assert "instead of violet" in formulary("trial", "portions", trial, "plain 50", "lilac 50").err
    assert formulary("trial", "portions", trial, "plain 50", "lilac 50 instead of violet").status == 0
    assert "in the lilac portion" in " ".join(formulary("trial", "show", trial).out.split())


@pytest.mark.usefixtures("home")
def test_a_bar_that_comes_back_leads_to_the_loaves_that_share_its_lots(formulary: Run) -> None:
    earlier = (date.today() - timedelta(days=60)).isoformat()
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--made", earlier)
    trial = ran.out.split("\nTrial ")[1].split(" ")[0]
    bare = formulary("materials", "where", trial[-4:])
    assert (bare.status, "materials where" in bare.err) == (2, False)
    assert f"{trial[-4:]!r} is a loaf" in bare.err
    formulary("trial", "lot", trial, "olive-oil", "OL 7")
    formulary("trial", "lot", trial, "coconut-oil", "CC-3")
    for named in (trial, trial[-4:].upper()):
        refused = formulary("materials", "where", named)
        assert refused.status == 2
        assert "formulary materials where 'OL 7' (and CC-3) tells which other loaves" in " ".join(refused.err.split())
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    formulary("trial", "release", trial, "sell", "--who", "me", "--why", "firm")
    held = formulary("trial", "release", trial, "hold", "--who", "me", "--why", "a bar came back")
    assert "formulary materials where 'OL 7' (and CC-3) tells which other loaves" in " ".join(held.out.split())
