"""What a notebook's cell ends with is shown as the command shows it, and within other things by one short line."""

from __future__ import annotations

import copy
import pickle
from dataclasses import asdict
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from formulary import Folder, InputError, add, init_folder, open_folder, render_table, save_table
from formulary.shown_as_text import ShownAsText
from tests.cli.conftest import run_apart
from trials import Bench, open_bench, record

NOW = datetime(2026, 10, 2, 9, 0, tzinfo=UTC)
DAY = date(2026, 11, 1)
_LINES_FOR_EDITORS = ("ailment", "entry")  # a path and its line before what is wrong there


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = init_folder(tmp_path_factory.mktemp("here") / "soap")
    folder.save(folder.branch("first-bar@latest", "mint-bar", add("peppermint-oil", "1 % of oils")), why="mint")
    bench = open_bench(folder)
    for recipe in ("first-bar", "mint-bar", "first-bar"):
        trial = bench.start(recipe, oils="1000 g", now=NOW)
        bench.record(trial.event("lye in", "0:00"), trial.event("light trace", "5:00"), now=NOW)
        bench.record(trial.observe("hardness", "3.1 mm", age="28 d"), record.note(trial, "smooth"), now=NOW)
    return bench


def results(bench: Bench) -> dict[str, object]:
    folder: Folder = bench.folder
    batch = folder.batch("first-bar", oils="1000 g")
    one, two, _ = bench.trials()
    return {
        "batch": batch,
        "sitting": folder.sitting([batch, folder.batch("mint-bar", oils="500 g")]),
        "rescue": folder.rescue(batch, "olive-oil 640 g"),
        "blend": folder.blend(batch),
        "cost": folder.cost(batch),
        "ingredients": folder.ingredients(batch),
        "status": folder.status(),
        "save": folder.describe_history("first-bar")[0],
        "diff": folder.diff("first-bar", "mint-bar"),
        "update": folder.find_update("mint-bar"),
        "send back": folder.find_send_back("mint-bar"),
        "comparison": bench.compare(one, two),
        "explanation": bench.explain("working time"),
        "ranking": bench.rank("hardness"),
        "ready by": bench.ready_by("2027-03-01", "first-bar", DAY, bars=20),
        "recalculation": bench.recalculate(one),
        "lot": bench.find_lot_uses("OL-7"),
        "register": folder.register,
        "to be saved": folder.prepare_save(),
        "undone": folder.undo(),
        "redone": folder.redo(),
        "ailment": folder.examine(imported_from=("here", "there"))[-1],
        "due": bench.due(DAY)[0],
        "entry": bench.after_entry(one, two, DAY),
    }


@pytest.fixture(scope="module")
def shown(bench: Bench) -> dict[str, object]:
    bench.folder.add_lot("olive-oil", "OL-7", {"saponification_value": 190})
    return results(bench)


class _Line:
    """What IPython hands over to be written on."""

    def __init__(self) -> None:
        self.said = ""

    def text(self, text: str) -> None:
        self.said += text


def test_every_result_prints_as_text_and_is_short_within_others(shown: dict[str, object]) -> None:
    for what, result in shown.items():
        assert isinstance(result, ShownAsText), what
        text, line = str(result), _Line()
        result._repr_pretty_(line, cycle=False)
        assert line.said == text
        assert "=(" not in text, what  # as data classes print
        assert max(map(len, text.splitlines())) <= 80 or what in _LINES_FOR_EDITORS, what
        assert " ".join(text.splitlines()[0].split()) in repr(result)
        assert len(repr(result)) <= 120, what
        assert "<pre>" in result._repr_html_()


def test_what_holds_much_is_named_in_a_list_of_such_and_not_written_out(bench: Bench) -> None:
    folder, trial = bench.folder, bench.trials()[0]
    held = [trial, trial.plan, folder.find_version("mint-bar"), folder, bench, bench.table(), bench.sheet(trial)]
    held += [bench.report("first-bar"), bench.next_trials("working time")]
    held += [folder.find_material("olive-oil"), folder.check(), folder.history("first-bar"), folder.register]
    held += [bench.due(DAY), bench.story("first-bar"), bench.trace(trial), bench.cure(trial)]
    for each in held:
        assert all(len(repr(one)) < 400 for one in (each if isinstance(each, tuple) else [each]))
    assert trial.id in repr([trial])
    assert "mint-bar@" in repr(folder.find_version("mint-bar"))
    assert str(folder.root) in repr(folder)


def test_a_sheet_in_python_is_that_of_the_command(bench: Bench) -> None:
    root = bench.folder.root
    folder = open_folder(root)
    batch = folder.batch("first-bar", oils="1000 g")
    for typed, result in (
        (["batch", "first-bar", "--oils", "1000g"], batch),
        (["blend", "first-bar"], folder.blend(batch)),
        (["ingredients", "first-bar"], folder.ingredients(batch)),
        (["cost", "first-bar"], folder.cost(batch)),
        (["batch", "first-bar", "--oils", "1 kg", "mint-bar", "--oils", "500g"],
         folder.sitting([batch, folder.batch("mint-bar", oils="500 g")])),
        (["diff", "first-bar", "mint-bar"], folder.diff("first-bar", "mint-bar")),
    ):  # fmt: skip
        assert run_apart(*typed, cwd=root).out.strip() == str(result).strip()


def test_a_table_is_written_and_shown_in_a_line(bench: Bench, tmp_path: Path) -> None:
    table = bench.table()
    written = save_table(table, str(tmp_path / "all.csv"))
    assert [path.name for path in written] == ["all.csv", "all.schema.json"]
    assert written[0].read_text(encoding="utf-8") == render_table(table, "csv")
    with pytest.raises(InputError):
        render_table(table, "xls")


def test_what_needs_more_than_itself_is_rendered_by_the_folder_and_the_bench(bench: Bench) -> None:
    root, code = bench.folder.root, bench.trials()[0].id[-4:]
    for typed, text in (
        (["show", "mint-bar"], bench.folder.render_recipe("mint-bar")),
        (["materials", "show", "olive-oil"], bench.folder.render_material("olive-oil")),
        (["trial", "show", code], bench.render_trial(code)),
        (["due"], bench.render_due()),
    ):
        assert run_apart(*typed, cwd=root).out.strip() == text.strip()
    with pytest.raises(InputError, match="did you mean olive-oil"):
        bench.folder.find_material("oliv-oil")


def test_what_draws_itself_is_drawn_in_a_notebook(bench: Bench) -> None:
    trials = bench.trials()
    for drawn in (bench.trace(*trials), bench.cure(*trials), bench.story("first-bar")):
        assert drawn._repr_svg_() == drawn.draw()._repr_svg_()
        assert "<svg" in drawn._repr_svg_()


def test_results_go_to_another_process_and_are_copied_as_values(bench: Bench, shown: dict[str, object]) -> None:
    held = {**shown, "trial": bench.trials()[0], "version": bench.folder.find_version("mint-bar")}
    held |= {"material": bench.folder.register["olive-oil"], "settings": bench.folder.settings, "table": bench.table()}
    for what, result in held.items():
        for again in (pickle.loads(pickle.dumps(result)), copy.deepcopy(result)):
            assert type(again) is type(result), what
            if isinstance(result, ShownAsText):
                assert str(again) == str(result), what
            elif what != "table":  # tables are compared by what they are, not by what they hold
                assert again == result, what
    assert asdict(bench.trials()[0])["recipe"] == "first-bar"
    for values in (bench.trials(), bench.folder.history("mint-bar"), [bench.folder.register["olive-oil"]]):
        assert {*values, *copy.deepcopy(values)} == {*values}
