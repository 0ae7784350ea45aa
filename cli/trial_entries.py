"""`trial event`, `observe`, `as-made` and the other entries of a trial's record, one line a call."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

import click

from cli.options import folder_option, open_chosen, open_chosen_bench
from cli.output import DONE, STOPPED, say, width

if TYPE_CHECKING:
    from trials.bench import Bench
    from trials.trial.entry import Entry
    from trials.trial.model import Trial

_portion = click.option("--portion", metavar="NAME", help="The portion it belongs to, when the batter was divided.")
_at = click.option("--at", metavar="TIME", help='Since the lye went in: "4:10", "~4 min", "3-5 min"; now unless given.')
_note = click.option("--note", metavar="TEXT", help="A remark beside it.")
_correct = click.option("--correct", is_flag=True, help="It takes the place of what was recorded for the same.")


def _record(wanted: str, make: Callable[[Trial], Entry | tuple[Entry, ...]]) -> int:
    """Find the trial, make the entry, record it, say at once what makes the batch unsafe; returns the exit status."""
    from trials.bench import open_bench

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.find_trial(wanted)
        made = make(found)
        return _record_one(bench, found, *(made if isinstance(made, tuple) else (made,)))


def _record_one(bench: Bench, trial: Trial, *entries: Entry) -> int:
    before = bench.as_kept(trial)  # what is registered of a lot counts for good, and is said, once it is recorded
    by_hand = bench.is_hand_written(trial)
    recorded = bench.record(*entries)
    _tell_by_hand([recorded] if by_hand else [])
    return _tell(bench, before, recorded, entries)


def _tell_by_hand(trials: Iterable[Trial]) -> None:
    """That what stood unsaved in the files of trials was saved before the entry, which `undo` takes back alone."""
    from formulary.text_table import paragraph

    for trial in trials:
        text = f"{trial.id}: what was written by hand in its file is saved first, by itself"
        say("\n".join(paragraph(text, width=width(), indent=0)))


def _tell(bench: Bench, before: Trial, recorded: Trial, entries: Iterable[Entry]) -> int:
    """What was recorded, what it took the place of, what it brings to light, and the stops that stand.

    Returns the exit status: that of a stop while one does.
    """
    from formulary.batch.weigh_out_text import render_findings
    from formulary.text_table import paragraph
    from trials.as_made.portions_text import superfat_words
    from trials.lots.lot_values import describe_lot_values
    from trials.trial.entry import lots_of_entry
    from trials.trial.on_day import as_it_stood

    after = bench.after_entry(before, recorded)
    for entry in entries:
        say(f"{recorded.id}: {entry.said}")
        if entry.remark:
            say("\n".join(paragraph(entry.remark, width=width(), indent=2)))
        if entry.key is not None and lots_of_entry(entry):
            values = describe_lot_values(before, recorded, entry.key, lots_of_entry(entry))
            say("\n".join(paragraph(values, width=width(), indent=2))) if values else None
    stood = as_it_stood(recorded, date.today())
    said = superfat_words(stood)
    if said != superfat_words(as_it_stood(before, date.today())):
        say("\n".join(paragraph(said, width=width(), indent=2)))
    if recorded.made != before.made:
        text = f"Made on {recorded.made.isoformat()}, by the clock of this entry; it said {before.made.isoformat()}."
        say("\n".join(paragraph(text, width=width(), indent=2)))
    blocks = (
        ("", after.new),
        ("What no test has cleared yet:", after.untested),
        ("", after.unfit),
        ("Not fit to sell, and nobody can decide otherwise:", after.never),
        ("Not fit to sell:" if after.unfit else "Not fit to sell until decided:", after.undecided),
        (
            "Its decision to sell was made before this, and sets it aside by its code; decide anew whether it holds:",
            after.aside,
        ),
    )
    for head, findings in blocks:
        if findings:
            heading = paragraph(head, width=width()) if head else []
            say("\n".join(["", *heading, *render_findings(findings, width=width())]))
    return STOPPED if after.is_stopped else DONE


_sitting = click.option(
    "--whole-sitting", is_flag=True, help="For every trial of its sitting at once: the same room, jug or lot."
)


def _record_alike(wanted: str, make: Callable[[Trial], Entry], *, whole_sitting: bool) -> int:
    """One entry for a trial, or the same one for every trial of its sitting, in one save."""
    if not whole_sitting:
        return _record(wanted, make)
    with open_chosen_bench() as bench:
        together = bench.together_with(bench.find_trial(wanted))
        return _record_together(bench, together, [make(trial) for trial in together])


def _record_together(bench: Bench, together: Sequence[Trial], entries: Sequence[Entry]) -> int:
    """One entry for each of several trials of a sitting, in one save."""
    by_hand = [trial for trial in together if bench.is_hand_written(trial)]
    before = [bench.as_kept(trial) for trial in together]
    recorded = bench.record_all(entries)
    _tell_by_hand(by_hand)
    loaves = "1 loaf" if len(recorded) == 1 else f"{len(recorded)} loaves"
    say(f"Recorded for {loaves} of the sitting:")
    told = [_tell(bench, one, two, (entry,)) for one, two, entry in zip(before, recorded, entries, strict=True)]
    return max(told)


def _when(trial: Trial, at: str | None) -> str:
    from trials.record import elapsed_now

    return at if at is not None else elapsed_now(trial, datetime.now().astimezone())


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("what", metavar="WHAT")
@_at
@_portion
@_note
@_correct
@_sitting
@folder_option
def event(
    wanted: str,
    what: str,
    at: str | None,
    portion: str | None,
    note: str | None,
    correct: bool,
    whole_sitting: bool,
) -> int:
    """Something that happened on making day: "lye in", "light trace", "scent in", "too thick to pour", "poured" ..."""
    from trials import record

    def make(trial: Trial) -> Entry:
        if what == "lye in" and at is None:
            return record.lye_in(trial, datetime.now().astimezone())
        return trial.event(what, _when(trial, at), portion=portion, note=note, corrects=correct)

    return _record_alike(wanted, make, whole_sitting=whole_sitting)


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("lasted", metavar="DURATION")
@_at
@_portion
@_note
@folder_option
def blending(wanted: str, lasted: str, at: str | None, portion: str | None, note: str | None) -> int:
    """How long it was blended: 15s."""
    from trials import record

    return _record(wanted, lambda trial: record.blending(trial, lasted, _when(trial, at), portion=portion, note=note))


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("degrees", metavar="TEMPERATURE")
@_at
@_portion
@_note
@folder_option
def temperature(wanted: str, degrees: str, at: str | None, portion: str | None, note: str | None) -> int:
    """The batter's temperature at a moment: 38C."""
    from trials import record

    return _record(
        wanted, lambda trial: record.temperature(trial, degrees, _when(trial, at), portion=portion, note=note)
    )


