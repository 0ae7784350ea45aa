"""What people see fits their terminal, says nothing by colour alone, and survives pipes and interruption."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from formulary import open_folder, swap
from tests.cli.conftest import BASE, SOURCE, Run, run_apart

COLOUR = re.compile(r"\x1b\[[0-9;]*m")
SCENTED = (
    BASE
    + """\
additions:
  - {material: oat-milk, rate: 8 % of oils, at: oils, water: replaces}
  - {material: rose-clay, rate: 2 % of oils, at: oils}
scent:
  - {material: clove-bud-oil, rate: 1.2 % of oils, at: trace}
portions:
  - {name: plain, share: 50, gets: {clove-bud-oil: 0}}
  - {name: clove, share: 50, gets: {clove-bud-oil: 100}}
process: {lye_temperature: 38 °C, oil_temperature: 40 °C, cover: insulated}
notes: |
  A first line.
  A second, long one that goes on and on until it would not fit the width of a terminal that people use.
"""
)
READING = [
    ["--help"],
    ["show", "harbour-base"],
    ["show", "harbour-base", "--all"],
    ["batch", "harbour-base", "--oils", "1000g"],
    ["batch", "harbour-base", "--oils", "1000g", "--all"],
    ["check"],
    ["diff", "first-bar", "harbour-base"],
    ["diff", "first-bar", "harbour-base", "--all"],
    ["diff", "harbour-base:plain", "harbour-base:clove", "--all"],
    ["history", "harbour-base"],
    ["trial", "list"],
    ["outcomes"],
    ["outcomes", "working time"],
    ["materials"],
    ["materials", "show", "olive-oil"],
    ["materials", "show", "clove-bud-oil"],
    ["batch", "first-bar", "harbour-base", "--oils", "800g"],
    [
        "batch",
        "first-bar",
        "--oils",
        "1234.5g",
        "harbour-base",
        "--bars",
        "6",
        "--bar",
        "95g",
        "first-bar",
        "--oils",
        "90g",
    ],
    ["batch", "harbour-base", "--oils", "1000g", "--weighed", "olive-oil 640 g", "--lye-apart"],
    ["batch", "harbour-base", "--oils", "1000g", "--weighed", "sodium-hydroxide 160 g", "--lye-in"],
    ["blend", "harbour-base"],
    ["ingredients", "harbour-base"],
    ["cost", "harbour-base"],
    ["status"],
    ["due"],
    ["ready-by", "2040-12-20", "harbour-base", "--bars", "60"],
    ["explain", "working time"],
    ["next", "working time"],
    ["doctor"],
    ["update", "winter-clove"],
    ["send-back", "winter-clove"],
    ["send-back", "winter-clove", "oils", "name"],
]
ENTRIES = [
    ["event", "lye in"],
    ["event", "light trace", "--at", "4:10"],
    ["blending", "15s", "--at", "0:20"],
    ["temperature", "38C", "--at", "1:00"],
    ["event", "poured", "--at", "9:30"],
    ["after", "covered", "--at", "0 h"],
    ["as-made", "water 290 g"],
    ["condition", "room", "19 °C"],
    ["lot", "olive-oil", "OL-7"],
    ["note", "smelled of hay"],
    ["bars", "--cut", "12"],
    ["observe", "hardness", "3.1mm", "3.3mm", "3.0mm", "--age", "28d"],
    ["release", "hold", "--who", "the maker", "--why", "still curing"],
    ["show"],
    ["recalculate"],
]


def on_a_terminal(
    arguments: list[str],
    cwd: Path,
    *,
    columns: int = 80,
    typed: bytes = b"",
    program: tuple[str, ...] = ("-m", "cli.main"),
    **environment: str,
) -> tuple[int, str]:
    """Runs a command line on a pseudo-terminal of that width; returns its status and all that it showed.

    typed: what the person has typed ahead. program: how Python is to be started.
    """
    import fcntl
    import struct
    import termios

    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    process = subprocess.Popen(
        [sys.executable, *program, *arguments],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(SOURCE), "TERM": "xterm-256color", **environment},
        stdin=follower,
        stdout=follower,
        stderr=follower,
        close_fds=True,
    )
    os.close(follower)
    if typed:
        os.write(leader, typed)
    shown = b""
    try:
        while select.select([leader], [], [], 60)[0]:
            try:
                part = os.read(leader, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            shown += part
    finally:
        os.close(leader)
    return process.wait(60), shown.decode().replace("\r\n", "\n")


def each_on_a_terminal(
    command_lines: list[list[str]], cwd: Path, *, columns: int = 80, **environment: str
) -> list[tuple[int, str]]:
    """The same of several command lines, one after the other in one process, since most of a command is its start."""
    script = (
        "import json, sys; from cli.main import run\n"
        "for words in json.loads(sys.argv[1]): print(chr(30), run(words), chr(31), sep='', end='', flush=True)"
    )
    program = ("-c", script, json.dumps(command_lines))
    status, shown = on_a_terminal([], cwd, columns=columns, program=program, **environment)
    assert status == 0, shown
    ran = [part.rpartition("\x1e") for part in shown.split("\x1f")[:-1]]
    assert len(ran) == len(command_lines)
    return [(int(told), text) for text, _, told in ran]


@pytest.fixture
def rich(home: Path) -> Path:
    with open_folder(home) as folder:
        clove = folder.branch("harbour-base@latest", "winter-clove", swap("8 %", "olive-oil", "shea-butter"))
        folder.save(clove, why="a clove bar")
    (home / "recipes/harbour-base.yaml").write_text(SCENTED, encoding="utf-8")
    return home


def test_no_line_is_longer_than_an_80_column_terminal(rich: Path) -> None:
    for arguments, (status, shown) in zip(READING, each_on_a_terminal(READING, rich), strict=True):
        assert status in (0, 1), (arguments, shown)
        assert shown.strip(), arguments
        for line in COLOUR.sub("", shown).splitlines():
            assert len(line) <= 80, (arguments, line)


@pytest.mark.usefixtures("rich")
@pytest.mark.parametrize("arguments", [words for words in READING if words != ["check"]], ids=" ".join)
def test_no_result_is_wider_than_50_columns_where_there_are_no_more(
    arguments: list[str], formulary: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    ran = formulary(*arguments)
    assert ran.status in (0, 1)
    for line in ran.out.splitlines():
        assert len(line) <= 50, line


def test_trials_are_looked_at_on_50_columns(home: Path) -> None:
    started = each_on_a_terminal([["trial", "start", "harbour-base", "--oils", "1000g"]] * 2, home)
    assert [status for status, _ in started] == [0, 0]
    codes = [folder.name.rsplit("-", 1)[-1] for folder in sorted((home / "trials").glob("*/*"))]
    on_a_terminal(["trial", "observe", codes[0], "gel", "100 %", "--age", "0d"], home)
    (home / "recipes/harbour-base.yaml").write_text(BASE.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    record = next((home / "trials").glob(f"*/*{codes[1]}/trial.yaml"))
    entry = "as_made:\n  - {line: sodium-hydroxide, weighed: 900 g}"
    record.write_text(record.read_text(encoding="utf-8").replace("as_made:", entry), encoding="utf-8")
    looks = [
        ["trial", "list"],
        ["trial", "show", codes[0], "--all"],
        ["trial", "recalculate", codes[0]],
        ["compare", *codes],
        ["due"],
        ["diff", *codes],
        ["history", "harbour-base"],
        ["status"],
        ["check"],
    ]
    for status, shown in each_on_a_terminal(looks, home, columns=50, NO_COLOR="1"):
        assert status in (0, 1), shown
        assert "\x1b" not in shown
        # a path that an editor can jump to is never broken, and stands by itself where it is longer
        lines = [line for line in shown.splitlines() if not re.search(r"trials/\S+$", line)]
        assert max(map(len, lines)) <= 50, shown
    assert re.search(r"^trials/\S+/trial\.yaml:\d+:\d+:$", shown, re.MULTILINE), "what `check` said last"


@pytest.mark.parametrize(
    "arguments",
    [
        ["status"],
        ["check"],
        ["history", "harbour-base"],
        ["diff", "first-bar", "harbour-base"],
        ["trial", "list"],
        ["due"],
        ["ready-by", "2040-12-20", "harbour-base", "--bars", "60"],
        ["table"],
        ["explain", "working time"],
        ["doctor"],
        ["materials", "where", "OL-7"],
    ],
    ids=" ".join,
)
def test_what_reads_many_files_says_so_when_it_takes_long(arguments: list[str], home: Path, formulary: Run) -> None:
    formulary("materials", "lot", "olive-oil", "OL-7")
    at_once = "import sys, cli.main, cli.output\ncli.output._PROGRESS_AFTER_S = 0.0\ncli.main.main(sys.argv[1:])"
    status, shown = on_a_terminal(arguments, home, program=("-c", at_once))
    assert status in (0, 1), shown
    assert " ..." in shown
    told = re.search(r"\r([a-z ]+) \.\.\.\r +\r", shown)
    assert told is not None, shown
    piped = formulary(*arguments)
    assert " ".join(shown.split()).endswith(" ".join(f"{piped.out} {piped.err}".split()))
    assert " ..." not in piped.err


def test_the_record_of_a_trial_is_kept_at_an_80_column_terminal(home: Path) -> None:
    status, shown = on_a_terminal(["trial", "start", "harbour-base", "--oils", "1000g"], home)
    assert status == 0
    (folder,) = (home / "trials").glob("*/*")
    code = folder.name.rsplit("-", 1)[-1]
    entries = [["trial", words[0], code, *words[1:]] for words in ENTRIES]
    screens = [shown]
    for words, (status, shown) in zip(entries, each_on_a_terminal(entries, home), strict=True):
        assert status == 0, (words, shown)
        screens.append(shown)
    for line in COLOUR.sub("", "\n".join(screens)).splitlines():
        assert len(line) <= 80, line


@pytest.mark.parametrize("columns", [40, 50, 60, 100, 200])
def test_a_weigh_out_fits_what_the_terminal_has_within_50_and_100(columns: int, rich: Path) -> None:
    _, shown = on_a_terminal(["batch", "harbour-base", "--oils", "1000g"], rich, columns=columns)
    assert max(len(line) for line in COLOUR.sub("", shown).splitlines()) <= min(max(columns, 50), 100)


@pytest.mark.parametrize("columns", [60, 80, 100])
def test_findings_wrap_to_the_terminal_and_break_no_place(columns: int, rich: Path) -> None:
    text = (rich / "recipes/harbour-base.yaml").read_text(encoding="utf-8")
    file = rich / f"recipes/{'long-' * 5}name.yaml"
    file.write_text(text.replace("olive-oil:", "oliv-oil:"), encoding="utf-8")
    for arguments in (["check"], ["show", f"{'long-' * 5}name"]):
        _, shown = on_a_terminal(arguments, rich, columns=columns)
        lines = COLOUR.sub("", shown).splitlines()
        assert max(map(len, lines)) <= columns
        assert any(line.startswith(f"recipes/{file.name}:") and ": error:" in line for line in lines)


@pytest.mark.parametrize("columns", [60, 80])
def test_the_register_breaks_no_name(columns: int, rich: Path) -> None:
    _, shown = on_a_terminal(["materials"], rich, columns=columns)
    words = shown.split()
    assert "potassium-hydroxide-solution-45" in words
    assert "sodium-hydroxide-solution-50" in words


def test_colour_is_only_an_addition_and_no_color_is_heeded(home: Path) -> None:
    _, coloured = on_a_terminal(["batch", "harbour-base", "--oils", "5"], home)
    _, plain = on_a_terminal(["batch", "harbour-base", "--oils", "5"], home, NO_COLOR="1")
    assert COLOUR.search(coloured)
    assert not COLOUR.search(plain)
    assert COLOUR.sub("", coloured) == plain


def test_a_pipe_gets_no_colour(home: Path) -> None:
    ran = run_apart("batch", "harbour-base", "--oils", "5", cwd=home)
    assert "\x1b" not in ran.out + ran.err


def test_a_reader_that_leaves_early_is_no_fault(home: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "cli.main", "materials"],
        cwd=home,
        env={**os.environ, "PYTHONPATH": str(SOURCE)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    told = process.stderr.read().decode()
    process.stderr.close()
    assert process.wait(60) == 0
    assert told == ""


def test_an_interruption_ends_with_130_and_no_traceback(home: Path) -> None:
    script = (
        "import time, cli.check, cli.main\n"
        "def wait():\n    print('here', flush=True); time.sleep(60)\n"
        "cli.check.open_workshop = wait\n"
        "cli.main.main(['check'])"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script],
        cwd=home,
        env={**os.environ, "PYTHONPATH": str(SOURCE)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == b"here\n"
            process.send_signal(signal.SIGINT)
            _, told = process.communicate(timeout=60)
        finally:
            process.kill()  # what fails here must not fail again in another test
    assert process.returncode == 130
    assert told.decode().strip() == "interrupted"


def test_our_own_fault_is_one_sentence_with_the_details_in_a_file(
    monkeypatch: pytest.MonkeyPatch, formulary: Run, tmp_path: Path
) -> None:
    import tempfile

    import cli.check

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(cli.check, "open_workshop", lambda: 1 / 0)
    ran = formulary("check")
    assert ran.status == 70
    assert "Traceback" not in ran.err
    assert "[own-fault]" in ran.err
    (details,) = tmp_path.glob("formulary-fault-*.txt")
    assert details.name in ran.err
    assert "ZeroDivisionError" in details.read_text(encoding="utf-8")


def test_progress_is_told_on_a_terminal_after_a_second_and_wiped_away(home: Path) -> None:
    program = (
        "import time, sys\nfrom cli.output import progress\n"
        "with progress('weighing'):\n    time.sleep(float(sys.argv[1]))\nprint('done')"
    )
    for seconds, is_told in (("1.3", True), ("0", False)):
        leader, follower = pty.openpty()
        done = subprocess.run(
            [sys.executable, "-c", program, seconds],
            cwd=home,
            env={**os.environ, "PYTHONPATH": str(SOURCE)},
            stdout=subprocess.PIPE,
            stderr=follower,
            check=True,
        )
        os.close(follower)
        shown = os.read(leader, 4096).decode() if is_told else ""
        os.close(leader)
        assert done.stdout == b"done\n"
        assert ("weighing" in shown) == is_told
        assert not is_told or shown.endswith("\r")


@pytest.mark.parametrize("locale", ["C", "C.UTF-8", "POSIX"])
def test_any_locale_shows_a_recipe(locale: str, rich: Path) -> None:
    ran = run_apart("show", "harbour-base", cwd=rich, LC_ALL=locale, TZ="Pacific/Auckland")
    assert (ran.status, ran.err) == (0, "")
    assert "Harbour base" in ran.out


def test_a_latin_1_terminal_loses_a_sign_but_not_the_weigh_out(rich: Path) -> None:
    process = subprocess.run(
        [sys.executable, "-m", "cli.main", "show", "harbour-base", "--json"],
        cwd=rich,
        env={**os.environ, "PYTHONPATH": str(SOURCE), "PYTHONIOENCODING": "latin-1"},
        capture_output=True,
        check=False,
    )
    assert process.returncode == 0
    import json

    assert json.loads(process.stdout.decode("latin-1"))["recipe"] == "harbour-base"


@pytest.mark.parametrize(("ending", "status"), [(">&-", 0), ("2>&-", 0), ("> /dev/full", 3)])
def test_an_output_that_takes_nothing_is_no_fault_of_ours(ending: str, status: int, home: Path) -> None:
    if "full" in ending and not Path("/dev/full").exists():
        pytest.skip("no such device here")
    done = subprocess.run(
        ["sh", "-c", f'"$0" -m cli.main show harbour-base {ending}', sys.executable],
        cwd=home,
        env={**os.environ, "PYTHONPATH": str(SOURCE)},
        capture_output=True,
        check=False,
    )
    assert done.returncode == status
    assert b"own-fault" not in done.stderr
    assert b"Traceback" not in done.stderr
    assert b"Exception ignored" not in done.stderr


def test_a_trial_started_without_a_size_is_asked_for_it(home: Path) -> None:
    status, shown = on_a_terminal(["trial", "start", "harbour-base"], home, typed=b"750 g\n\n\n")
    assert status == 0, shown
    assert "What do the oils weigh" in shown
    assert "750 g" in COLOUR.sub("", shown).split("What do the oils weigh")[1]
    assert "size: {oils: 750 g}" in next(home.glob("trials/*/*/trial.yaml")).read_text(encoding="utf-8")
