"""`materials`: the register."""

from __future__ import annotations

import shlex
from datetime import date

import click

from cli.options import SentenceGroup, folder_option, json_option, open_chosen, open_chosen_bench
from cli.output import DONE, STOPPED, WRONG_INPUT, is_asked, progress, say, say_json, say_next, tell_findings, width
from formulary.text_table import paragraph

_KINDS = "oil, wax, fatty-acid, alkali, acid, liquid, fragrance, colourant or additive"
_ENTER = "Enter leaves a question open; Ctrl-C leaves without writing anything."


@click.group(cls=SentenceGroup, invoke_without_command=True)
@json_option
@folder_option
@click.pass_context
def materials(context: click.Context, as_json: bool) -> None:
    """The register: all materials by kind; `materials show NAME` tells all that is known of one."""
    if context.invoked_subcommand is not None:
        return
    from formulary.materials.text import material_json, render_materials

    with open_chosen() as folder:
        register = folder.register
        unread = [fault for of_file in folder.unread_materials.values() for fault in of_file]
    if as_json:
        listed = [material_json(register[name]) for name in sorted(register)]
        say_json({"materials": listed, "unread": [fault.to_json() for fault in unread]})
    else:
        say(render_materials(register, width=width()))
    tell_findings(unread)


@materials.command("show")
@click.argument("name")
@json_option
@folder_option
def show_material(name: str, as_json: bool) -> None:
    """All that is known of a material, where it is from, and how its working value was chosen."""
    from formulary.materials.text import material_json, render_material

    with open_chosen() as folder:
        material, told_in = folder.find_material(name), folder.settings.temperature
    if as_json:
        say_json(material_json(material))
    else:
        say(render_material(material, width=width(), told_in=told_in))


_VALUE_HELP = (
    "A line of the file: --set 'density=0.92 g/ml', --set 'contains={eugenol: 82 %}', or one value within braces: "
    "--set limit.edition=51 (repeatable)."
)


@materials.command("add")
@click.argument("name")
@click.option(
    "--kind", metavar="KIND", help="oil, wax, fatty-acid, alkali, acid, liquid, fragrance, colourant, additive."
)
@click.option("--called", metavar="TEXT", help="What it is called in full.")
@click.option("--limit", metavar="PERCENT", help="Of a scent: at most so much of the bar, by its certificate.")
@click.option("--set", "pairs", metavar="KEY=VALUE", multiple=True, help=_VALUE_HELP)
@folder_option
def add_material(name: str, kind: str | None, called: str | None, limit: str | None, pairs: tuple[str, ...]) -> None:
    """A new file for a material of yours, with what you know and comments on what else may be filled in.

    On a terminal it asks for what no option said and that kind needs to be used safely; Enter leaves one open.
    """
    from cli.asking import ask, ask_for_values
    from formulary.folder.material_files import draft_material, parse_kind, parse_values, write_new_material
    from formulary.materials.questions import find_open_points, questions_for_material

    values = parse_values([*([] if limit is None else [f"limit.percent_of_product={limit}"]), *pairs])
    with open_chosen() as folder:
        if is_asked():
            if kind is None and name not in folder.register:
                draft_material(folder, name, name=called, kind="additive")  # a name that cannot be used is told first
                kind = ask(f"What kind is it: {_KINDS}", lambda typed: parse_kind(typed).value)
            draft = draft_material(folder, name, name=called, kind=kind)
            say(_ENTER)
            values = ask_for_values(draft, questions_for_material(name, draft.kind), values)
        doubts = draft_material(folder, name, name=called, kind=kind).check(values)
        write_new_material(folder, name, name=called, kind=kind, values=values)
        open_points = find_open_points(folder.register[name])
    say(f"Written to materials/{name}.yaml, not saved yet.")
    tell_findings(doubts)
    for point in open_points:
        say("\n".join(paragraph(f"Still open: {point}.", width=width())))
    say_next(f"fill in what you know in an editor; formulary materials show {name}; formulary save -m WHY")


@materials.command("lot")
@click.argument("name")
@click.argument("lot")
@click.option("--received", metavar="DATE", help="When it came: 2026-08-02.")
@click.option("--opened", metavar="DATE", help="When it was opened.")
@click.option("--best-before", metavar="DATE", help="Its best before: 2028-02.")
@click.option("--price", metavar="PRICE", help='"22.50 per 100 g".')
@click.option("--set", "pairs", metavar="KEY=VALUE", multiple=True, help="A value of its certificate (repeatable).")
@folder_option
def add_lot(
    name: str,
    lot: str,
    received: str | None,
    opened: str | None,
    best_before: str | None,
    price: str | None,
    pairs: tuple[str, ...],
) -> int:
    """A delivery of a material: its dates, its price, and what its certificate states.

    On a terminal it asks for what no option said; Enter leaves one open. Exit status 1 when it is written, and a loaf
    that was made from it has a stop.
    """
    from cli.asking import ask_for_values
    from formulary.folder.material_files import draft_lot, parse_values, write_lot
    from formulary.materials.lot_dates import check_dates_of_chosen
    from formulary.materials.questions import questions_for_lot
    from trials.bench import open_bench

    stated = {"received": received, "opened": opened, "best_before": best_before, "price": price}
    values = parse_values([*(f"{key}={text}" for key, text in stated.items() if text is not None), *pairs])
    with open_chosen() as folder:
        if is_asked():
            draft = draft_lot(folder, name, lot)
            say(_ENTER)
            values = ask_for_values(draft, questions_for_lot(draft.kind), values)
        doubts = draft_lot(folder, name, lot).check(values)
        write_lot(folder, name, lot, values)
        dates = check_dates_of_chosen(folder.register, {name: [lot]}, date.today())
        with progress("reading the trials"):
            loaves = open_bench(folder).find_unsafe_loaves(name, lot)
    say(f"Lot {lot} of {name} is written to materials/{name}.yaml, not saved yet.")
    tell_findings((*doubts, *dates, *loaves))
    say_next(f"formulary materials where {shlex.quote(lot)} shows what its certificate changes; formulary save -m WHY")
    return STOPPED if loaves else DONE


@materials.command("where")
@click.argument("lot")
@json_option
@folder_option
def where(lot: str, as_json: bool) -> int:
    """Every trial that used a lot, or may have, and every recipe whose lye its certificate would change.

    A trial with such a material of which, or of part of which, no lot is recorded, made or rebatched since the lot
    came in, may have used it.

    Exit status 2 when a trial could not be read, or a material of yours: the lot may be of that one, too.
    """
    from trials.trial.identity import code_of

    with open_chosen_bench() as bench, progress("reading the trials"):
        uses = bench.find_lot_uses(lot)
    if as_json:
        say_json(uses.to_json())
    else:
        say(uses.render(width=width()))
        for_sale = {
            code_of(used.trial.id): None
            for used in uses.batches
            if used.trial.sold is not None and used.trial.release is used.trial.sold and not used.is_deleted
        }
        if for_sale:
            each = ", and so each that is for sale" if len(for_sale) > 1 else ""
            say_next(
                f"if the lot is bad, formulary trial release {next(iter(for_sale))} hold --who NAME --why WHY{each}"
            )
    return WRONG_INPUT if uses.unread else DONE
