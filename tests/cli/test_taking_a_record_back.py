"""What was recorded wrong is set right in one line, and says what it was."""

from __future__ import annotations

import json
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def started(formulary: Run, *more: str) -> str:
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g", *more)
    assert ran.status == 0, ran.err
    trial: str = ran.out.split("\nTrial ")[1].split(" ")[0]
    return trial


def file_of(home: Path, trial: str) -> str:
    return next(home.glob(f"trials/*/{trial}/trial.yaml")).read_text(encoding="utf-8")


def test_what_takes_the_place_of_another_says_what_that_was(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    first = formulary("trial", "as-made", trial, "sunflower-oil instead of rice-bran-oil")
    assert "was" not in first.out.split("\n")[1]
    again = formulary("trial", "as-made", trial, "lard instead of rice-bran-oil")
    assert "was sunflower oil instead of rice bran oil" in again.out
    assert "sunflower" not in file_of(home, trial)
    extra = ("trial", "as-made", trial, "extra honey 12 g at oils")
    assert "was" not in formulary(*extra).out
    assert "was extra honey 12 g" in formulary(*extra[:3], "extra honey 10 g at oils").out


def test_what_differed_is_taken_back_in_a_line(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    before = file_of(home, trial)
    for said, back in (
        ("rice-bran-oil 230 g", "rice-bran-oil as planned"),
        ("lard instead of rice-bran-oil", "rice-bran-oil as planned"),
        ("water 283 g", "water as planned"),
        ("no coconut-oil", "coconut-oil as planned"),
        ("extra honey 12 g at oils", "no extra honey"),
        ("extra honey 12 g at trace", "no extra honey at trace"),
    ):
        assert formulary("trial", "as-made", trial, said).status == (1 if said == "no coconut-oil" else 0)
        ran = formulary("trial", "as-made", trial, back)
        assert (ran.status, ran.err) == (0, "")
        assert "was" in ran.out
        assert file_of(home, trial).replace("as_made: []", "as_made:") == before
    ran = formulary("trial", "as-made", trial, "coconut-oil as planned")
    assert ran.status == 2
    assert "recorded as made: nothing" in ran.err


@pytest.mark.usefixtures("home")
def test_two_extras_of_one_material_are_told_apart_before_one_is_taken_back(formulary: Run) -> None:
    trial = started(formulary)
    for at in ("oils", "trace"):
        formulary("trial", "as-made", trial, f"extra honey 12 g at {at}")
    ran = formulary("trial", "as-made", trial, "no extra honey")
    assert ran.status == 2
    assert "oils, trace" in ran.err
    assert formulary("trial", "as-made", trial, "no extra honey at oils").status == 0
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert [line["at"] for line in shown["in_the_pot"] if line["material"] == "honey"] == ["trace"]


def test_what_came_after_pouring_is_corrected(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    assert formulary("trial", "after", trial, "insulated", "--at", "10 min").status == 0
    ran = formulary("trial", "after", trial, "insulated", "--at", "20 min", "--correct")
    assert "was at 10 min" in ran.out
    assert file_of(home, trial).count("what: insulated") == 1
    formulary("trial", "after", trial, "insulated", "--at", "5 h")
    ran = formulary("trial", "after", trial, "insulated", "--at", "6 h", "--correct")
    assert ran.status == 2
    assert "at 20 min; at 5 h" in ran.err
    ran = formulary("trial", "after", trial, "insulated", "--at", "5 h", "--temperature", "30C", "--correct")
    assert ran.status == 0
    assert file_of(home, trial).count("what: insulated") == 2
    assert "5 h after pouring, at 30 °C" in " ".join(formulary("trial", "show", trial).out.split())


@pytest.mark.usefixtures("home")
def test_what_was_read_in_other_units_is_shown_to_a_tenth(formulary: Run) -> None:
    trial, other = started(formulary), started(formulary)
    formulary("trial", "condition", trial, "lye_temperature", "100F")
    formulary("trial", "condition", trial, "room", "64F")
    formulary("trial", "after", trial, "insulated", "--at", "10 min")
    shown = formulary("trial", "show", trial).out
    assert "lye 37.8 °C" in shown
    assert "room 17.8 °C" in shown
    assert "10 min after pouring" in shown
    assert "37.8 °C" in formulary("diff", other, trial).out
    assert "7777" not in shown + formulary("diff", other, trial).out


@pytest.mark.usefixtures("home")
def test_batches_from_a_notebook_have_the_days_they_were_made_on(formulary: Run) -> None:
    started(formulary)
    earlier = (date.today() - timedelta(days=90)).isoformat()
    latest = (date.today() - timedelta(days=9)).isoformat()
    trials = [started(formulary, "--made", day) for day in (latest, earlier)]
    assert [trial[:10] for trial in trials] == [latest, earlier]
    listed = json.loads(formulary("trial", "list", "--json").out)["trials"]
    assert [row["made"] for row in listed] == [earlier, latest, date.today().isoformat()]
    assert [row["sitting"] for row in listed] == [row["made"] for row in listed]
    assert earlier in formulary("trial", "list").out
    ahead = (date.today() + timedelta(days=1)).isoformat()
    for day in (ahead, "3.10.2026"):
        assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "--made", day).status == 2


@pytest.mark.usefixtures("home")
def test_a_trial_starts_with_its_lots_on_the_sheet_and_says_which_count_for_nothing(formulary: Run) -> None:
    assert "Lots:" not in formulary("trial", "start", "harbour-base", "--oils", "1000g").out
    formulary("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=190")
    lots = ("--lot", "olive-oil=OL-7", "--lot", "sodium-hydroxide=NH-12")
    said = " ".join(formulary("trial", "start", "harbour-base", "--oils", "1000g", *lots).out.split())
    assert "Lots: olive oil OL-7, sodium hydroxide NH-12." in said
    assert "NH-12: Nothing is registered of this lot" in said
    assert "OL-7: Nothing" not in said


@pytest.mark.usefixtures("home")
def test_an_entry_by_the_clock_that_moves_the_day_of_a_batch_says_so(formulary: Run) -> None:
    earlier = (date.today() - timedelta(days=90)).isoformat()
    trial = started(formulary, "--made", earlier)
    assert "Made on" not in formulary("trial", "event", trial, "lye in", "--at", "0:00").out
    said = " ".join(formulary("trial", "event", trial, "lye in").out.split())
    assert f"Made on {date.today().isoformat()}, by the clock of this entry; it said {earlier}." in said


def test_trials_are_listed_by_the_day_that_their_file_says(formulary: Run, home: Path) -> None:
    first, second = started(formulary), started(formulary)
    later = max(first, second)
    path = next(home.glob(f"trials/*/{later}/trial.yaml"))
    text = path.read_text(encoding="utf-8").replace(f"made: {date.today().isoformat()}", "made: 2026-01-05")
    path.write_text(text, encoding="utf-8")
    listed = json.loads(formulary("trial", "list", "--json").out)["trials"]
    assert [row["trial"] for row in listed] == [later, min(first, second)]
    shown = formulary("trial", "list").out
    assert f"{later[-4:]}  2026-01-05, harbour-base@" in shown
    assert later in " ".join(shown.split())


@pytest.mark.usefixtures("home")
def test_a_certificate_that_makes_a_poured_loaf_caustic_says_so_when_it_is_written(formulary: Run) -> None:
    trial, other = started(formulary), started(formulary)
    formulary("trial", "lot", trial, "olive-oil", "OL-7")
    formulary("trial", "lot", other, "coconut-oil", "OL-7")
    ran = formulary("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=165")
    told = ran.out + ran.err
    assert "lye-excess" in told
    assert trial in told
    assert other not in told


@pytest.mark.usefixtures("home")
def test_a_correction_says_all_that_it_takes_the_place_of(formulary: Run) -> None:
    trial = started(formulary)
    formulary("trial", "event", trial, "light trace", "--at", "4:10")
    corrected = formulary("trial", "event", trial, "light trace", "--at", "5:10", "--correct")
    assert "was at 4:10" in corrected.out
    assert "was at" not in formulary("trial", "event", trial, "light trace", "--at", "5:10", "--correct").out
    formulary("trial", "after", trial, "rebatched", "--at", "27d", "--with", "olive-oil 20 g")
    corrected = formulary("trial", "after", trial, "rebatched", "--at", "26d", "--with", "olive-oil 60 g", "--correct")
    assert "was at 27 d with 20 g of olive oil" in corrected.out
    assert "26 d after pouring" in " ".join(formulary("trial", "show", trial).out.split())


@pytest.mark.usefixtures("home")
def test_lye_that_no_decision_can_sell_is_not_said_to_wait_for_one(formulary: Run) -> None:
    trial = started(formulary)
    told = formulary("trial", "as-made", trial, "sodium-hydroxide 160 g").out
    assert "until decided" not in told
    assert "nobody can decide otherwise" in told


@pytest.mark.usefixtures("home")
def test_a_test_for_free_alkali_says_at_once_what_it_leaves_uncleared(formulary: Run) -> None:
    trial = started(formulary)
    observe = ("trial", "observe", trial, "free alkali", "none", "--age", "0d")
    assert "no test has cleared" not in formulary(*observe).out
    formulary("trial", "portions", trial, "plain 50", "dark 50")
    formulary("trial", "as-made", trial, "extra sodium-hydroxide 2.5 g at trace", "--portion", "dark")
    assert "no test has cleared" not in formulary("trial", "note", trial, "nice").out
    ran = formulary(*observe, "--correct")
    again = formulary(*observe, "--portion", "plain")
    assert ran.status == again.status == 0, "it is a stop for a sale alone"
    assert "free alkali was not looked for in dark, and there may be some" in " ".join(again.out.split())
    assert "no test has cleared" not in formulary(*observe, "--portion", "dark").out


@pytest.mark.usefixtures("home")
def test_free_alkali_that_was_found_is_told_until_a_test_finds_none(formulary: Run) -> None:
    trial = started(formulary)
    observe = ("trial", "observe", trial, "free alkali")
    note = ("trial", "note", trial, "smells nice")
    assert "do not sell" in formulary(*observe, "present", "--age", "0d").out
    assert "free-alkali" in formulary(*note).out
    assert "free-alkali" not in formulary(*observe, "none", "--age", "0d", "--correct").out
    assert "free-alkali" not in formulary(*note).out


def test_an_undo_of_an_entry_leaves_what_was_written_by_hand_before_it(formulary: Run, home: Path) -> None:
    trial, other = started(formulary), started(formulary)
    path = next(home.glob(f"trials/*/{trial}/trial.yaml"))
    text = path.read_text(encoding="utf-8").replace("notes:", 'notes: "lye 126 g?"')
    for entry in (["event", trial, "poured", "--at", "12:00"], ["condition", other, "room", "20C", "--whole-sitting"]):
        path.write_text(text := text + "# by hand\n", encoding="utf-8")
        refused = formulary("trial", *entry[:2], "no such", "--at", "12:00")
        assert (refused.status, path.read_text(encoding="utf-8")) == (2, text)
        assert "trial.yaml" in formulary("status").out, "what is refused saves nothing else"
        said = " ".join(formulary("trial", *entry).out.split())
        assert said.count("what was written by hand in its file is saved first, by itself") == 1
        assert trial in said
        assert formulary("undo").status == 0
        assert path.read_text(encoding="utf-8") == text
        assert "Everything is saved" in formulary("status").out
    assert "by hand" not in formulary("trial", "event", trial, "poured", "--at", "12:00").out


@pytest.mark.usefixtures("home")
def test_a_time_with_colons_says_what_it_was_taken_for_since_an_hour_of_the_day_is_written_alike(
    formulary: Run,
) -> None:
    trial = started(formulary)
    for typed, said in (("16:20", "16 min 20 s after"), ("~1:02:00", "1 h 2 min after"), ("4:00", "4 min after")):
        out = formulary("trial", "event", trial, "poured", "--at", typed, "--correct").out
        assert f"{said} the lye went in" in out
    for typed in ("16 min", "3-5 min", "unknown"):
        assert "the lye went in" not in formulary("trial", "event", trial, "poured", "--at", typed, "--correct").out


def test_a_loaf_that_was_sold_is_not_deleted_without_a_word_nor_left_out_where_its_lot_went(
    formulary: Run, home: Path
) -> None:
    earlier = (date.today() - timedelta(days=60)).isoformat()
    sold, kept = started(formulary, "--made", earlier), started(formulary, "--made", earlier)
    for trial in (sold, kept):
        formulary("trial", "lot", trial, "olive-oil", "OL-7")
        formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    formulary("trial", "release", sold, "sell", "--who", "me", "--why", "firm")
    whole = formulary("materials", "where", "OL-7").out
    assert f"if the lot is bad, formulary trial release {sold[-4:]} hold --who NAME --why WHY" in " ".join(
        whole.split()
    )
    for trial in (sold, kept):
        shutil.rmtree(home / f"trials/{trial[:4]}/{trial}")
    for told in (formulary("check"), formulary("status"), formulary("save", "-m", "tidy")):
        assert told.out.count("sold-deleted") == 1
        assert f"formulary restore {sold}" in " ".join(told.out.split())
        assert f"formulary restore {kept}" not in told.out
    assert "sold-deleted" not in formulary("check").out  # once it is saved, history alone has it
    (used,) = json.loads(formulary("materials", "where", "OL-7", "--json").out)["trials"]
    assert (used["trial"], used["deleted"], used["grams"]) == (sold, True, 530.0)
    assert "deleted since" in " ".join(formulary("materials", "where", "OL-7").out.split())
    assert "hold --who" not in formulary("materials", "where", "OL-7").out
    assert "sold-deleted" not in formulary("undo").out
    assert formulary("redo").out.count("sold-deleted") == 1
    for trial in (sold, kept):
        assert formulary("restore", trial).status == 0
    assert formulary("materials", "where", "OL-7").out == whole


def test_a_sold_loaf_whose_folder_was_moved_is_not_deleted(formulary: Run, home: Path) -> None:
    trial = started(formulary, "--made", (date.today() - timedelta(days=60)).isoformat())
    formulary("trial", "lot", trial, "olive-oil", "OL-7")
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    formulary("trial", "release", trial, "sell", "--who", "me", "--why", "firm")
    moved = trial.replace("harbour-base", "quay-base")
    (home / f"trials/{trial[:4]}/{trial}").rename(home / f"trials/{trial[:4]}/{moved}")
    for told in (formulary("check"), formulary("save", "-m", "its name")):
        assert "sold-deleted" not in told.out
    (used,) = json.loads(formulary("materials", "where", "OL-7", "--json").out)["trials"]
    assert (used["trial"], used["deleted"]) == (moved, False)
