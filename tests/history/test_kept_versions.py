"""What is kept of versions that were read changes no answer: damage, other editions, rivals and no cache at all."""

from __future__ import annotations

import ast
import os
import random
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from zlib import crc32

import pytest

from formulary import SavedVersion, Version, init_folder, open_folder, quantity
from formulary.history import kept
from formulary.store.cache import BlobCache

SOURCE = Path(__file__).parents[2]
FIRST = "recipes/first-bar.yaml"


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three recipes of many versions; one was renamed, one has a version that cannot be read."""
    root = tmp_path_factory.mktemp("kept") / "soap"
    with init_folder(root):
        text = (root / FIRST).read_text(encoding="utf-8")
    stream = []
    for number in range(30):
        for slug in ("harbour", "early" if number < 9 else "late"):
            more = "formerly: [early]\n" if slug == "late" else ""
            said = f"{more}{text}  Version {number} of {slug}, 5.0 °C.\n" if number != 20 else "oils: none\n"
            data = said.encode()
            stream += [b"commit refs/heads/main\ncommitter Ann <ann@example.org> %d +0000\n" % (1_800_000_000 + number)]
            stream += [b"data 1\nx\n", b"from refs/heads/main^0\n" if not number and slug == "harbour" else b""]
            stream += [b"D recipes/early.yaml\n" if slug == "late" and number == 9 else b""]
            stream += [f"M 100644 inline recipes/{slug}.yaml\ndata {len(data)}\n".encode(), data, b"\n"]
    subprocess.run(["git", "fast-import", "--quiet"], cwd=root, input=b"".join(stream), check=True)
    subprocess.run(["git", "reset", "--quiet", "--hard"], cwd=root, check=True)
    return root


@pytest.fixture(autouse=True)
def _few_are_worth_keeping(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "WORTH_KEEPING", 2)


Told = dict[str, list[tuple[object, ...]]]


def in_full(version: Version) -> tuple[str, str, str]:
    """A version with every figure of its recipe, 5.0 apart from 5."""
    return repr(version), repr(version.recipe), version.text


def told(saves: dict[str, tuple[SavedVersion, ...]]) -> Told:
    return {
        slug: [
            (repr(save), *(() if save.version is None else (in_full(save.version), dict(save.version.recipe.places))))
            for save in of_recipe
        ]
        for slug, of_recipe in saves.items()
    }


def read_all(root: Path, cache: Path | None) -> Told:
    with open_folder(root, cache=cache) as folder:
        return told(folder.histories())


@pytest.fixture(scope="module")
def expected(root: Path) -> Told:
    found = read_all(root, None)
    assert [len(found[slug]) for slug in ("first-bar", "harbour", "late")] == [1, 30, 30]
    return found


def test_all_histories_at_once_are_those_of_each_recipe(root: Path, expected: Told) -> None:
    with open_folder(root) as folder:
        assert told({slug: folder.history(slug) for slug in folder.recipes()}) == expected


def test_a_second_time_nothing_that_was_kept_is_read_again(
    root: Path, expected: Told, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert read_all(root, tmp_path / "cache") == expected
    again: list[str] = []
    read = kept.parse_recipe
    monkeypatch.setattr(kept, "parse_recipe", lambda data, slug, path: again.append(slug) or read(data, slug, path))
    assert read_all(root, tmp_path / "cache") == expected
    assert again == ["harbour", "late"]  # the one version of each with faults, which is never kept
    with open_folder(root, cache=tmp_path / "cache") as folder:
        assert told({"late": folder.history("late")}) == {"late": expected["late"]}


def test_deleting_the_cache_changes_no_answer(root: Path, expected: Told, tmp_path: Path) -> None:
    for _ in range(2):
        assert read_all(root, tmp_path / "cache") == expected
        (file,) = (tmp_path / "cache").iterdir()
        file.unlink()


def test_a_flipped_bit_changes_no_answer(root: Path, expected: Told, tmp_path: Path) -> None:
    read_all(root, tmp_path)
    (file,) = tmp_path.iterdir()
    sound = file.read_bytes()
    seeded = random.Random(4)
    for _ in range(25):
        data = bytearray(sound)
        data[seeded.randrange(len(data))] ^= 1 << seeded.randrange(8)
        file.write_bytes(data)
        assert read_all(root, tmp_path) == expected


def test_figures_that_another_edition_kept_are_not_seen(
    root: Path, expected: Told, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "reader_edition", lambda: "older")
    read_all(root, tmp_path)
    with open_folder(root) as folder, BlobCache(tmp_path, "older") as cache:
        entries = cache.read(save.id for saves in folder.histories().values() for save in saves)
    assert entries
    with BlobCache(tmp_path / "wrong", "older") as cache:
        cache.write({identifier: entry.replace(b'"5"', b'"9"') for identifier, entry in entries.items()})
    assert read_all(root, tmp_path / "wrong") != expected  # so it would be seen if it were taken
    monkeypatch.undo()
    monkeypatch.setattr(kept, "WORTH_KEEPING", 2)
    assert read_all(root, tmp_path / "wrong") == expected


def modules_behind(name: str) -> set[str]:
    """A module and all of ours that it imports, and that they import."""
    found, waiting = set[str](), [name]
    while waiting:
        module = waiting.pop()
        if module not in found:
            found.add(module)
            tree = ast.parse((SOURCE / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8"))
            imports = (node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom))
            waiting += [module for module in imports if module.startswith("formulary.")]
    return found


@pytest.mark.parametrize("reader", ["formulary.recipes.read", "formulary.recipes.kept_recipe"])
def test_the_edition_is_of_all_the_code_that_reads_a_recipe(reader: str) -> None:
    faults = modules_behind("formulary.finding")  # which are never kept
    assert modules_behind(reader) - faults <= set(kept._READERS)


def test_the_edition_changes_with_the_code_that_reads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    edition = kept.reader_edition()
    assert edition == kept.reader_edition()
    changed = tmp_path / "quantity.py"
    changed.write_bytes(Path(quantity.__file__).read_bytes() + b"# changed\n")
    monkeypatch.setattr(quantity, "__file__", str(changed))
    assert kept.reader_edition() != edition
    changed.unlink()
    assert kept.reader_edition() is None


def test_where_nothing_can_be_kept_everything_is_read(root: Path, expected: Told, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert read_all(root, tmp_path / "file" / "cache") == expected


def test_nothing_is_kept_within_a_formulary(root: Path, expected: Told) -> None:
    before = sorted(os.listdir(root))
    assert read_all(root, root / "trials") == expected
    assert sorted(os.listdir(root)) == before


def test_two_processes_at_once_answer_as_one(root: Path, expected: Told, tmp_path: Path) -> None:
    program = (
        "import sys; sys.path.insert(0, sys.argv[1]); from pathlib import Path; from formulary.history import kept\n"
        "from tests.history.test_kept_versions import read_all; kept.WORTH_KEEPING = 2\n"
        "print([repr(read_all(Path(sys.argv[2]), Path(sys.argv[3]))) for _ in range(3)])"
    )
    command = [sys.executable, "-c", program, str(SOURCE), str(root), str(tmp_path / "cache")]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    answers = [process.communicate()[0] for process in running]
    assert [process.returncode for process in running] == [0, 0]
    assert answers == [f"{[repr(expected)] * 3}\n"] * 2


def test_few_versions_are_read_without_opening_a_cache(
    root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept, "WORTH_KEEPING", 40)
    with open_folder(root, cache=tmp_path / "cache") as folder:
        folder.history("harbour")
    assert not (tmp_path / "cache").exists()


def forge(cache: Path, change: Callable[[bytes], bytes]) -> None:
    """Changes what is kept of every version, with check sums that are right."""
    (file,) = cache.glob("versions-*.sqlite")
    with sqlite3.connect(file) as raw:
        for key, value in raw.execute("select id, value from entry").fetchall():
            changed = change(value)
            assert changed != value
            raw.execute("update entry set value = ?, sum = ? where id = ?", (changed, crc32(changed, crc32(key)), key))
    raw.close()


def test_a_version_that_somebody_asks_for_is_never_taken_from_the_cache(
    root: Path, expected: Told, tmp_path: Path
) -> None:
    names = [f"harbour@{which}" for which in ("latest", "3", "main")]
    with open_folder(root) as folder:
        names.append(f"harbour@{folder.find_version('harbour@7').id[:12]}")
        true = [in_full(folder.find_version(name)) for name in names]
        grams = folder.batch("harbour@latest", oils="1000 g").to_json()
    read_all(root, tmp_path)
    forge(tmp_path, lambda entry: entry.replace(b',"5",', b',"1",', 1))
    assert read_all(root, tmp_path) != expected  # so it would be seen
    with open_folder(root, cache=tmp_path) as folder:
        assert [in_full(folder.find_version(name)) for name in names] == true
        assert folder.batch("harbour@latest", oils="1000 g").to_json() == grams


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda entry: entry[:-3] + b"\xff\n", id="bytes that are no text"),
        pytest.param(lambda entry: entry.replace(b"of oils", b"of oile").replace(b"Version", b"Fersion"), id="text"),
        pytest.param(lambda entry: entry[: entry.rindex(b"\0") + 1], id="no text"),
        pytest.param(lambda _: b"", id="nothing"),
        pytest.param(lambda entry: b"[" * 100_000 + entry, id="brackets without end"),
        pytest.param(lambda entry: entry.replace(b'[["olive-oil","60"', b'[["olive-oil",60', 1), id="no number"),
        pytest.param(lambda entry: entry.replace(b'"60"', b'"NaN"', 1), id="a figure that is none"),
        pytest.param(lambda entry: entry.replace(b"\0[", b"\0{", 1), id="places that are no list"),
        pytest.param(lambda entry: entry.replace(b"\0[", b"\0[7,", 1), id="places one off"),
        pytest.param(lambda entry: entry.replace(b"]\0", b',"x",{},[],1]\0', 1), id="a place that is none"),
    ],
)
def test_what_is_malformed_in_an_entry_means_that_git_is_asked(
    root: Path, expected: Told, tmp_path: Path, change: Callable[[bytes], bytes]
) -> None:
    read_all(root, tmp_path)
    forge(tmp_path, change)
    assert read_all(root, tmp_path) == expected
