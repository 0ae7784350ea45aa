"""What `trial start`, `trial release`, `save`, `status` and `trial recalculate` say before they write, or refuse."""

from __future__ import annotations

import json
import subprocess
from datetime import date, timedelta
from pathlib import Path

import pytest

from formulary import open_folder
from tests.cli.conftest import BASE, Run

SCENTED = BASE + "scent: [{material: quay-scent, rate: 4 % of oils, at: trace}]\n"
SCENT = "format: 1\nname: Quay scent (invented)\nkind: fragrance\n"


def started(formulary: Run, *more: str) -> str:
    ran = formulary("trial", "start", "harbour-base", *(more or ("--oils", "1000g")))
    assert ran.status == 0, ran.err
    return str(json.loads(formulary("trial", "list", "--json").out)["trials"][-1]["trial"]).rsplit("-", 1)[-1]


def recipe(home: Path, text: str) -> None:
    (home / "recipes/harbour-base.yaml").write_text(text, encoding="utf-8")


def trial_file(home: Path, code: str, name: str = "trial.yaml") -> Path:
    return next(home.glob(f"trials/*/*-{code}/{name}"))


def body(home: Path) -> str:
    return subprocess.run(["git", "log", "-1", "--format=%B"], cwd=home, capture_output=True, text=True).stdout


def aged(home: Path, code: str, days: int) -> None:
    """The trial as if it had been made so many days ago, by its file and by its name."""
    path = trial_file(home, code)
    made = (date.today() - timedelta(days=days)).isoformat()
    lines = [f"made: {made}" if line.startswith("made: ") else line for line in path.read_text().splitlines()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    folder = home / "trials" / made[:4] / f"{made}{path.parent.name[len(made) :]}"
    folder.parent.mkdir(exist_ok=True)
    path.parent.rename(folder)


# -- starting ----------------------------------------------------------------------------------------


def test_an_unsaved_change_is_said_and_stands_in_the_history_in_words(formulary: Run, home: Path) -> None:
    recipe(home, BASE.replace("superfat: 5", "superfat: 7"))
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g")
    said = " ".join(ran.out.split())
    assert "The recipe's unsaved change is saved with it:" in said
    assert "superfat" in said.split("is saved with it:")[1]

    assert "from 5 to 7 %" in " ".join(body(home).split())
    again = formulary("trial", "start", "harbour-base", "--oils", "1000g")
    assert "is saved with it" not in again.out


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("size", "written"),
    [
        (("--total", "1500g"), {"batter": "1500 g"}),
        (("--bars", "12", "--bar", "110g"), {"bars": "12 of 110 g"}),
        (("--bars", "12", "--bar", "95g", "--cured"), {"bars": "12 of 95 g cured"}),
        (("--mould-size", "25 x 8 x 7 cm"), {"mould": "25 x 8 x 7 cm"}),
    ],
)
def test_a_trial_is_sized_as_a_batch_is(formulary: Run, size: tuple[str, ...], written: dict[str, str]) -> None:
    trial = started(formulary, *size)
    planned = json.loads(
        formulary("batch", "harbour-base", *(part.replace("-size", "") for part in size), "--json").out
    )
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert shown["size"] == written
    oils_g = sum(line["grams"] for line in shown["planned"] if line["role"] == "oil")
    assert oils_g == pytest.approx(sum(line["grams"] for line in planned["oils"]))
    assert next(iter(written.values())).split()[0] in formulary("trial", "show", trial).out


@pytest.mark.usefixtures("home")
def test_without_a_terminal_a_missing_size_is_an_error(formulary: Run) -> None:
    ran = formulary("trial", "start", "harbour-base")
    assert ran.status == 2
    assert "oils" in ran.err


# -- deciding ----------------------------------------------------------------------------------------


