"""Proposed trials as plain text: what to pour, and what each result would mean."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.quantity import format_number
from formulary.text_table import Row, render_rows
from trials.explanation import Explanation
from trials.explanation_sentence import percent
from trials.next_trial import Expected, NextTrial
from trials.sentences import capital, places, say_list, wrap_words

_WORTH_A_LINE = 0.05
_MOST_LINES = 4


def render_next_trials(proposed: Sequence[NextTrial], answer: Explanation, width: int = 80) -> str:
    """The proposals for an explanation as text of at most `width` columns, the one that tells most first."""
    if not proposed:
        if answer.no_answer is not None:
            return "\n".join(wrap_words(f"There is nothing to tell apart: {answer.no_answer}.", width))
        return "\n".join(wrap_words(f"No small change would tell much more about {answer.label}.", width))
    lines: list[str] = []
    for number, one in enumerate(proposed, 1):
        lines += (
            ["", *wrap_words(f"{number}  {capital(one.words)}.", width)]
            if lines
            else wrap_words(f"{number}  {capital(one.words)}.", width)
        )
        lines += wrap_words(f"It would tell {one.bits:.2f} bits about what did it.", width, indent=3)
        rows = [_row(answer, expected) for expected in one.expected if expected.probability >= _WORTH_A_LINE]
        if rows:
            lines += render_rows([Row(f"{answer.label} would be", indent=3), *rows[:_MOST_LINES]], width=width)
        lines += [line for finding in one.findings for line in wrap_words(f"warn: {finding.what}", width, indent=3)]
    if any(one.expected for one in proposed):
        lines += ["", *wrap_words("Each range holds what would be seen in 9 of 10 cases (90 %).", width)]
    return "\n".join(lines)


def _row(answer: Explanation, expected: Expected) -> Row:
    digits = places(answer.outcome)
    value, low, high = (format_number(figure, digits) for figure in (expected.value, expected.low, expected.high))
    if answer.outcome.unit:
        value = f"{value} {answer.outcome.unit}"
    why = f"if {say_list(expected.causes)} did it" if expected.causes else "if nothing recorded did it"
    return Row(f"{why} ({percent(expected.probability)})", (value, f"{low} to {high}"), indent=5)
