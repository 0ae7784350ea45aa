"""Entries of a trial's record: what a person says, as the line that is written into trial.yaml."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from formulary.batch.figures import water_in
from formulary.batch.temperature_checks import parse_celsius
from formulary.document.edit import Value
from formulary.document.write import Bare, Inline
from formulary.errors import InputError
from formulary.given import Day, Figure, as_day, each_of, each_weighed
from formulary.names import suggest
from formulary.quantity import Kind, NotAQuantity, format_decimal, format_plain_number, parse_decimal, parse_quantity
from formulary.recipes.model import STAGES
from trials.as_made.entry_lines import WATER, is_mixed_lye
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import pot_of_batter
from trials.trial.elapsed import format_clock
from trials.trial.entry import Entry, add_details, demand_said, for_portion, shorten, tidy_amount, tidy_condition
from trials.trial.model import AsMade, Handling, TakenIn, Trial, done_once
from trials.trial.words import as_made_words, degree_words, hour_words, release_words, taken_in_words

_NUMBER = r"[\d.]+(?: ?, ?\d+)?"
_MASS = rf"(?P<weighed>unknown|~? ?{_NUMBER}(?: ?(?:-|–|to) ?{_NUMBER})? ?\S+)"
_LEFT_OUT = re.compile(r"no (?P<line>\S+)(?: at (?P<at>.+))?")
_SENTENCES = (
    _LEFT_OUT,
    re.compile(rf"(?P<instead>\S+) instead of (?P<line>\S+)(?: {_MASS})?(?: at (?P<at>.+))?"),
    re.compile(rf"extra (?P<extra>\S+) {_MASS} at (?P<at>.+)"),
    re.compile(rf"(?P<line>\S+) {_MASS}(?: at (?P<at>.+))?"),
)
_SENTENCE_HELP = (
    'write "water 283 g", "no rose-clay", "sunflower-oil instead of castor-oil 80 g" or "extra honey 12 g at oils";'
    ' a weight may be "~280 g", "275-290 g" or unknown;'
    ' to take one back "rose-clay as planned" or "no extra honey"'
)
_TAKEN_BACK = (
    re.compile(r"(?P<line>\S+) as planned(?: at (?P<at>.+))?"),
    re.compile(r"no extra (?P<extra>\S+)(?: at (?P<at>.+))?"),
)

_MATERIAL_AND_WEIGHT = re.compile(rf"(?P<material>\S.*?) {_MASS}")

_FORGOT = "forgot to take the water of"


def elapsed_now(trial: Trial, now: datetime) -> str:
    """The time since lye in, by the clock, as it is written: "4:10".

    Raises InputError when no `lye in` with its time of day was recorded, or it lies ahead.
    """
    for recorded in (item for part in trial.parts() for item in part.events):
        if recorded.what == "lye in" and recorded.clock is not None:
            hours, minutes, seconds = (int(part) for part in recorded.clock.split(":"))
            start = datetime(
                trial.made.year, trial.made.month, trial.made.day, hours, minutes, seconds, tzinfo=now.tzinfo
            )
            passed = (now - start).total_seconds()
            if passed < 0 or passed > 24 * 3600:
                what = f"lye in was noted at {recorded.clock} on {trial.made.isoformat()}, which is not today's batch"
                raise InputError.of("clock", what, 'give the time yourself: --at "4:10"')
            return format_clock(Decimal(int(passed)))
    what = "when the lye went in was not recorded with its time of day"
    raise InputError.of("clock", what, 'record `lye in` first, or give the time since then: --at "4:10"')


def lye_in(trial: Trial, now: datetime) -> Entry:
    """That the lye went in now: zero, with the time of day that later entries count from."""
    return trial.event("lye in", "0:00", clock=now.strftime("%H:%M:%S"), corrects=True)


def made_on(trial: Trial, entries: Iterable[Entry], day: date) -> tuple[Entry, ...]:
    """That a trial started on another day was made on this one, when its lye went in by today's clock."""
    went_in = any(
        isinstance(entry.value, Mapping) and entry.value.get("what") == "lye in" and "clock" in entry.value
        for entry in entries
    )
    if not went_in or trial.made == day:
        return ()
    return (Entry(trial.id, "made", day.isoformat(), f"made on {day.isoformat()}"),)


