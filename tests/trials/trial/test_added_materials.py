"""What is kept of a material beyond the plan reads back as it was, or is not written."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.errors import InputError
from formulary.folder.folder import open_folder
from formulary.materials.register import read_builtin_register
from tests.trials.examples import folder_with
from trials import record
from trials.bench import open_bench
from trials.trial.added import Added, parse_added, render_added

NOW = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
REGISTER = read_builtin_register()


@given(st.lists(st.sampled_from(sorted(REGISTER)), min_size=1, max_size=4, unique=True))
def test_what_is_kept_reads_back_the_same(names: list[str]) -> None:
    kept = Added({name: REGISTER[name] for name in names})
    assert parse_added(render_added(kept)) == (kept, ())


def test_what_would_not_read_back_is_refused() -> None:
    odd = replace(REGISTER["honey"], water_percent=float("nan"))
    with pytest.raises(InputError, match="would not read back"):
        render_added(Added({"honey": odd}))


@pytest.fixture
def trial_file(tmp_path: Path) -> Iterator[Path]:
    """What is kept beside a trial into which an oil went that its plan does not hold."""
    with folder_with(tmp_path / "soap") as folder:
        bench = open_bench(folder)
        trial = bench.start("midwinter-clove", oils="1000g", now=NOW, draw_code=lambda: "k7wq")
        bench.record(record.as_made(trial, "sunflower-oil instead of castor-oil 80 g"), now=NOW)
        yield folder.root / "trials" / "2026" / trial.id / "added.yaml"


def codes(file: Path) -> list[str]:
    with open_folder(file.parents[3]) as folder:
        return [finding.code for finding in open_bench(folder).read_trial(file.parent.name)[1]]


def test_a_value_that_was_changed_by_hand_is_noticed_and_comes_back(trial_file: Path) -> None:
    kept = trial_file.read_text(encoding="utf-8")
    assert codes(trial_file) == []
    for before, after in (("working: 190.5", "working: 19.5"), ("kind: oil", "kind: wax"), ('digest: "', 'digest: "0')):
        altered = kept.replace(before, after, 1)
        assert altered != kept, before
        trial_file.write_text(altered, encoding="utf-8")
        assert codes(trial_file) == ["added-altered"]
        with open_folder(trial_file.parents[3]) as folder:
            open_bench(folder).restore("k7wq", discard=True)
        assert trial_file.read_text(encoding="utf-8") == kept


def test_a_changed_one_that_git_was_given_comes_back_as_it_was_before(trial_file: Path) -> None:
    kept = trial_file.read_text(encoding="utf-8")
    trial_file.write_text(kept.replace("kind: oil", "kind: wax", 1), encoding="utf-8")
    subprocess.run(
        ["git", "-c", "user.name=x", "-c", "user.email=x@example.org", "commit", "--quiet", "-a", "-m", "a slip"],
        cwd=trial_file.parent,
        check=True,
    )
    with open_folder(trial_file.parents[3]) as folder:
        open_bench(folder).restore("k7wq", discard=True)
    assert trial_file.read_text(encoding="utf-8") == kept
    assert codes(trial_file) == []


def test_what_an_earlier_program_kept_is_read_and_guarded_by_the_next_entry(trial_file: Path) -> None:
    kept = trial_file.read_text(encoding="utf-8")
    old = "".join(line for line in kept.splitlines(keepends=True) if not line.startswith("digest: "))
    trial_file.write_text(old, encoding="utf-8")
    assert codes(trial_file) == ["added-unguarded"]
    with open_folder(trial_file.parents[3]) as folder:
        bench = open_bench(folder)
        bench.record(record.note(bench.find_trial("k7wq"), "mild"), now=NOW)
    assert trial_file.read_text(encoding="utf-8") == kept
    assert codes(trial_file) == []


@pytest.mark.parametrize("change", [lambda text: text.replace("\n", "\r\n"), lambda text: "\ufeff" + text])
def test_the_ends_of_its_lines_change_nothing(trial_file: Path, change: Callable[[str], str]) -> None:
    trial_file.write_bytes(change(trial_file.read_text(encoding="utf-8")).encode("utf-8"))
    assert codes(trial_file) == []
