"""Nothing in the environment steers which repository is used or makes a program run."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from formulary.errors import StorageError
from formulary.store import init_store, open_store
from tests.hostile.canary import RECIPE, Canary, exercise

PROGRAMS = [
    "GIT_EDITOR",
    "GIT_SEQUENCE_EDITOR",
    "GIT_PAGER",
    "GIT_EXTERNAL_DIFF",
    "GIT_SSH",
    "GIT_SSH_COMMAND",
    "GIT_ASKPASS",
    "GIT_PROXY_COMMAND",
    "GIT_PYTHON_GIT_EXECUTABLE",
    "SSH_ASKPASS",
    "PAGER",
    "EDITOR",
    "VISUAL",
]
FILES = ["GIT_TRACE", "GIT_TRACE_SETUP", "GIT_TRACE_PERFORMANCE", "GIT_TRACE2", "GIT_TRACE2_EVENT", "GIT_TRACE2_PERF"]


def test_no_variable_of_git_runs_a_program_or_leads_elsewhere(canary: Canary, monkeypatch: pytest.MonkeyPatch) -> None:
    before = canary.picture()
    for name in PROGRAMS:
        monkeypatch.setenv(name, str(canary.program))
    for name in FILES:
        monkeypatch.setenv(name, str(canary.outside / "trace"))
    own = canary.outside / ".git"
    values = {
        "GIT_DIR": own,
        "GIT_WORK_TREE": canary.outside,
        "GIT_COMMON_DIR": own,
        "GIT_INDEX_FILE": own / "index",
        "GIT_OBJECT_DIRECTORY": own / "objects",
        "GIT_ALTERNATE_OBJECT_DIRECTORIES": own / "objects",
        "GIT_CONFIG": own / "config",
        "GIT_CONFIG_GLOBAL": canary.outside / "settings",
        "GIT_CONFIG_SYSTEM": canary.outside / "settings",
        "GIT_CONFIG_COUNT": "2",
        "GIT_CONFIG_KEY_0": "core.fsmonitor",
        "GIT_CONFIG_VALUE_0": canary.program,
        "GIT_CONFIG_KEY_1": "core.hooksPath",
        "GIT_CONFIG_VALUE_1": canary.outside,
        "GIT_CONFIG_PARAMETERS": f"'core.fsmonitor'='{canary.program}'",
        "GIT_EXEC_PATH": canary.outside,
        "GIT_TEMPLATE_DIR": canary.outside,
        "GIT_NAMESPACE": "x",
        "GIT_REPLACE_REF_BASE": "refs/x",
        "GIT_SHALLOW_FILE": canary.outside / "secret.yaml",
        "GIT_LITERAL_PATHSPECS": "0",
        "GIT_ICASE_PATHSPECS": "1",
        "GIT_AUTHOR_NAME": "Somebody Else",
        "GIT_COMMITTER_DATE": "1970-01-02T00:00:00Z",
        "GIT_DEFAULT_HASH": "sha256",
        "GIT_CEILING_DIRECTORIES": canary.root,
        "GIT_QUARANTINE_PATH": canary.outside,
    }
    for name, value in values.items():
        monkeypatch.setenv(name, str(value))
    assert exercise(canary.root) == []
    canary.demand_untouched(before)
    with open_store(canary.root) as store:
        history = store.history([RECIPE])
        assert [saved.subject for saved in history] == ["Back", "-m --amend", "two", "one"]
        assert history[0].author == "formulary"
    init_store(canary.root.parent / "new").close()
    canary.demand_untouched(before)
    assert not any((canary.root.parent / "new" / ".git").rglob("secret.yaml"))


@pytest.mark.parametrize("entry", ["", ".", "bin"])
def test_a_git_program_in_the_folder_is_not_run(canary: Canary, monkeypatch: pytest.MonkeyPatch, entry: str) -> None:
    for place in (canary.root / "git", canary.root / "bin" / "git"):
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(canary.program.read_bytes())
        place.chmod(0o755)
    monkeypatch.chdir(canary.root)
    monkeypatch.setenv("PATH", os.pathsep.join([entry, os.environ["PATH"]]))
    before = canary.picture()
    assert exercise(canary.root) == []
    canary.demand_untouched(before)


def test_without_git_the_person_is_told_to_install_it(canary: Canary, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(canary.outside))
    with pytest.raises(StorageError) as fault:
        open_store(canary.root)
    assert fault.value.findings[0].code == "git-missing"


def test_an_empty_environment_and_another_time_zone_change_nothing(canary: Canary) -> None:
    code = (
        "import sys\n"
        "from datetime import UTC, datetime\n"
        "from formulary.store import open_store\n"
        "with open_store(sys.argv[1]) as store:\n"
        "    when = datetime(2026, 10, 3, 9, 30, tzinfo=UTC)\n"
        "    store.save({'recipes/ö.yaml': 'ö'.encode()}, message='ö', read_from=store.tip, now=when)\n"
        "    saved = store.history(['recipes/ö.yaml'])[0]\n"
        "    print(ascii((saved.when.isoformat(), saved.subject, saved.path, saved.author)))\n"
    )
    here = str(Path(__file__).parents[2])
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C", "TZ": "Pacific/Auckland", "PYTHONPATH": here}
    done = subprocess.run(
        [sys.executable, "-c", code, str(canary.root)], env=environment, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.stdout.strip() == ascii(("2026-10-03T09:30:00+00:00", "ö", "recipes/ö.yaml", "formulary"))


def test_a_locale_that_is_not_utf8_changes_no_name_and_no_id(canary: Canary) -> None:
    code = (
        "import sys\n"
        "from formulary.store import open_store\n"
        "assert sys.getfilesystemencoding() == 'ascii'\n"
        "name = 'recipes/\\u00f6 \\u4e09.yaml'\n"
        "with open_store(sys.argv[1]) as store:\n"
        "    store.save({name: b'one'}, message='\\u00f6', read_from=store.tip, write_working=True)\n"
        "    assert name in store.working_paths() and store.read_working(name) == b'one'\n"
        "    assert store.history([name])[0].subject == '\\u00f6'\n"
        "    assert store.blob_at(store.tip, name) == store.tip_blobs()[name]\n"
        "    assert store.working_changes() == {}\n"
        "    store.undo()\n"
        "    assert name not in store.working_paths()\n"
    )
    environment = {
        "PATH": os.environ["PATH"],
        "LC_ALL": "C",
        "PYTHONUTF8": "0",
        "PYTHONCOERCECLOCALE": "0",
        "PYTHONPATH": str(Path(__file__).parents[2]),
    }
    done = subprocess.run(
        [sys.executable, "-c", code, str(canary.root)], env=environment, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert canary.git("log", "-1", "--format=%s").startswith("Undo")
    names = canary.git("-c", "core.quotePath=false", "log", "-2", "--format=", "--name-only").split("\n")
    assert "recipes/ö 三.yaml" in names