def blending(trial: Trial, lasted: Figure, at: Figure, *, portion: str | None = None, note: str | None = None) -> Entry:
    """How long it was blended from a moment on: `blending(trial, "15 s", "0:20")`."""
    return trial.event("blending", at, lasted=lasted, portion=portion, note=note)


def temperature(
    trial: Trial, degrees: Figure, at: Figure, *, portion: str | None = None, note: str | None = None
) -> Entry:
    """The batter's temperature at a moment: `temperature(trial, "38 °C", "2:00")`."""
    return trial.event("temperature", at, temperature=degrees, portion=portion, note=note)


def handle(
    trial: Trial,
    what: str,
    at: Figure,
    *,
    temperature: Figure | None = None,
    lasted: Figure | None = None,
    portion: str | None = None,
    note: str | None = None,
    taken_in: str | Iterable[str] | Mapping[str, Figure] = (),
    corrects: bool = False,
) -> Entry:
    """Something done after pouring: `handle(trial, "oven", "1 h", temperature="70 °C", lasted="2 h")`.

    taken_in: of "rebatched", what was worked in, "olive-oil 60 g" each. corrects: whether it takes the place of the
    same word recorded before; where that stands several times, of the one at the same time. What it does not say stays.
    Raises InputError where it cannot be told which, for a material that is named twice, and for the same at the same
    time without `corrects`: typed twice it would count twice.
    """
    alike = done_once([step for step in trial.after_pour if step.what == what and step.portion == portion])
    there = list(alike) if corrects else []
    replaces: tuple[str, ...] = ("what", "portion") if corrects else ()
    if len(there) > 1:
        there = [step for step in there if step.at_h is not None and step.at_h == _hours(at)]
        replaces = ("what", "at", "portion")
        if len(there) != 1:
            when = "; ".join(_after_words(step) for step in trial.after_pour if step.what == what)
            what = f"{what} stands several times after pouring ({when}), and none at {tidy_amount(at)} alone"
            raise InputError.of("which-to-correct", what, "correct the line itself, in trial.yaml")
    tree: dict[str, Value] = {"at": tidy_amount(at), "what": what}
    # A time that is corrected takes nothing back of what was done then: above all not what was worked in.
    tree |= _details_of(there[0]) if there else {}
    if temperature is not None:
        tree["temperature"] = tidy_amount(temperature)
    if lasted is not None:
        tree["for"] = tidy_amount(lasted)
    worked = each_weighed(taken_in)
    if worked:
        tree["with"] = _all_weighed(worked)
    add_details(tree, portion=portion, note=note)
    if not corrects:
        _demand_done_anew([step for step in alike if step.at_h == _hours(at)], for_portion(what, portion))
    worked_in = tree.get("with")
    named = [f"{name} {amount}" for name, amount in worked_in.items()] if isinstance(worked_in, Mapping) else []
    with_words = f" with {' and '.join(named)}" if named else ""
    said = for_portion(f"{what}{with_words} at {tidy_amount(at)}", portion)
    remark = f"was {_step_words(there[0])}" if there else ""
    return Entry(trial.id, "after_pour", Inline(tree), said, None, None, replaces, remark)


def _demand_done_anew(there: Sequence[Handling], what: str) -> None:
    """Refuse what is recorded of the same time already; of unknown times none says that they are two."""
    if there:
        was = "; ".join(_step_words(step) for step in there)
        do = "nothing was written. --correct takes its place, with all that was worked in then"
        do += "; what was done once more has a time of its own"
        raise InputError.of("done-already", f"{what} is recorded of that time already, {was}", do)


def _details_of(step: Handling) -> dict[str, Value]:
    """What else is recorded of something done after pouring, as it is written."""
    tree: dict[str, Value] = {}
    if step.temperature_c is not None:
        tree["temperature"] = degree_words(step.temperature_c)
    if step.for_h is not None:
        minutes = step.for_h * 60
        is_short = step.for_h % 1 and minutes == round(minutes)
        tree["for"] = f"{round(minutes)} min" if is_short else hour_words(step.for_h)
    if step.taken_in:
        tree["with"] = Inline({each.material: _weighed_text(each) for each in step.taken_in})
    if step.note:
        tree["note"] = step.note
    return tree


