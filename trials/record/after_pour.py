"""What was done after pouring as an entry: covered, rebatched and the like, each said once of a time."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from formulary.document.edit import Value
from formulary.document.write import Inline
from formulary.errors import InputError
from formulary.given import Figure, each_weighed
from formulary.quantity import Kind, NotAQuantity, format_decimal, parse_quantity
from trials.record.as_made_sentences import MASS
from trials.trial.entry import Entry, add_amounts, add_details, for_portion, tidy_amount
from trials.trial.model import Handling, TakenIn, Trial, done_once
from trials.trial.words import degree_words, hour_words, taken_in_words

_MATERIAL_AND_WEIGHT = re.compile(rf"(?P<material>\S.*?) {MASS}")


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
    add_amounts(tree, {"temperature": temperature, "for": lasted})
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
