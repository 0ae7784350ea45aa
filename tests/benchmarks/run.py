"""Measures what a person waits for, as a ratio to a floor that is measured in the same run.

    python -m tests.benchmarks.run S M            (made in a folder of their own, and removed afterwards)
    python -m tests.benchmarks.run L --in FOLDER  (kept in FOLDER/L, so that it is generated once)

Each job and its floor take turns; the figures are the best wall times of several turns, which other work on the machine
disturbs least, and the least processor time, which it hardly disturbs at all. Milliseconds belong to the machine, the
ratios are the point. The floors are what git, libyaml or sqlite need by themselves for the same bytes.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from formulary.changes.compare import compare_recipes
from formulary.document.parse import parse_document, plain
from formulary.folder.folder import open_folder
from formulary.folder.starting import init_folder
from formulary.folder.status import find_status
from formulary.history.kept import reading_versions
from formulary.identity import blob_id
from formulary.recipes.read import parse_recipe
from formulary.store import open_store
from formulary.workshop.history_text import describe_history
from tests.benchmarks.generate import SIZES, full_recipe_text, generate
from trials.bench import open_bench

Job = Callable[[], object]
RECIPE = "recipes/harbour-0007.yaml"  # whose history is read
EDITED = "recipes/harbour-0013.yaml"  # which is saved over and over
FORMAT = "--format=%x01%H%x00%ct%x00%an%x00%s"


@dataclass(frozen=True)
class Best:
    """The least that a job took: wall and processor milliseconds, its children's included."""

    wall_ms: float
    processor_ms: float


@dataclass(frozen=True)
class Row:
    """One measured job beside its floor; `at_most` is the ratio to stay below, None where none was set."""

    job: str
    size: str
    state: str
    floor: Best
    measured: Best
    at_most: float | None

    def render(self) -> str:
        wall = self.measured.wall_ms / self.floor.wall_ms
        processor = self.measured.processor_ms / max(self.floor.processor_ms, 0.01)
        verdict = ""
        if self.at_most is not None:
            verdict = "ok" if wall <= self.at_most else "ok by processor" if processor <= self.at_most else "over"
        return (
            f"| {self.job} | {self.size} | {self.state} | {self.floor.wall_ms:.1f} | {self.measured.wall_ms:.1f} "
            f"| {wall:.2f} | {processor:.2f} | {self.at_most or ''} | {verdict} |"
        )


def measure(floor: Job, job: Job, *, turns: int) -> tuple[Best, Best]:
    """The best of the floor and of the job, in turns, after one of each to warm up."""
    took: tuple[list[tuple[float, float]], list[tuple[float, float]]] = ([], [])
    for turn in range(turns + 1):
        for kept, run in zip(took, (floor, job), strict=True):
            began, used = time.perf_counter(), processor_s()
            run()
            if turn:
                kept.append(((time.perf_counter() - began) * 1e3, (processor_s() - used) * 1e3))
    first, second = (Best(min(wall for wall, _ in times), min(used for _, used in times)) for times in took)
    return first, second


def processor_s() -> float:
    """Processor seconds of this process and of the children that have ended."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(usage.ru_utime + usage.ru_stime for usage in used)


def git(root: Path, *arguments: str, stdin: bytes | None = None) -> bytes:
    return subprocess.run(["git", *arguments], cwd=root, input=stdin, capture_output=True, check=True).stdout


def log_and_cat(root: Path, *paths: str) -> bytes:
    """The floor of every history: one `git log --raw`, its blobs piped into one `cat-file --batch`."""
    log = git(
        root, "log", "--raw", "--no-abbrev", "--no-renames", "-z", FORMAT, "main", *(["--", *paths] if paths else [])
    )
    ids = {part.split(b" ")[3] for part in log.split(b"\0") if part.lstrip(b"\n").startswith(b":")}
    return git(root, "cat-file", "--batch", "--buffer", stdin=b"\n".join(ids - {b"0" * 40}) + b"\n")


def read_events(texts: list[bytes]) -> None:
    """The floor of all reading: libyaml's events, through its own binding."""
    from _ruamel_yaml import CParser
    from ruamel.yaml.events import StreamEndEvent

    for text in texts:
        parser = CParser(text)
        while not isinstance(parser.get_event(), StreamEndEvent):
            pass


def measure_history(root: Path, size: str, state: str, at_most: float | None) -> Row:
    slug = Path(RECIPE).stem

    def job() -> None:
        with open_folder(root) as folder:
            describe_history(folder, slug)

    turns = 5 if size == "L" else 9
    return Row(
        "history of one recipe, semantic",
        size,
        state,
        *measure(lambda: log_and_cat(root, RECIPE), job, turns=turns),
        at_most,
    )


