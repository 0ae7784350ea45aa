"""A sheet for the bench, of a batch, of a sitting or of a started trial: one HTML file to print and to write on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from formulary.batch.model import Batch
from formulary.batch.overriding import demand_weighable
from formulary.batch.scale import Scale, format_step
from formulary.batch.sitting_model import Sitting
from formulary.batch.sitting_text import unshared_sentences
from formulary.errors import StopError
from formulary.finding import stops
from formulary.materials.plain_name import material_words
from formulary.temperature import say_written
from trials.pages.sheet_data import SheetData, ToNote, ToTime
from trials.pages.sheet_parts import batch_part, sitting_parts
from trials.pours.sentences import say_list
from trials.trial.model import EVENT_WORDS, PREPARATIONS

# These come at any time, and more than once.
_AT_ANY_TIME = ("blending", "temperature")
_CONDITIONS = (
    ("room, {}", ""),
    ("humidity, %", ""),
    ("lye, {}", "lye_temperature"),
    ("oils, {}", "oil_temperature"),
    ("mould", "mould"),
    ("cover", "cover"),
    ("blender", ""),
)
HANDLING = ("covered", "insulated", "unmoulded", "cut")


@dataclass(frozen=True, slots=True)
class Sheet(SheetData):
    """A sheet that is written to a file; `html` is its text."""

    def __repr__(self) -> str:
        return f"<Sheet of {self.title}>"

    @property
    def html(self) -> str:
        """The sheet as one HTML document."""
        from trials.pages.sheet_page import render_sheet

        return render_sheet(self)

    def save(self, path: Path | str) -> None:
        """Write it to an .html file. Raises InputError for another ending, StorageError when the disk refuses."""
        from trials.pages.page import save_page

        save_page(self.html, Path(path))


def make_sheet(
    weigh_out: Batch | Sitting,
    *,
    on: date,
    who: str | None = None,
    own_events: Sequence[str] = (),
) -> Sheet:
    """What to weigh for a batch or a sitting, with boxes to tick and lines for what happens on making day.

    on: the day that it is made for. who: who makes it; a line to fill in unless given. own_events: the maker's own
    words for events.
    Raises StopError while a stop stands: there is no sheet with weights then (`demand_weighable` overrides one).
    """
    remarks: list[str] = []
    batches = weigh_out.batches if isinstance(weigh_out, Sitting) else (weigh_out,)
    for batch in batches:
        demand_weighable(batch)
    if isinstance(weigh_out, Sitting):
        if weigh_out.is_stopped:
            raise StopError(stops(weigh_out.findings))
        names = say_list(list(dict.fromkeys(batch.recipe_name for batch in batches)))
        parts, findings = sitting_parts(weigh_out, _lot_words(batches))
        title = f"{len(batches)} loaves: {names}"
        remarks = unshared_sentences(weigh_out)
    else:
        parts, findings = (batch_part(batches[0], _lot_words(batches)),), ()
        title = batches[0].recipe_name
    facts = [
        *version_facts(batches),
        *(("size", part.size) for part in parts if len(parts) == 1),
        ("day", on.isoformat()),
        *scale_facts(batches[0].scale),
        ("by", who or ""),
    ]
    process = {
        key: said for key, said in batches[0].process.items() if all(each.process.get(key) == said for each in batches)
    }
    return Sheet(
        title=title,
        facts=tuple(facts),
        parts=parts,
        findings=findings,
        remarks=tuple(remarks),
        conditions=tuple(conditions(process, {}, batches[0].scale.temperature)),
        times=tuple(
            times(
                [portion.name for portion in batch.pot.portions],
                {},
                own_events,
                title=_times_title(batches, number),
                is_scented=bool(batch.scent),
                told_in=batch.scale.temperature,
            )
            for number, batch in enumerate(batches)
        ),
        handling=tuple(ToNote(word) for word in HANDLING),
        assumed=tuple(assumed(batches)),
    )


def version_facts(batches: Sequence[Batch]) -> Iterable[tuple[str, str]]:
    """Which contents of which recipes it is of."""
    told = []
    for batch in batches:
        version = batch.version_id[:8] if batch.version_id else "no version"
        label = f" ({batch.version_label})" if batch.version_label else ""
        told.append(f"{batch.recipe} {version}{label}")
    yield "recipe", "; ".join(dict.fromkeys(told))


def scale_facts(scale: Scale) -> Iterable[tuple[str, str]]:
    """What the scales show."""
    yield "scales", f"{format_step(scale.step_g)}, for lye {format_step(scale.alkali_step_g)}"


def _lot_words(batches: Iterable[Batch]) -> dict[str, str]:
    return {name: " + ".join(lots) for batch in batches for name, lots in batch.lots.items()}


def _by_certificate(batch: Batch) -> Batch:
    """The batch without the lots that are known by name alone."""
    return replace(batch, lots={name: lots for name, lots in batch.lots.items() if batch.materials[name].lots_used})


def _times_title(batches: Sequence[Batch], number: int) -> str:
    if len(batches) == 1:
        return f"When it happened: {batches[0].recipe_name}"
    return f"When it happened: loaf {number + 1}, {batches[number].recipe_name}"


def conditions(process: Mapping[str, str], noted: Mapping[str, str], told_in: str) -> Iterable[ToNote]:
    """What to note of the sitting, with what the recipe plans, and what is noted already, by the same words."""
    for words, planned in _CONDITIONS:
        what = words.format(told_in)
        yield ToNote(what, say_written(process.get(planned, ""), told_in), (noted.get(what, ""),))


def times(
    portions: Sequence[str],
    noted: Mapping[tuple[str, str], str],
    own_events: Sequence[str] = (),
    *,
    title: str,
    is_scented: bool,
    told_in: str,
) -> ToTime:
    """The events of making day, a line each, in a column for the whole batter and one for every portion.

    noted: (event, column) -> when it was, for what is recorded already; the whole batter is the column "".
    """
    columns = ("", *portions)
    words = [word for word in EVENT_WORDS if word not in _AT_ANY_TIME and (is_scented or word != "scent in")]
    heads = [(word, word) for word in (*words, *own_events)]
    heads += [("blending", "blending, for s"), ("temperature", f"batter, {told_in}")]
    rows = []
    for word, head in heads:
        cells: list[str | None] = [noted.get((word, column), "") for column in columns]
        if word in (*PREPARATIONS, "lye in"):  # before any portion is
            cells = [cells[0] or ("0:00" if word == "lye in" else ""), *(None for _ in portions)]
        rows.append(ToNote(head, "", tuple(cells)))
    return ToTime(title, ("whole batter", *portions) if portions else ("",), tuple(rows))


def assumed(batches: Sequence[Batch]) -> Iterable[str]:
    """What the weights rest on that nobody weighed, and what they leave out."""
    scale = batches[0].scale
    yield (
        f"Weights are rounded to what the scales show: {scale.step_g:g} g; lye, scent and what that is too coarse for,"
        f" {scale.finest_g:g} g. Lye and scent are always rounded down."
    )
    purity = {alkali.material: alkali.assay_percent for batch in batches for alkali in batch.lye}
    for material, percent in purity.items():
        yield f"The {material_words(material)} is taken to be {percent:g} % pure."
    lots = [f"{material_words(name)} {lot}" for name, lot in _lot_words(map(_by_certificate, batches)).items()]
    if lots:
        yield f"Certificates of these lots count: {', '.join(lots)}. All else has the general values of the register."
    else:
        yield "No lot's certificate counts: all materials have the general values of the register."
    if any(line.at == "top" for batch in batches for line in batch.pot.lines):
        yield "What goes on top is left out of the weight of the batter."
    if any(batch.scent and portion.by_eye for batch in batches for portion in batch.pot.portions):
        yield "Limits of scent are held at the worst end of a split by eye."
