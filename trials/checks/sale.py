"""May a trial's bars be sold: what speaks against it, what its decision sets aside, what came up since."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from formulary.batch.checks import NEVER_OVERRIDDEN
from formulary.batch.overriding import demand_standing, overridden
from formulary.errors import InputError, StopError
from formulary.finding import Finding, Place, Severity, note, stop, stops, warn
from formulary.materials.model import Material
from formulary.quantity import format_decimal
from trials.as_made.lots_used import other_loaves_words
from trials.as_made.recalculate import find_by_today, find_later_limits
from trials.as_made.unknown_weights import UNKNOWN_LYE
from trials.checks.as_made import check_as_made
from trials.checks.free_alkali import check_alkali_ahead, check_free_alkali
from trials.trial.cure import DRYING_DAYS, end_of_cure, find_cure_begin
from trials.trial.cure import cure_days as days_of_cure
from trials.trial.identity import code_of, day_of, trial_folder
from trials.trial.model import Release, Trial
from trials.trial.on_day import as_it_stood, find_ahead
from trials.trial.rebatch import find_last_rebatch
from trials.trial.words import decider_words

_LITTLE_FAT = ("superfat-low", "superfat-band")
OF_A_SALE = ("sold-unfit", "sold-early", "sold-before")
# So long after a loaf that was sold is held back or discarded its buyers are thought of; a bar is used up by then
# (common practice, no source).
_REMEMBERED_DAYS = 365
_NOT_TOLD = ("free-alkali", "free-alkali-untested", UNKNOWN_LYE)


def fit_to_sell(
    trial: Trial,
    today: date | None = None,
    *,
    cure_days: Decimal | None = None,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What still stands between this trial and being sold; empty when nothing does.

    today: for the age of the cure, which is not looked at without it; what is recorded of a later day counts for
    nothing with it. cure_days: how long the cure must be; as the plan's recipe says, or its settings, unless given.
    register: as it is today; with it the worse of its values and of the frozen ones counts.
    """
    place = Place(trial.path)
    decision = trial.release
    open_points = _find_standing(trial, today, cure_days=cure_days, register=register)
    if decision is None:
        what = "nobody has decided yet whether it is sold"
        open_points.append(note("not-decided", what, "record a decision with name and reason", place))
    elif decision.decision != "sell":
        what = f"{decider_words(decision)} decided: {decision.decision} ({decision.why}){_after_sale(trial)}"
        open_points.append(warn("not-for-sale", what, "", place))
    return tuple(open_points)


def _find_standing(
    trial: Trial,
    today: date | None,
    *,
    cure_days: Decimal | None = None,
    register: Mapping[str, Material] | None,
    as_made: Sequence[Finding] | None = None,
) -> list[Finding]:
    """What speaks against selling a trial and is not set aside by its decision (parameters: `check_before_sale`).

    Free alkali that was found counts also at an age to come, which is a slip then.
    """
    found = check_before_sale(trial, today, cure_days=cure_days, register=register, as_made=as_made)
    return _without_set_aside(trial, [*found, *check_alkali_ahead(trial, today)])


def _without_set_aside(trial: Trial, found: Iterable[Finding]) -> list[Finding]:
    return [each for each in found if not _is_set_aside(trial, each)]


def _is_set_aside(trial: Trial, finding: Finding) -> bool:
    """Whether a trial's decision to sell names a finding that speaks against it, and may."""
    decision = trial.release
    if decision is None or decision.decision != "sell" or is_never_sold(finding):
        return False
    return finding.code in decision.despite


def settled(trial: Trial, finding: Finding) -> Finding:
    """A finding as it is told of a trial: a stop that was decided about is a warning.

    That is one which a decision to sell sets aside by its code, one that was overridden when the trial was started and
    is what it was then, and any against a loaf that was discarded. None of them is sold by that: see `fit_to_sell`.
    """
    if finding.severity is not Severity.STOP or finding.code in OF_A_SALE:
        return finding
    if trial.release is not None and trial.release.decision == "discard":
        return replace(finding, severity=Severity.WARN, what=f"discarded: {finding.what}", do="keep no bar of it")
    return overridden(finding) if _is_set_aside(trial, finding) or _is_as_started(trial, finding) else finding


def _is_as_started(trial: Trial, finding: Finding) -> bool:
    """Whether a stop was overridden by its code when the trial was started, and says what it said then: another figure
    was not decided about."""
    told = {each.what for each in trial.plan.findings if each.code == finding.code}
    return finding.code in trial.despite and finding.what in told and not is_never_sold(finding)


