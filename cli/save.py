"""`save`: one commit of what changed."""

from __future__ import annotations

import click

from cli.options import folder_option, open_chosen
from cli.output import progress, say, say_next, width


@click.command()
@click.argument("recipes", metavar="[RECIPE]...", nargs=-1)
@click.option("-m", "--why", "why", metavar="WHY", required=True, help="Why, in a few words.")
@folder_option
def save(recipes: tuple[str, ...], why: str) -> None:
    """Save every changed file of the formulary, or the recipes named, as one commit with the change in words.

    Every file below recipes/, materials/ and trials/ goes in, photos too; `status` lists them first. A file with a
    fault, or over 64 MB, stops the whole save; recipes named are saved without the others, with the materials of
    yours that they use.
    """
    from formulary.saving import describe_size, say_unchanged
    from formulary.text_table import paragraph
    from trials.bench import open_bench

    with open_chosen() as folder:
        with progress("saving"):
            report = folder.save_changed(recipes, why=why, check=open_bench(folder).check_files)
        say(f"Saved {', '.join(report.paths)}.\n")
        if report.unchanged:
            say("\n".join(paragraph(f"{say_unchanged(report.unchanged)}.", width=width())) + "\n")
        if report.beside_bytes:
            files = f"{len(report.beside_bytes)} file{'s' if len(report.beside_bytes) > 1 else ''}"
            size = describe_size(sum(report.beside_bytes.values()))
            say(f"Photos and the like among them: {files}, {size}, in the history from now on.\n")
        say("\n".join(f"  {line}".rstrip() for line in report.message.rstrip().splitlines()))
        names = [path.removeprefix("recipes/").removesuffix(".yaml") for path in report.paths if _is_recipe(path)]
        saved = [name for name in names if name in folder.recipes()]
    say("")
    if saved or not names:
        name = saved[0] if saved else "RECIPE"
        say_next(f"formulary batch {name} --oils 1000g shows what to weigh; formulary history {name} its versions")
    else:
        say_next(f"formulary history {names[0]} still tells its versions; formulary restore brings one back")


def _is_recipe(path: str) -> bool:
    return path.startswith("recipes/")