def test_a_young_untested_loaf_is_not_sold_until_each_objection_is_named(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    before = trial_file(home, trial).read_bytes()
    sell = ("trial", "release", trial, "sell", "--who", "the maker", "--why", "smells nice")
    ran = formulary(*sell)
    assert ran.status == 1
    assert "cure-short" in ran.err
    assert "free-alkali-untested" in ran.err
    assert "--despite free-alkali-untested --despite cure-short" in " ".join(ran.err.split())
    assert trial_file(home, trial).read_bytes() == before
    assert formulary(*sell, "--despite", "cure-short").status == 1
    ran = formulary(*sell, "--despite", "cure-short", "--despite", "free-alkali-untested")
    assert ran.status == 0, ran.err
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert shown["release"]["despite"] == ["cure-short", "free-alkali-untested"]
    assert "despite cure-short, free-alkali-untested" in " ".join(formulary("trial", "show", trial).out.split())


def test_an_excess_of_lye_is_never_sold(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    aged(home, trial, 60)
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    formulary("trial", "as-made", trial, "sodium-hydroxide 160 g")
    sell = ("trial", "release", trial, "sell", "--who", "me", "--why", "nice", "--despite", "lye-excess")
    ran = formulary(*sell)
    assert ran.status == 1
    assert "never be overridden" in ran.err
    assert "release:" not in trial_file(home, trial).read_text()
    assert formulary("trial", "release", trial, "discard", "--who", "me", "--why", "caustic").status == 0


@pytest.mark.parametrize(("grade", "status"), [("present", 1), ("trace", 0), ("none", 0)])
def test_free_alkali_that_is_present_is_never_sold(formulary: Run, home: Path, grade: str, status: int) -> None:
    trial = started(formulary)
    aged(home, trial, 60)
    formulary("trial", "observe", trial, "free alkali", grade, "--age", "7d")
    sell = ("trial", "release", trial, "sell", "--who", "me", "--why", "nice")
    assert formulary(*sell, *([] if grade == "none" else ["--despite", "free-alkali"])).status == status


def test_a_code_by_which_nothing_stands_is_refused_wherever_one_is_given_and_nothing_is_written(
    formulary: Run, home: Path
) -> None:
    (home / "materials").mkdir(exist_ok=True)
    (home / "materials/quay-scent.yaml").write_text(SCENT + "limit: {percent_of_product: 1.0}\n", encoding="utf-8")
    recipe(home, SCENTED)
    trial = started(formulary, "--oils", "1000g", "--despite", "scent-limit")
    sell = ("trial", "release", trial, "sell", "--who", "me", "--why", "nice")
    size = ("harbour-base", "--oils", "1000g")
    asked = [
        (("batch", *size), "scent-limit"),
        (("batch", *size, "harbour-base"), "scent-limit"),
        (("batch", *size, "--weighed", "olive-oil 900 g"), "scent-limit"),
        (("trial", "start", *size), "scent-limit"),
        (sell, "free-alkali-untested"),
    ]
    before = body(home), trial_file(home, trial).read_bytes(), formulary("trial", "list").out
    for command, stands in asked:
        named = ("--despite", "scent-limit", *(part for code in ("cure-short", stands) for part in ("--despite", code)))
        known = named[:2] if command is not sell else named
        for unknown in ("scent-limt", "superfat-low", "nothing"):
            ran = formulary(*command, *known, "--despite", unknown)
            assert ran.status == 2, command
            assert f"by '{unknown}'" in ran.err
            assert ("did you mean scent-limit?" if unknown == "scent-limt" else stands) in ran.err
    hold = formulary("trial", "release", trial, "hold", "--who", "me", "--why", "later", "--despite", "scent-limit")
    assert hold.status == 2
    assert (body(home), trial_file(home, trial).read_bytes(), formulary("trial", "list").out) == before


def test_a_cured_and_tested_loaf_is_sold_without_a_word(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    aged(home, trial, 30)  # 28 days of cure, since it was cut and dry
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    ran = formulary("trial", "release", trial, "sell", "--who", "me", "--why", "firm and mild")
    assert (ran.status, ran.err) == (0, "")
    assert "fit to sell" in formulary("trial", "show", trial).out


def test_free_alkali_in_a_loaf_that_is_sold_is_told_wherever_it_is_met(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    aged(home, trial, 40)
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "28d")
    assert formulary("trial", "release", trial, "sell", "--who", "me", "--why", "firm").status == 0
    assert formulary("check").status == 0
    found = formulary("trial", "observe", trial, "free alkali", "present", "--age", "40d")
    told = [found.out, *(formulary(*asked).out for asked in (("trial", "show", trial), ("trial", "list"), ("due",)))]
    assert all("recorded as sold" in " ".join(text.split()) for text in told)
    ran = formulary("check")
    assert (ran.status, "sold-unfit" in ran.out) == (1, True)
    listed = json.loads(formulary("trial", "list", "--json").out)["sold_unfit"]
    assert [each["code"] for each in listed] == ["sold-unfit"]
    taken_back = formulary("trial", "release", trial, "hold", "--who", "me", "--why", "free alkali")
    check = formulary("check")
    assert (taken_back.status, check.status) == (1, 1)
    assert "sold-unfit" not in taken_back.out + check.out
    assert "free alkali: present at 40 d" in check.out
    formulary("trial", "lot", trial, "olive-oil", "OL-7")
    today = date.today().isoformat()
    where = formulary("materials", "where", "OL-7")
    assert f"sold {today}, then held back {today}" in " ".join(where.out.split())
    used = json.loads(formulary("materials", "where", "OL-7", "--json").out)["trials"]
    assert [(each["decision"], each["sold"], each["sold_on"]) for each in used] == [("hold", True, today)]
    for asked in (("trial", "show", trial), ("due",)):
        assert f"sold on {today}" in " ".join(formulary(*asked).out.split()), "its bars are with people"
    gone = formulary("trial", "release", trial, "discard", "--who", "me", "--why", "free alkali")
    assert (gone.status, formulary("check").status) == (0, 0)


def test_a_stop_that_is_told_is_the_exit_status_of_whatever_tells_it(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    aged(home, trial, 60)
    fine = [("trial", "note", trial, "mild"), ("trial", "show", trial), ("trial", "list"), ("due",), ("check",)]
    assert [formulary(*command).status for command in fine] == [0] * 5
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    assert formulary("trial", "release", trial, "sell", "--who", "me", "--why", "firm").status == 0
    caustic = formulary("trial", "as-made", trial, "sodium-hydroxide 160 g")
    assert (caustic.status, "sodium-hydroxide 160 g" in body(home)) == (1, True), "it is saved, and it is told"
    written = home / "due.ics"
    for command in [*fine, ("due", "--ics", str(written)), ("due", "--json"), ("trial", "list", "--as", "csv")]:
        ran = formulary(*command)
        assert ran.status == 1, command
        assert "sold" in ran.out + ran.err
    assert written.exists()
    assert formulary("trial", "release", trial, "rework", "--who", "me", "--why", "lye-heavy").status == 1
    assert [formulary(*command).status for command in fine] == [1, 1, 0, 0, 1]
    assert formulary("trial", "release", trial, "discard", "--who", "me", "--why", "lye-heavy").status == 0
    assert [formulary(*command).status for command in fine] == [0] * 5
    assert "discarded: the effective superfat" in " ".join(formulary("check").out.split())


def test_a_stop_that_a_save_by_hand_or_a_step_back_brings_is_told_with_it(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    path = trial_file(home, trial)
    entry = "as_made:\n  - {line: olive-oil, weighed: 300 g}"
    path.write_text(path.read_text(encoding="utf-8").replace("\nas_made:", f"\n{entry}"), encoding="utf-8")
    for command, status in ((("save", "-m", "as it was"), 1), (("undo",), 0), (("redo",), 1)):
        ran = formulary(*command)
        assert (ran.status, "lye-excess" in ran.out) == (status, status == 1), command
    path.unlink()
    back = formulary("restore", trial)
    assert (back.status, "lye-excess" in back.out) == (1, True)


def test_a_recipe_with_a_stop_is_saved_brought_back_and_told(formulary: Run, home: Path) -> None:
    recipe(home, BASE.replace("superfat: 5", "superfat: -1"))
    (home / "recipes/new.yaml").write_text(BASE.replace("superfat: 5", "superfat: -1"), encoding="utf-8")
    steps = ((("save", "-m", "a slip"), 1), (("undo",), 0), (("redo",), 1), (("undo",), 0))
    for command, status in (*steps, (("restore", "harbour-base@2"), 1)):
        ran = formulary(*command)
        assert (ran.status, "superfat-negative" in ran.out) == (status, status == 1), (command, ran.out)


def test_a_recipe_that_a_material_or_the_settings_stop_is_told_with_their_save(formulary: Run, home: Path) -> None:
    (home / "recipes/mine.yaml").write_text(BASE, encoding="utf-8")
    assert formulary("save", "-m", "all is well").status == 0
    (home / "materials").mkdir(exist_ok=True)
    alkali = home / "materials/sodium-hydroxide.yaml"
    alkali.write_text("{format: 1, name: Soda, kind: alkali, assay: 85 %}\n", encoding="utf-8")
    for command, status in ((("save", "-m", "its label"), 1), (("undo",), 0), (("redo",), 1)):
        ran = formulary(*command)
        assert (ran.status, "mine.yaml" in ran.out and "[assay-doubted]" in ran.out) == (status, status == 1), command
    (home / "materials/shea-butter.yaml").write_text("{format: 1, name: Shea, kind: oil}\n", encoding="utf-8")
    ran = formulary("save", "-m", "what no recipe holds")
    assert (ran.status, "assay-doubted" in ran.out) == (0, False)
    settings = home / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert formulary("save", "-m", "a line").status == 1


def test_after_a_save_nobody_is_sent_to_weigh_out_what_a_stop_forbids(formulary: Run, home: Path) -> None:
    (home / "recipes/new.yaml").write_text(BASE.replace("superfat: 5", "superfat: -1"), encoding="utf-8")
    saved = " ".join(formulary("save", "new", "-m", "a slip").out.split())
    assert "formulary check new tells what is left" in saved
    assert "shows what to weigh" not in saved
    (home / "recipes/new.yaml").write_text(BASE, encoding="utf-8")
    assert "formulary batch new --oils 1000g shows what to weigh" in " ".join(
        formulary("save", "new", "-m", "settled").out.split()
    )


def test_a_stop_that_a_sale_overrides_by_its_code_is_told_as_a_warning_everywhere(formulary: Run, home: Path) -> None:
    (home / "materials").mkdir(exist_ok=True)
    (home / "materials/quay-scent.yaml").write_text(SCENT + "limit: {percent_of_product: 3.3}\n", encoding="utf-8")
    recipe(home, SCENTED)
    trial = started(formulary)
    aged(home, trial, 60)
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    assert formulary("trial", "as-made", trial, "quay-scent 45 g").status == 1
    told = [("trial", "show", trial), ("trial", "note", trial, "nice"), ("check",)]
    assert [formulary(*command).status for command in told] == [1, 1, 1]
    sell = ("trial", "release", trial, "sell", "--who", "me", "--why", "nice", "--despite", "scent-limit")
    assert "overridden: quay-scent is" in " ".join(formulary(*sell).out.split())
    assert [formulary(*command).status for command in told] == [0, 0, 0]
    assert formulary("trial", "as-made", trial, "quay-scent 46 g").status == 1, "the decision was made before it"


def test_a_stop_that_a_trial_was_started_in_spite_of_is_decided_until_it_grows_or_the_loaf_is_to_be_sold(
    formulary: Run, home: Path
) -> None:
    (home / "materials").mkdir(exist_ok=True)
    (home / "materials/quay-scent.yaml").write_text(SCENT + "limit: {percent_of_product: 1.0}\n", encoding="utf-8")
    recipe(home, SCENTED)
    trial = started(formulary, "--oils", "1000g", "--despite", "scent-limit")
    entries = [("event", trial, "poured", "--at", "9:00"), ("note", trial, "nice"), ("bars", trial, "--cut", "9")]
    for entry in entries:
        ran = formulary("trial", *entry)
        assert (ran.status, "scent-limit" in ran.out) == (0, False)
    shown = formulary("trial", "show", trial)
    assert (shown.status, "overridden: quay-scent is" in " ".join(shown.out.split())) == (0, True)
    checked = formulary("check").out
    assert ("1 stop, 1 warning" in checked, "warn: overridden: quay-scent is" in checked) == (True, True)
    assert formulary("trial", "sheet", trial, "-o", "bench.html").status == 0
    aged(home, trial, 60)
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    sell = ("trial", "release", trial, "sell", "--who", "me", "--why", "nice")
    refused = formulary(*sell)
    assert (refused.status, "--despite scent-limit" in " ".join(refused.err.split())) == (1, True)
    more = formulary("trial", "as-made", trial, "quay-scent 60 g")
    assert (more.status, "STOP" in more.out) == (1, True)
    assert [formulary("trial", *command).status for command in (("show", trial), ("note", trial, "strong"))] == [1, 1]
    assert formulary("trial", "sheet", trial, "-o", "worse.html").status == 1
    assert formulary("trial", "as-made", trial, "quay-scent as planned").status == 0
    assert formulary(*sell, "--despite", "scent-limit").status == 0


@pytest.mark.usefixtures("home")
def test_a_certificate_that_makes_a_loaf_unsafe_is_written_and_told(formulary: Run) -> None:
    trial = started(formulary)
    assert formulary("trial", "lot", trial, "olive-oil", "OL-7").status == 0
    assert formulary("trial", "lot", trial, "coconut-oil", "CO-1").status == 0
    assert formulary("trial", "observe", trial, "free alkali", "present", "--age", "0d").status == 1
    assert formulary("materials", "lot", "coconut-oil", "CO-1").status == 0, "a test is no matter of the certificate"
    ran = formulary("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=160")
    assert ran.status == 1
    assert "is written to" in ran.out
    assert "lye-excess" in ran.err
    swapped = formulary("branch", "harbour-base", "harbour-none", "--set", "lye.superfat=-1")
    assert (swapped.status, "Written to" in swapped.out) == (1, True)


def test_a_trial_with_a_stop_exits_as_a_stop_however_it_is_shown(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    assert formulary("trial", "show", trial).status == 0
    path = trial_file(home, trial)
    entry = "as_made:\n  - {line: olive-oil, weighed: 300 g}"
    path.write_text(path.read_text(encoding="utf-8").replace("\nas_made:", f"\n{entry}"), encoding="utf-8")
    for more in ([], ["--json"], ["--all"]):
        shown = formulary("trial", "show", trial, *more)
        assert shown.status == formulary("check").status == 1
        assert "lye-excess" in shown.out


def test_a_trial_without_oils_is_told_and_never_our_own_fault(formulary: Run, home: Path) -> None:
    started(formulary)
    started(formulary)
    trial, other = (row["trial"] for row in json.loads(formulary("trial", "list", "--json").out)["trials"])
    path = trial_file(home, trial.rsplit("-", 1)[-1])
    oils = ("olive-oil", "coconut-oil", "rice-bran-oil")
    entries = "".join(f"\n  - {{line: {oil}, instead: kaolin}}" for oil in oils)
    path.write_text(path.read_text(encoding="utf-8").replace("\nas_made:", f"\nas_made:{entries}"), encoding="utf-8")
    for command in (
        ["check"],
        ["trial", "show", trial],
        ["trial", "recalculate", trial],
        ["trial", "note", trial, "mild"],
        ["diff", trial, other],
        ["compare", trial, other],
    ):
        ran = formulary(*command)
        assert ran.status == 2, command
        assert "no-oils" in ran.err
    assert formulary("trial", "show", other).status == 0
    table = formulary("table")
    assert table.status == 0
    assert other in table.out


# -- saving ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [("planned.yaml", "superfat: 5", "superfat: 1"), ("trial.yaml", "as_made:", "as_mad:")],
)
def test_a_trial_that_cannot_be_read_is_not_saved_and_status_tells_it(
    formulary: Run, home: Path, name: str, before: str, after: str
) -> None:
    trial = started(formulary)
    path = trial_file(home, trial, name)
    text = path.read_text(encoding="utf-8")
    assert before in text
    assert formulary("status").status == 0
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    saved = formulary("save", "-m", "tamper")
    assert saved.status == 2
    assert name in saved.err
    status = formulary("status")
    assert status.status == 2
    assert name in status.out
    path.write_text(text.replace("as_made:", "as_made:   # nothing", 1), encoding="utf-8")
    assert formulary("save", "-m", "a remark").status == (0 if name == "trial.yaml" else 2)


def test_a_trial_removed_whole_is_saved_as_removed(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    folder = trial_file(home, trial).parent
    trial_file(home, trial, "trial.yaml").unlink()
    assert formulary("save", "-m", "half of it").status == 2
    (folder / "planned.yaml").unlink()
    assert formulary("save", "-m", "all of it").status == 0


# -- recording ---------------------------------------------------------------------------------------


def test_what_nobody_can_have_observed_is_told_and_kept(formulary: Run, home: Path) -> None:
    trial = started(formulary)
    ran = formulary("trial", "observe", trial, "hardness", "3.1 mm", "--age", "28d")
    assert ran.status == 0
    assert "warn" in ran.out
    assert "cannot have been seen yet" in ran.out
    assert "at most 0 d" in " ".join(ran.out.split())
    assert "warn: hardness at 28 d cannot have been seen yet" in formulary("check").out
    assert formulary("undo").status == 0
    assert "ahead-of-today" not in formulary("check").out
    formulary("redo")
    aged(home, trial, 28)
    assert "ahead-of-today" not in formulary("check").out
    ran = formulary("trial", "observe", trial, "hardness", "3000 mm", "--age", "28d", "--correct")
    assert "unlikely-value" in ran.out
    assert "unlikely-value" in formulary("check").out


@pytest.mark.usefixtures("home")
def test_a_second_entry_for_the_same_is_said_to_add_to_the_first(formulary: Run) -> None:
    trial = started(formulary)
    first = formulary("trial", "observe", trial, "hardness", "3.1 mm", "3.2 mm", "3.0 mm", "--age", "28d")
    assert "adds to" not in first.out
    again = formulary("trial", "observe", trial, "hardness", "3.3 mm", "--age", "4 weeks")
    assert "adds to the 3 readings" in again.out
    assert "--correct" in again.out
    other = formulary("trial", "observe", trial, "hardness", "3.3 mm", "--age", "42d")
    corrected = formulary("trial", "observe", trial, "hardness", "3.3 mm", "--age", "28d", "--correct")
    assert "adds to" not in other.out + corrected.out


@pytest.mark.usefixtures("home")
def test_an_age_without_its_unit_is_shown_an_age(formulary: Run) -> None:
    trial = started(formulary)
    ran = formulary("trial", "observe", trial, "gel", "80 %", "--age", "7")
    assert ran.status == 2
    assert "28 d" in ran.err
    assert "4 min" not in ran.err


# -- limits that came later --------------------------------------------------------------------------


def test_a_limit_that_came_later_reaches_an_old_loaf(formulary: Run, home: Path) -> None:
    (home / "materials").mkdir(exist_ok=True)
    scent = home / "materials/quay-scent.yaml"
    scent.write_text(SCENT, encoding="utf-8")
    recipe(home, SCENTED)
    trial = started(formulary)
    assert formulary("trial", "recalculate", trial).status == 0
    scent.write_text(SCENT + "limit: {percent_of_product: 1.0}\n", encoding="utf-8")
    ran = formulary("trial", "recalculate", trial)
    # 40 g of scent in about 1400 g of bar is far above 1 %.
    assert ran.status == 1
    assert "limit" in ran.out
    assert "STOP" in ran.out.upper()
    sell = formulary("trial", "release", trial, "sell", "--who", "me", "--why", "nice")
    assert "by today's register" in sell.err
    assert "--despite scent-limit" in " ".join(sell.err.split())
    tree = json.loads(formulary("trial", "recalculate", trial, "--json").out)
    assert "stop" in [finding["severity"] for finding in tree["findings"]["appeared"]]
    scent.write_text(SCENT + "limit: {percent_of_product: 9.0}\n", encoding="utf-8")
    fine = formulary("trial", "recalculate", trial)
    assert fine.status == 0


def test_what_grows_worse_after_a_decision_to_sell_is_told_though_the_decision_names_its_code(
    formulary: Run, home: Path
) -> None:
    (home / "materials").mkdir(exist_ok=True)
    limited = SCENT + "limit: {percent_of_product: 3.3}\n"
    (home / "materials/quay-scent.yaml").write_text(limited, encoding="utf-8")
    recipe(home, SCENTED)
    trial = started(formulary)
    aged(home, trial, 60)
    formulary("trial", "observe", trial, "free alkali", "none", "--age", "7d")
    slightly = formulary("trial", "as-made", trial, "quay-scent 45 g")
    assert "Not fit to sell" in slightly.out
    sell = ("trial", "release", trial, "sell", "--who", "me", "--why", "nice", "--despite", "scent-limit")
    assert formulary(*sell).status == 0
    grossly = formulary("trial", "as-made", trial, "quay-scent 450 g")
    assert "STOP" in grossly.out
    assert "decide anew" in " ".join(grossly.out.split())
    shown = " ".join(formulary("trial", "show", trial).out.split())
    assert "fit to sell, as far as" not in shown
    assert "in spite of: quay-scent is" in shown


def with_moulds(home: Path, moulds: str) -> None:
    settings = home / "formulary.yaml"
    lines = [line for line in settings.read_text(encoding="utf-8").splitlines() if not line.startswith("moulds:")]
    settings.write_text("\n".join([*lines, f"moulds: {moulds}"]) + "\n", encoding="utf-8")


@pytest.mark.parametrize("said", ["25 x 8 x 7 cm", "tall-loaf"])
def test_a_mould_means_the_same_size_to_a_batch_a_trial_and_the_library(formulary: Run, home: Path, said: str) -> None:
    with_moulds(home, "{tall-loaf: 25 x 8 x 7 cm}")
    by_option = [
        json.loads(formulary("batch", "harbour-base", option, said, "--json").out)["lye"]
        for option in ("--mould", "--mould-size")
    ]
    with open_folder(home) as folder:
        in_library = folder.batch("harbour-base", mould=said)
    assert [line["grams"] for line in by_option[0]] == [line.grams for line in in_library.lye]
    assert by_option[0] == by_option[1]
    for option in ("--mould", "--mould-size"):
        shown = json.loads(formulary("trial", "show", started(formulary, option, said), "--json").out)
        assert shown["size"] == {"mould": said}
        alkali = [line["grams"] for line in shown["planned"] if line["role"] == "alkali"]
        assert alkali == [line.grams for line in in_library.lye]


@pytest.mark.usefixtures("home")
def test_a_mould_beside_a_size_sets_none(formulary: Run) -> None:
    trial = started(formulary, "--oils", "500g", "--mould", "25 x 8 x 7 cm")
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert shown["size"] == {"oils": "500 g"}
    assert shown["conditions"]["mould"] == "25 x 8 x 7 cm"


def test_a_mould_that_is_not_there_is_answered_with_those_alike(formulary: Run, home: Path) -> None:
    with_moulds(home, "{tall-loaf: 25 x 8 x 7 cm}")
    ran = formulary("batch", "harbour-base", "--mould", "tal-loaf")
    assert ran.status == 2
    assert "did you mean tall-loaf?" in ran.err


@pytest.mark.usefixtures("home")
def test_what_is_weighed_for_a_trial_is_what_its_plan_keeps(formulary: Run) -> None:
    ran = formulary("trial", "start", "harbour-base", "--oils", "730g")
    assert ran.status == 0
    trial = ran.out.split("Trial ")[1].split(" ")[0]
    planned = json.loads(formulary("trial", "show", trial, "--json").out)["planned"]
    (alkali,) = [line["grams"] for line in planned if line["role"] == "alkali"]
    assert f"sodium hydroxide   {alkali:.1f}" in ran.out


def test_a_named_mould_that_sizes_a_trial_is_the_one_it_is_poured_into(formulary: Run, home: Path) -> None:
    with_moulds(home, "{tall-loaf: 25 x 8 x 7 cm}")
    trial = started(formulary, "--mould-size", "tall-loaf")
    shown = json.loads(formulary("trial", "show", trial, "--json").out)
    assert shown["size"] == {"mould": "tall-loaf"}
    assert shown["conditions"]["mould"] == "tall-loaf"
