"""A message names what really helps: the recipes that are here, the option that sets a size, the way back."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import BASE, Run
from tests.cli.test_lots_and_entries import start_trial


def trial_folder(home: Path) -> Path:
    (path,) = home.glob("trials/*/*")
    return path


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    "command",
    [
        ("show", "zzz"),
        ("batch", "zzz", "--oils", "1kg"),
        ("history", "zzz"),
        ("save", "zzz", "-m", "x"),
        ("restore", "zzz"),
        ("rename", "zzz", "yyy"),
        ("diff", "zzz", "harbour-base"),
        ("trial", "list", "zzz"),
    ],
    ids=" ".join,
)
def test_a_recipe_that_is_not_here_is_answered_with_those_that_are(formulary: Run, command: tuple[str, ...]) -> None:
    ran = formulary(*command)
    assert ran.status == 2
    assert "recipes here: first-bar, harbour-base" in ran.err


@pytest.mark.usefixtures("home")
def test_a_trial_started_with_a_mould_and_no_size_is_told_of_the_option_that_sets_one(formulary: Run) -> None:
    ran = formulary("trial", "start", "harbour-base", "--mould", "the blue one")
    assert ran.status == 2
    assert "'the blue one' is neither the inside of a mould nor one of the settings" in ran.err
    assert "--mould-size" in ran.err
    assert formulary("trial", "start", "harbour-base", "--mould-size", "25 x 8 x 7 cm").status == 0


@pytest.mark.parametrize("harm", ["altered", "broken", "gone", "record broken", "record gone"])
def test_the_command_that_a_damaged_trial_names_brings_it_back(formulary: Run, home: Path, harm: str) -> None:
    trial = start_trial(formulary)
    place = trial_folder(home)
    path = place / ("trial.yaml" if "record" in harm else "planned.yaml")
    sound = path.read_bytes()
    if "gone" in harm:
        path.unlink()
    elif harm == "altered":
        path.write_bytes(sound.replace(b"superfat: 5", b"superfat: 6"))
        assert path.read_bytes() != sound
    else:
        path.write_bytes(b"- [\n" + sound)
    told = formulary("check")
    assert told.status == 2
    command = f"formulary restore {place.name}"
    assert harm == "record broken" or command in told.out + told.err
    if "gone" not in harm:
        refused = formulary("restore", trial)
        assert refused.status == 3
        assert "--discard" in refused.err
        assert path.read_bytes() != sound
    if "record gone" not in harm:  # its four characters name it all the same
        assert formulary("restore", trial, "--discard").status == 0
    else:
        assert formulary("restore", place.name).status == 0
    assert path.read_bytes() == sound
    assert formulary("check").status == 0
    assert formulary("restore", trial).status == 2


def test_a_plan_that_was_altered_and_committed_comes_back_as_it_was_frozen(formulary: Run, home: Path) -> None:
    import subprocess

    trial = start_trial(formulary)
    path = trial_folder(home) / "planned.yaml"
    sound = path.read_bytes()
    path.write_bytes(sound.replace(b"superfat: 5", b"superfat: 6"))
    subprocess.run(["git", "commit", "-qam", "by hand"], cwd=home, check=True)
    assert formulary("restore", trial).status == 0, "what was committed is in history, so that nothing is thrown away"
    assert path.read_bytes() == sound


def test_saving_a_recipe_saves_that_one_with_what_it_is_made_of(formulary: Run, home: Path) -> None:
    assert formulary("materials", "add", "zz", "--kind", "additive").status == 0
    unchanged = formulary("save", "harbour-base", "-m", "only this")
    assert unchanged.status == 2
    assert "harbour-base has not changed" in unchanged.err
    assert formulary("materials", "add", "yy", "--kind", "additive").status == 0
    more = BASE + "additions:\n  - {material: yy, rate: 1 % of oils, at: oils}\n"
    (home / "recipes/harbour-base.yaml").write_text(more, encoding="utf-8")
    saved = formulary("save", "harbour-base", "-m", "with yy")
    assert saved.status == 0
    assert "materials/yy.yaml" in saved.out
    assert "zz" not in saved.out
    assert "materials/zz.yaml" in formulary("status").out


def test_of_the_recipes_named_those_that_changed_are_saved_and_the_others_told(formulary: Run, home: Path) -> None:
    for name in ("quay", "pier", "mole"):
        (home / f"recipes/{name}.yaml").write_text(BASE, encoding="utf-8")
    assert formulary("save", "quay", "pier", "-m", "two more").status == 0
    (home / "recipes/quay.yaml").write_text(BASE.replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    ran = formulary("save", "pier", "quay", "harbour-base", "-m", "milder")
    assert ran.status == 0
    assert "Saved recipes/quay.yaml" in ran.out
    assert "pier, harbour-base have not changed since the last save." in ran.out
    left = [each["path"] for each in json.loads(formulary("status", "--json").out)["unsaved"]]
    assert left == ["recipes/mole.yaml"]
    refused = formulary("save", "pier", "quay", "-m", "again")
    assert refused.status == 2
    assert "pier, quay have not changed since the last save" in refused.err


@pytest.mark.usefixtures("home")
def test_undo_says_which_record_went_and_which_files_are_gone(formulary: Run) -> None:
    trial = start_trial(formulary)
    assert formulary("trial", "event", trial, "light trace", "--at", "4:00").status == 0
    assert "light trace at 4:00" in formulary("undo").out
    assert "planned.yaml  removed" in formulary("undo").out


@pytest.mark.usefixtures("home")
def test_nothing_is_said_to_be_weighed_where_evidence_is_missing(formulary: Run) -> None:
    start_trial(formulary)
    told = formulary("explain", "hardness").out
    assert "never observed" in told
    assert "weigh" not in told


def test_a_trials_folder_that_was_moved_by_hand_is_named_where_it_is_and_hides_nothing_else(
    formulary: Run, home: Path
) -> None:
    start_trial(formulary)
    other = start_trial(formulary)
    moved = home / "trials" / "2026" / "old loaf"
    for place in home.glob(f"trials/*/*{other}"):
        moved = place.rename(place.parent / "old-loaf")
    named = moved.relative_to(home).as_posix()
    (home / "recipes/harbour-base.yaml").write_text(BASE.replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    for command in (("status",), ("check",), ("save", "-m", "x"), ("trial", "list")):
        told = formulary(*command)
        said = told.out + told.err
        assert f"{named} is not named as a trial is" in " ".join(said.split()), command
        paths = {word.rstrip(":,") for word in said.split() if word.startswith("trials/") and "/" in word}
        shown = {path.partition(":")[0] for path in paths}
        listed_as_deleted = {path for path in shown if f"deleted  {path}" in said}
        assert all((home / path).exists() for path in shown - listed_as_deleted), (command, shown)
    assert "changed  recipes/harbour-base.yaml" in formulary("status").out


def test_an_undo_that_would_lose_an_edit_says_which_and_how_to_go_on(formulary: Run, home: Path) -> None:
    path = home / "recipes/harbour-base.yaml"
    path.write_text(BASE.replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    assert formulary("save", "-m", "softer").status == 0
    path.write_text(BASE.replace("superfat: 5", "superfat: 7"), encoding="utf-8")
    refused = formulary("undo")
    assert refused.status == 3
    assert "recipes/harbour-base.yaml has changes that were not saved" in " ".join(refused.err.split())
    assert not re.search(r"[0-9a-f]{8}", refused.err)
    way_out = refused.err.partition("throw them away: formulary ")[2].split("\n")[0]
    assert formulary(*way_out.split()).status == 0
    assert formulary("undo").status == 0
    assert path.read_text(encoding="utf-8") == BASE


def test_each_version_that_is_offered_stands_once(formulary: Run, home: Path) -> None:
    path = home / "recipes/harbour-base.yaml"
    for superfat in (6, 5, 6, 5):
        path.write_text(BASE.replace("superfat: 5", f"superfat: {superfat}"), encoding="utf-8")
        assert formulary("save", "-m", "to and fro").status == 0
    refused = formulary("show", "harbour-base@99")
    offered = re.findall(r"harbour-base@[0-9a-f]{8}", refused.err)
    assert len(offered) == len(set(offered)) == 2


def test_a_save_of_what_was_deleted_names_no_command_on_it(home: Path, formulary: Run) -> None:
    start_trial(formulary)
    for path in (trial_folder(home) / "trial.yaml", trial_folder(home) / "planned.yaml"):
        path.unlink()
    saved = formulary("save", "-m", "it never was")
    assert saved.status == 0
    (trial,) = re.findall(r"Next: formulary restore (\S+) brings back what was deleted", " ".join(saved.out.split()))
    (home / "recipes/harbour-base.yaml").write_text(BASE + "notes: more\n", encoding="utf-8")
    assert formulary("save", "-m", "something else meanwhile").status == 0
    restored = formulary("restore", trial[-4:])
    assert restored.status == 0
    assert (trial_folder(home) / "planned.yaml").exists()
    assert formulary("save", "-m", "back").status == 0
    assert formulary("trial", "show", trial).status == 0
    assert formulary("restore", "zzzz").status == 2


def test_a_restore_says_whether_it_is_a_save_that_the_history_shows(formulary: Run, home: Path) -> None:
    recipe = home / "recipes/harbour-base.yaml"
    recipe.write_text(recipe.read_text(encoding="utf-8") + "# once more\n", encoding="utf-8")
    discarded = formulary("restore", "harbour-base@latest", "--discard").out
    assert "and saved" not in discarded
    assert "shows the return" not in discarded
    recipe.unlink()
    assert formulary("save", "-m", "not made any more").status == 0
    brought_back = formulary("restore", "harbour-base").out
    assert "and saved." in brought_back
    assert "history harbour-base shows the return" in brought_back
    assert "the same again as the 1st" in formulary("history", "harbour-base").out