def measure_bytes(root: Path, size: str, state: str) -> Row:
    """Only the store's part of the same."""

    def job() -> None:
        with open_store(root) as store:
            store.read_blobs(saved.blob for saved in store.history([RECIPE]) if saved.blob)

    turns = 5 if size == "L" else 9
    return Row(
        "history of one recipe, bytes", size, state, *measure(lambda: log_and_cat(root, RECIPE), job, turns=turns), 1.5
    )


def measure_everything(root: Path, size: str, state: str) -> Iterator[Row]:
    with open_store(root) as store:
        ids = {saved.blob for saved in store.history() if saved.blob and saved.path.startswith("recipes/")}
        texts = list(store.read_blobs(ids).values())

    def floor() -> None:
        log_and_cat(root)
        read_events(texts)

    def read() -> dict[str, bytes]:
        with open_store(root) as store:
            wanted = {saved.blob for saved in store.history() if saved.blob and saved.path.startswith("recipes/")}
            return store.read_blobs(wanted)

    def job() -> None:
        for data in read().values():
            parse_recipe(data, "harbour", RECIPE)

    turns = 1 if size == "L" else 3
    yield Row("every version, bytes", size, state, *measure(lambda: log_and_cat(root), read, turns=turns), None)
    if size != "L":
        yield Row("every version, cold", size, state, *measure(floor, job, turns=turns), 2.5 if size == "M" else None)


def measure_warm(root: Path, size: str) -> Row:
    """Every version's recipe and text from the cache, against fetching the rows of the cache file."""
    with open_store(root) as store:
        ids = {saved.blob for saved in store.history() if saved.blob and saved.path.startswith("recipes/")}
        texts = store.read_blobs(ids)

    def read(place: Path, blobs: dict[str, bytes]) -> None:
        with reading_versions(ids, lambda wanted: {each: blobs[each] for each in wanted}, place) as read_version:
            for identifier in ids:
                read_version(identifier, "harbour", RECIPE)

    with tempfile.TemporaryDirectory() as within:
        place = Path(within)
        read(place, texts)
        (file,) = place.glob("*.sqlite")
        raw = sqlite3.connect(file)
        floor = "select id, sum, value from entry"
        return Row(
            "every version, warm",
            size,
            "",
            *measure(lambda: raw.execute(floor).fetchall(), lambda: read(place, {}), turns=3),
            5 if size == "L" else None,
        )


def measure_one_recipe() -> Row:
    """One recipe with every part into the model; different ones in turn, as a history has them."""
    texts = [full_recipe_text(number, random.Random(number)).encode() for number in range(300)]

    def job() -> None:
        for text in texts:
            recipe, _ = parse_recipe(text, "harbour", RECIPE)
            assert recipe is not None

    mean = sum(map(len, texts)) / len(texts) / 1000
    return Row(f"300 recipes of {mean:.1f} kB, model", "", "", *measure(lambda: read_events(texts), job, turns=15), 3)


def measure_diff() -> Row:
    """What differs between two recipes, against a plain diff of their plain trees, lists keyed by name."""
    texts = [full_recipe_text(7, random.Random(number)) for number in range(100)]
    recipes = [recipe for recipe in (parse_recipe(text, "harbour")[0] for text in texts) if recipe is not None]
    trees = [plain(root) for root in (parse_document(text)[0] for text in texts) if root is not None]

    def floor() -> None:
        for before, after in pairwise(trees):
            plain_diff(before, after, (), [])

    def job() -> None:
        for before, after in pairwise(recipes):
            compare_recipes(before, after)

    return Row("99 diffs of two recipes", "", "", *measure(floor, job, turns=15), 3)


def plain_diff(before: Any, after: Any, path: tuple[str, ...], found: list[tuple[tuple[str, ...], Any, Any]]) -> None:
    """Every place where two plain trees differ, lists keyed by what names their items."""
    before, after = _keyed(before), _keyed(after)
    if not isinstance(before, dict) or not isinstance(after, dict):
        if before != after:
            found.append((path, before, after))
        return
    for key in {**before, **after}:
        plain_diff(before.get(key), after.get(key), (*path, key), found)


def _keyed(node: Any) -> Any:
    if not isinstance(node, list):
        return node
    names = [item.get("material") or item.get("name") if isinstance(item, dict) else str(item) for item in node]
    return dict(zip(names, node, strict=True))


