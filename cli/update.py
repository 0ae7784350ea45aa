"""`update`: a base recipe's later saves, brought into a variant."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from cli.options import all_option, folder_option, json_option, open_chosen
from cli.output import DONE, STOPPED, progress, say, say_json, say_next, width

if TYPE_CHECKING:
    from formulary.variants.update_text import Update


@click.command()
@click.argument("variant")
@click.option(
    "--settle",
    "choices",
    metavar="FIELD=mine|base|both",
    multiple=True,
    help="How one thing is settled: as here, as in the base, or both changes added (oils). Repeatable.",
)
@click.option("--apply", "is_applied", is_flag=True, help="Write it into the variant's file, not saved yet.")
@all_option
@json_option
@folder_option
def update(variant: str, choices: tuple[str, ...], is_applied: bool, show_all: bool, as_json: bool) -> int:
    """What was saved of a variant's base since the version that it is based on, and what that would make of it.

    Nothing is written without --apply. What only one of the two changed is taken; what both changed differently is a
    conflict, kept in the file under `conflicts:`, and no lye is worked out until it is settled: edit the file, or
    --settle lye.superfat=base. A change of the base that is not wanted is left out in the same way, by =mine;
    --settle all=mine --apply leaves out all of them, so that they are not told again.
    """
    from formulary.variants.update_text import render_update

    with open_chosen() as folder, progress("working out both sides"):
        found = folder.find_update(variant, settle=_read_choices(choices))
        if is_applied:
            found = folder.apply_update(found)
    if as_json:
        say_json(found.to_json())
    else:
        say(render_update(found, width=width(), show_all=show_all))
        _say_what_next(found, choices)
    return STOPPED if found.changes is not None and found.changes.stops else DONE


def _read_choices(choices: tuple[str, ...]) -> dict[str, str]:
    settle: dict[str, str] = {}
    for field, word in (map(str.strip, choice.partition("=")[::2]) for choice in choices):
        if settle.setdefault(field, word) != word:
            raise click.UsageError(f"--settle {field} is given twice, as {settle[field]} and as {word}")
    return settle


def _say_what_next(found: Update, choices: tuple[str, ...]) -> None:
    from formulary.text_table import paragraph

    name = found.variant.slug
    if found.is_applied:
        follows = f"it is based on {found.parent.slug}@{found.parent.now.short_id} now"
        say("")
        for told in (
            f"Written to recipes/{name}.yaml, not saved yet; {follows}.",
            f"To take it back: formulary restore {name}@latest --discard",
        ):
            say("\n".join(paragraph(told, width=width())))
    if found.is_empty and not found.conflicts:
        return
    say("")
    if found.conflicts and (found.is_applied or found.is_empty):
        settled = f"formulary update {name} --settle {found.conflicts[0].field}=base --apply (or =mine)"
        say_next(f"edit what a conflict names and delete its line under conflicts:, or {settled}")
    elif found.is_applied:
        say_next(f"look it over in an editor, then formulary save {name} -m WHY")
    elif found.conflicts:
        say_next(f"settle with --settle as above, or formulary update {name} --apply keeps the conflicts in the file")
    else:
        say_next(f"formulary update {' '.join([name, *(f'--settle {choice}' for choice in choices)])} --apply")
