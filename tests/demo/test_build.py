"""The demonstration as a folder: sound for every checker, marked as invented, with the history that it promises."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from formulary.finding import Severity
from tests.demo.conftest import TODAY
from trials.demo.build import SEED, Demonstration, build_demonstration
from trials.demo.scenario import BASE, STEPS, Sitting
from trials.outcomes.find import find_values


def _files(root: Path) -> list[Path]:
    return [path for path in sorted(root.rglob("*.yaml")) if ".git" not in path.parts]


def test_no_file_of_it_has_an_error_or_a_stop(demonstration: Demonstration) -> None:
    findings = [*demonstration.folder.check(), *demonstration.bench.check()]
    assert [finding for finding in findings if finding.severity in (Severity.ERROR, Severity.STOP)] == []


def test_git_finds_nothing_wrong_with_it_and_nothing_is_left_unsaved(demonstration: Demonstration) -> None:
    root = demonstration.folder.root
    checked = subprocess.run(["git", "fsck", "--strict"], cwd=root, capture_output=True, text=True, check=True)
    assert "error" not in checked.stdout + checked.stderr
    status = subprocess.run(["git", "status", "--porcelain"], cwd=root, capture_output=True, text=True, check=True)
    assert status.stdout == ""
    assert demonstration.folder.changed_paths() == ()


def test_every_recipe_material_and_trial_says_on_top_that_it_is_invented(demonstration: Demonstration) -> None:
    for path in _files(demonstration.folder.root):
        text = path.read_text(encoding="utf-8")
        if path.name == "planned.yaml":  # written by the library as for anybody; the recipe kept in it says it
            assert "# Invented for the demonstration" in text, path
        else:
            assert text.startswith("# Invented for the demonstration"), path
    assert "invented" in demonstration.folder.settings.name


def test_the_history_says_why_each_version_came_to_be(demonstration: Demonstration) -> None:
    histories = {slug: demonstration.folder.history(slug) for slug in demonstration.folder.recipes()}
    assert len(histories) >= 4
    assert all(save.why for history in histories.values() for save in history)
    base_changed = histories[BASE][-1].when
    variants = [history for slug, history in histories.items() if slug != BASE]
    assert any(history[0].when < base_changed < history[-1].when for history in variants)
    assert all(history[0].version.recipe.based_on is not None for history in variants if history[0].version is not None)


def test_every_trial_reads_back_with_its_working_time(demonstration: Demonstration) -> None:
    trials = demonstration.bench.trials()
    assert len(trials) == sum(len(step.loaves) for step in STEPS if isinstance(step, Sitting))
    outcome = demonstration.bench.outcomes["working time"]
    assert all(find_values(trial, outcome) for trial in trials)


def test_the_season_was_over_on_the_day_given(demonstration: Demonstration) -> None:
    trials = demonstration.bench.trials()
    latest = max(
        trial.made.toordinal() + float(observation.age_days) for trial in trials for observation in trial.observations
    )
    assert latest <= TODAY.toordinal()
    assert max(float(observation.age_days) for observation in trials[-1].observations) == 42


def test_the_same_seed_and_day_build_the_same_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trials.demo.build.STEPS", STEPS[:5])
    roots = [tmp_path / name for name in ("once", "again")]
    for root in roots:
        build_demonstration(root, today=TODAY, seed=SEED + 1)
    files = [[path.relative_to(root) for path in _files(root)] for root in roots]
    assert files[0] == files[1]
    assert all((roots[0] / path).read_bytes() == (roots[1] / path).read_bytes() for path in files[0])


def test_progress_is_told_step_by_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trials.demo.build.STEPS", STEPS[:3])
    told: list[tuple[str, int, int]] = []
    build_demonstration(tmp_path / "short", today=TODAY, progress=lambda *words: told.append(words))
    assert [step for _, step, _ in told] == [0, 1, 2, 3]
    assert all(what and steps == 3 for what, _, steps in told)
