"""What the command line does, the library does: every command has its named counterpart among the public names."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import formulary
import trials
from tests.cli.conftest import every_command

# Command -> where a person finds the same in Python; the beginning is a public name of one of the two packages.
COUNTERPARTS = {
    "init": "formulary.init_folder",
    "demo": "trials.build_demonstration",
    "check": "formulary.Folder.check trials.Bench.check",
    "show": "formulary.Folder.find_recipe",
    "batch": "formulary.Folder.batch formulary.Folder.sitting formulary.Folder.rescue",
    "new": "formulary.Folder.compose",
    "branch": "formulary.Folder.branch formulary.Version.branch",
    "update": "formulary.Folder.find_update formulary.Folder.apply_update",
    "send-back": "formulary.Folder.find_send_back formulary.Folder.apply_send_back",
    "save": "formulary.Folder.save formulary.Folder.save_changed",
    "history": "formulary.Folder.history formulary.Folder.describe_history",
    "diff": "formulary.Folder.diff trials.Bench.diff",
    "status": "formulary.Folder.status",
    "restore": "formulary.Folder.restore trials.Bench.restore",
    "undo": "formulary.Folder.undo",
    "redo": "formulary.Folder.redo",
    "name": "formulary.Folder.name_version",
    "doctor": "formulary.Folder.examine",
    "rename": "formulary.Folder.rename",
    "blend": "formulary.Folder.blend",
    "ingredients": "formulary.Folder.ingredients",
    "cost": "formulary.Folder.cost",
    "trial start": "trials.Bench.start",
    "trial show": "trials.Bench.find_trial trials.Bench.check_trial",
    "trial recalculate": "trials.Bench.recalculate",
    "report": "trials.Bench.report",
    "trial sheet": "trials.Bench.sheet",
    "trial list": "trials.Bench.trials trials.Bench.rank",
    "trial event": "trials.Trial.event trials.record.lye_in",
    "trial blending": "trials.record.blending",
    "trial temperature": "trials.record.temperature",
    "trial after": "trials.record.handle",
    "trial observe": "trials.Trial.observe",
    "trial as-made": "trials.record.as_made trials.record.forgot_to_replace",
    "trial portions": "trials.record.portions_entry",
    "trial note": "trials.record.note",
    "trial lot": "trials.record.lot",
    "trial condition": "trials.record.condition",
    "trial bars": "trials.record.bars",
    "trial release": "trials.record.release trials.Bench.fit_to_sell",
    "due": "trials.Bench.due",
    "ready-by": "trials.Bench.ready_by",
    "compare": "trials.Bench.compare",
    "explain": "trials.Bench.explain",
    "next": "trials.Bench.next_trials trials.Bench.next_trial",
    "chart story": "trials.Bench.story",
    "chart effects": "trials.Explanation.draw",
    "chart cure": "trials.Bench.cure",
    "chart trace": "trials.Bench.trace",
    "table": "trials.Bench.table",
    "materials": "formulary.Folder.register",
    "materials show": "formulary.Folder.register",
    "materials add": "formulary.Folder.add_material",
    "materials lot": "formulary.Folder.add_lot",
    "materials where": "trials.Bench.find_lot_uses",
    "outcomes": "trials.Bench.outcomes",
}


def commands() -> Iterator[str]:
    """Those that do something by themselves."""
    for name, command in every_command():
        if not isinstance(command, click.Group) or not command.commands or command.invoke_without_command:
            yield name


@pytest.mark.parametrize("command", tuple(commands()))
def test_every_command_has_its_counterpart_in_the_library(command: str) -> None:
    assert command in COUNTERPARTS, f"name beside `{command}` what does the same from Python, and add it to README"
    for name in COUNTERPARTS[command].split():
        package, public, *rest = name.split(".")
        home = {"formulary": formulary, "trials": trials}[package]
        assert public in home.__all__, f"{name} begins with no public name"
        found = getattr(home, public)
        for part in rest:
            found = getattr(found, part)
        assert inspect.getdoc(found), f"{name} does not say what a maker gets"


def test_no_counterpart_is_of_a_command_that_is_gone() -> None:
    assert set(COUNTERPARTS) == set(commands())


@pytest.mark.parametrize("package", [formulary, trials])
def test_a_notebook_completes_the_public_names_and_nothing_else(package: object) -> None:
    assert dir(package) == sorted(getattr(package, "__all__"))  # noqa: B009 - of a module, as an object
    for name in dir(package):
        assert getattr(package, name) is not None


def test_going_back_and_keeping_order_are_a_line_each(tmp_path: Path) -> None:
    folder = formulary.init_folder(tmp_path / "soap")
    bench = trials.open_bench(folder)
    base = folder.find_version("first-bar@latest")
    folder.save(base.branch("winter-bar", formulary.swap("10 %", "olive-oil", "shea-butter")), why="winter")
    assert folder.undo().paths == ("recipes/winter-bar.yaml",)
    assert folder.recipes() == ("first-bar",)
    folder.redo()
    assert folder.name_version("winter-bar", "shop-2026").label == "shop-2026"
    assert folder.rename("winter-bar", "frost-bar").recipe.formerly == ("winter-bar",)
    assert folder.restore("frost-bar@1").id == folder.history("frost-bar")[0].id
    assert len(folder.describe_history("frost-bar")) == len(folder.history("frost-bar"))
    plum = folder.add_material(
        "plum-kernel-oil", {"saponification_value": 191, "density": "0.92 g/ml", "iodine_value": 98.5}, kind="oil"
    )
    assert plum.saponification_value is not None
    assert "PK-1" in folder.add_lot("plum-kernel-oil", "PK-1", {"received": "2026-11-02"}).lots
    assert [each.path for each in folder.status(check=bench.check_files).unsaved] == ["materials/plum-kernel-oil.yaml"]
    assert bench.find_lot_uses("PK-1").materials == ("plum-kernel-oil",)
    assert [each.finding.code for each in folder.examine(check_trials=bench.check)] == []
    assert folder.find_update("frost-bar").is_empty
    assert folder.apply_send_back(folder.find_send_back("frost-bar", "oils")).is_applied