@click.command("after")
@click.argument("wanted", metavar="TRIAL")
@click.argument("what", metavar="WHAT")
@click.option("--at", metavar="TIME", required=True, help='Since pouring: "3 h".')
@click.option("--temperature", metavar="TEMPERATURE", help="Of the oven, for example.")
@click.option("--for", "lasted", metavar="DURATION", help="How long.")
@click.option(
    "--with",
    "taken_in",
    metavar="WEIGHED",
    multiple=True,
    help='What a rebatch took in: "olive-oil 60 g" (repeatable).',
)
@_portion
@_note
@_correct
@folder_option
def after(
    wanted: str,
    what: str,
    at: str,
    temperature: str | None,
    lasted: str | None,
    taken_in: tuple[str, ...],
    portion: str | None,
    note: str | None,
    correct: bool,
) -> int:
    """Something done after pouring: covered, insulated, fridge, oven, fan, unmoulded, cut, stamped ...

    A rescue is "rebatched", --with what was worked in: that counts for the superfat, and not for how the batter
    thickened. Its weight may be "~60 g" (5 % either way) or "55-65 g", of which the worse end counts, or unknown, and
    then no superfat is known. What --correct does not say anew stays as it was recorded.
    """
    from trials import record

    return _record(
        wanted,
        lambda trial: record.handle(
            trial,
            what,
            at,
            temperature=temperature,
            lasted=lasted,
            taken_in=taken_in,
            portion=portion,
            note=note,
            corrects=correct,
        ),
    )


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("outcome", metavar="OUTCOME")
@click.argument("values", metavar="VALUE...", nargs=-1, required=True)
@click.option("--age", metavar="AGE", required=True, help="Since the soap was made: 28d, 4 weeks.")
@click.option("--who", metavar="NAME", help="Who measured.")
@click.option("--how", metavar="TEXT", help="How it was measured, when otherwise than usual.")
@_portion
@_note
@_correct
@folder_option
def observe(
    wanted: str,
    outcome: str,
    values: tuple[str, ...],
    age: str,
    who: str | None,
    how: str | None,
    portion: str | None,
    note: str | None,
    correct: bool,
) -> int:
    """Something measured or graded later; several values are repeat readings: hardness 3.1mm 3.3mm --age 28d."""

    return _record(
        wanted,
        lambda trial: trial.observe(
            outcome,
            *values,
            age=age,
            portion=portion,
            who=who,
            how=how,
            note=note,
            corrects=correct,
        ),
    )