def measure_command(name: str, arguments: list[str], root: Path, floor: str, at_most: float) -> Row:
    """A whole command, from its start to its end, beside a bare Python."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPATH"] = str(Path(__file__).parents[2])

    def run(*command: str) -> None:
        subprocess.run([sys.executable, *command], cwd=root, env=environment, stdout=subprocess.DEVNULL, check=True)

    return Row(
        name,
        "",
        floor.partition(" ")[2] or "bare Python",
        *measure(lambda: run("-c", floor), lambda: run("-m", "cli.main", *arguments), turns=20),
        at_most,
    )


def measure_small() -> Iterator[Row]:
    """What needs no large formulary."""
    yield measure_one_recipe()
    yield measure_diff()
    with tempfile.TemporaryDirectory() as place, init_folder(Path(place) / "soap") as folder:
        yield measure_command("--help", ["--help"], folder.root, "pass", 5)
        weigh_out = ["batch", "first-bar", "--oils", "1000g"]
        yield measure_command("batch", weigh_out, folder.root, "import click, ruamel.yaml", 2.5)


def measure_save(root: Path, size: str, state: str, at_most: float | None) -> Row:
    place = root / EDITED
    text = place.read_bytes()
    count = 0

    def changed() -> bytes:
        nonlocal count
        count += 1
        return text + f"# {count}\n".encode()

    def floor() -> None:
        temporary = place.with_suffix(".tmp")
        temporary.write_bytes(changed())
        os.replace(temporary, place)
        git(root, "-c", "gc.auto=0", "commit", "--quiet", "--only", "-m", "x", "--", EDITED)

    with open_store(root) as store:

        def job() -> None:
            store.refresh()
            known = {EDITED: blob_id(store.read_working(EDITED))}
            store.save({EDITED: changed()}, message="x", read_from=store.tip, write_working=True, working_read=known)

        return Row("save, durable", size, state, *measure(floor, job, turns=15), at_most)


def measure_status(root: Path, size: str) -> Iterator[Row]:
    git(root, "status")

    def look() -> None:
        with open_store(root) as store:
            assert store.working_changes() == {}

    def status(cache: Path | None) -> Callable[[], None]:
        def job() -> None:
            with open_folder(root, cache=cache) as folder:
                assert find_status(folder, check=open_bench(folder).check_files).unsaved == ()

        return job

    with tempfile.TemporaryDirectory() as place:
        for name, state, job, at_most in (
            ("unsaved files, nothing changed", "", look, 1.5),
            ("status, nothing changed", "first time", status(None), None),
            ("status, nothing changed", "again", status(Path(place)), 1.5),
        ):
            limit = at_most if size == "L" else None
            yield Row(name, size, state, *measure(lambda: git(root, "status"), job, turns=5), limit)


def measure_trials(root: Path, size: str) -> Row:
    with open_store(root) as store:
        texts = [store.read_working(path) for path in store.working_paths("trials/") if path.endswith(".yaml")]

    def floor() -> None:
        with open_store(root) as store:
            ids = store.tip_blobs("trials/").values()
        git(root, "cat-file", "--batch", "--buffer", stdin="".join(f"{identifier}\n" for identifier in ids).encode())
        read_events(texts)

    def job() -> None:
        with open_folder(root) as folder:
            open_bench(folder).trials()

    return Row(
        "loading all trials",
        size,
        "",
        *measure(floor, job, turns=1 if size != "S" else 3),
        2.5 if size == "L" else None,
    )


def measure_one(size: str, root: Path) -> Iterator[Row]:
    """All rows of one size; the repository is put into each state in turn."""
    loose = size == "S"
    if loose:
        yield measure_history(root, size, "as generated", None)
    git(root, "repack", "-adq")
    git(root, "commit-graph", "write", "--reachable", "--no-changed-paths")
    yield measure_bytes(root, size, "packed")
    yield measure_history(root, size, "packed", 2.5 if size == "M" else None)
    with open_store(root) as store:
        store.tidy()
    yield measure_bytes(root, size, "filters")
    yield measure_history(root, size, "filters", 1.5 if size == "L" else None)
    yield from measure_everything(root, size, "filters")
    yield measure_warm(root, size)
    yield from measure_status(root, size)
    yield measure_trials(root, size)
    yield measure_save(root, size, "filters", 1.5 if size == "S" else 1.0)


@contextmanager
def made(size: str, within: Path | None) -> Iterator[Path]:
    """The formulary of one size, from the folder where it is kept or fresh."""
    place = within if within is not None else Path(tempfile.mkdtemp())
    root = place / size
    if not root.exists():
        generate(root, SIZES[size])
    git(root, "config", "user.name", "Ann Example")
    git(root, "config", "user.email", "ann@example.org")
    yield root
    if within is None:
        shutil.rmtree(place)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sizes", nargs="*", choices=[*SIZES, []])
    parser.add_argument("--in", dest="within", type=Path)
    given = parser.parse_args()
    load = os.getloadavg()[0]
    version = git(Path.cwd(), "version").decode().strip()
    print(f"Python {sys.version.split()[0]}, {version}, {os.cpu_count()} cores, load {load:.1f}")
    print(
        "| job | size | state | floor ms | ms | ratio | processor | at most | |\n|---|---|---|---|---|---|---|---|---|"
    )
    for row in measure_small():
        print(row.render(), flush=True)
    for size in given.sizes:
        with made(size, given.within) as root:
            for row in measure_one(size, root):
                print(row.render(), flush=True)


if __name__ == "__main__":
    main()
