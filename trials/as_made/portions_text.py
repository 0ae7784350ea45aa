"""What each portion of a trial as made was: its weight, superfat, own lines, and its scent against the limits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from formulary.batch.model import WHOLE, PortionFigures, Pot, PotLine, WeighedScent
from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal, format_number, format_plain_number
from formulary.text_table import Row, paragraph, render_rows
from trials.as_made.effective import effective_portion
from trials.as_made.pot_as_made import find_taken_in, pot_of_bars, pot_of_batter
from trials.as_made.unknown_weights import is_unknown_line, unknown_words
from trials.trial.model import Trial, TrialPortion
from trials.trial.rebatch import is_rebatched_in_part
from trials.trial.words import STAGES

_NOT_KNOWN = "not known"


def find_portions(trial: Trial) -> tuple[Pot, tuple[PortionFigures, ...]]:
    """The pot as made, and each portion of it with its scent and superfat at the worst end of its split.

    A batter that was not divided is one portion, called `whole`. What a rebatch took in counts in the figures, as it
    does in the bars, and is not in the pot.
    """
    return pot_of_batter(trial), effective_portion(trial, as_bars=True).figures.portions


def superfat_words(trial: Trial) -> str:
    """The effective superfat of the bars, and of the batter where a rebatch came between.

    Where something was worked into one portion alone no figure holds for all bars, and a mean of them would hide the
    worst: each portion's is told then, the least first. Of a weight that is known only about, the worse end counts;
    where it is not known at all, no superfat is.
    """
    unknown = unknown_words(trial, for_lye=True, as_bars=True)
    if unknown:
        return f"Superfat not known: {unknown}"
    poured = effective_portion(trial, at_worst=True).figures
    bars = effective_portion(trial, as_bars=True).figures
    low, high = format_number(bars.superfat_low, 1), format_number(bars.superfat_high, 1)
    said = f"Superfat {format_number(bars.superfat_effective, 1)} % effective ({low} to {high})"
    if any(entry.give_or_take_g for entry in (*trial.as_made, *find_taken_in(trial))):
        said += ", at the worse end of what was weighed"
    before = f"{format_number(poured.superfat_effective, 1)} % as poured, before it was rebatched"
    if is_rebatched_in_part(trial):
        known = [(part.superfat_percent, part.name) for part in bars.portions if part.superfat_percent is not None]
        listed = [f"{name} {format_number(percent, 1)} %" for percent, name in sorted(known)]
        return f"Effective superfat by portion, the least first: {', '.join(listed)}; {before}"
    # The pots are compared, not their figures, which bars take at their worst for each scent as well.
    is_rebatched = pot_of_bars(trial, at_worst=True) != pot_of_batter(trial, at_worst=True)
    return f"{said}; {before}" if is_rebatched else said


def render_portions(trial: Trial, *, width: int = 80) -> list[str]:
    """The portions, with what went into each alone, and the scent in the cured bar beside its limit, as lines."""
    pot, figures = find_portions(trial)
    rows: list[Row] = []
    if trial.is_divided:
        rows.append(Row("portions", ("%", "g", "superfat, %")))
        is_known = not unknown_words(trial, for_lye=True, as_bars=True)
        for portion, figure in zip(trial.portions, figures, strict=True):
            known = figure if is_known else replace(figure, superfat_percent=None, superfat_low_percent=None)
            rows += _portion_rows(trial, portion, known, pot)
    lines = render_rows(rows, width=width) if rows else []
    unknown = unknown_words(trial, as_bars=True)
    scents = [
        Row(
            material_words(material) + where,
            (_NOT_KNOWN if unknown else format_number(cured, 2), _limit(limit)),
            indent=4,
        )
        for figure in figures
        for where in ("" if figure.name == WHOLE else f" in {figure.name}",)
        for material, cured, limit in _scents(figure.scent)
    ]
    if scents:
        lines += render_rows([Row("scent in the cured bar", ("%", "limit, %")), *scents], width=width)
    if any(portion.by_eye for portion in trial.portions):
        text = "Split by eye: superfat and scent are those of the worst end of each portion's share."
        lines += paragraph(text, width=width, indent=2)
    return lines


def _portion_rows(trial: Trial, portion: TrialPortion, figure: PortionFigures, pot: Pot) -> Iterable[Row]:
    # Where one portion alone is said to be split by eye the others are off as well (`pot_portions`).
    by_eye = next(100.0 * each.by_eye for each in pot.portions if each.name == portion.name)
    notes = [f"give or take {format_plain_number(by_eye, 2)} %"] if by_eye else []
    notes += [f"in {portion.mould}"] if portion.mould else []
    superfat = "" if figure.superfat_percent is None else format_number(figure.superfat_percent, 1)
    grams = "" if unknown_words(trial, as_bars=True) else format_number(figure.grams, 0)
    cells = (format_decimal(portion.share), grams, superfat)
    yield Row(portion.name, cells, ", ".join(notes), indent=4)
    for line in pot.lines:
        if line.portion == portion.name:
            label = f"{material_words(line.material)}, {STAGES[line.at]}"
            unknown = is_unknown_line(trial, line.material, line.at)
            yield Row(label, ("", _NOT_KNOWN if unknown else format_number(line.grams, 1), ""), indent=6)


def _limit(percent: float | None) -> str:
    return _NOT_KNOWN if percent is None else f"{percent:g}"


def _scents(scent: Iterable[WeighedScent]) -> Iterable[tuple[str, float, float | None]]:
    """Each scent with its percent of the cured bar, all stages together, as its limit looks at it."""
    cured: dict[str, float] = {}
    limits: dict[str, float | None] = {}
    for line in scent:
        cured[line.material] = cured.get(line.material, 0.0) + line.percent_of_cured
        limits[line.material] = line.limit_percent
    return [(material, percent, limits[material]) for material, percent in cured.items()]


def portions_json(trial: Trial) -> list[dict[str, object]]:
    """The portions with stable keys; a batter that was not divided has none."""
    pot, figures = find_portions(trial)
    if not trial.is_divided:
        return []
    if unknown_words(trial, for_lye=True, as_bars=True):
        figures = tuple(replace(figure, superfat_percent=None, superfat_low_percent=None) for figure in figures)
    return [
        {
            **figure.to_json(),
            "grams": None if unknown_words(trial, as_bars=True) else figure.grams,
            "scent": scent_json(trial, figure.scent),
            "share_percent": float(portion.share),
            "by_eye_percent": float(portion.by_eye),
            "mould": portion.mould,
            "own_lines": [
                {"material": line.material, "at": line.at, "grams": _grams_known(trial, line)}
                for line in pot.lines
                if line.portion == portion.name
            ],
        }
        for portion, figure in zip(trial.portions, figures, strict=True)
    ]


def scent_json(trial: Trial, scent: Iterable[WeighedScent]) -> list[dict[str, object]]:
    """Scents with stable keys; of what nobody weighed no grams, and no percentages of a pot that has such a thing."""
    of_what = ("percent_of_oils", "percent_of_batter", "percent_of_cured", "percent_of_dry")
    hidden: dict[str, object] = dict.fromkeys(of_what) if unknown_words(trial, as_bars=True) else {}
    return [{**line.to_json(), **hidden, "grams": _grams_known(trial, line, as_bars=True)} for line in scent]


def _grams_known(trial: Trial, line: PotLine | WeighedScent, *, as_bars: bool = False) -> float | None:
    return None if is_unknown_line(trial, line.material, line.at, as_bars=as_bars) else line.grams
