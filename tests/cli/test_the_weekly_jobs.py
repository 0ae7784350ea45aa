"""The commands do what a maker does with them every week, each through the entry point."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from tests.cli.conftest import BASE, SOURCE, Run, run_apart


def branch_clove(formulary: Run) -> None:
    ran = formulary(
        *("branch", "harbour-base", "midwinter-clove", "--swap", "8% olive-oil:castor-oil"),
        *("--add", "oat-milk 8 % of oils at oils replaces", "--add", "clove-bud-oil 1.2 % of oils at trace"),
        *("--set", "lye.superfat=6", "--name", "Midwinter clove"),
    )
    assert (ran.status, ran.err) == (0, "")
    assert "not saved yet" in ran.out
    assert "Next: " in ran.out


def git_log(root: Path) -> list[str]:
    done = subprocess.run(["git", "log", "--format=%s%n%b%x00"], cwd=root, capture_output=True, check=True)
    return done.stdout.decode().split("\0")[:-1]


def test_init_makes_a_formulary_that_checks_clean_and_says_what_to_do_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, formulary: Run
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = formulary("init", "Seife für Ænne & co")
    assert ran.status == 0
    assert "Next: cd 'Seife für Ænne & co'" in ran.out
    monkeypatch.chdir(tmp_path / "Seife für Ænne & co")
    assert formulary("check").status == 0
    assert formulary("batch", "first-bar", "--oils", "500g").status == 0
    assert formulary("save", "-m", "nothing").status == 2


def test_branch_save_and_diff_say_the_same_change(home: Path, formulary: Run) -> None:
    branch_clove(formulary)
    text = (home / "recipes/midwinter-clove.yaml").read_text(encoding="utf-8")
    assert "# the one that always works" in text or "Midwinter clove" in text
    ran = formulary("save", "-m", "clove for the winter")
    assert ran.status == 0
    assert git_log(home)[0].startswith("clove for the winter\n")
    assert "8 % of olive oil became castor oil" in git_log(home)[0].replace("\n", " ")
    differed = formulary("diff", "harbour-base", "midwinter-clove")
    assert differed.status == 0
    assert differed.out.startswith("8 % of olive oil became castor oil")
    assert "unchanged (--all shows them)" in differed.out


def test_history_tells_each_save_and_its_trials(home: Path, formulary: Run) -> None:
    path = home / "recipes/harbour-base.yaml"
    path.write_text(BASE.replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    assert formulary("save", "harbour-base", "-m", "a milder bar").status == 0
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    ran = formulary("history", "harbour-base")
    assert ran.status == 0
    assert "was saved twice" in ran.out or "2 times" in ran.out
    assert "a milder bar" in ran.out
    assert "superfat rose from 5 to 6 %" in ran.out.replace("\n     ", " ")
    assert "nothing observed yet" in ran.out
    (latest, _) = json.loads(formulary("history", "harbour-base", "--json").out)["versions"]
    assert latest["number"] == 2
    assert len(latest["trials"]) == 1


def test_a_version_is_found_by_number_id_latest_and_working_file(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").write_text(BASE + "notes: unsaved\n", encoding="utf-8")
    (first,) = json.loads(formulary("history", "harbour-base", "--json").out)["versions"]
    for name in ("harbour-base@1", f"harbour-base@{first['id'][:6]}", "harbour-base@latest", "harbour-base@HEAD"):
        shown = json.loads(formulary("show", name, "--json").out)
        assert shown["version"]["id"] == first["id"]
        assert shown["is_saved"]
    working = json.loads(formulary("show", "harbour-base", "--json").out)
    assert not working["is_saved"]
    assert "not saved yet" in formulary("show", "harbour-base").out


def test_a_variant_of_an_unsaved_file_is_refused(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").write_text(BASE + "notes: unsaved\n", encoding="utf-8")
    ran = formulary("branch", "harbour-base", "winter")
    assert ran.status == 2
    assert "save it first" in ran.err
    assert not (home / "recipes/winter.yaml").exists()
    assert formulary("branch", "harbour-base@latest", "winter").status == 0


@pytest.mark.parametrize("name", ["a/b", "../up", "-dash", "Winter", "with space", "winter.yaml", "ü"])
def test_a_variant_cannot_have_a_name_that_is_no_file_name(name: str, home: Path, formulary: Run) -> None:
    before = sorted(home.rglob("*.yaml"))
    ran = formulary("branch", "harbour-base", "--", name)
    assert ran.status == 2
    assert "[bad-name]" in ran.err
    assert sorted(home.rglob("*.yaml")) == before


@pytest.mark.parametrize(
    ("option", "word"),
    [
        (("--swap", "10 olive-oil hemp"), "swap"),
        (("--swap", "90% olive-oil:hemp-seed-oil"), "olive"),
        (("--swap", "5% olive-oil:hemp-sead-oil"), "hemp-seed-oil"),
        (("--add", "kaolin 2 % at oils"), "of"),
        (("--add", "oat-milk 5 % of oils at oils"), "replaces"),
        (("--drop", "rose-clay"), "rose-clay"),
        (("--set", "lye.superfat=0.05"), "0.05"),
        (("--set", "lye.superfet=5"), "superfat"),
    ],
)
def test_a_tweak_that_does_not_fit_is_told_and_no_file_is_written(
    option: tuple[str, str], word: str, home: Path, formulary: Run
) -> None:
    ran = formulary("branch", "harbour-base", "winter", *option)
    assert ran.status == 2
    assert word in ran.err
    assert not (home / "recipes/winter.yaml").exists()


def test_a_stop_holds_the_weights_back_and_can_be_overridden_by_its_code(home: Path, formulary: Run) -> None:
    limit = (
        "format: 1\nname: Clove bud oil\nkind: fragrance\nlimit: {percent_of_product: 0.5, certificate: 2026-02-11}\n"
    )
    (home / "materials").mkdir()
    (home / "materials/clove-bud-oil.yaml").write_text(limit, encoding="utf-8")
    scent = "scent:\n  - {material: clove-bud-oil, rate: 1.2 % of oils, at: trace}\n"
    (home / "recipes/harbour-base.yaml").write_text(BASE + scent, encoding="utf-8")
    ran = formulary("batch", "harbour-base", "--oils", "1000g")
    assert ran.status == 1
    assert "[scent-limit]" in ran.out
    assert "In the jug" not in ran.out
    despite = formulary("batch", "harbour-base", "--oils", "1000g", "--despite", "scent-limit")
    assert despite.status == 0
    assert "In the jug" in despite.out
    assert "overridden" in despite.out
    refused = formulary("trial", "start", "harbour-base", "--oils", "1000g")
    assert refused.status == 1
    assert "[scent-limit]" in refused.err
    assert not (home / "trials").exists()
    started = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--despite", "scent-limit")
    assert started.status == 0
    (trial,) = home.glob("trials/*/*/trial.yaml")
    assert "scent-limit" in trial.read_text(encoding="utf-8")


def test_an_excess_of_lye_is_never_overridden(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").write_text(BASE.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    ran = formulary(
        "batch", "harbour-base", "--oils", "1kg", "--despite", "superfat-negative", "--despite", "lye-excess"
    )
    assert ran.status == 1
    assert "In the jug" not in ran.out


def test_trial_start_saves_its_plan_and_the_recipe_in_one_commit(home: Path, formulary: Run) -> None:
    branch_clove(formulary)
    before = len(git_log(home))
    ran = formulary(
        "trial", "start", "midwinter-clove", "--oils", "1000g", "--room", "19 °C", "--lot", "olive-oil=OL-7"
    )
    assert ran.status == 0
    assert "In the jug" in ran.out
    assert "Next: " in ran.out
    (trial,) = home.glob("trials/*/*/trial.yaml")
    assert str(trial.relative_to(home)) in ran.out
    assert len(git_log(home)) == before + 1
    assert subprocess.run(["git", "status", "--porcelain"], cwd=home, capture_output=True, check=True).stdout == b""
    code = trial.parent.name[-4:]
    shown = formulary("trial", "show", code)
    assert shown.status == 0
    assert "room 19 °C" in shown.out
    assert "OL-7" in shown.out
    assert formulary("check").status == 0


def test_a_trial_that_fits_two_names_is_asked_for_again(home: Path, formulary: Run) -> None:
    for _ in range(2):
        assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    ids = sorted(path.name for path in home.glob("trials/*/*"))
    ran = formulary("trial", "show", ids[0][:4])
    assert ran.status == 2
    assert "[ambiguous-trial]" in ran.err
    assert all(identifier in ran.err for identifier in ids)
    assert formulary("trial", "show", ids[1]).status == 0


def test_what_differed_as_made_shows_in_a_diff_with_the_recipe(home: Path, formulary: Run) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    (trial,) = home.glob("trials/*/*/trial.yaml")
    text = trial.read_text(encoding="utf-8")
    trial.write_text(text.replace("\nas_made:", "\nas_made:\n  - {line: water, weighed: 350 g}"), encoding="utf-8")
    ran = formulary("diff", "harbour-base", trial.parent.name[-4:])
    assert ran.status == 0
    assert "350.0" in ran.out


def test_no_git_identity_works_and_says_so_whatever_saves(
    home: Path, formulary: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    (home / "recipes/harbour-base.yaml").write_text(BASE + "notes: more\n", encoding="utf-8")
    for arguments in (
        ["save", "-m", "a note"],
        ["trial", "start", "harbour-base", "--oils", "1kg"],
        ["trial", "note", "TRIAL", "smelled of hay"],
        ["trial", "condition", "TRIAL", "room", "19 °C", "--whole-sitting"],
        ["undo"],
        ["redo"],
        ["restore", "harbour-base@1"],
        ["rename", "harbour-base", "quay-base"],
        ["init", "another"],
    ):
        code = next((trial.name[-4:] for trial in home.glob("trials/*/*")), "")
        ran = formulary(*(code if word == "TRIAL" else word for word in arguments))
        assert ran.status == 0
        assert ran.err.count("[git-identity]") == 1
        assert "git config --global user.name" in ran.err
    assert not formulary("show", "quay-base").err


def test_a_folder_is_named_before_or_after_the_command_from_inside_another_formulary(
    home: Path, tmp_path: Path, formulary: Run
) -> None:
    other = tmp_path / "an other"
    assert formulary("init", str(other)).status == 0
    (home / "recipes/first-bar.yaml").unlink()
    assert formulary("show", "first-bar").status == 2
    assert formulary("--folder", str(other), "show", "first-bar").status == 0
    assert formulary("show", "first-bar", "--folder", str(other)).status == 0


def test_a_command_works_from_a_folder_inside_the_formulary(
    home: Path, monkeypatch: pytest.MonkeyPatch, formulary: Run
) -> None:
    monkeypatch.chdir(home / "recipes")
    assert formulary("show", "harbour-base").status == 0


def test_a_clock_and_language_of_another_place_change_no_figure(home: Path) -> None:
    here = run_apart("batch", "harbour-base", "--oils", "1000g", cwd=home)
    there = run_apart("batch", "harbour-base", "--oils", "1000g", cwd=home, LC_ALL="C", TZ="Asia/Kathmandu", HOME="/x")
    assert (here.status, there.status) == (0, 0)
    assert here.out == there.out


@pytest.mark.skipif(not hasattr(os, "fork") or os.geteuid() != 0, reason="needs another user to become")
def test_a_folder_without_write_permission_is_exit_3_for_a_person_who_is_not_root(home: Path) -> None:
    """The superuser may write anywhere, so a child process becomes another user after everything is imported."""
    place = Path(tempfile.mkdtemp(prefix="formulary-test-", dir="/tmp"))
    try:
        place.chmod(0o755)
        root = place / "harbour"
        shutil.copytree(home, root)
        for path in [root, *root.rglob("*")]:
            os.chown(path, 65534, 65534)
            if path.is_dir():
                path.chmod(0o555)
        program = (
            "import os, sys; sys.path.insert(0, sys.argv[1]); os.chdir(sys.argv[2])\n"
            "from cli.main import run\n"
            "run(['save', '-m', 'try', '--folder', sys.argv[3]])\n"  # imports all that a save needs
            "sys.stderr.flush(); os.setgid(65534); os.setuid(65534)\n"
            "print('---', file=sys.stderr)\n"
            "print(run(['branch', 'harbour-base', 'winter']), run(['show', 'harbour-base']))\n"
        )
        spare = place / "spare"
        shutil.copytree(home, spare)
        (spare / "recipes/harbour-base.yaml").write_text(BASE + "notes: more\n", encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-c", program, str(SOURCE), str(root), str(spare)],
            cwd=place,
            env={"PATH": os.environ["PATH"], "HOME": str(place)},
            capture_output=True,
            check=False,
        )
        told = done.stderr.decode().split("---")[1]
        assert done.stdout.decode().splitlines()[-1].endswith("3 0")
        assert "Traceback" not in told
        assert not (root / "recipes/winter.yaml").exists()
    finally:
        shutil.rmtree(place)


def record(trial: Path, poured: str) -> None:
    """What a maker writes into a trial's file with an editor."""
    text = trial.read_text(encoding="utf-8")
    events = '\nevents:\n  - {at: "0:00", what: lye in}\n  - {at: "3:00", what: scent in}\n' + (
        f'  - {{at: "{poured}", what: too thick to pour}}\n'
    )
    trial.write_text(text.replace("\nevents:\n", events, 1), encoding="utf-8")