@click.command("as-made")
@click.argument("wanted", metavar="TRIAL")
@click.argument("sentence", metavar='"WHAT DIFFERED"', required=False)
@click.option(
    "--forgot-to-replace", "forgotten", metavar="MATERIAL", help="The water of this addition was not taken off."
)
@_portion
@_note
@folder_option
def as_made(wanted: str, sentence: str | None, forgotten: str | None, portion: str | None, note: str | None) -> int:
    """What differed from the plan, in grams as weighed.

    "water 283 g", "no rose-clay", "sunflower-oil instead of castor-oil 80 g", "extra honey 12 g at oils"; or
    --forgot-to-replace oat-milk. From then on every view uses what was really in the pot. Said again of a line it takes
    the earlier one's place; "rose-clay as planned" and "no extra honey" take one back. Of which lots it was, and how
    much of each, is said by `trial lot`.

    "lye 300 g" says that of the mixed lye, alkali and water together, only so much went into the oils. A weight may be
    "~120 g" (5 % either way) or "118-126 g", of which the worse end counts, or unknown, and then nothing is worked out.
    """
    from trials import record

    if (sentence is None) == (forgotten is None):
        raise click.UsageError('say what differed, such as "water 283 g", or --forgot-to-replace MATERIAL')
    if forgotten is not None:
        return _record(wanted, lambda trial: record.forgot_to_replace(trial, forgotten))
    return _record(wanted, lambda trial: record.as_made(trial, sentence or "", portion=portion, note=note))


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("said", metavar='"NAME SHARE"...', nargs=-1)
@click.option(
    "--by-eye",
    metavar="PERCENT",
    help="Give or take so many percent of the batter, of each share; as before unless given, 0 when weighed.",
)
@click.option("--whole", is_flag=True, help="It was not divided.")
@folder_option
def portions(wanted: str, said: tuple[str, ...], by_eye: str | None, whole: bool) -> int:
    """How the batter was really divided: "plain 60" "clove 40"; what happened to each portion stays.

    "swirl 40 instead of clove" gives a portion of the plan another name.
    """
    from trials import record

    if bool(said) == whole:
        raise click.UsageError('say each portion and its percent, such as "plain 60" "clove 40", or --whole')
    return _record(wanted, lambda trial: record.portions_entry(trial, said, by_eye=by_eye))


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("text", metavar="TEXT")
@folder_option
def note(wanted: str, text: str) -> int:
    """A remark, added below the notes that are there."""
    from trials import record

    return _record(wanted, lambda trial: record.note(trial, text))


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("material", metavar="MATERIAL")
@click.argument("lots", metavar="LOT...", nargs=-1, required=True)
@_correct
@_sitting
@folder_option
def lot(wanted: str, material: str, lots: tuple[str, ...], correct: bool, whole_sitting: bool) -> int:
    """The lot of a material that was used, or its lots with what went in of each.

    "OL-7 300 g" "OL-8" says that 300 g were of lot OL-7 and the rest of what went in of OL-8. With --whole-sitting such
    weights are of all its loaves together, and each that took some of it has its part of every lot.
    """
    from trials import record

    with open_chosen_bench() as bench:
        trial, register = bench.find_trial(wanted), bench.folder.register
        if not whole_sitting:
            return _record_one(bench, trial, record.lot(trial, material, *lots, corrects=correct, register=register))
        together = bench.together_with(trial)
        made = record.lots_of_sitting(together, material, *lots, corrects=correct, register=register)
        with_it = {entry.trial_id for entry in made}
        return _record_together(bench, [each for each in together if each.id in with_it], made)


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("key", metavar="WHICH")
@click.argument("text", metavar="VALUE")
@_sitting
@folder_option
def condition(wanted: str, key: str, text: str, whole_sitting: bool) -> int:
    """One of the conditions: room, humidity, lye_temperature, oil_temperature, mould, cover, blender."""
    from trials import record

    return _record_alike(wanted, lambda trial: record.condition(trial, key, text), whole_sitting=whole_sitting)


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.option("--cut", metavar="N", help="Bars cut.")
@click.option("--kept-back", metavar="N", help="Bars kept back.")
@click.option("--scrapped", metavar="N", help="Bars scrapped.")
@click.option("--lightest", metavar="WEIGHT", help="What the lightest bar weighs.")
@folder_option
def bars(wanted: str, cut: str | None, kept_back: str | None, scrapped: str | None, lightest: str | None) -> int:
    """What became of the bars."""
    from trials import record

    given = {"cut": cut, "kept_back": kept_back, "scrapped": scrapped, "lightest": lightest}
    counts = {key: text for key, text in given.items() if text is not None}
    if not counts:
        raise click.UsageError("say at least one of --cut, --kept-back, --scrapped, --lightest")
    return _record(wanted, lambda trial: record.bars(trial, **counts))


