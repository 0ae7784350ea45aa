"""A link or a pipe among the files is told as a fault of its own, and stops no work on the others."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from formulary import InputError, open_folder
from formulary.finding import Finding
from formulary.folder.status import find_status
from tests.trials.examples import folder_with
from trials.bench import open_bench

MADE = datetime(2026, 10, 3, 9, tzinfo=UTC)


def told(findings: tuple[Finding, ...]) -> list[tuple[str, str | None]]:
    return sorted((finding.code, finding.place.path) for finding in findings)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes")
def test_each_is_told_beside_everything_else_and_no_other_file_is_held_up(tmp_path: Path) -> None:
    outside = tmp_path / "outside.yaml"
    outside.write_text("format: 1\nname: Outside\n", encoding="utf-8")
    with folder_with(tmp_path / "soap") as folder:
        bench = open_bench(folder)
        trial, other = (
            bench.start("midwinter-clove", oils="1000g", now=MADE, draw_code=lambda code=code: code)  # type: ignore[misc]
            for code in ("k7wq", "m3hd")
        )
        before, recipes_before = told(bench.check()), told(folder.check())
        root = folder.root
        (root / "materials").mkdir(exist_ok=True)
        (root / "materials/hemp-seed-oil.yaml").symlink_to(outside)
        (root / "recipes/linked.yaml").symlink_to(outside)
        os.mkfifo(root / "recipes/pipe.yaml")
        linked = root / f"trials/2026/{other.id}/trial.yaml"
        linked.unlink()
        linked.symlink_to(outside)
    with open_folder(root) as folder:
        bench = open_bench(folder)
        new = [
            ("file-linked", "materials/hemp-seed-oil.yaml"),
            ("file-linked", "recipes/linked.yaml"),
            ("file-odd", "recipes/pipe.yaml"),
        ]
        assert told(folder.check()) == sorted([*recipes_before, *new])
        of_trial = ("file-linked", f"trials/2026/{other.id}/trial.yaml")
        assert of_trial in told(bench.check())
        assert {each for each in told(bench.check()) if other.id not in (each[1] or "")} == {
            each for each in before if other.id not in (each[1] or "")
        }
        assert [each.id for each in bench.trials()] == [trial.id]
        assert bench.ids_that_name("midwinter-clove") == (trial.id,)
        assert bench.trials(within=["midwinter-clove"])
        assert folder.batch("midwinter-clove", oils="1000 g").lye
        assert folder.history("midwinter-clove")
        with pytest.raises(InputError, match="is a link"):
            folder.find_version("linked")
        with pytest.raises(InputError, match="is a link"):
            folder.find_material("hemp-seed-oil")
        linked.unlink()  # a saved file must not look deleted, so that nothing is told of the rest before that
        assert {("file-linked", "recipes/linked.yaml"), ("file-odd", "recipes/pipe.yaml")} <= set(
            told(find_status(folder).findings)
        )
