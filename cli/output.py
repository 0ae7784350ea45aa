"""What reaches the terminal: text, JSON, findings, progress, and every fault as a sentence with its exit status."""

from __future__ import annotations

import errno
import os
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import IO, TYPE_CHECKING

import click

if TYPE_CHECKING:
    from formulary.data_table import Table
    from formulary.finding import Finding

NARROWEST, WIDEST, USUAL = 50, 100, 80
DONE, STOPPED, WRONG_INPUT, STORAGE, OWN_FAULT, INTERRUPTED = 0, 1, 2, 3, 70, 130
_PROGRESS_AFTER_S = 1.0
_COLOURS = {"error": "red", "stop": "red", "warn": "yellow"}


def prepare_streams() -> None:
    """Let a terminal that cannot show a character show another, rather than fail; stand in for a closed stream."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # started with `>&-`
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - it stays open to the end
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]


def width() -> int:
    """The columns to write for: the terminal's (or COLUMNS), within what reads well."""
    return max(NARROWEST, min(WIDEST, terminal_columns()))


def terminal_columns() -> int:
    """The columns of the terminal, or COLUMNS, or the usual 80."""
    # As shutil.get_terminal_size, whose module takes longer to load than what it is asked for.
    told = os.environ.get("COLUMNS", "")
    if told.isdecimal() and int(told) > 0:
        return int(told)
    try:
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or USUAL  # type: ignore[union-attr]
    except (AttributeError, ValueError, OSError):
        return USUAL


def may_colour(stream: IO[str]) -> bool:
    """Whether a stream is a terminal whose owner has nothing against colour."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def is_asked() -> bool:
    """Whether a person sits at the terminal and can be asked."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()


def say(text: str = "") -> None:
    """Print a result."""
    click.echo(text)


def say_next(text: str) -> None:
    """Print the one line on what to do next, after a command that wrote something."""
    from formulary.text_table import paragraph

    say("\n".join(paragraph(f"Next: {text}", width=width())))


def say_json(tree: Mapping[str, object]) -> None:
    """Print a result for programs; an object always, so that a key can come beside the others later."""
    import json

    encoding = (getattr(sys.stdout, "encoding", None) or "").lower().replace("-", "")
    say(json.dumps(tree, indent=2, ensure_ascii=encoding != "utf8", allow_nan=False))


def say_table(table: Table, form: str) -> None:
    """Print a table for other programs: `csv`, `jsonl` or `md`."""
    from formulary.data_table_formats import render_table

    say(render_table(table, form).rstrip("\n"))


def tell(text: str) -> None:
    """Print a remark that is no result."""
    click.echo(text, err=True)


def tell_findings(findings: Iterable[Finding]) -> None:
    """Print findings as remarks, with their places, so that an editor can jump to them."""
    for finding in findings:
        tell(finding_text(finding, sys.stderr))


def finding_text(finding: Finding, stream: IO[str]) -> str:
    """A finding for a stream: on a terminal wrapped and with its severity in colour, elsewhere one line a part."""
    text = str(finding)
    if stream.isatty():
        text = "\n".join(part for line in text.splitlines() for part in _wrapped(line))
    colour = _COLOURS.get(finding.severity.value)
    if colour is None or not may_colour(stream):
        return text
    word = f"{finding.severity.value}:"
    return text.replace(word, click.style(word, fg=colour, bold=True), 1)


def _wrapped(line: str) -> list[str]:
    from formulary.text_table import wrap

    bare = line.lstrip()
    indent = len(line) - len(bare)
    place, _, said = bare.partition(" ")
    if len(place) > width() - indent:  # an editor jumps to it: it is never broken
        first, rest = place, [said]
    else:
        first, *rest = wrap(bare, width() - indent)
    rest = wrap(" ".join(rest), width() - indent - 4) if rest else []
    return [" " * indent + first, *(" " * (indent + 4) + part for part in rest)]