def _weighed_text(taken: TakenIn) -> str:
    """What a rebatch took in of one thing, as it is written."""
    if taken.weighed_g is None:
        return "unknown"
    ends = (taken.weighed_g - taken.give_or_take_g, taken.weighed_g + taken.give_or_take_g)
    return f"{'-'.join(format_decimal(end) for end in dict.fromkeys(ends))} g"


def _all_weighed(texts: Sequence[str]) -> Inline:
    """Materials and their weights; refuses one that is named twice, of which only one weight could count."""
    pairs = [_weighed(text) for text in texts]
    names = [name for name, _ in pairs]
    twice = [name for name in dict.fromkeys(names) if names.count(name) > 1]
    if twice:
        what = f"{' and '.join(twice)} is weighed twice"
        raise InputError.of("weighed-twice", what, "say each material once, with all that went in")
    return Inline(dict(pairs))


def _weighed(text: str) -> tuple[str, str]:
    """A material and its weight, as `olive-oil 60 g` says them."""
    match = _MATERIAL_AND_WEIGHT.fullmatch(" ".join(text.split()))
    if match is None:
        what = f"{text[:60]!r} does not say a material and its weight"
        do = 'write "olive-oil 60 g", once for each; a weight may be "~60 g", "55-65 g" or unknown'
        raise InputError.of("bad-weight", what, do)
    return match.group("material").lower().replace(" ", "-"), tidy_amount(match.group("weighed"))


def _after_words(step: Handling) -> str:
    return "at an unknown time" if step.at_h is None else f"at {hour_words(step.at_h)}"


def _step_words(step: Handling) -> str:
    """When something was done after pouring, and what it took in."""
    return " ".join(part for part in (_after_words(step), taken_in_words(step)) if part)


def _hours(at: Figure) -> Decimal | None:
    """A time since pouring in hours; None for one that reading the file will refuse."""
    try:
        return parse_quantity(at, Kind.DURATION).to("h")
    except NotAQuantity:
        return None


def as_made(trial: Trial, sentence: str, *, portion: str | None = None, note: str | None = None) -> Entry:
    """What differed from the plan, in words: "water 283 g", "no rose-clay", "sunflower-oil instead of castor-oil 80 g",
    "extra honey 12 g at oils"; said again of the same line, it takes the earlier one's place, and says what that was.
    "rose-clay as planned" and "no extra honey" take an earlier one back.

    Raises InputError for a sentence of another shape, and where nothing was said that could be taken back.
    """
    text = " ".join(str(sentence).split())
    for pattern in _TAKEN_BACK:
        match = pattern.fullmatch(text)
        if match is not None:
            return _take_back(trial, text, match.groupdict(), portion)
    for pattern in _SENTENCES:
        match = pattern.fullmatch(text)
        if match is None:
            continue
        found = {key: value for key, value in match.groupdict().items() if value}
        tree: dict[str, Value] = {key: found[key] for key in ("line", "extra", "instead") if key in found}
        if pattern is _LEFT_OUT:
            tree["left_out"] = Bare("true")
        if "weighed" in found:
            tree["weighed"] = tidy_amount(found["weighed"])
        if "at" in found:
            tree["at"] = _stage(found["at"])
        add_details(tree, portion=portion, note=note)
        replaces = ("extra", "at", "portion") if "extra" in found else ("line", "at", "portion")
        there = _said_of(trial, found, portion)
        was = [as_made_words(entry) for entry in there if entry.at == found.get("at")]
        remark = f"was {was[0]}" if was else ""
        return Entry(trial.id, "as_made", Inline(tree), for_portion(text, portion), None, None, replaces, remark)
    hyphenated = _with_names(text, materials_of(trial))
    can_be_read = any(pattern.fullmatch(hyphenated) for pattern in (*_SENTENCES, *_TAKEN_BACK))
    do = f'write "{hyphenated}"' if can_be_read else _SENTENCE_HELP
    raise InputError.of("as-made-words", f"{text[:60]!r} does not say what differed", do)


