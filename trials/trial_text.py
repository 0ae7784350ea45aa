"""A trial as a person reads it: what was planned and made, what happened, what was observed; and trials in a list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from formulary.batch.model import WHOLE, PotLine
from formulary.batch.weigh_out_text import render_findings
from formulary.data_table import Table, TableColumn
from formulary.finding import Finding
from formulary.materials.model import Material
from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal, format_number
from formulary.read_only import ReadOnly
from formulary.text_table import Row, paragraph, render_rows
from trials.as_made.effective import effective_portion, expected_cure
from trials.as_made.portions_text import render_portions, superfat_words
from trials.as_made.pot_as_made import pot_of_batter
from trials.as_made.unknown_weights import is_unknown_line, unknown_words
from trials.checks.sale_text import decision_words, sale_words
from trials.outcomes.find import find_values, outcome_values
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.seizing import how_seized
from trials.outcomes.times import first_to_record, start_words
from trials.outcomes.value import OutcomeValue
from trials.pours.sentences import say_value
from trials.trial.identity import code_of
from trials.trial.model import Event, Trial
from trials.trial.on_day import as_it_stood
from trials.trial.words import (
    STAGES,
    as_made_words,
    degree_words,
    divided_words,
    hour_words,
    lot_uses_words,
    taken_in_words,
)

WORKING_TIME = "working time"
_HEADLINE_COUNT = 3
# What is told of a trial in a line, where it was observed; then the others in the order of their definitions.
_HEADLINES = ("seized", "riced", "separated", "working time", "gel", "hardness", "cracked", "time to light trace")


def render_trial(
    trial: Trial,
    findings: Sequence[Finding],
    outcomes: Mapping[str, Outcome],
    *,
    width: int = 80,
    show_all: bool = False,
    register: Mapping[str, Material] | None = None,
    today: date | None = None,
) -> str:
    """One trial as text. `show_all` shows the weights that went as planned, too.

    register: as it is today; whether the trial is fit to sell is held against it, too. today: with it nothing that is
    recorded of a later day counts in what is worked out.
    """
    plan = trial.plan
    stood = as_it_stood(trial, today)
    size = size_words(plan.size, plan.settings.moulds)
    head = f"{trial.id}: {plan.recipe.name}, {plan.slug}@{trial.version[:8]}, {size}"
    by = f" by {trial.who}" if trial.who else ""
    sitting = f", sitting {trial.sitting}" if trial.sitting and trial.sitting != trial.made.isoformat() else ""
    lines = paragraph(f"{head}, made {trial.made.isoformat()}{by}{sitting}.", width=width)
    lines += paragraph(_sentence(trial, outcomes), width=width)
    lines += ["", *_weights(stood, width, show_all)]
    for title, listed in (
        ("as made", [*map(as_made_words, trial.as_made), *filter(None, [divided_words(trial)])]),
        ("lots", lot_words(trial)),
    ):
        if listed:
            lines += paragraph(f"{title}: {'; '.join(listed)}", width=width, indent=2)
    conditions = list(condition_words(trial))
    if conditions:
        lines += paragraph(f"conditions: {', '.join(conditions)}", width=width, indent=2)
    portions = render_portions(stood, width=width)
    lines += ["", *portions] if portions else []
    events = list(_event_rows(trial))
    if events:
        lines += ["", *render_rows([Row("what happened", ("since lye in",)), *events], width=width)]
    observed = list(_outcome_rows(trial, outcomes))
    if observed:
        lines += ["", *render_rows([Row("what was observed", ("value",)), *observed], width=width)]
    for text in _no_working_time(trial, outcomes):
        lines += paragraph(text, width=width, indent=4)
    lines += ["", *_decision(trial, width, register, today)]
    if trial.notes.strip():
        lines += ["", *paragraph(trial.notes.strip(), width=width, indent=2)]
    if findings:
        lines += ["", *render_findings(findings, width=width)]
    return "\n".join(lines)


def _decision(trial: Trial, width: int, register: Mapping[str, Material] | None, today: date | None) -> list[str]:
    """What became of the bars, what was decided, and what stands before selling."""
    bars = trial.bars
    counts = ((bars.cut, "cut"), (bars.kept_back, "kept back"), (bars.scrapped, "scrapped"))
    said = [f"{count} {word}" for count, word in counts if count is not None]
    if bars.lightest_g is not None:
        said.append(f"the lightest {format_decimal(bars.lightest_g)} g")
    lines = paragraph(f"bars: {', '.join(said)}", width=width, indent=2) if said else []
    for text in (
        f"decision: {decided}" if (decided := decision_words(trial)) else "",
        sale_words(trial, register, today),
    ):
        lines += paragraph(text, width=width, indent=2) if text else []
    return lines


def size_words(size: tuple[str, str], moulds: Mapping[str, str]) -> str:
    """How large it was planned: "1000 g of oils", "12 bars of 110 g". moulds: name -> inside, as they then were."""
    way, amount = size
    if way == "mould" and amount in moulds:
        return f"for the mould {amount}, {moulds[amount]}"
    if way == "bars":
        return f"{amount.replace(' of ', ' bars of ', 1)}"
    return f"for a mould of {amount}" if way == "mould" else f"{amount} of {way}"


def _sentence(trial: Trial, outcomes: Mapping[str, Outcome]) -> str:
    count = len(trial.as_made) + bool(divided_words(trial))
    made = "as planned" if not count else f"{count} thing{'s' if count > 1 else ''} went otherwise than planned"
    headline = headline_values(trial, outcomes)
    return f"Made {made}; {headline}." if not count else f"{made}; {headline}."


def headline_values(trial: Trial, outcomes: Mapping[str, Outcome]) -> str:
    """The outcomes of a trial that a maker asks for first, in words; says so when there is none yet."""
    by_label: dict[str, list[str]] = {}
    order: dict[str, tuple[int, bool, int]] = {}
    for number, (label, outcome, value) in enumerate(_values(trial, outcomes)):
        where = f" in {value.portion}" if value.portion else ""
        by_label.setdefault(label, []).append(f"{say_value(outcome, value)} {outcome.told_unit}".rstrip() + where)
        rank = _HEADLINES.index(outcome.name) if outcome.name in _HEADLINES else len(_HEADLINES)
        order.setdefault(label, (rank, value.bound != "exact", number))  # what was read, before what only follows
    labels = sorted(by_label, key=lambda label: order[label])
    if not labels:
        return "nothing observed yet"
    said = [f"{label} {', '.join(by_label[label])}" for label in labels[:_HEADLINE_COUNT]]
    more = f"; {len(labels) - _HEADLINE_COUNT} more" if len(labels) > _HEADLINE_COUNT else ""
    return "; ".join(said) + more


def _values(trial: Trial, outcomes: Mapping[str, Outcome]) -> Iterable[tuple[str, Outcome, OutcomeValue]]:
    """Every value that the trial has: timed outcomes first, then what was observed, at the ages it was observed at."""
    for name, outcome in outcomes.items():
        ages: list[Decimal | None] = [*sorted({seen.age_days for seen in trial.observations if seen.outcome == name})]
        if outcome.at_any_age or not outcome.ages_days:
            ages = [None]
        elif not ages:
            ages = [outcome.ages_days[0]] if outcome.from_events else []
        for age in ages:
            for value in outcome_values(trial, outcome, age):
                if outcome.scale is Scale.COLOUR:
                    continue  # three numbers, which tell a person nothing; the colour change does
                yield outcome_label(outcome, age), outcome, value


def _weights(trial: Trial, width: int, show_all: bool) -> list[str]:
    planned = _by_line(trial.plan.pot.lines)
    made = _by_line(pot_of_batter(trial).lines)
    rows: list[Row] = []
    hidden = 0
    for key in (*planned, *(key for key in made if key not in planned)):
        before, after = planned.get(key, 0.0), made.get(key, 0.0)
        material, at = key
        unknown = is_unknown_line(trial, material, at)
        if abs(before - after) < 0.05 and not show_all and not unknown:
            hidden += 1
            continue
        stage = "" if at == "oils" else f", {STAGES[at]}"
        rows.append(
            Row(
                f"{material_words(material)}{stage}",
                (format_number(before, 1), "not known" if unknown else format_number(after, 1)),
                "",
                4,
            )
        )
    lines: list[str] = []
    if rows:
        lines += render_rows([Row("g", ("planned", "in the pot")), *rows], width=width)
    if hidden:
        lines.append(f"  {hidden} weights as planned (--all shows them)")
    figures = effective_portion(trial, as_bars=True).figures
    lines += paragraph(superfat_words(trial), width=width, indent=2)
    if unknown_words(trial, as_bars=True):
        return lines
    jug, whole = format_number(figures.in_jug_percent, 1), format_number(figures.effective_percent, 1)
    lines += paragraph(f"Lye in the jug {jug} %, with all water {whole} %", width=width, indent=2)
    cured = expected_cure(trial)
    expected = (
        f"Expected after {cured.days:g} days: {format_number(cured.mass_loss_percent, 1)} % lighter than poured, if"
        f" {cured.water_lost_percent:g} % of the water is lost"
    )
    return lines + paragraph(expected, width=width, indent=2)


def _by_line(lines: Iterable[PotLine]) -> dict[tuple[str, str], float]:
    grams: dict[tuple[str, str], float] = {}
    for line in lines:
        key = (line.material, line.at)
        grams[key] = grams.get(key, 0.0) + line.grams
    return grams


def lot_words(trial: Trial) -> list[str]:
    """The lots that went in, one after another: "olive oil OL-7 (300 g) and OL-8 (155 g)"."""
    return [f"{material_words(name)} {lot_uses_words(uses)}" for name, uses in trial.lots.items()]


def condition_words(trial: Trial) -> Iterable[str]:
    """How it was, one condition after another: "room 19 °C"."""
    conditions = trial.conditions
    if conditions.room_c is not None:
        yield f"room {degree_words(conditions.room_c, trial.told_in)}"
    if conditions.humidity_percent is not None:
        yield f"humidity {format_decimal(conditions.humidity_percent)} %"
    for word, celsius in (("lye", conditions.lye_temperature_c), ("oils", conditions.oil_temperature_c)):
        if celsius is not None:
            yield f"{word} {degree_words(celsius, trial.told_in)}"
    for word, text in (("mould", conditions.mould), ("cover", conditions.cover), ("blender", conditions.blender)):
        if text:
            yield f"{word} {text}"


def _event_rows(trial: Trial) -> Iterable[Row]:
    for event in trial.events:
        yield _event_row(event, "whole batter" if trial.is_divided else "", trial.told_in)
    for portion in trial.portions:
        for event in portion.events:
            yield _event_row(event, portion.name, trial.told_in)
    for handled in trial.after_pour:
        since = "" if handled.at_h is None else f"{hour_words(handled.at_h)} after pouring"
        warm = "" if handled.temperature_c is None else f"at {degree_words(handled.temperature_c, trial.told_in)}"
        lasted = "" if handled.for_h is None else f"for {hour_words(handled.for_h)}"
        details = [taken_in_words(handled), since, warm, lasted, handled.portion or "", handled.note]
        yield Row(handled.what, ("",), ", ".join(part for part in details if part), 4)


def _event_row(event: Event, where: str, told_in: str) -> Row:
    details = [where]
    if event.for_s is not None:
        details.append(f"for {format_decimal(event.for_s.normalize())} s")
    if event.temperature_c is not None:
        details.append(degree_words(event.temperature_c, told_in))
    details.append(event.note)
    return Row(event.what, (str(event.at),), ", ".join(part for part in details if part), 4)


def _outcome_rows(trial: Trial, outcomes: Mapping[str, Outcome]) -> Iterable[Row]:
    for label, outcome, value in _values(trial, outcomes):
        details = [outcome.told_unit, f"{value.portion} portion" if value.portion else ""]
        if value.n > 1:
            spread = "" if value.spread is None else f", spread {outcome.told_apart(value.spread):.2g}"
            details.append(f"n {value.n}{spread}")
        part = trial.part(value.portion or WHOLE)
        if outcome.name == WORKING_TIME and part is not None and not _is_observed(trial, WORKING_TIME):
            details.append(start_words(trial, part))
        if value.is_interpolated:
            details.append("between two readings")
        yield Row(label, (say_value(outcome, value),), ", ".join(part for part in details if part), 4)


def _is_observed(trial: Trial, outcome: str) -> bool:
    """Whether it was written down as a value, rather than worked out from the events."""
    return any(seen.outcome == outcome for seen in trial.observations)


def _no_working_time(trial: Trial, outcomes: Mapping[str, Outcome]) -> Iterable[str]:
    """Why a portion that was poured, or was too thick for it, has no working time, and what would give it one."""
    for found in find_values(trial, outcomes[WORKING_TIME]) if WORKING_TIME in outcomes else ():
        part = trial.part(found.portion or WHOLE)
        ended = part is not None and any(event.what in ("too thick to pour", "poured") for event in part.events)
        seized = how_seized(trial, found.portion)
        if isinstance(found, OutcomeValue) or part is None or not (ended or seized):
            continue
        where = f" of the {found.portion} portion" if found.portion else ""
        tell = ""
        if not ended or found.why == start_words(trial, part):
            what = first_to_record(trial, part) if ended else "too thick to pour"
            options = f" --portion {found.portion}" if found.portion else ""
            options += " --correct" if any(event.what == what for event in part.events) else ""
            tell = f'; `formulary trial event {code_of(trial.id)} "{what}" --at TIME{options}` would tell it'
        why = found.why if ended else f"it {seized}, and nobody noted when"
        yield f"no working time{where}: {why}{tell}"


def render_trials(
    trials: Sequence[Trial],
    outcomes: Mapping[str, Outcome],
    *,
    width: int = 80,
    unfit: Mapping[str, Sequence[Finding]] = ReadOnly({}),
) -> str:
    """Trials in a list, in their order, each with its date and its first few outcomes.

    unfit: trial id -> what has come up against it since it was recorded as sold, as `Bench.find_unfit_sales` gives it.
    """
    if not trials:
        empty = "No trial here yet; `formulary trial start RECIPE --oils 1000g` starts one."
        return "\n".join(paragraph(empty, width=width))
    lines = [f"{len(trials)} trial{'s' if len(trials) > 1 else ''}."]
    for trial in trials:
        made = trial.made.isoformat()
        # The folder is named for the day when the trial was started, which may be another one.
        folder = "" if trial.id.startswith(made) else f", {trial.id}"
        head = f"{code_of(trial.id)}  {made}, {trial.recipe}@{trial.version[:8]}{folder}"
        lines += ["", *paragraph(head, width=width)]
        lines += paragraph(headline_values(trial, outcomes), width=width, indent=6)
        for each in unfit.get(trial.id, ()):
            lines += paragraph(f"{each.severity.value.upper()}: {each.what}", width=width, indent=6)
    if unfit:
        said = "`formulary trial show` says what to do about a loaf that should not have been sold."
        lines += ["", *paragraph(said, width=width)]
    return "\n".join(lines)


def trial_lines(trials: Iterable[Trial], outcomes: Mapping[str, Outcome]) -> dict[str, list[str]]:
    """Full version id -> a line on each trial of that version, for a recipe's history."""
    lines: dict[str, list[str]] = {}
    for trial in trials:
        said = f"trial {code_of(trial.id)}, {trial.made.isoformat()}: {headline_values(trial, outcomes)}"
        lines.setdefault(trial.version, []).append(said)
    return lines


