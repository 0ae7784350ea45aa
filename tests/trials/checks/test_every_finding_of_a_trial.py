"""What is said of a trial's lots and of its sale vanishes when its `do` is done, or stands for a reason."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pytest

from formulary.finding import Finding
from formulary.materials.model import Known, Lot, ValueRange
from tests.trials.examples import HEAD, MIDWINTER_CLOVE, outcomes, plan_of, trial_of
from trials.as_made import unknown_weights
from trials.checks import as_made, free_alkali, sale
from trials.checks.checks import check_trial
from trials.checks.sale import check_before_sale, fit_to_sell
from trials.trial.model import Plan

UNSCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")])
SOURCES = (as_made, free_alkali, sale, unknown_weights)
DECIDED = "release: {decision: sell, who: R, why: firm and mild}\n"
NONE = "observations: [{age: 7 d, outcome: free alkali, value: none}]\n"
EARLIER = HEAD.replace("made: 2026-10-03", "made: 2026-01-03")
CERTIFICATE = ValueRange(189, 191, 190, Known("maker", "invented certificate"))


def with_lot(plan: Plan, *names: str) -> Plan:
    """The plan with the certificates of lots of its olive oil, of OL-7 unless said."""
    lots = {name: Lot(name, overrides={"saponification_value": CERTIFICATE}) for name in names or ("OL-7",)}
    olive = replace(plan.materials["olive-oil"], lots=lots)
    return replace(plan, materials={**plan.materials, "olive-oil": olive})


@dataclass(frozen=True)
class Case:
    """A finding, the end of a trial's file that raises it, and the one after its `do`; or why it stands."""

    code: str
    triggers: str
    do: str
    mended: str | None = None
    stands: str = ""
    plan: Plan = UNSCENTED
    today: date = date(2026, 12, 1)
    later: date | None = None


CASES = [
    Case(
        "lots-total",
        'lots: {olive-oil: {"OL-7": 300 g, "OL-8": 100 g}}\n',
        "correct the lots",
        'lots: {olive-oil: {"OL-7": 300 g, "OL-8": 150 g}}\n',
    ),
    Case(
        "lots-total",
        'lots: {olive-oil: {"OL-7": 300 g, "OL-8": 140 g}}\n',
        "or record what was weighed under as_made",
        'as_made: [{line: olive-oil, weighed: 440 g}]\nlots: {olive-oil: {"OL-7": 300 g, "OL-8": 140 g}}\n',
    ),
    Case(
        "lot-of-rebatch",
        "lots: {olive-oil: OL-7}\nafter_pour:\n  - {at: 30 h, what: rebatched, with: {olive-oil: 60 g}}\n",
        "'OL-7 GRAMS g' LOT --correct",
        'lots: {olive-oil: {"OL-7": 450 g, "OL-8": 60 g}}\n'
        "after_pour:\n  - {at: 30 h, what: rebatched, with: {olive-oil: 60 g}}\n",
        plan=with_lot(UNSCENTED, "OL-7", "OL-8"),
    ),
    Case(
        "decision-unsigned",
        NONE + DECIDED.replace("who: R", 'who: ""'),
        "write `who:` in trial.yaml",
        NONE + DECIDED,
    ),
    Case(
        "decision-unsigned",
        NONE + "release:\n  - {decision: hold, who: R, why: ' '}\n  - {decision: sell, who: R, why: mild}\n",
        "write `why:` in trial.yaml",
        NONE + "release:\n  - {decision: hold, who: R, why: soft}\n  - {decision: sell, who: R, why: mild}\n",
    ),
    Case(
        "lot-certificate-missing",
        'lots: {olive-oil: {"OL-7": 300 g, "OL-8": 150 g}}\n',
        "look at its certificate before you use the soap",
        stands="the plan was frozen without it; what a certificate says later is told by recalculating",
        plan=with_lot(UNSCENTED),
    ),
    Case(
        "weight-unknown",
        "as_made: [{line: sodium-hydroxide, weighed: unknown}]\n" + NONE + DECIDED,
        "say between which weights it surely was",
        "as_made: [{line: sodium-hydroxide, weighed: 110-120 g}]\n" + NONE + DECIDED,
    ),
    Case(
        "scent-unweighed",
        "as_made: [{line: clove-bud-oil, weighed: unknown}]\n",
        "say between which weights it surely was",
        "as_made: [{line: clove-bud-oil, weighed: 10-12 g}]\n",
        plan=plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]),
    ),
    Case("not-decided", NONE, "record a decision with name and reason", NONE + DECIDED),
    Case(
        "not-for-sale",
        NONE + DECIDED.replace("sell", "rework"),
        "",
        stands="it is the maker's own decision, told in the maker's words",
    ),
    Case("free-alkali-untested", DECIDED, "test a fresh cut before selling", NONE + DECIDED),
    Case(
        "free-alkali",
        NONE.replace("none", "present") + DECIDED,
        "test again after 14 days",
        NONE.replace("none", "present").replace("]", ", {age: 21 d, outcome: free alkali, value: none}]") + DECIDED,
    ),
    Case(
        "sold-unfit",
        NONE.replace("none", "present") + DECIDED,
        "take the decision back",
        NONE.replace("none", "present") + DECIDED.replace("sell", "hold"),
    ),
    Case(
        "sold-early",
        NONE + DECIDED.replace("firm", "on: 2026-10-05, why: firm").replace("why: on", "on"),
        "correct the day of the decision",
        NONE + DECIDED.replace("firm", "on: 2026-11-01, why: firm").replace("why: on", "on"),
    ),
    Case(
        "sold-before",
        NONE + "release: [{decision: sell, who: R, why: firm}, {decision: hold, who: R, why: smell, on: 2026-11-30}]\n",
        "ask those who have its bars not to use them",
        stands="nothing takes a sale back; a year later its bars are used up",
    ),
    Case(
        "limit-unknown",
        NONE + DECIDED,
        "get its certificate before selling",
        stands="the plan was frozen without a limit; a sale in spite of it names it",
        plan=plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]),
    ),
    Case("made-early", EARLIER + NONE + DECIDED, "correct `made: 2026-01-03`", NONE + DECIDED),
    Case(
        "cure-short",
        NONE + DECIDED,
        "wait until 2026-11-02",
        NONE + DECIDED,
        today=date(2026, 11, 1),
        later=date(2026, 11, 2),
    ),
]


