"""`send-back`: what proved better in a variant, sent back to its base."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from cli.options import all_option, folder_option, json_option, open_chosen
from cli.output import DONE, STOPPED, progress, say, say_json, say_next, width

if TYPE_CHECKING:
    from formulary.variants.send_back_text import SendBack


@click.command("send-back")
@click.argument("variant", metavar="VARIANT[@VERSION]")
@click.argument("fields", nargs=-1, metavar="[FIELD]...")
@click.option("--apply", "is_applied", is_flag=True, help="Write it into the base's file, not saved yet.")
@all_option
@json_option
@folder_option
def send_back(variant: str, fields: tuple[str, ...], is_applied: bool, show_all: bool, as_json: bool) -> int:
    """What a variant has otherwise than its base, and what the base becomes when some of it is sent back.

    Nothing is written without --apply. Named alone, a variant is shown with the FIELDs that it can send: lye.superfat,
    water; lye is all of the lye, `all` everything but the variant's name and notes, and the oils, which total 100, are
    one thing. What is sent is what is saved of the variant, last or in the version of the trial that proved better;
    what the base changed, too, is settled by an update of the variant first.
    """
    from formulary.variants.send_back_text import render_send_back

    with open_chosen() as folder, progress("working out both sides"):
        found = folder.find_send_back(variant, *fields)
        if is_applied:
            found = folder.apply_send_back(found)
    if as_json:
        say_json(found.to_json())
    else:
        say(render_send_back(found, width=width(), show_all=show_all))
        _say_what_next(found)
    return STOPPED if found.changes is not None and found.changes.stops else DONE


def _say_what_next(found: SendBack) -> None:
    import shlex

    from formulary.text_table import paragraph

    base = found.base.slug
    command = f"formulary send-back {found.variant.name if found.is_earlier else found.variant.slug}"
    if found.is_applied:
        say("")
        for told in (
            f"Written to recipes/{base}.yaml, not saved yet.",
            f"To take it back: formulary restore {base}@latest --discard",
        ):
            say("\n".join(paragraph(told, width=width())))
    steps = []
    if found.is_applied:
        steps = [f"look it over in an editor, then formulary save {base} -m WHY"]
        if found.to_update:
            more = len(found.to_update) - 1
            steps.append(f"formulary update {found.to_update[0].recipe}{f' (and {more} more)' if more else ''}")
    elif not found.is_empty and not found.base.is_saved:
        steps = [f"formulary save {base} -m WHY", f"{command} {shlex.join(found.sent)} --apply"]
    elif not found.is_empty:
        steps = [f"{command} {shlex.join(found.sent)} --apply"]
    elif not found.sent and found.can_be_sent:
        first = min(found.can_be_sent, key=lambda each: len(each.needs))
        fields = shlex.join([first.field, *first.needs])
        steps = [f"{command} {fields} (or others, or all) shows what {base} would become"]
    if steps:
        say("")
        say_next(", then ".join(steps))