@click.command()
@click.argument("wanted", metavar="TRIAL")
@click.argument("decision", type=click.Choice(["sell", "rework", "discard", "hold"]))
@click.option("--who", metavar="NAME", required=True, help="Who decided.")
@click.option("--why", metavar="TEXT", required=True, help="Why.")
@click.option("--on", metavar="DATE", help="When, if not today: 2026-11-25.")
@click.option(
    "--despite",
    metavar="CODE",
    multiple=True,
    help="Sell in spite of what speaks against it now, by its code (repeatable).",
)
@folder_option
def release(wanted: str, decision: str, who: str, why: str, on: str | None, despite: tuple[str, ...]) -> int:
    """What was decided about the batch, by whom and why. Local rules decide what may be sold.

    The last decision holds; those before it stay in the record, each with its day, which is today's unless given.

    Selling is refused while something speaks against it; lye excess and free alkali cannot be overridden. What counts
    was done by the day of the decision. The cure counts from two days after pouring, or after the last rebatch. Exit
    status 1 says of a sale that it was refused.
    """
    from trials import record

    return _record(wanted, lambda trial: record.release(trial, decision, who=who, why=why, on=on, despite=despite))


ENTRY_COMMANDS = (
    event,
    blending,
    temperature,
    after,
    observe,
    as_made,
    portions,
    note,
    lot,
    condition,
    bars,
    release,
)