def found(case: Case, text: str, today: date) -> list[Finding]:
    trial = trial_of(text, case.plan)
    return [*check_trial(trial, outcomes(), today), *fit_to_sell(trial, today)]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.code)
def test_it_is_raised_and_vanishes_when_its_do_is_done(case: Case) -> None:
    told = {finding.code: finding for finding in found(case, case.triggers, case.today)}
    assert case.do in told[case.code].do
    assert (case.mended is None) == bool(case.stands)
    if case.mended is not None:
        after = {finding.code for finding in found(case, case.mended, case.later or case.today)}
        assert case.code not in after
        assert after - {"not-for-sale"} <= set(told)


def test_nothing_is_said_of_a_trial_that_is_tested_cured_and_decided() -> None:
    assert found(CASES[0], NONE + DECIDED, date(2026, 12, 1)) == []


def test_every_finding_of_a_trial_has_its_row() -> None:
    source = "".join(Path(each.__file__).read_text(encoding="utf-8") for each in SOURCES)
    raised = set(re.findall(r'\b(?:warn|note|stop|told)\(\s*"([a-z-]+)"', source))
    # what a refused sale says last is the sum of the others; lots without grams are an error of the file already
    assert raised - {"not-sold", "lots-unweighed"} == {case.code for case in CASES}


@pytest.mark.parametrize(
    ("made", "sold", "is_told", "is_in_the_way"),
    [
        ("2026-10-03", date(2026, 11, 2), False, False),
        ("2026-10-04", date(2026, 11, 3), False, False),  # started the evening before
        ("2026-01-03", date(2026, 10, 10), True, True),  # a slip in the month: cured by it, and a week old
        ("2026-01-03", date(2026, 11, 1), True, True),
        ("2026-01-03", date(2026, 11, 2), True, False),  # cured by either day
    ],
)
def test_a_slip_in_the_day_makes_no_loaf_a_cured_one(
    made: str, sold: date, *, is_told: bool, is_in_the_way: bool
) -> None:
    trial = trial_of(HEAD.replace("2026-10-03", made) + NONE, UNSCENTED)
    assert ("made-early" in {each.code for each in check_trial(trial, outcomes(), sold)}) is is_told
    assert {each.code for each in check_before_sale(trial, sold)} == ({"made-early"} if is_in_the_way else set())
