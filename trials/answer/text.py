"""An explanation as plain text: the sentence, the candidates with their chances, and what it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from formulary.quantity import format_number
from formulary.text_table import Row, render_rows
from trials.answer.answer import INTERVALS, SEVERAL_AT_WORK, WORTH_A_LINE, Answer, FactorEffect, LikelyCause
from trials.answer.chance_words import group_words, percent
from trials.answer.effect_words import (
    as_told,
    effect_places,
    effect_unit,
    even_chance_words,
    level_words,
    likelier_words,
    most_possible,
    step_words,
)
from trials.answer.moved_sentence import changed_sentence, moved_sentence
from trials.answer.season import lots_hard_to_tell
from trials.answer.sentence import FROM_ALL, cause_words, over_all_sentence
from trials.outcomes.outcome import Scale
from trials.pours.noise import RepeatNoise
from trials.pours.pour_book import short_names
from trials.pours.seen import LeftOut, left_out_labels
from trials.pours.sentences import capital, count, noise_basis, noise_size, say_first, say_list, wrap_words

_MOST_LINES = 8
ONLY_WITH_OTHERS = "only with others"
FOR_AND_AGAINST = "For, against: pours that fit better with it, or without it."
_MOST_NAMED = 4  # of what was left out for one reason
_NARROW = 76  # columns below which only chances and effects are shown


def render_explanation(answer: Answer, width: int = 80, *, show_all: bool = False) -> str:
    """The explanation as text of at most `width` columns; show_all: every candidate, and what was left out."""
    lines: list[str] = []
    about_one = moved_sentence(answer)
    if about_one:
        lines += wrap_words(about_one, width)
        if answer.moved is not None:
            lines += wrap_words(changed_sentence(answer), width, indent=2)
        lines += ["", *wrap_words(f"{FROM_ALL} {over_all_sentence(answer)}", width)]
    else:
        lines += wrap_words(over_all_sentence(answer), width)
    if answer.causes:
        lines += ["", *_table(answer, width, show_all=show_all)]
    lines += ["", *wrap_words(" ".join(basis_sentences(answer)), width, indent=2)]
    for text in remark_sentences(answer, show_all=show_all):
        lines += wrap_words(text, width, indent=2)
    if answer.to_tell_apart is not None:
        lines += ["", *wrap_words(f"What to pour next: {answer.to_tell_apart}.", width, indent=2)]
        command = f'`formulary next "{answer.label}"`'
        lines += wrap_words(
            f"{command} says what each result of it would mean, and what else would help.", width, indent=2
        )
    elif answer.advice is not None:
        lines += ["", *wrap_words(answer.advice, width, indent=2)]
    return "\n".join(lines)


def shown_causes(answer: Answer, *, show_all: bool = False) -> list[LikelyCause]:
    """The candidates that are worth a line, or all of them."""
    if show_all:
        return list(answer.causes)
    return [cause for cause in answer.causes if cause.probability >= WORTH_A_LINE][:_MOST_LINES]


def candidate_rows(answer: Answer, shown: Sequence[LikelyCause]) -> list[Row]:
    """The candidates shown, and that nothing recorded did it, below a row of headings."""
    heading = "even chance becomes" if answer.outcome.scale is Scale.GRADED else effect_unit(answer) or "effect"
    rows = [Row("candidate", ("chance, %", "per", heading, "for", "against"))]
    rows += [_line(answer, cause) for cause in shown]
    if answer.nothing is not None:
        rows.append(Row("nothing that is recorded", (_bare(answer.nothing), "", "", "", "")))
    return rows


def rest_words(answer: Answer, shown: Sequence[LikelyCause]) -> str:
    """How many candidates are not shown, and how likely each is at most; empty where all are."""
    rest = [cause.probability for cause in answer.causes[len(shown) :]]
    if not rest:
        return ""
    under = "under 2 %" if max(rest) < WORTH_A_LINE else f"at most {percent(max(rest))}"
    return f"{count(len(rest), 'other')}, {'each ' if len(rest) > 1 else ''}{under}"


def _table(answer: Answer, width: int, *, show_all: bool) -> list[str]:
    shown = shown_causes(answer, show_all=show_all)
    rows = candidate_rows(answer, shown)
    if width < _NARROW:
        # The step that an effect is told for stands below its candidate, since there is no room beside it.
        rows = [rows[0], *(replace(row, note=_step(row.cells[1])) for row in rows[1:])]
        rows = [replace(row, cells=(row.cells[0], row.cells[2])) for row in rows]
    lines = render_rows(rows, width=width, gap=2)
    rest = rest_words(answer, shown)
    lines += wrap_words(rest, width, indent=2) if rest else []
    spoken = [cause for cause in shown if cause.speaks_for or cause.speaks_against]
    if width >= _NARROW and spoken:
        lines += ["", *wrap_words(FOR_AND_AGAINST, width, indent=2)]
    if show_all:
        names = short_names([trial.id for trial in answer.trials])
        lines += [line for cause in spoken for line in wrap_words(_who_speaks(cause, names), width, indent=2)]
    if answer.adds_to_more_than_all:
        lines += ["", *wrap_words(SEVERAL_AT_WORK, width, indent=2)]
    return lines


def _who_speaks(cause: LikelyCause, names: Mapping[str, str]) -> str:
    """`honey: for k7wq clove and m3hd; against none`."""
    sides = []
    for word, speaking in (("for", cause.speaks_for), ("against", cause.speaks_against)):
        pours = [f"{names[item.trial]} {item.portion or ''}".rstrip() for item in speaking]
        sides.append(f"{word} {say_list(pours) or 'none'}")
    return f"{cause_words(cause)}: {'; '.join(sides)}."


def _step(per: str) -> str:
    """`per 5 °C`; what is no amount, such as `if done`, stands as it is."""
    return f"per {per}" if per[:1].isdigit() else per


def _line(answer: Answer, cause: LikelyCause) -> Row:
    effect = cause.main_effect
    per, size = "", ""
    if effect is not None:
        effect = as_told(answer, effect, cause if cause.is_together else None)
        factor = answer.factor(effect.factor)
        per = (
            step_words(factor, effect.per)
            if factor.unit or cause.is_together
            else "this instead"
            if " instead of " in effect.per
            else "if done"
        )
        size = _effect_cell(answer, effect)
    elif cause.is_mostly_together:
        size = ONLY_WITH_OTHERS
    return Row(
        cause_words(cause),
        (_bare(cause.probability), per, size, str(len(cause.speaks_for)), str(len(cause.speaks_against))),
    )


def _bare(probability: float) -> str:
    """A chance in percent, below a heading that says so."""
    return percent(probability).removesuffix(" %")


def _effect_cell(answer: Answer, effect: FactorEffect) -> str:
    if effect.even_chance_becomes is not None:
        return even_chance_words(effect.even_chance_becomes)
    if effect.effect is None or effect.low is None or effect.high is None:
        return likelier_words(effect.direction)
    digits = effect_places(answer, effect.effect)
    most = most_possible(answer)
    middle, start, end = (_within(value, digits, most) for value in (effect.effect, effect.low, effect.high))
    return f"{middle} ({start}, {end})"


def _within(value: float, digits: int, most: float) -> str:
    """`+4.2`, or `over +38` where it lies beyond what can be told."""
    if abs(value) <= most:
        return _signed(value, digits)
    return f"over {'-' if value < 0 else '+'}{format_number(most, 0)}"


def _signed(value: float, digits: int) -> str:
    text = format_number(value, digits)
    return text if text.startswith("-") or not text.strip("0.") else f"+{text}"


def basis_sentences(answer: Answer) -> list[str]:
    """What an answer rests on: how many trials, limits, noise, and what was left out and why."""
    trials, pours = len(answer.trials), len(answer.seen)
    text = f"From {count(trials, 'trial')}"
    if pours != trials:
        text += f" in {pours} portions"
    text += "".join(f"; {limits}" for limits in _limits(answer))
    between = sum(item.value.is_interpolated for item in answer.seen)
    if between:
        who = "All values are" if between == pours else f"{between} of the values {'is' if between == 1 else 'are'}"
        text += f". {who} worked out between readings before and after that age"
    said = [f"{text}."]
    if answer.outcome.scale is Scale.LOG_TIME and answer.causes:
        said.append(f"A step changes a time by a share of it: here of {level_words(answer)}.")
    if answer.has_intervals:
        said.append(INTERVALS)
    if answer.outcome.scale is Scale.GRADED and answer.enough_evidence:
        said.append("A weak cause of grades that gets named looks stronger than it is.")
    noise = answer.noise
    if noise is not None and answer.seen:
        said.append(noise_sentence(answer, noise))
        if noise.is_scant and not noise.is_assumed and answer.in_numbers is not None:
            found = replace(noise, sd=answer.in_numbers.noise.sd.middle)
            if found.sd > noise.sd:
                taken = noise_size(answer.outcome, found, answer.level)
                said.append(f"These are too few to rest on: by all that was seen a pour is taken to vary by {taken}.")
    if answer.left_out:
        said.append(f"Left out: {_left_out(answer)}.")
    return said


def _of_several(why: str) -> str:
    """A reason that is told of one trial, told of several."""
    return f"their {why.removeprefix('its ')}" if why.startswith("its ") else why


def _limits(answer: Answer) -> list[str]:
    """How many pours are known only as limits, of each kind: `4 were stopped before and count as "later than"`."""
    bounds = [item.value.bound for item in answer.seen if not item.value.is_interpolated]
    above, below, between = (bounds.count(bound) for bound in ("above", "below", "between"))
    said = []
    if answer.outcome.scale is not Scale.LOG_TIME:
        if above + below:
            said.append(f"{_are(above + below)} known only as {'a limit' if above + below == 1 else 'limits'}")
    else:
        if above and answer.outcome.from_events:
            one = above == 1
            said.append(
                f'{above} {"was" if one else "were"} stopped before and count{"s" if one else ""} as "later than"'
            )
        elif above:
            said.append(f'{_are(above)} known only as "later than"')
        if below:
            said.append(f'{_are(below)} known only as "before"')
    if between:
        said.append(f"{_are(between)} known only to lie between two values")
    return said


def _are(number_of: int) -> str:
    return f"{number_of} {'is' if number_of == 1 else 'are'}"


def _left_out(answer: Answer) -> str:
    """`k7wq clove and m3hd (never observed); two more (their files cannot be read)`."""
    names = short_names(
        list(dict.fromkeys([*(trial.id for trial in answer.trials), *(o.trial for o in answer.left_out)]))
    )
    reasons: dict[str, list[LeftOut]] = {}
    for item in answer.left_out:
        reasons.setdefault(item.why, []).append(item)
    return "; ".join(
        f"{say_first(left_out_labels(items, names), _MOST_NAMED)} ({_of_several(why) if len(items) > 1 else why})"
        for why, items in reasons.items()
    )


def noise_sentence(answer: Answer, noise: RepeatNoise) -> str:
    """How much repeats of one recipe differ in the outcome, or that this is a guess."""
    size = noise_size(answer.outcome, noise, answer.level)
    if noise.is_assumed:
        return f"No two repeats were measured: they are taken to differ by about {size}, which is a guess."
    if noise.read_alike:
        return f"Repeats read the same ({noise_basis(answer.outcome, noise)})."
    return f"Repeats differ by about {size} ({noise_basis(answer.outcome, noise)})."


def remark_sentences(answer: Answer, *, show_all: bool = False) -> list[str]:
    """What else is to be known: pours that fit nothing else, factors that moved together, what was not weighed."""
    said: list[str] = []
    for item in answer.botched:
        text = f"{item.trial} fits nothing else ({percent(item.probability)} that it went wrong as a whole)."
        said.append(text)
    if answer.without_botched is not None:
        names = say_list([item.trial.rpartition("-")[2] for item in answer.botched])
        said.append(f"Without {names}: {over_all_sentence(answer.without_botched)}")
    leading = {cause.groups[0] for cause in answer.causes if cause.probability >= 0.05}
    for twins in answer.near_twins:
        if {twins.first, twins.second} & leading:
            pair = say_list([group_words(twins.first), group_words(twins.second)])
            opposite = "moved nearly opposite" if twins.correlation < 0 else "moved nearly together"
            said.append(f"{capital(pair)} {opposite} (correlation {twins.correlation:.2f}).")
    told = over_all_sentence(answer)
    said += [text for text in lots_hard_to_tell(answer) if text.partition(",")[0] not in told]
    if answer.table.set_aside:
        listed = "; ".join(f"{item.name} ({item.why})" for item in answer.table.set_aside)
        said.append(f"Not weighed: {listed}.")
    if show_all:
        said += [f"{capital(remark)}." for remark in answer.table.remarks]
        if answer.cannot_act:
            said.append(f"Came too late to act on {answer.label}: {say_list(answer.cannot_act)}.")
    elif answer.table.remarks:
        said.append(f"{capital(count(len(answer.table.remarks), 'factor'))} not recorded everywhere (--all tells).")
    return said