def _said_of(trial: Trial, found: Mapping[str, str | None], portion: str | None) -> list[AsMade]:
    """What stands under as_made of the line, or the extra, that a sentence names."""
    line, extra = found.get("line"), found.get("extra")
    return [
        entry
        for entry in trial.as_made
        if entry.portion == portion and (entry.line == line if extra is None else entry.extra == extra)
    ]


def _take_back(trial: Trial, text: str, found: Mapping[str, str | None], portion: str | None) -> Entry:
    there = _said_of(trial, found, portion)
    if found.get("at"):
        there = [entry for entry in there if entry.at in (None, _stage(found["at"] or ""))]
    if not there:
        said = "; ".join(as_made_words(entry) for entry in trial.as_made) or "nothing"
        what = f"nothing is recorded that {for_portion(text, portion)!r} could take back"
        raise InputError.of("nothing-to-take-back", what, f"recorded as made: {said}")
    if len(there) > 1:
        stages = ", ".join(entry.at or "" for entry in there)
        raise InputError.of("as-made-stage", f"{text!r} stands at several stages", f"add `at` and one of: {stages}")
    (entry,) = there
    tree: dict[str, Value] = {"line": entry.line or ""} if entry.extra is None else {"extra": entry.extra}
    if entry.at is not None:
        tree["at"] = entry.at
    add_details(tree, portion=portion)
    replaces = ("extra" if entry.extra else "line", "at", "portion")
    remark = f"was {as_made_words(entry)}"
    said = for_portion(text, portion)
    return Entry(trial.id, "as_made", Inline(tree), said, None, None, replaces, remark, removes=True)


def _with_names(text: str, names: Iterable[str]) -> str:
    """The text with each material that it names in plain words written as it is here: coconut-oil."""
    for name in sorted(names, key=len, reverse=True):
        text = re.sub(rf"(?i)(?<![\w-]){re.escape(name.replace('-', ' '))}(?![\w-])", name, text)
    return text


def forgot_to_replace(trial: Trial, material: str) -> Entry:
    """That the water of an addition was not taken off: the water weighed was the planned water and that.

    Raises InputError when the plan has no addition of that name whose water replaces some.
    """
    plan = trial.plan
    replacing = [line for line in plan.pot.lines if line.water == "replaces"]
    names = tuple(dict.fromkeys(line.material for line in replacing))
    if material not in names:
        what = f"nothing in the plan called {material[:40]!r} was to replace water"
        raise InputError.of("no-replacement", what, suggest(material, names, f"it has: {', '.join(names) or 'none'}"))
    materials = materials_of(trial)
    brought_g = sum(water_in(line, materials) for line in replacing if line.material == material)
    # As it was weighed into the jug: how much of the mixed lye went on from there counts for all that is in it.
    in_jug = [entry for entry in trial.as_made if not is_mixed_lye(entry, plan)]
    before_g = pot_of_batter(replace(trial, as_made=tuple(in_jug))).grams("water")
    weighed = f"{Decimal(repr(round(before_g + brought_g, 1)))} g"
    said = f"{_FORGOT} {material} off"
    earlier = [entry for entry in trial.as_made if entry.line == WATER and entry.at in (None, "lye water")]
    for entry in earlier:
        if said in entry.note or not entry.note.startswith(_FORGOT):
            what = f"the water of {trial.id} is recorded already: {as_made_words(entry)}"
            raise InputError.of("said-already", what, 'that weight counts; correct it with "water N g" if it is wrong')
    tree: dict[str, Value] = {
        "line": WATER,
        "weighed": weighed,
        "note": "; ".join([*(entry.note for entry in earlier), said]),
    }
    return Entry(trial.id, "as_made", Inline(tree), said, None, None, ("line", "at", "portion"))


def note(trial: Trial, text: str) -> Entry:
    """A remark, added below the notes that are there."""
    demand_said(text, "the note is empty", "write a few words")
    return Entry(trial.id, "notes", text.strip(), f"note: {_short(text)}")


