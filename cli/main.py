"""The command `formulary`: its commands, found when they are called, and the one place where faults become words."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from importlib import import_module

import click

from cli.options import folder_option

# Command -> module, and the line that `formulary --help` shows; the module is imported when its command is called.
COMMANDS = {
    "init": ("cli.start", "Make a new formulary, with an example recipe."),
    "demo": ("cli.start", "Build an invented formulary and do the three weekly jobs on it."),
    "check": ("cli.check", "Every file, everything that is wrong or worth knowing."),
    "show": ("cli.show", "A recipe: percentages, lye, water, additions, scent."),
    "batch": ("cli.batch", "What to weigh for a size, in working order."),
    "new": ("cli.new", "A new recipe from weights, in percentages that total 100."),
    "branch": ("cli.branch", "A variant of a recipe, which remembers its parent."),
    "update": ("cli.update", "Bring a base's later changes into a variant."),
    "send-back": ("cli.send_back", "Send what proved better in a variant back to its base."),
    "save": ("cli.save", "Save what changed, with a word on why."),
    "history": ("cli.history", "The versions of a recipe: when, why, what changed."),
    "diff": ("cli.diff", "What changed between two versions, files or trials."),
    "status": ("cli.returning", "What is not saved yet, and what is wrong."),
    "restore": ("cli.returning", "Bring an old version back, as a new save."),
    "undo": ("cli.returning", "Undo the last save, as a new save; again goes further back."),
    "redo": ("cli.returning", "Bring back what the last undo took away."),
    "name": ("cli.returning", "Give a saved version a lasting name."),
    "doctor": ("cli.doctor", "What is wrong with the folder, and mend what can be."),
    "rename": ("cli.returning", "Give a recipe another name; history stays with it."),
    "blend": ("cli.blend", "The chemistry of a recipe's oils."),
    "ingredients": ("cli.blend", "The ingredient list by INCI name."),
    "cost": ("cli.blend", "What a batch's materials cost."),
    "trial": ("cli.trial", "Start a trial, or show one."),
    "due": ("cli.due", "What should be looked at now and next."),
    "ready-by": ("cli.due", "When to pour for a market day."),
    "compare": ("cli.compare", "What differed between trials, and what each did."),
    "explain": ("cli.explain", "Which tweak did it, and how sure one can be."),
    "next": ("cli.next", "The pour that would best tell what did it."),
    "chart": ("cli.chart", "Draw a recipe's story, or the effects on an outcome."),
    "report": ("cli.report", "The story of a recipe, its trials and what did it, as a page."),
    "table": ("cli.table", "Every fact and outcome of the trials, for other programs."),
    "materials": ("cli.materials", "The register: what is known of each material."),
    "outcomes": ("cli.outcomes", "What can be observed, and how to measure it."),
}
GROUPS = (
    ("Begin", ("init", "demo")),
    (
        "Recipes",
        (
            "show",
            "batch",
            "new",
            "branch",
            "update",
            "send-back",
            "save",
            "history",
            "diff",
            "check",
            "blend",
            "ingredients",
            "cost",
        ),
    ),
    ("Saved work", ("status", "restore", "undo", "redo", "name", "rename", "doctor")),
    ("Trials", ("trial", "due", "ready-by", "compare", "explain", "next", "chart", "report", "table")),
    ("Look up", ("materials", "outcomes")),
)
EXITS = (
    ("0", "done, also when there is not enough evidence to name a cause"),
    ("1", "a stop stands: do not weigh out, use or sell; or a conflict is open"),
    ("2", "wrong input, in a file or on the command line"),
    ("3", "the disk, git or a permission stands in the way"),
    ("70", "a fault of this program's own"),
    ("130", "interrupted"),
)


class LazyGroup(click.Group):
    """A group that imports a command only when it is called, and names the nearest one when there is none."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(COMMANDS[cmd_name][0]), cmd_name.replace("-", "_"))
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if not name.startswith("-") and name not in COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(name, COMMANDS, n=2)
            hint = f"did you mean {' or '.join(near)}?" if near else "`formulary --help` lists the commands"
            raise click.UsageError(f"there is no command {name[:40]!r}; {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        for title, names in GROUPS:
            with formatter.section(title):
                formatter.write_dl([(name, COMMANDS[name][1]) for name in names])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Exit status"):
            formatter.write_dl(list(EXITS))


def _tell_version(context: click.Context, _: click.Parameter, is_asked: bool) -> None:
    if not is_asked:
        return
    from importlib.metadata import PackageNotFoundError, version

    try:
        click.echo(f"formulary {version('soap-formulary')}")
    except PackageNotFoundError:
        click.echo("formulary, from a folder of source code that is not installed")
    context.exit()


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--version", is_flag=True, expose_value=False, is_eager=True, callback=_tell_version, help="The version.")
@folder_option
def formulary() -> None:
    """Recipes of cold-process soap, their batches and trials, in a folder under git.

    A recipe is named `NAME` (its file as it is now), `NAME@latest` (the last save), `NAME@4c1d` (the beginning of a
    version's id) or `NAME@3` (its third save).
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command line and exit with its status."""
    # Read by numpy when it is first imported. Its matrices are small here: more threads only wait for one another, on
    # a busy machine for several times as long as they work.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    # What a command imports and reads stays until it ends. To look all of it through for rings of garbage, as Python
    # does after each 700 new things and again at the end, finds nothing and takes an eighth of a short command.
    gc.set_threshold(100_000)
    status = run(arguments)
    gc.freeze()
    sys.exit(status)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run a command line; returns the exit status. Every fault becomes words here, and nowhere else."""
    from cli import output

    output.prepare_streams()
    try:
        # Not click's own `main`, which turns a closed pipe into exit status 1.
        given = list(sys.argv[1:] if arguments is None else arguments)
        # As click would find it, with a module for archives.
        help_width = max(min(output.terminal_columns(), output.USUAL) - 2, 50)
        with formulary.make_context("formulary", given, terminal_width=help_width) as context:
            status = formulary.invoke(context)
        sys.stdout.flush()
    except BaseException as fault:
        return output.tell_fault(fault)
    return status if isinstance(status, int) else 0


if __name__ == "__main__":
    main()