def test_compare_tells_what_differed_and_what_each_did(home: Path, formulary: Run) -> None:
    branch_clove(formulary)
    assert formulary("trial", "start", "midwinter-clove", "--oils", "1000g", "--room", "18 °C").status == 0
    assert formulary("trial", "start", "midwinter-clove", "--oils", "1000g", "--room", "23 °C").status == 0
    trials = sorted(home.glob("trials/*/*/trial.yaml"))
    for trial, poured in zip(trials, ("12:00", "7:30"), strict=True):
        record(trial, poured)
    assert formulary("check").status == 0
    codes = [trial.parent.name[-4:] for trial in trials]
    ran = formulary("compare", *codes)
    assert (ran.status, ran.err) == (0, "")
    assert "working time" in ran.out
    tree = json.loads(formulary("compare", *codes, "--json").out)
    assert {"trials", "factors", "outcomes", "hidden"} <= set(tree)
    room = next(factor for factor in tree["factors"] if "room" in factor["factor"])
    assert sorted(room["values"]) == [18, 23]


@pytest.mark.usefixtures("home")
def test_compare_without_a_trial_or_with_an_unknown_one_is_wrong_input(formulary: Run) -> None:
    assert formulary("compare").status == 2
    ran = formulary("compare", "k7wq", "m3hd")
    assert ran.status == 2
    assert "[no-trial]" in ran.err