def condition(trial: Trial, key: str, text: Figure) -> Entry:
    """One of the conditions: room, humidity, lye_temperature, oil_temperature, mould, cover, blender."""
    demand_said(str(text), f"nothing is said of the {key.replace('_', ' ')}", "write what it was")
    tidy = tidy_condition(key, text)
    there = _condition_there(trial, key)
    remark = f"was {there}" if there not in (None, tidy, _in_celsius(tidy)) else ""
    return Entry(trial.id, "conditions", tidy, f"{key.replace('_', ' ')} {tidy}", None, key, (), remark)


def _condition_there(trial: Trial, key: str) -> str | None:
    """A condition as it stands in the record, in the unit that it is kept in."""
    for name, unit in ((key, ""), (f"{key}_c", " °C"), (f"{key}_percent", " %")):
        value = getattr(trial.conditions, name, None)
        if isinstance(value, (str, Decimal)):
            return f"{value if isinstance(value, str) else format_plain_number(float(value), 1)}{unit}"
    return None


def _in_celsius(text: str) -> str | None:
    degrees_c = parse_celsius(text)
    return None if degrees_c is None else f"{format_plain_number(degrees_c, 1)} °C"


def bars(trial: Trial, **counts: Figure) -> tuple[Entry, ...]:
    """What became of the bars: cut, kept_back and scrapped in bars, lightest in grams."""
    return tuple(
        Entry(trial.id, "bars", _count(text), f"bars {key.replace('_', ' ')} {tidy_amount(text)}", None, key)
        for key, text in counts.items()
    )


def release(
    trial: Trial,
    decision: str,
    *,
    who: str,
    why: str,
    on: Day | None = None,
    despite: str | Iterable[str] = (),
) -> Entry:
    """What was decided about the batch: sell, rework, discard or hold; by whom and why.

    It goes behind what was decided before. on: the day, the one on which it is recorded unless given.
    despite: codes of what speaks against selling and is overridden knowingly. `Bench.record` refuses a decision to sell
    while anything else does, a code by which nothing does, and any decision of a day that is still to come or was
    before the soap was made. Raises InputError for codes beside another decision, and without a name or a reason.
    """
    codes = each_of(despite)
    if codes and decision != "sell":
        what = f"nothing is overridden by a decision to {decision}"
        raise InputError.of("nothing-to-override", what, "say --despite with a decision to sell alone")
    demand_said(who, "nobody is named who decided", "give a name")
    demand_said(why, "no reason is given", "write a few words")
    tree: dict[str, Value] = {"decision": decision, "who": who, "why": why}
    if on is not None:
        tree["on"] = on if isinstance(on, str) else as_day(on).isoformat()
    if codes:
        tree["despite"] = list(codes)
    in_spite = f" (despite {', '.join(codes)})" if codes else ""
    said = f"{decision}, decided by {who}: {_short(why)}{in_spite}"
    before = trial.release
    remark = "" if before is None else f"was: {release_words(before)}; that stays in the record"
    return Entry(trial.id, "release", tree, said, remark=remark)


def dated(trial: Trial, entry: Entry, today: date) -> Entry:
    """A decision with its day, today where it says none; any other entry as it is."""
    if entry.section != "release" or not isinstance(entry.value, Mapping) or "on" in entry.value or today < trial.made:
        return entry
    tree = {**entry.value, "on": today.isoformat()}
    if "despite" in tree:
        tree["despite"] = tree.pop("despite")  # it stays the last
    return replace(entry, value=tree)


def _short(text: str) -> str:
    return shorten(text.strip().splitlines()[0])


def _stage(text: str) -> str:
    stripped = text.strip()
    if stripped in STAGES:
        return stripped
    raise InputError.of("not-a-stage", f"{stripped[:40]!r} is no stage", f"write one of: {', '.join(STAGES)}")


def _count(text: Figure) -> Value:
    try:
        return parse_decimal(text)
    except NotAQuantity:
        return tidy_amount(text)


def describe_entries(entries: Mapping[str, list[Entry]]) -> str:
    """The message of a save: one line a trial."""
    return "\n".join(f"{trial_id}: {'; '.join(entry.said for entry in found)}" for trial_id, found in entries.items())
