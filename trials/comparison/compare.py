"""Trials side by side: what differed in how they were made, and what each did, beside the noise of repeats."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date

from formulary.finding import stops
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from trials.as_made.unknown_weights import demand_known_weights
from trials.checks.checks import check_trial
from trials.comparison.compared import SLIGHT, Column, ComparedFactor, ComparedOutcome
from trials.comparison.comparison import Comparison
from trials.comparison.differing import is_noted, is_worth_a_line, together
from trials.comparison.lye import find_lye
from trials.comparison.one_change import find_one_changes
from trials.comparison.rebatched import rebatched_remarks
from trials.factors.factors import name_aspects, say_aspect
from trials.factors.portion_facts import FORMULA, KINDS, NONE_USED, Aspect, Fact, Pour, shown_fact
from trials.factors.possible import can_act
from trials.outcomes.find import find_values
from trials.outcomes.known import find_outcomes
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.value import Missing, OutcomeValue
from trials.pours.contrast import Contrast, find_contrast
from trials.pours.even_scale import mean_of
from trials.pours.noise import find_noise
from trials.pours.pour_book import PourBook, pours_label, scent_percent, short_names
from trials.pours.repeats import find_repeats
from trials.pours.seen import aggregate, find_seen, value_of
from trials.pours.sentences import say_list
from trials.trial.model import Trial
from trials.trial.on_day import as_done


def compare_trials(
    trials: Sequence[Trial],
    among: Sequence[Trial] = (),
    outcomes: Mapping[str, Outcome] | None = None,
    *,
    portions: Mapping[str, Collection[str]] = ReadOnly({}),
    each: bool = False,
    register: Mapping[str, Material] | None = None,
    today: date | None = None,
) -> Comparison:
    """What differed between trials and what each did.

    trials: one or more, shown in the order given; of more than two, repeats are put together with n and spread, unless
    they all repeat one another, or `each` is wanted by itself.
    among: all trials of the formulary, which tell how much repeats differ and what is an unusual difference.
    outcomes: by name; those of the first trial's settings unless given.
    portions: trial's id -> the portions of it that are compared; all of a trial that is not named.
    register: as it is today; a loaf that is lye-heavy by it is told, while what is compared goes by what is kept.
    today: with it what is recorded as done on a later day counts for nothing, and what came up against a loaf that was
    sold is told.
    """
    checked = {trial.id: trial for trial in trials}
    among, trials = ([as_done(each, today) for each in of] for of in (among, trials))
    demand_known_weights(trials)
    book = PourBook((*among, *trials))
    defined = outcomes if outcomes is not None else find_outcomes(trials[0].settings) if trials else {}
    columns, are_repeats = _columns(trials, book, portions, each=each)
    pool = book.all_pours()
    differing, alike, remarks = _factors(columns, pool)
    compared = _outcomes(columns, defined, book)
    mine = [pour for column in columns for pour in column.pours]
    moved = [aspect for aspect, _ in differing]
    controls = tuple(
        (control, scented, _contrasts(compared, columns, columns.index(control), columns.index(scented)))
        for control, scented in _controls(columns)
    )
    said = [{pour.key for column in pair for pour in column.pours} for pair in _controls(columns)]
    if len(columns) == 2:
        said.append({pour.key for pour in mine})
    names = short_names([trial.id for trial in book.trials])
    return Comparison(
        columns=columns,
        factors=tuple(factor for _, factor in differing),
        alike=alike,
        lye=find_lye(columns),
        are_repeats=are_repeats,
        outcomes=compared,
        controls=controls,
        contrasts=tuple(_contrasts(compared, columns, 0, number) for number in range(1, len(columns))),
        one_changes=find_one_changes(book, mine, compared, names, besides=said),
        came_after=tuple(
            item.label
            for item in compared
            if moved and not any(can_act(aspect, item.outcome, mine, item.age_days) for aspect in moved)
        ),
        remarks=(*remarks, *rebatched_remarks(columns)),
        stops=tuple(
            (names[trial.id], finding)
            for trial in checked.values()
            for finding in stops(check_trial(trial, defined, today, register=register))
        ),
    )


# -- columns -----------------------------------------------------------------------------------------


def _columns(
    trials: Sequence[Trial], book: PourBook, portions: Mapping[str, Collection[str]], *, each: bool
) -> tuple[tuple[Column, ...], bool]:
    """The columns, and whether all of them repeat one another."""
    unique = list({trial.id: trial for trial in trials}.values())
    names = short_names([trial.id for trial in unique])
    pours = [
        pour
        for trial in unique
        for pour in _control_first(book.pours(trial))
        if trial.id not in portions or pour.portion in portions[trial.id]
    ]
    alone: Sequence[tuple[int, ...]] = [(row,) for row in range(len(pours))]
    repeats = find_repeats(pours)
    are_repeats = len(repeats) == 1 and len(pours) > 1
    columns = []
    for group in repeats if len(unique) > 2 and not each and not are_repeats else alone:
        members = tuple(pours[row] for row in group)
        columns.append(Column(pours_label(members, names), members, _is_control(members[0], book)))
    return tuple(columns), are_repeats


def _control_first(pours: Sequence[Pour]) -> list[Pour]:
    return sorted(pours, key=lambda pour: scent_percent(pour) > 0)


def _is_control(pour: Pour, book: PourBook) -> bool:
    if pour.portion is None or scent_percent(pour) > 0:
        return False
    return any(scent_percent(other) > 0 for other in book.pours(pour.trial))


def _controls(columns: Sequence[Column]) -> list[tuple[Column, Column]]:
    """Each scented column with the control of its own trial."""
    pairs = []
    for scented in columns:
        if scented.is_control or scented.pours[0].portion is None:
            continue
        own = {pour.trial.id for pour in scented.pours}
        control = next((c for c in columns if c.is_control and own & {p.trial.id for p in c.pours}), None)
        if control is not None and scent_percent(scented.pours[0]) > 0:
            pairs.append((control, scented))
    return pairs


# -- factors -----------------------------------------------------------------------------------------


def _factors(
    columns: Sequence[Column], pool: Sequence[Pour]
) -> tuple[list[tuple[Aspect, ComparedFactor]], tuple[ComparedFactor, ...], tuple[str, ...]]:
    pours = [pour for column in columns for pour in column.pours]
    aspects = sorted({aspect for pour in pours for aspect in pour.facts}, key=lambda aspect: aspect.place)
    called = name_aspects(aspects)
    differing: list[tuple[Aspect, ComparedFactor]] = []
    alike: list[ComparedFactor] = []
    silent: dict[tuple[str, ...], list[str]] = {}
    for aspect in aspects:
        facts = [together(aspect, column.pours) for column in columns]
        known = [fact for fact in facts if fact is not None]
        if not any(shown_fact(fact) != NONE_USED for fact in known):
            continue
        factor = ComparedFactor.of(aspect, say_aspect(aspect, called), facts, pours[0].trial.told_in)
        noted = any(is_noted(aspect, pour.trial) for pour in pours)
        if not any(is_worth_a_line(aspect, known[0], fact, noted=noted) for fact in known[1:]):
            if aspect.step == "done" and not any(known):
                continue  # that it was not recorded is worth a word only where somebody did it
            if len(known) < len(facts):
                of = tuple(column.label for column, fact in zip(columns, facts, strict=True) if fact is None)
                silent.setdefault(of, []).append(factor.factor)
            else:
                alike.append(factor)
            continue
        slight = _is_slight(aspect, known)
        differing.append((aspect, replace(factor, rarity=_rarity(aspect, facts, pool), is_slight=slight)))
    remarks = tuple(f"not recorded for {say_list(of)}: {', '.join(names)}" for of, names in silent.items())
    return sorted(differing, key=lambda found: _by_rarity(found[1])), tuple(alike), remarks


def _is_slight(aspect: Aspect, known: Sequence[Fact]) -> bool:
    """Whether a condition moved by less than half a step."""
    numbers = [fact for fact in known if isinstance(fact, float)]
    moved_little = bool(numbers) and max(numbers) - min(numbers) < SLIGHT * aspect.step_of.size
    return moved_little and aspect.kind not in FORMULA


def _by_rarity(factor: ComparedFactor) -> tuple[bool, float, int, str]:
    """The most unusual first; conditions that moved by less than half a step last."""
    return factor.is_slight, 1.0 if factor.rarity is None else factor.rarity, KINDS.index(factor.kind), factor.factor


def _rarity(aspect: Aspect, facts: Sequence[Fact], pool: Sequence[Pour]) -> float | None:
    """The part of all pairs of pours that differ by as much as the columns do."""
    known = [fact for pour in pool if (fact := pour.fact(aspect)) is not None]
    pairs = len(known) * (len(known) - 1) // 2
    if len(known) < 5:
        return None
    here = [fact for fact in facts if isinstance(fact, float)]
    if not here:
        counts: dict[str, int] = {}
        for fact in known:
            counts[str(fact)] = counts.get(str(fact), 0) + 1
        same = sum(count * (count - 1) // 2 for count in counts.values())
        return (pairs - same) / pairs
    reach = max(here) - min(here)
    numbers = sorted(fact for fact in known if isinstance(fact, float))
    far = start = 0
    for end, value in enumerate(numbers):
        while value - numbers[start] >= reach - 1e-9 and start < end:
            start += 1
        far += start
    return far / pairs


# -- outcomes ----------------------------------------------------------------------------------------


def _outcomes(columns: Sequence[Column], defined: Mapping[str, Outcome], book: PourBook) -> tuple[ComparedOutcome, ...]:
    compared = []
    for outcome in defined.values():
        if outcome.scale is Scale.COLOUR:
            continue
        for age in outcome.ages_days or (None,):
            found = [
                [value_of(pour, find_values(pour.trial, outcome, age)) for pour in column.pours] for column in columns
            ]
            values = [aggregate([item for item in items if isinstance(item, OutcomeValue)], outcome) for items in found]
            if all(value is None for value in values):
                continue
            seen, _ = find_seen(book, outcome, age)
            missing = [
                next((item.why for item in items if isinstance(item, Missing)), None) if value is None else None
                for items, value in zip(found, values, strict=True)
            ]
            noise = find_noise(seen, outcome, book)
            compared.append(
                ComparedOutcome(
                    outcome,
                    age,
                    outcome_label(outcome, age),
                    tuple(values),
                    tuple(missing),
                    noise,
                    _level(values, outcome),
                )
            )
    return tuple(compared)


def _level(values: Sequence[OutcomeValue | None], outcome: Outcome) -> float:
    figures = [figure for value in values if value is not None and (figure := value.figure) is not None]
    return mean_of(figures, outcome) if figures else 0.0


def _contrasts(
    compared: Sequence[ComparedOutcome], columns: Sequence[Column], first: int, second: int
) -> tuple[Contrast, ...]:
    """What one column did beside another, the clearest difference first, those that have no line of their own last."""
    found = []
    pours = len(columns[first].pours), len(columns[second].pours)
    for item in compared:
        before, after = item.values[first], item.values[second]
        if before is None or after is None or _is_one_value(before, after, columns[first], columns[second]):
            continue
        contrast = find_contrast(item.outcome, item.label, before, after, item.noise, pours=pours, tells=item.tells)
        if contrast is not None:
            found.append(contrast)
    return tuple(sorted(found, key=lambda contrast: contrast.rank))


def _is_one_value(before: OutcomeValue, after: OutcomeValue, first: Column, second: Column) -> bool:
    """Whether two portions only share what was seen of their whole trial."""
    shared = {pour.trial.id for pour in first.pours} & {pour.trial.id for pour in second.pours}
    return bool(shared) and before.portion is None and after.portion is None
