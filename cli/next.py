"""`next`: the pour that would best tell what did it."""

from __future__ import annotations

import click

from cli.options import folder_option, json_option, open_chosen_bench, outcome_argument
from cli.output import progress, say, say_json, say_next, width


@click.command("next")
@outcome_argument
@click.option(
    "--within", "within", metavar="RECIPE", multiple=True, help="Only this recipe and its variants (repeatable)."
)
@click.option("--write", "slug", metavar="NAME", help="Branch the first proposal as a variant of that name.")
@json_option
@folder_option
def next(outcome: str, within: tuple[str, ...], slug: str | None, as_json: bool) -> None:
    """Up to three trials that would tell most about what moved OUTCOME: small changes, each safe to weigh out.

    What each result would mean stands below it. What may set in the pot before it is poured, or has in it what
    did before, comes last, with a warning. The variant of --write is a file that is not saved yet.
    """
    from trials.next_trial.next_trial import first_proposed
    from trials.next_trial.text import next_trials_json, render_next_trials

    with open_chosen_bench() as bench:
        folder = bench.folder
        with progress("weighing what to pour next"):
            answer = bench.explain(outcome, within=within, with_next=False)
            proposed = bench.next_trials(answer)
        if slug is not None:
            best = first_proposed(proposed, answer)
            version = best.branch(slug)
            path = folder.write(folder.branch(best.start, slug, *best.tweaks, name=version.recipe.name))
    if as_json:
        say_json(next_trials_json(proposed, answer))
        return
    say(render_next_trials(proposed, answer, width()))
    if slug is not None:
        say(f"\nWritten to {path.relative_to(folder.root)}, not saved yet; it remembers {best.start.name}.")
        if best.by_hand:
            say(f"No recipe holds the rest; see to it when you pour: {' and '.join(best.by_hand)}.")
        say_next(f"look it over in an editor, then formulary save {slug} -m WHY")
