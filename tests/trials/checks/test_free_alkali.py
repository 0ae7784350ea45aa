"""A test for free alkali speaks for what it was of, from its rebatch on, and what lacks one is asked for."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from types import MappingProxyType

from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.model import PortionFigures
from formulary.finding import Severity
from formulary.materials.register import read_builtin_register
from tests.trials.examples import MIDWINTER_CLOVE, outcomes, plan_of, trial_of
from tests.trials.test_due import NOW
from trials.as_made.effective import effective_portion
from trials.checks.sale import fit_to_sell
from trials.checks.sale_text import free_alkali_words
from trials.due.due import USUAL_FOLLOW_UP, Due, find_due
from trials.due.text import render_calendar, render_due
from trials.trial.model import Trial

UNSCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")])
MADE = date(2026, 10, 3)
DIVIDED = "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n"
SOLD = "release: {decision: sell, who: R, why: firm}\n"
# 3 g of it in half of a batch whose alkali is planned for a superfat of 5 % leave that half about 1 %.
OWN_LYE = "as_made: [{extra: sodium-hydroxide, weighed: 3 g, at: trace, portion: clove}]\n"
REBATCHED = "after_pour: [{at: 20 d, what: rebatched%s}]\n"


def looked(*said: tuple[int, str, str | None]) -> str:
    if not said:
        return ""
    rows = (
        f"  - {{age: {age} d, outcome: free alkali, value: {grade}{f', portion: {portion}' if portion else ''}}}\n"
        for age, grade, portion in said
    )
    return f"observations:\n{''.join(rows)}"


def with_all(trial: Trial) -> Trial:
    """The trial with the values of all that went in beside its plan."""
    register = read_builtin_register()
    return replace(trial, added=MappingProxyType({name: register[name] for name in trial.brought}))


def against(text: str) -> list[tuple[str, Severity, str]]:
    """What the tests of a loaf leave against its sale."""
    found = fit_to_sell(with_all(trial_of(text + SOLD, UNSCENTED)))
    return [(each.code, each.severity, each.what) for each in found if each.code.startswith("free-alkali")]


def portions(text: str) -> tuple[PortionFigures, ...]:
    return effective_portion(with_all(trial_of(text, UNSCENTED)), as_bars=True).figures.portions


def due(text: str, age: int) -> list[Due]:
    found = find_due([trial_of(text, UNSCENTED)], MADE + timedelta(days=age), USUAL_FOLLOW_UP, outcomes())
    return [each for each in found if each.task == "free alkali"]


def test_a_test_of_one_portion_clears_that_portion_alone() -> None:
    text = DIVIDED + looked((7, "none", "plain"))
    assert against(text) == [("free-alkali-untested", Severity.WARN, "free alkali was not looked for in clove")]
    assert [each.portions for each in due(text, 9)] == [("clove",)]
    assert against(DIVIDED + looked((7, "none", "plain"), (8, "none", "clove"))) == []


def test_a_test_of_the_whole_clears_portions_whose_lye_is_alike() -> None:
    assert against(DIVIDED + looked((7, "none", None))) == []
    assert due(DIVIDED + looked((7, "none", None)), 9) == []


def test_a_portion_with_little_superfat_of_its_own_is_cleared_by_a_test_of_itself_alone() -> None:
    whole = OWN_LYE + DIVIDED + looked((7, "none", None))
    ((code, severity, what),) = against(whole)
    assert (code, severity) == ("free-alkali-untested", Severity.STOP), "it may be below nothing: nobody decides that"
    assert what == "free alkali was not looked for in clove, and there may be some"
    assert [each.portions for each in due(whole, 9)] == [("clove",)]
    assert [each.portions for each in due(OWN_LYE + DIVIDED, 9)] == [("plain", "clove")]
    assert against(whole + "  - {age: 8 d, outcome: free alkali, value: none, portion: clove}\n") == []


def test_a_portion_whose_own_wax_may_not_have_taken_up_its_own_lye_is_cleared_by_a_test_of_itself_alone() -> None:
    at = "at: trace, portion: clove"
    own = f"{{extra: beeswax, weighed: 120 g, {at}}}, {{extra: sodium-hydroxide, weighed: 8 g, {at}}}"
    text = f"as_made: [{own}]\n{DIVIDED}"
    figures = {part.name: part for part in portions(text)}
    assert figures["clove"].superfat_percent > 4
    assert figures["clove"].superfat_low_percent < -2 < 0 < figures["plain"].superfat_low_percent
    (told,) = against(text + looked((7, "none", None)))
    assert told[:2] == ("free-alkali-untested", Severity.STOP)
    assert "in clove" in told[2]
    assert against(text + looked((7, "none", None), (7, "none", "clove"))) == []


def test_what_a_test_of_the_whole_found_speaks_against_every_portion_until_each_is_clear() -> None:
    for made in ("", OWN_LYE):
        found = made + DIVIDED + looked((7, "present", None), (9, "none", "plain"))
        assert ("free-alkali", Severity.STOP, "free alkali: present at 7 d") in against(found)
        assert against(found + "  - {age: 9 d, outcome: free alkali, value: none, portion: clove}\n") == []


def test_what_a_test_of_one_portion_found_is_cleared_by_a_test_of_that_portion_alone() -> None:
    found = DIVIDED + looked((2, "present", "clove"), (20, "none", None))
    assert against(found) == [("free-alkali", Severity.STOP, "free alkali: present at 2 d (clove)")]
    (told,) = [each for each in fit_to_sell(trial_of(found + SOLD, UNSCENTED)) if each.code == "free-alkali"]
    assert "clove by itself (--portion clove)" in told.do
    (item,) = due(found, 30)
    assert (item.portions, item.remark) == (("clove",), "it was present at 2 d (clove)")
    assert against(found + "  - {age: 21 d, outcome: free alkali, value: none, portion: clove}\n") == []
    (item,) = due(DIVIDED + looked((7, "trace", "plain"), (7, "trace", "clove")), 30)
    assert item.portions == ("plain", "clove"), "one test of the whole would clear neither"


def test_a_rebatch_of_one_portion_makes_its_tests_void_and_leaves_those_of_the_other() -> None:
    alone = REBATCHED % ", portion: clove"
    both = DIVIDED + alone + looked((7, "none", "plain"), (7, "none", "clove"))
    said = "free alkali was not looked for in clove since it was rebatched"
    assert [what for _, _, what in against(both)] == [said]
    assert [each.portions for each in due(both, 30)] == [("clove",)]
    # Later, too, a test of the whole may have been of the other one.
    assert [what for _, _, what in against(both + "  - {age: 25 d, outcome: free alkali, value: none}\n")] == [said]
    assert against(both + "  - {age: 25 d, outcome: free alkali, value: none, portion: clove}\n") == []


def test_after_a_rebatch_of_unknown_time_a_test_is_due_until_that_is_recorded() -> None:
    seen = looked((2, "none", None), (7, "none", None), (60, "none", None))
    untimed = REBATCHED.replace("20 d", "unknown") % "" + seen
    assert due(seen, 90) == []
    (item,) = due(untimed, 90)
    assert not item.is_missed, "no age is too late for it"
    assert item.remark.endswith('formulary trial after k7wq rebatched --at "20 h" --correct')
    for told in (render_due([item], NOW.date()), render_calendar([item], NOW).replace("\r\n ", "")):
        assert "no test clears it before the rebatch has its time" in " ".join(told.split())
    assert due(REBATCHED % "" + seen, 90) == []
    part = DIVIDED + REBATCHED.replace("20 d", "unknown") % ", portion: clove" + seen
    (item,) = due(part, 90)
    assert item.portions == ("clove",)
    assert "--portion clove" in item.remark


def test_what_was_found_is_looked_for_again_after_two_weeks_until_it_is_gone() -> None:
    found = looked((7, "trace", None))
    (item,) = due(found, 10)
    assert (item.age_days, item.late_days, item.remark) == (Decimal(21), -11, "it was trace at 7 d")
    (item,) = due(found, 300)
    assert not item.is_missed
    assert due(looked((7, "trace", None), (21, "none", None)), 300) == []
    assert [each.age_days for each in due(looked((2, "present", None)), 3)] == [7], "the plan looks again sooner"
    assert due(found + "release: {decision: discard, who: R, why: lye}\n", 30) == []


def test_a_rebatch_is_told_among_the_tests_where_it_counts_for_a_sale() -> None:
    slow = REBATCHED.replace("20 d", "20 d, for: 2 d") % ""
    for age in (20, 21, 22):
        text = slow + looked((age, "none", None))
        assert [code for code, _, _ in against(text)] == ["free-alkali-untested"]
        assert free_alkali_words(trial_of(text, UNSCENTED)) == (f"none at {age} d", "rebatched until 22 d")
    text = slow + looked((23, "none", None))
    assert against(text) == []
    assert free_alkali_words(trial_of(text, UNSCENTED)) == ("rebatched until 22 d", "none at 23 d")


SAID = st.tuples(
    st.integers(1, 60), st.sampled_from(["none", "trace", "present"]), st.sampled_from([None, "plain", "clove"])
)
STEPS = st.sampled_from(["", REBATCHED % "", REBATCHED % ", portion: clove", REBATCHED.replace("20 d", "unknown") % ""])


@settings(max_examples=60)
@given(st.lists(SAID, max_size=4), STEPS, st.sampled_from(["", OWN_LYE]))
def test_what_a_sale_lacks_is_always_asked_for(said: list[tuple[int, str, str | None]], step: str, made: str) -> None:
    text = made + DIVIDED + step + looked(*said)
    asked = due(text, 60)
    assert asked or not against(text)


def test_what_was_found_counts_unless_it_is_surely_from_before_the_rebatch() -> None:
    step = REBATCHED % ""
    assert [code for code, _, _ in against(step + looked((19, "present", None)))] == ["free-alkali-untested"]
    assert [code for code, _, _ in against(step + looked((20, "present", None)))] == ["free-alkali"]
    untimed = step.replace("20 d", "unknown") + looked((9, "present", None), (40, "none", None))
    assert [code for code, _, _ in against(untimed)] == ["free-alkali-untested", "free-alkali"]
    (item,) = due(untimed, 60)
    assert "it was present at 9 d" in item.remark
    assert "--correct" in item.remark