def trials_json(
    trials: Iterable[Trial],
    outcomes: Mapping[str, Outcome],
    unread: Iterable[Finding] = (),
    ranked: Mapping[str, object] | None = None,
    unfit: Mapping[str, Sequence[Finding]] = ReadOnly({}),
) -> dict[str, object]:
    """Trials in a list with stable keys. unread: one finding for each trial that could not be read, and is missing.

    ranked: their pours in the order of an outcome, as `Ranking.to_json` gives them, where that was asked for.
    unfit: as for `render_trials`.
    """
    return {
        "trials": [trial_row(trial, outcomes) for trial in trials],
        "sold_unfit": [{"trial": key, **each.to_json()} for key, found in unfit.items() for each in found],
        "ranked": None if ranked is None else dict(ranked),
        "unread": [finding.to_json() for finding in unread],
    }


def trials_table(trials: Iterable[Trial], outcomes: Mapping[str, Outcome]) -> Table:
    """Trials in a list as a table for other programs; every outcome in a column of its own is in `make_table`."""
    columns = (
        TableColumn(name="trial", title="trial", kind="string", is_required=True),
        TableColumn(name="recipe", title="recipe", kind="string", is_required=True),
        TableColumn(name="version", title="version", kind="string", is_required=True),
        TableColumn(name="made", title="made", kind="date", is_required=True),
        TableColumn(name="sitting", title="sitting", kind="string"),
        TableColumn(name="outcomes", title="what was observed", kind="string"),
    )
    rows = tuple(
        (
            trial.id,
            trial.recipe,
            trial.version,
            trial.made.isoformat(),
            trial.sitting,
            headline_values(trial, outcomes),
        )
        for trial in trials
    )
    return Table(columns, rows, key=("trial",))


def trial_row(trial: Trial, outcomes: Mapping[str, Outcome]) -> dict[str, object]:
    """A trial with stable keys, as one of a list."""
    return {
        "trial": trial.id,
        "recipe": trial.recipe,
        "version": trial.version,
        "made": trial.made.isoformat(),
        "sitting": trial.sitting,
        "outcomes": [
            {"outcome": label, "unit": outcome.unit, **value.to_json()}
            for label, outcome, value in _values(trial, outcomes)
        ],
    }
