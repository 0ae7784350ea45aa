"""A maker is told what goes into a save beside the recipes, and what a name that is taken stands for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from formulary.store import Store, reading, working
from tests.cli.conftest import Run


@pytest.fixture
def beside(formulary: Run, home: Path) -> Path:
    """The folder of a trial, with photos beside its files."""
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    folder = next((home / "trials").glob("*/*"))
    (folder / "cut.jpg").write_bytes(b"x" * 3_100_000)
    (folder / "logger.csv").write_bytes(b"x" * 4_000)
    return folder


def test_photos_are_listed_with_their_size_before_and_after_a_save(formulary: Run, beside: Path) -> None:
    before = formulary("status")
    assert f"{beside.name}/cut.jpg  (3.1 MB)" in before.out
    assert f"{beside.name}/logger.csv  (4 kB)" in before.out
    listed = json.loads(formulary("status", "--json").out)["unsaved"]
    assert [file["size_bytes"] for file in listed] == [3_100_000, 4_000]
    saved = formulary("save", "-m", "the cut")
    assert saved.status == 0
    assert "2 files, 3.1 MB, in the history from now on" in saved.out
    assert "cut.jpg new (3.1 MB)" in " ".join(saved.out.split())
    (beside / "cut.jpg").unlink()
    assert "deleted" in formulary("status").out


def test_files_that_are_too_large_stop_the_whole_save_and_all_are_named(
    formulary: Run, home: Path, beside: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(working, "LARGEST_FILE", 2_000_000)
    (beside / "film.mov").write_bytes(b"x" * 5_000_000)
    recipe = home / "recipes/harbour-base.yaml"
    recipe.write_text(recipe.read_text().replace("superfat: 5", "superfat: 6"))
    told = formulary("status")
    assert told.status == 2
    assert told.out.count("[file-too-large]") == 2
    refused = formulary("save", "-m", "all of it")
    assert refused.status == 2
    assert [name in refused.err for name in ("cut.jpg", "film.mov", "logger.csv")] == [True, True, False]
    assert "formulary save RECIPE" in refused.err
    assert "a save takes everything or nothing" in " ".join(refused.err.split())
    assert "was saved once" in formulary("history", "harbour-base").out  # not even the recipe went in
    assert formulary("save", "harbour-base", "-m", "only the recipe").status == 0
    for name in ("cut.jpg", "film.mov"):
        (beside / name).unlink()
    assert formulary("save", "-m", "the rest").status == 0
    assert formulary("status").out.startswith("Everything is saved.")


def test_what_could_be_saved_can_be_changed_deleted_and_brought_back(
    formulary: Run, beside: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading.read_blobs, "__kwdefaults__", {"size_limit": 1_000_000, "too_large": None})
    monkeypatch.setattr(Store.read_blobs, "__kwdefaults__", {"largest": 1_000_000})
    photo = (beside / "cut.jpg").read_bytes()
    assert formulary("save", "-m", "the cut").status == 0
    (beside / "cut.jpg").write_bytes(photo + b"sharper")
    assert formulary("save", "-m", "a better one").status == 0
    (beside / "cut.jpg").unlink()
    assert formulary("save", "-m", "too large after all").status == 0
    assert formulary("undo").status == 0
    assert (beside / "cut.jpg").read_bytes() == photo + b"sharper"
    assert formulary("undo").status == 0
    assert (beside / "cut.jpg").read_bytes() == photo


@pytest.mark.usefixtures("home")
def test_a_lasting_name_is_one_for_all_recipes_and_who_has_it_is_said(formulary: Run) -> None:
    assert formulary("branch", "harbour-base", "winter-bar", "--set", "superfat=6").status == 0
    assert formulary("save", "-m", "winter").status == 0
    assert formulary("name", "harbour-base@1", "shop-2026").status == 0
    refused = formulary("name", "winter-bar", "shop-2026")
    assert refused.status == 2
    assert "shop-2026: Harbour base, " in refused.err
    assert "shared by all recipes" in refused.err
    assert formulary("name", "winter-bar", "winter-bar-shop-2026").status == 0
    assert formulary("show", "winter-bar@winter-bar-shop-2026").status == 0
    assert "RECIPE@shop-2026" in " ".join(formulary("show", "shop-2026").err.split())
    # The name stands for a moment of the formulary, in which the other recipe was not there yet.
    assert formulary("show", "winter-bar@shop-2026").status == 2
