"""A formulary that stays open, as in a notebook: what an editor or another program changes meanwhile counts at once."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest

from formulary import Folder, InputError, init_folder, open_folder, set_field
from formulary.store.working import Looks
from tests.new_formulary import FIRST
from trials import open_bench

OIL = "materials/hill-olive-oil.yaml"
NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    made = init_folder(tmp_path / "soap")
    made.add_material("hill-olive-oil", {"saponification_value": "190.0"}, kind="oil")
    made.write(made.compose("hill-bar", ["hill-olive-oil 700 g", "coconut-oil 300 g"]))
    made.save_changed(why="a bar of the hill's oil")
    return made


def by_another_program(folder: Folder, path: str, before: str, after: str) -> None:
    """A text of a file written over in its place, with nothing said to the open formulary."""
    text = (folder.root / path).read_text(encoding="utf-8")
    assert before in text
    (folder.root / path).write_text(text.replace(before, after), encoding="utf-8")


def lye_grams(folder: Folder) -> float:
    return folder.batch("hill-bar", oils="1000 g").lye[0].grams


def test_lye_is_worked_out_by_a_material_as_its_file_is_now(folder: Folder) -> None:
    seen = [lye_grams(folder)]
    for value in ("189.0", "188.0", "187.0", "186.0", "185.0"):  # as many signs each, as fast as a script writes them
        by_another_program(folder, OIL, f"{float(value) + 1}", value)
        seen.append(lye_grams(folder))
        assert seen[-1] == lye_grams(open_folder(folder.root))
    assert seen == sorted(set(seen), reverse=True)


@pytest.mark.parametrize("look", range(1, 8))
def test_a_material_that_breaks_meanwhile_is_never_worked_out_by_built_in_values(
    folder: Folder, look: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder.add_material("olive-oil", {"saponification_value": "170.0"}, kind="oil")
    by_the_file = folder.batch("first-bar", oils="1000 g").lye[0].grams
    looks, find_looks = 0, folder.store.working_looks

    def break_meanwhile(paths: Iterable[str]) -> Looks | None:
        nonlocal looks
        looks += 1
        if looks == look:
            by_another_program(folder, "materials/olive-oil.yaml", "170.0", "17O")
        return find_looks(paths)

    monkeypatch.setattr(folder.store, "working_looks", break_meanwhile)
    with suppress(InputError):
        assert folder.batch("first-bar", oils="1000 g").lye[0].grams == by_the_file


def test_a_material_is_read_anew_long_after_it_was_read_first(folder: Folder) -> None:
    yesterday = time.time() - 86_400
    os.utime(folder.root / OIL, (yesterday, yesterday))
    before = lye_grams(folder)
    by_another_program(folder, OIL, "190.0", "180.0")
    assert lye_grams(folder) == lye_grams(open_folder(folder.root)) < before


@pytest.mark.parametrize(("later_s", "is_trusted"), [(0.01, False), (1.0, True)])
def test_looks_prove_nothing_of_what_was_put_there_just_now_however_old_it_says_that_it_is(
    folder: Folder, later_s: float, is_trusted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    yesterday = time.time() - 86_400
    os.utime(folder.root / OIL, (yesterday, yesterday))
    then_ns = (folder.root / OIL).stat().st_ctime_ns + int(later_s * 1e9)
    monkeypatch.setattr(time, "time_ns", lambda: then_ns)
    assert (folder.store.working_looks([OIL]) is not None) == is_trusted


def test_a_trial_is_started_by_materials_as_they_are_now(folder: Folder) -> None:
    bench = open_bench(folder)
    before = lye_grams(folder)
    by_another_program(folder, OIL, "190.0", "180.0")
    trial = bench.start("hill-bar", oils="1000 g", now=NOW)
    frozen = next(line.grams for line in trial.plan.pot.lines if line.role == "alkali")
    assert frozen == lye_grams(folder) < before


def test_a_diff_is_worked_out_by_materials_as_they_are_now(folder: Folder) -> None:
    version = folder.find_version("hill-bar@latest")
    before = folder.diff(version, "first-bar")
    by_another_program(folder, OIL, "190.0", "180.0")
    after = folder.diff(version, "first-bar")
    assert after.sentence == open_folder(folder.root).diff(version, "first-bar").sentence != before.sentence


def test_settings_count_as_they_are_now(folder: Folder) -> None:
    assert folder.settings.scale_step_g == 1
    by_another_program(folder, "formulary.yaml", "step: 1 g", "step: 5 g")
    assert folder.settings.scale_step_g == 5
    by_another_program(folder, "formulary.yaml", "step: 5 g", "step: 5 furlongs")
    with pytest.raises(InputError, match="furlongs"):
        lye_grams(folder)


def test_a_material_that_comes_or_goes_is_known_or_not_at_once(folder: Folder) -> None:
    assert "mystery-oil" not in folder.register
    text = (folder.root / OIL).read_text(encoding="utf-8")
    (folder.root / "materials/mystery-oil.yaml").write_text(text, encoding="utf-8")
    assert "mystery-oil" in folder.register
    (folder.root / "materials/mystery-oil.yaml").unlink()
    assert "mystery-oil" not in folder.register


def test_what_stayed_as_it_was_is_not_read_twice(folder: Folder) -> None:
    register = folder.register
    os.utime(folder.root / OIL)  # looks changed, and is not
    assert folder.register is register


def test_a_history_looks_once_at_the_materials_however_many_saves_it_tells(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder.describe_history("hill-bar")
    looked: list[tuple[str, ...]] = []
    counts, find_looks = set(), folder.store.working_looks

    def count_looks(paths: Iterable[str]) -> Looks | None:
        looked.append(tuple(paths))
        return find_looks(paths)

    monkeypatch.setattr(folder.store, "working_looks", count_looks)
    for superfat in (6, 7, 8):
        by_another_program(folder, "recipes/hill-bar.yaml", f"superfat: {superfat - 1}", f"superfat: {superfat}")
        folder.save_changed(why="milder")
        looked.clear()
        told = folder.describe_history("hill-bar")
        counts.add(len(looked))
    assert counts == {2}, "once at the settings, once at all materials"
    by_another_program(folder, OIL, "190.0", "180.0")
    assert folder.describe_history("hill-bar") != told


def test_a_save_of_another_program_is_the_latest(folder: Folder) -> None:
    first = folder.find_version("first-bar@latest")
    by_another_program(folder, FIRST, "superfat: 5", "superfat: 6")
    open_folder(folder.root).save_changed(why="milder, from the shell")
    assert folder.find_version("first-bar").is_saved
    assert folder.changed_paths() == ()
    assert folder.find_version("first-bar@latest").id == folder.find_version("first-bar").id != first.id
    assert [save.why for save in folder.history("first-bar")][-1] == "milder, from the shell"
    assert [save.why for save in folder.histories()["first-bar"]][-1] == "milder, from the shell"
    trial = open_bench(folder).start("first-bar@latest", oils="1000 g", now=NOW)
    assert trial.version == folder.find_version("first-bar").id


def test_a_check_knows_what_another_program_saved_of_a_base(folder: Folder) -> None:
    folder.save(folder.branch("first-bar@latest", "mild-bar", set_field("superfat", 7)), why="milder")
    assert "parent-moved-on" not in {finding.code for finding in folder.check()}
    by_another_program(folder, FIRST, "castor-oil: 5", "castor-oil: 4")
    by_another_program(folder, FIRST, "sunflower-oil: 10", "sunflower-oil: 11")
    open_folder(folder.root).save_changed(why="less castor oil, from the shell")
    assert "parent-moved-on" in {finding.code for finding in folder.check()}


def test_undo_takes_back_the_last_save_whoever_made_it(folder: Folder) -> None:
    folder.find_version("first-bar@latest")
    by_another_program(folder, FIRST, "superfat: 5", "superfat: 6")
    other = open_folder(folder.root)
    other.save_changed(why="milder, from the shell")
    assert folder.undo().message == "Undo: milder, from the shell"
    other.undo()
    assert folder.redo().message.startswith("Redo: ")