def find_overridden(
    trial: Trial,
    today: date | None = None,
    *,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What speaks against selling a trial today and what its decision to sell sets aside by its code.

    The decision named a code, and what it found then may have become worse since (parameters: `fit_to_sell`).
    """
    if trial.release is None or not trial.release.despite:
        return ()
    found = check_before_sale(trial, today, register=register)
    return tuple(each for each in found if _is_set_aside(trial, each))


def check_sale(
    trial: Trial,
    today: date,
    *,
    register: Mapping[str, Material] | None = None,
    as_made: Sequence[Finding] | None = None,
) -> tuple[Finding, ...]:
    """What has come up against a loaf since it was recorded as sold, with what to do; empty for one that never was.

    A stop where it may hurt someone. Where nothing stands against it today, but something did on the day of the
    decision, that is a warning (parameters: `check_before_sale`).
    """
    decision = trial.release
    if decision is None:
        return ()
    if decision.decision != "sell":
        return _check_taken_back(trial, decision, today)

    place = _place_of(decision)
    on = _on(decision)
    again = f"formulary trial release {code_of(trial.id)}"
    found = _find_standing(trial, today, register=register, as_made=as_made)
    if found:
        what = f"it is recorded as sold{on}, but {'; '.join(each.what for each in found)}"
        do = f"sell no more of it, and take the decision back: {again} hold --who NAME --why WHY; {_ask_buyers(trial)}"
        grave = any(each.severity is Severity.STOP or each.code == "free-alkali" for each in found)
        told = stop if grave else warn
        return (told("sold-unfit", what, do, place),)
    if decision.on is None:
        return ()
    do = f"correct the day of the decision ({again} sell --on DATE ...), or that of what was recorded"
    if decision.on > today:
        return (warn("sold-early", f"it is recorded as sold{on}, which lies ahead of today", do, place),)
    if decision.on < trial.made:
        what = f"it is recorded as sold{on}, before it was made on {trial.made.isoformat()}"
        return (warn("sold-early", what, do, place),)
    if not any(find_ahead(trial, decision.on)):
        return ()  # nothing was recorded later, so that day saw what today sees
    stood = _without_set_aside(trial, check_before_sale(trial, decision.on, register=register))
    then = [each for each in stood if each.severity is not Severity.NOTE]
    if not then:
        return ()
    what = f"it is recorded as sold{on}, but by that day {'; '.join(each.what for each in then)}"
    return (warn("sold-early", what, do, place),)


def check_decisions(trial: Trial) -> Iterable[Finding]:
    """Decisions that name nobody, or no reason: entries refuse them, and files may have them."""
    for decision in trial.decisions:
        lacks = [key for key, text in (("who", decision.who), ("why", decision.why)) if not text.strip()]
        if lacks:
            place = _place_of(decision)
            what = f"the decision to {decision.decision}{_on(decision)} does not say {' and '.join(lacks)}"
            do = f"write {' and '.join(f'`{key}:`' for key in lacks)} in trial.yaml, as whoever decided knows it"
            yield warn("decision-unsigned", what, do, place)


def _check_taken_back(trial: Trial, decision: Release, today: date) -> tuple[Finding, ...]:
    """That bars of a loaf which is for sale no more were sold before, as long as they may be in use."""
    if trial.sold is None or (decision.on is not None and (today - decision.on).days > _REMEMBERED_DAYS):
        return ()
    place = _place_of(decision)
    what = f"{decision.decision} was decided{_on(decision)}{_after_sale(trial)}: its bars may be with people"
    return (warn("sold-before", what, f"if that was for a fault, {_ask_buyers(trial)}", place),)


def _ask_buyers(trial: Trial) -> str:
    """What to do for those who have bars of a loaf, and how to find the other loaves that its lots are in."""
    others = other_loaves_words(trial) or "no lot of it is recorded, by which other loaves could be found"
    return f"ask those who have its bars not to use them; {others}"


def _place_of(decision: Release) -> Place:
    return decision.place._replace(field="release")


def _on(decision: Release) -> str:
    return "" if decision.on is None else f" on {decision.on.isoformat()}"


def _after_sale(trial: Trial) -> str:
    """That it was sold before, and when, behind what was decided then."""
    return "" if trial.sold is None else f", after it was sold{_on(trial.sold)}"


def check_before_sale(
    trial: Trial,
    today: date | None = None,
    *,
    cure_days: Decimal | None = None,
    register: Mapping[str, Material] | None = None,
    as_made: Sequence[Finding] | None = None,
) -> tuple[Finding, ...]:
    """What speaks against selling a trial, whatever was decided about it (parameters: `fit_to_sell`).

    as_made: what `check_as_made` found of the trial, where that is known and nothing of a later day is recorded.
    """
    trial = as_it_stood(trial, today)
    checked = check_as_made(trial, register=register) if as_made is None else as_made
    by_today = None if register is None else find_by_today(trial, register)
    found = [*stops(checked), *find_later_limits(trial, by_today)]
    of_limits = [finding.do for finding in checked if finding.code == "scent-limit-unknown"]
    if of_limits:
        do = f"get its certificate before selling; {'; '.join(of_limits)}"
        found.append(warn("limit-unknown", "a scent's limit is not known", do, Place(trial.path)))
    little_fat = [each for each in checked if each.code in _LITTLE_FAT]
    found += check_free_alkali(trial, little_fat, by_today=by_today)
    needed = days_of_cure(trial.plan.recipe, trial.plan.settings) if cure_days is None else cure_days
    if today is not None:
        found += _check_cure(trial, today, needed)
    return tuple(found)


def _check_cure(trial: Trial, today: date, needed_days: Decimal) -> Iterable[Finding]:
    """That the bars have not cured long enough, counted as `ready-by` plans it: from when they were cut and dry."""
    since = "it was rebatched" if find_last_rebatch(trial) is not None else "pouring"
    begin = find_cure_begin(trial)
    needed = format_decimal(needed_days.normalize())
    if begin is None:
        what = f"its cure of {needed} days cannot be counted: it is not recorded when it was rebatched"
        yield note("cure-short", what, "correct the rebatch, with its time", Place(trial.path))
    elif today < (ready := end_of_cure(begin, needed_days)):
        days = max((today - begin).days, 0)
        what = f"it has cured {days} of {needed} days, which count from {DRYING_DAYS} days after {since}"
        yield note("cure-short", what, f"wait until {ready.isoformat()}", Place(trial.path))
    elif today < end_of_cure(begin + _days_before_its_name(trial), needed_days):
        yield from check_day(trial)  # a slip in the day would make a loaf of last week a cured one


def check_day(trial: Trial) -> Iterable[Finding]:
    """That a trial is said to be made before the day that its name says: a slip, or the copy of another trial's file.

    A later day is nothing to tell: a trial is often started the evening before, and its cure ends later by it.
    """
    if not (before := _days_before_its_name(trial)):
        return
    made = trial.made.isoformat()
    folder = trial_folder(f"{made}{trial.id[len(made) :]}")
    what = f"it is said to be made on {made}, and its name says {(trial.made + before).isoformat()}"
    do = f"correct `made: {made}` in its trial.yaml; if that day is right, move its folder to {folder}"
    yield warn("made-early", what, do, Place(trial.path, field="made"))


def _days_before_its_name(trial: Trial) -> timedelta:
    """By how much a trial is said to be made before the day that its name says; nothing where it is not."""
    named = day_of(trial.id)
    return timedelta(0) if named is None or named <= trial.made else named - trial.made


def is_never_sold(finding: Finding) -> bool:
    """Whether nobody can decide to sell in spite of it: lye that the fat cannot take up is caustic on skin."""
    return finding.severity is Severity.STOP and (finding.code in NEVER_OVERRIDDEN or finding.code in _NOT_TOLD)


def demand_possible_day(trial: Trial, today: date) -> None:
    """Hold the day of a decision against the calendar.

    Raises InputError for one that is still to come, or was before the soap was made.
    """
    on = None if trial.release is None else trial.release.on
    if on is None:
        return
    do = f"say --on with the day on which it was decided, from {trial.made.isoformat()} to {today.isoformat()}"
    if on > today:
        raise InputError.of("decision-day", f"{on.isoformat()} lies ahead of today: nothing was decided then", do)
    if on < trial.made:
        do += f"; or correct `made: {trial.made.isoformat()}` in its trial.yaml"
        raise InputError.of("decision-day", f"{on.isoformat()} is before the soap was made", do)


def demand_sellable(trial: Trial, today: date, *, register: Mapping[str, Material]) -> None:
    """Hold a decision to sell against what is known of the trial.

    register: as it is today; a certificate or a limit that came after the plan was frozen speaks against it, too.
    Raises StopError with everything that speaks against selling and that the decision does not name in `despite`,
    InputError for a code there by which nothing does.
    """
    decision = trial.release
    if decision is None or decision.decision != "sell":
        return
    day = today if decision.on is None else min(decision.on, today)
    found = (
        *check_before_sale(trial, day, register=register),
        *check_alkali_ahead(trial, today),
    )
    standing = _without_set_aside(trial, found)
    never = {each.code for each in standing if is_never_sold(each)}
    if not never:  # else nothing can be overridden, and no code that can be is to be told
        demand_standing(decision.despite, found, says="nothing speaks against selling this loaf")
    if not standing:
        return
    if never:
        do = "test it first" if never == {"free-alkali-untested"} else "rework or discard it"
        last = stop("not-sold", "it is not recorded as sold: this can never be overridden", do)
    else:
        codes = " ".join(f"--despite {code}" for code in dict.fromkeys(each.code for each in standing))
        what = "it is not recorded as sold: too much speaks against it"
        last = stop("not-sold", what, f"settle it; or, if you have reasons that you can answer for, add {codes}")
    if any(find_ahead(trial, day)):
        last = replace(last, do=f"{last.do}; nothing counts that is recorded of a later day than {day.isoformat()}")
    raise StopError([*standing, last])
