"""Proposed trials as plain text: what to pour, and what each result would mean."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.quantity import format_number
from formulary.text_table import Row, render_rows
from trials.answer.answer import Answer
from trials.answer.chance_words import percent
from trials.answer.season import lots_hard_to_tell
from trials.answer.sentence import cause_words, which_pair
from trials.next_trial.next_trial import NextTrial
from trials.next_trial.outlook import WORTH_A_WORD, Expected
from trials.next_trial.usual import all_else
from trials.pours.sentences import capital, number, places, say_list, wrap_words

_LITTLE_BITS = 0.25
_A_BIT = "One bit is what a yes-or-no question tells when both answers are as likely."
_RANGES = "Each range holds what would be seen in 9 of 10 cases (90 %)."


def render_next_trials(proposed: Sequence[NextTrial], answer: Answer, width: int = 80) -> str:
    """The proposals for an explanation as text of at most `width` columns, the one that tells most first."""
    if not proposed:
        return "\n".join(wrap_words(_why_none(answer), width))
    remark = little_left(proposed, answer)
    lines: list[str] = [] if remark is None else wrap_words(remark, width)
    for place, one in enumerate(proposed, 1):
        lines += [""] if lines else []
        words = wrap_words(f"{capital(one.words)}.", width, indent=3)
        lines += [f"{place}  {words[0].lstrip()}", *words[1:]]
        told = f"Its {one.portion} portion" if one.portion is not None else "It"
        lines += wrap_words(f"{told} would tell {one.bits:.2f} bits about what did it.", width, indent=3)
        lines += _outlook(answer, one, width)
        if one.why_not_newest:
            lines += wrap_words(f"It starts from an earlier version: {one.why_not_newest}.", width, indent=3)
        if one.too_quick is not None:
            lines += wrap_words(f"warn: {one.too_quick}.", width, indent=3)
        lines += [line for finding in one.findings for line in wrap_words(f"warn: {finding.what}", width, indent=3)]
    ranges = f" {_RANGES}" if any(item.value is not None for one in proposed for item in one.expected) else ""
    usual = all_else(answer)
    taken = f" Where a pour says nothing else, it is foretold for {say_list(usual)}." if usual else ""
    for text in lots_hard_to_tell(answer):
        lines += ["", *wrap_words(text, width)]
    return "\n".join([*lines, "", *wrap_words(f"{_A_BIT}{ranges}{taken}{_order(proposed)}", width)])


def next_trials_json(proposed: Sequence[NextTrial], answer: Answer) -> dict[str, object]:
    """The same with stable keys. why_none: a sentence where nothing is proposed. all_else: what pours that do
    not say otherwise are foretold for. took_over: lots that only a pour by the one before would tell from a drift.
    """
    return {
        "outcome": answer.label,
        "proposed": [one.to_json() for one in proposed],
        "why_none": None if proposed else _why_none(answer),
        "little_left": little_left(proposed, answer),
        "all_else": list(all_else(answer)),
        "took_over": [lot.to_json() for lot in answer.took_over],
        "trials_left_out": [item.to_json() for item in answer.left_out],
    }


def little_left(proposed: Sequence[NextTrial], answer: Answer) -> str | None:
    """That the cause is known and no pour would tell much more, in a sentence; None where more is to be learnt."""
    most = max((one.bits for one in proposed), default=0.0)
    named = [cause for cause in answer.causes if cause.is_likely]
    twins = any(not cause.is_told_apart for cause in named)
    if not proposed or not named or twins or most >= _LITTLE_BITS:
        return None
    known = say_list([f"{cause_words(cause)} ({percent(cause.probability)})" for cause in named])
    return f"Little is left to learn about {answer.label}: {known} did it, and no pour would tell much more."


def _order(proposed: Sequence[NextTrial]) -> str:
    """Why something stands after what tells less, where anything does."""
    later = [
        (one, after) for place, one in enumerate(proposed) for after in proposed[place + 1 :] if after.bits > one.bits
    ]
    if any(after.too_quick is not None and one.too_quick is None for one, after in later):
        return " What may set in the pot comes last."
    return " A tenth of a bit is not worth another change, or a divided batter." if later else ""


def _why_none(answer: Answer) -> str:
    if answer.no_answer is not None:
        advice = f" {answer.advice}" if answer.advice is not None else ""
        return f"Nothing can be told yet: {answer.no_answer}.{advice}"
    unsettled = [cause for cause in answer.causes if cause.is_likely and cause.or_pairs]
    if unsettled:
        return f"{capital(cause_words(unsettled[0]))}, did it; {which_pair(unsettled[0])}."
    said = f"No small change would tell much more about {answer.label} now."
    if not answer.enough_evidence:
        said += " Pour on, change one thing at a time, and record what happens."
    return said


def _outlook(answer: Answer, one: NextTrial, width: int) -> list[str]:
    """What each explanation expects, a line each."""
    expected = one.expected
    if not expected:
        return []
    of = f" of the {one.portion} portion" if one.portion is not None else ""
    heading = f"{answer.label}{of} would be"
    if expected[0].value is None:
        lines = wrap_words(heading, width, indent=3)
        for item in expected:
            lines += wrap_words(f"{_why(item)}: {_grades(answer, item)}", width, indent=5)
        return lines
    return render_rows([Row(heading, indent=3), *(_row(answer, item) for item in expected)], width=width)


def _why(expected: Expected) -> str:
    pairs = [group for group in expected.causes if len(group) > 1]
    alone = [group[0] for group in expected.causes if len(group) == 1]
    causes = [name for name in alone if not any(name in pair for pair in pairs)]
    for pair in pairs:
        by_itself = [name for name in pair if name in alone]
        if len(by_itself) == 1:
            causes.append(f"{by_itself[0]}, more with {next(name for name in pair if name not in alone)},")
        else:
            causes.append(f"{' and '.join(pair)}, more together," if by_itself else f"{' with '.join(pair)} together")
    why = f"if {say_list(causes)} did it" if causes else "if nothing recorded did it"
    return f"{why} ({percent(expected.probability)})"


def _grades(answer: Answer, expected: Expected) -> str:
    """`none (90 %) or stirred out (10 %)`, the likeliest first."""
    ranked = sorted(expected.grades, key=lambda item: -item[1])
    shown = [item for place, item in enumerate(ranked) if place == 0 or item[1] >= WORTH_A_WORD]
    return say_list([f"{number(answer.outcome, grade)} ({percent(chance)})" for grade, chance in shown], "or")


def _row(answer: Answer, expected: Expected) -> Row:
    digits = places(answer.outcome)
    figures = (expected.value or 0.0, expected.low or 0.0, expected.high or 0.0)
    value, low, high = (format_number(answer.outcome.told(figure), digits) for figure in figures)
    if answer.outcome.unit:
        value = f"{value} {answer.outcome.told_unit}"
    return Row(_why(expected), (value, f"{low} to {high}"), indent=5)