@contextmanager
def progress(doing: str) -> Iterator[None]:
    """Say on a terminal what is being done, once it takes over a second, and wipe it away at the end."""
    if not sys.stderr.isatty():
        yield
        return
    line = f"{doing} ..."
    told = threading.Event()

    def tell_once() -> None:
        told.set()
        sys.stderr.write(f"\r{line}")
        sys.stderr.flush()

    timer = threading.Timer(_PROGRESS_AFTER_S, tell_once)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        if told.is_set():
            sys.stderr.write("\r" + " " * len(line) + "\r")
            sys.stderr.flush()


class Steps:
    """Says on a terminal which step of a long piece of work is being done, once it takes over a second."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._shown = 0

    def __enter__(self) -> Steps:
        return self

    def __exit__(self, *_: object) -> None:
        self.clear()

    def tell(self, doing: str, step: int, of: int) -> None:
        """Say the step in place of the one before."""
        if sys.stderr.isatty() and time.monotonic() - self._began > _PROGRESS_AFTER_S:
            self.clear()
            line = f"{doing}, {step} of {of} ..."[: width() - 1]
            self._shown = len(line)
            sys.stderr.write(line)
            sys.stderr.flush()

    def clear(self) -> None:
        """Wipe away what was said last."""
        if self._shown:
            sys.stderr.write("\r" + " " * self._shown + "\r")
            sys.stderr.flush()
            self._shown = 0


def tell_fault(fault: BaseException) -> int:
    """Say a fault in words on stderr; returns the exit status."""
    if isinstance(fault, click.exceptions.Exit):
        return fault.exit_code
    if isinstance(fault, BrokenPipeError):
        return _leave_pipe()
    try:
        return _tell(fault)
    except BrokenPipeError:
        return _leave_pipe()


def _tell(fault: BaseException) -> int:
    if isinstance(fault, (KeyboardInterrupt, click.exceptions.Abort)):
        tell("\ninterrupted")
        return INTERRUPTED
    if isinstance(fault, click.ClickException):
        return _tell_usage(fault)
    from formulary.errors import FormularyError

    if isinstance(fault, FormularyError):
        tell_findings(fault.findings)
        return fault.exit_status
    if isinstance(fault, SystemExit):
        return fault.code if isinstance(fault.code, int) else OWN_FAULT
    if isinstance(fault, OSError) and fault.errno in (errno.ENOSPC, errno.EIO):
        from formulary.finding import error

        _leave_pipe()
        do = "make space, or send the output elsewhere; what a save had said was done is done"
        tell_findings([error("output-lost", f"the output could not be written ({fault.strerror})", do)])
        return STORAGE
    return _tell_own_fault(fault)


def _tell_usage(fault: click.ClickException) -> int:
    if isinstance(fault, click.exceptions.NoArgsIsHelpError):
        tell(fault.format_message())
        return WRONG_INPUT
    from formulary.finding import error

    message = fault.format_message()
    context = fault.ctx if isinstance(fault, click.UsageError) else None
    do = f"`{context.command_path} --help` shows how it is called" if context is not None else ""
    if isinstance(fault, click.NoSuchOption):
        message = f"there is no option {fault.option_name}"
        do = f"did you mean {' or '.join(sorted(fault.possibilities))}?" if fault.possibilities else do
    tell_findings([error("usage", f"{message[:1].lower()}{message[1:].rstrip('.')}", do)])
    return WRONG_INPUT


def _tell_own_fault(fault: BaseException) -> int:
    where = _write_details(fault)
    details = f"the details are in {where}" if where else f"it said {type(fault).__name__}"
    from formulary.finding import error

    do = "nothing saved is lost; report it, with what you typed and these details, where you got the program"
    tell_findings([error("own-fault", f"this program met a fault of its own; {details}", do)])
    return OWN_FAULT


def _write_details(fault: BaseException) -> str | None:
    import tempfile
    import traceback

    text = "".join(traceback.format_exception(fault))
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="formulary-fault-", suffix=".txt", delete=False, encoding="utf-8", errors="replace"
        ) as file:
            file.write(f"command: {sys.argv[1:]}\n{text}")
    except OSError:
        return None
    return file.name


def _leave_pipe() -> int:
    """Whoever read our output has seen enough; Python must not complain of it when it closes the stream."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE
