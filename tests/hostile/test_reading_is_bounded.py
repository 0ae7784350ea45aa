"""Whatever bytes a file holds, it is read or refused within 2 s of the processor and 200 MB, with few findings.

The worst files that we could think of, at the largest size that is read at all, each in a process of its own that the
system ends when it passes either bound.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import formulary
from formulary.document.parse import MAX_BYTES, MAX_DEPTH, MAX_SCALAR, parse_document
from formulary.finding import MAX_FINDINGS, Finding
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.settings import parse_settings
from trials.bench import open_bench
from trials.outcomes.known import read_outcomes
from trials.read.trial import parse_trial
from trials.trial.plan import Plan, parse_plan

resource = pytest.importorskip("resource", reason="needs the system's limits of processes")
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="needs fork and what Linux tells of memory")

PROCESSOR_S = 2
MEMORY_BYTES = 200_000_000

Read = Callable[[bytes], tuple[object, tuple[Finding, ...]]]
HEAD = (
    "format: 1\nname: X\nlye: {alkali: sodium-hydroxide, superfat: 5}\nwater: {lye_concentration: 33}\n"
    "oils: {olive-oil: 60, coconut-oil: 40}\n"
)
COLON = "a: {C16:0: 1}\nb: "  # what the quick parser stops at


def fill(head: str, line: Callable[[int], str], tail: str = "") -> str:
    """As many of the lines as the largest file takes."""
    count = (MAX_BYTES - len(head.encode()) - len(tail)) // len(line(99_999).encode())
    return head + "".join(map(line, range(count))) + tail


def shuffled(number: int) -> str:
    """A name that is none of those that are looked for, but has all the letters of one."""
    letters = list("eugenol")
    return "".join(letters.pop(number // 7**place % len(letters)) for place in range(7))


# The text, and the code of the first finding that it must give; None for a file that may be read.
CASES: dict[str, tuple[str, str | None]] = {
    "lists in lists": ("a: " + "[" * 250_000, "yaml-depth"),
    "blocks in blocks": ("a: " + "{a: " * 60_000, "yaml-depth"),
    "lists in lists by dashes": ("- " * 130_000, "yaml-depth"),
    "blocks in blocks by indent": ("".join(" " * level + "a:\n" for level in range(700)), "yaml-depth"),
    "deep lists, many": (fill("a:\n", lambda _: " - " + "[" * (MAX_DEPTH - 2) + "]" * (MAX_DEPTH - 2) + "\n"), None),
    "dashes, many": (fill("a:\n", lambda _: "- " * (MAX_DEPTH - 4) + "\n"), None),
    "deep lists behind a colon in a word": (COLON + fill("", lambda _: "[" * 250_000), "yaml-depth"),
    "a huge word": ("a: " + "x" * 260_000, "yaml-scalar"),
    "a huge quoted text": ('a: "' + "\\x41" * 60_000 + '"', "yaml-scalar"),
    "a quoted text over many lines": ("a: '" + "\n" * 250_000 + "'", "yaml-scalar"),
    "a block text": ("a: |\n" + " x\n" * 80_000, "yaml-scalar"),
    "a folded text": ("a: >\n" + " x\n" * 80_000, "yaml-scalar"),
    "a word over many lines": ("a: " + "x\n " * 80_000, "yaml-scalar"),
    "many large words": (fill("a:\n", lambda _: " - " + "x" * (MAX_SCALAR - 9) + "\n"), None),
    "a text that never ends": ('a: "' + "x\n" * 130_000, "yaml-syntax"),
    "blank lines": ("a: 1\n" + "\n" * 250_000, None),
    "comments": ("a: 1\n" + "#\n" * 130_000, None),
    "colons": (":" * 250_000, None),
    "questions": ("? " * 130_000, "yaml-depth"),
    "an alias bomb": (
        "a0: &a0 [x]\n" + "".join(f"a{n}: &a{n} [{f'*a{n - 1},' * 9}]\n" for n in range(1, 99)),
        "yaml-anchor",
    ),
    "anchors": ("a: &" + "x" * 250_000, "yaml-anchor"),
    "tags": ("a: !" + "x" * 250_000, "yaml-tag"),
    "exclamation marks": ("!" * 250_000, None),
    "stars": ("a: " + "*a " * 80_000, "yaml-alias"),
    "documents": ("---\n" * 60_000, "yaml-documents"),
    "percent signs": ("\n" * 200_000 + "%" * 50_000, "yaml-directive"),
    "one key many times": (fill("", lambda _: "a: 1\n"), "duplicate-key"),
    "keys without values": (fill("a: {", lambda _: "a,", "}"), "duplicate-key"),
    "missing keys": (fill("", lambda _: ": 1\n"), None),
    "lists for keys": (fill("", lambda _: "? [a]\n: 1\n"), "yaml-key"),
    "decimal commas": (fill("a: {b: 1,", lambda _: "2,", "}"), "decimal-comma"),
    "decimal commas in a list": (fill("a: [", lambda _: "1,2 g,", "]"), "decimal-comma"),
    "tabs": (fill("", lambda number: f"a{number}: '\t'\n"), None),
    "tabs in plain words": (fill("", lambda number: f"a{number}: x\ty\n"), "yaml-tab"),
    "indent by tabs": (fill("a:\n", lambda _: "\tb: 1\n"), "yaml-tab"),
    "a colon in a word, and many numbers": (fill(COLON + "[", lambda _: "1,", "]"), "yaml-colon"),
    "many numbers, and a colon in a word": (fill("b: [", lambda _: "1,", "]\na: {C16:0: 1}\n"), "yaml-colon"),
    "a colon in a word, and many keys": (fill(COLON + "1\n", lambda number: f"k{number}: 1\n"), "yaml-colon"),
    "a colon in a word, and blank lines": (COLON + "1\n" + "\n" * 250_000, None),
    "a colon in a word, and a word over many lines": (COLON + "x\n " * 80_000, "yaml-scalar"),
    "a colon in a word, and a huge text": (COLON + '"' + "\\x41" * 60_000 + '"', "yaml-scalar"),
    "unknown keys": (fill(HEAD, lambda number: f"k{number}: 1\n"), None),
    "long unknown keys": (fill(HEAD, lambda number: f"{'k' * 1000}{number}: 1\n"), None),
    "one long unknown oil": (HEAD.replace("olive-oil", "olive-" * 5000 + "oil"), None),
    "unknown oils": (fill(HEAD.split("oils")[0] + "oils:\n", lambda number: f"  olive-oil-{number}: 1\n"), None),
    "bad oils": (fill(HEAD.split("oils")[0] + "oils:\n", lambda number: f"  ?{number}: x\n"), None),
    "empty additions": (fill(HEAD + "additions:\n", lambda _: "- {}\n"), None),
    "numbers for additions": (fill(HEAD + "additions: [", lambda _: "1,", "]\n"), None),
    "unknown additions": (fill(HEAD + "additions:\n", lambda number: f" - {{material: a{number}}}\n"), None),
    "portions": (
        fill(HEAD + "portions:\n", lambda number: f" - {{name: p{number}, share: 1, gets: {{rose-clay: 0}}}}\n"),
        None,
    ),
    "sound portions": (fill(HEAD + "portions:\n", lambda number: f" - {{name: p{number}, share: 0.01}}\n"), None),
    "earlier names": (fill(HEAD + "formerly: [", lambda number: f"a{number},", "]\n"), None),
    "conflicts": (fill(HEAD + "conflicts: [", lambda number: f"a{number},", "]\n"), None),
    "a number of many digits": (HEAD.replace("60", "9" * 30_000), None),
    "a number of many dots": (HEAD.replace("60", "9." * 15_000), None),
    "a number with a large power": (HEAD.replace("60", "1e999999999"), None),
    "spaces before a unit": (HEAD.replace("60", "60" + " " * 30_000 + "% x"), None),
    "moulds": (fill(HEAD + "moulds:\n", lambda number: f"  m{number}: 25 x 8 x 7 cm\n"), None),
    "events of one's own": (fill(HEAD + "events: [", lambda number: f"word {number},", "]\n"), None),
    "lots": (fill("format: 1\nname: X\nkind: oil\nlots:\n", lambda number: f"  L{number}: {{price: 1 per g}}\n"), None),
    "fatty acids": (
        fill("format: 1\nname: X\nkind: oil\nfatty_acids:\n", lambda number: f"  C{number}:0: 0.001\n"),
        None,
    ),
    "constituents": (
        fill("format: 1\nname: X\nkind: oil\ncontains:\n", lambda number: f"  {shuffled(number)}{number}: 0\n"),
        None,
    ),
    "constituents of lots": (
        fill(
            "format: 1\nname: X\nkind: oil\nlimits: {"
            + "".join(f"eugenol{chr(97 + n % 26)}{'xyz'[n // 26]}: 0, " for n in range(60))
            + "}\nlots:\n",
            lambda lot: f"  L{lot}: {{contains: {{{', '.join(f'{shuffled(n + lot)}: 0' for n in range(100))}}}}}\n",
        ),
        None,
    ),
    "events": (fill("format: 1\nevents:\n", lambda number: f'- {{at: "{number}:00", what: blending}}\n'), None),
    "unknown events": (fill("format: 1\nevents:\n", lambda number: f'- {{at: "1:00", what: blend{number}}}\n'), None),
    "readings": (
        fill("format: 1\nobservations:\n- {age: 28 d, outcome: hardness, values: [", lambda _: "3.1 mm,", "]}\n"),
        None,
    ),
    "observations": (fill("format: 1\nobservations:\n", lambda _: "- {age: 1 d, outcome: gel, value: 9 %}\n"), None),
    "unknown observations": (
        fill("format: 1\nobservations:\n", lambda number: f"- {{age: 1 d, outcome: gel{number}, value: 9 %}}\n"),
        None,
    ),
    "weighings": (fill("format: 1\nas_made:\n", lambda _: "- {line: water, weighed: 1 g}\n"), None),
    "lots of a trial": (
        fill("format: 1\nlots: {olive-oil: {", lambda number: f'"L{number}": 1 g,', "}}\n"),
        None,
    ),
    "smiling faces": ("a: " + "\U0001f600" * 30_000, None),
    "broken bytes": ("a: 1\n" * 50_000 + "\udcff", "file-not-utf8"),
}
QUICK = (
    "lists in lists",
    "an alias bomb",
    "one key many times",
    "many numbers, and a colon in a word",
    "unknown oils",
    "numbers for additions",
    "sound portions",
    "readings",
    "unknown observations",
)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    with formulary.init_folder(tmp_path_factory.mktemp("bounded") / "soap") as folder:
        trial = open_bench(folder).start(folder.find_version("first-bar"), oils="1000 g")
        found, _ = parse_plan((folder.root / "trials" / trial.id[:4] / trial.id / "planned.yaml").read_bytes())
    assert found is not None
    return found


@pytest.fixture(scope="module")
def readers(plan: Plan) -> dict[str, Read]:
    outcomes, _ = read_outcomes(parse_settings(b"format: 1\nname: x\n")[0])
    register = read_builtin_register()
    return {
        "document": parse_document,
        "recipe": lambda data: parse_recipe(data, "x", "recipes/x.yaml", materials=register),
        "material": lambda data: parse_material(data, "materials/x.yaml", "x"),
        "settings": parse_settings,
        "trial": lambda data: parse_trial(data, "t", "t.yaml", plan=plan, outcomes=outcomes, materials=register),
        "plan": parse_plan,
    }


def reader_of(name: str) -> str:
    """The reader that has most to do with a file."""
    text = CASES[name][0][:200]
    if "kind: oil" in text:
        return "material"
    if "moulds:" in text or "events: [" in text:
        return "settings"
    if any(text.startswith(f"format: 1\n{part}:") for part in ("events", "observations", "as_made", "lots")):
        return "trial"
    return "recipe"


def demand_bounded(name: str, read: Read, place: Path, processor_s: int = PROCESSOR_S) -> None:
    """Reads the file in a process that is ended at either bound; it must say how many findings there are."""
    text, code = CASES[name]
    data = text.encode("utf-8", "surrogateescape")[:MAX_BYTES]
    child = os.fork()
    if child == 0:
        status = 70
        try:
            gc.freeze()  # nor is the time to go over what they left
            held, resident = memory_bytes()  # what the tests themselves hold is not counted
            resource.setrlimit(resource.RLIMIT_AS, (held + MEMORY_BYTES, held + MEMORY_BYTES))
            resource.setrlimit(resource.RLIMIT_CPU, (processor_s, processor_s))
            result, findings = read(data)
            place.write_text("\n".join(finding.code for finding in findings))
            # Not every system keeps the limit of memory.
            grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - resident
            status = 71 if result is None and not findings else 72 if grown > MEMORY_BYTES else 0
        except BaseException as fault:
            place.write_text(repr(fault))
        finally:
            os._exit(status)
    _, status = os.waitpid(child, 0)
    told = place.read_text() if place.exists() else ""
    assert os.waitstatus_to_exitcode(status) == 0, told
    codes = told.splitlines()
    assert len(codes) <= MAX_FINDINGS
    assert (len(codes) == MAX_FINDINGS) == ("too-many-findings" in codes)
    if code is not None:
        assert codes[0] == code


def memory_bytes() -> tuple[int, int]:
    """What this process holds: in all, and in memory."""
    pages = Path("/proc/self/statm").read_text().split()
    return int(pages[0]) * resource.getpagesize(), int(pages[1]) * resource.getpagesize()


@pytest.mark.parametrize("name", QUICK)
def test_the_worst_files_are_read_or_refused_within_the_bounds(
    name: str, readers: dict[str, Read], tmp_path: Path
) -> None:
    demand_bounded(name, readers[reader_of(name)], tmp_path / "told")


@pytest.mark.slow
@pytest.mark.parametrize("reader", ["document", "recipe", "material", "settings", "trial", "plan"])
@pytest.mark.parametrize("name", CASES)
def test_every_reader_keeps_the_bounds_with_all_of_them(
    name: str, reader: str, readers: dict[str, Read], tmp_path: Path
) -> None:
    demand_bounded(name, readers[reader], tmp_path / "told")


def test_a_bound_that_is_passed_is_seen(tmp_path: Path) -> None:
    def greedy(_: bytes) -> tuple[object, tuple[Finding, ...]]:
        return b"x" * (5 * MEMORY_BYTES), ()  # more than earlier tests can have left free inside the process

    def busy(_: bytes) -> tuple[object, tuple[Finding, ...]]:
        while True:
            pass

    for read in (greedy, busy):
        with pytest.raises(AssertionError):
            demand_bounded("colons", read, tmp_path / "told", processor_s=1)
