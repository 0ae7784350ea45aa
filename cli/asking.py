"""How a person at a terminal is asked: one question at a time, each answer judged at once, Enter to leave it open."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, TypeVar

import click

from cli.output import say, tell, tell_findings, width
from formulary.errors import InputError

if TYPE_CHECKING:
    from formulary.document.edit import Value
    from formulary.finding import Finding
    from formulary.folder.material_files import Draft
    from formulary.materials.questions import Question

_T = TypeVar("_T")


def ask(question: str, read: Callable[[str], _T], doubts: Callable[[_T], Iterable[Finding]] = lambda _: ()) -> _T:
    """The answer to a question that needs one, asked again until it can be read."""
    while True:
        answer = ask_if_known(question, read, doubts)
        if answer is not None:
            return answer
        tell("This one is needed; Ctrl-C leaves without writing anything.")


def ask_if_known(
    question: str, read: Callable[[str], _T], doubts: Callable[[_T], Iterable[Finding]] = lambda _: ()
) -> _T | None:
    """The answer to a question, or None when it is left open with Enter.

    read: the answer from what was typed; an InputError is told, and the question asked again. doubts: what makes an
    answer hard to believe; it is told, and the answer only kept when the person says so.
    """
    from formulary.text_table import paragraph

    while True:
        say("\n".join(paragraph(question, width=width())))
        typed: str = click.prompt(">", default="", show_default=False, prompt_suffix=" ")
        if not typed.strip():
            return None
        try:
            answer = read(typed)
            found = tuple(doubts(answer))
        except InputError as fault:
            tell_findings(fault.findings)
            continue
        tell_findings(found)
        if not found or click.confirm("Keep it all the same?"):
            return answer


def ask_for_values(draft: Draft, questions: Iterable[Question], given: Mapping[str, Value]) -> dict[str, Value]:
    """The values of a material's file, or of a lot, with answers to the questions that they leave open."""
    from formulary.materials.questions import has_answer, with_answer

    values = dict(given)
    for question in questions:
        if has_answer(values, question.key) or (question.after and not has_answer(values, question.after)):
            continue
        answer = _ask_one(draft, question, values)
        if answer is not None:
            values = with_answer(values, question, answer)
    return values


def _ask_one(draft: Draft, question: Question, values: Mapping[str, Value]) -> Value | None:
    from formulary.materials.questions import parse_answer, with_answer
    from formulary.quantity import NotAQuantity

    def read(typed: str) -> Value:
        try:
            answer = parse_answer(question, typed)
        except NotAQuantity as problem:
            raise InputError.of("bad-value", problem.what, problem.do) from None
        draft.check(with_answer(values, question, answer))
        return answer

    def doubts(answer: Value) -> Iterable[Finding]:
        known = draft.check(values) if not question.is_needed else ()
        return (found for found in draft.check(with_answer(values, question, answer)) if found not in known)

    return ask(question.asks, read, doubts) if question.is_needed else ask_if_known(question.asks, read, doubts)
