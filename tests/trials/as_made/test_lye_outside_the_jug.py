"""Alkali that went in anywhere but in the jug is alkali all the same, and never strengthens the jug."""

from __future__ import annotations

import pytest

from formulary.finding import Severity
from tests.trials.examples import MIDWINTER_CLOVE, plan_of, trial_of
from trials.as_made.effective import effective_portion
from trials.checks.checks import check_trial
from trials.checks.sale import fit_to_sell
from trials.trial.model import Trial

PLAIN = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")]
PLAN = plan_of(PLAIN)
TESTED = "observations: [{age: 7 d, outcome: free alkali, value: none}]\n"
SOLD = "release: {decision: sell, who: R, why: mild, despite: [lye-excess]}\n"


def made(weighed: str, at: str, more: str = "") -> Trial:
    entry = f"as_made: [{{extra: sodium-hydroxide, weighed: {weighed}, at: {at}}}]\n"
    return trial_of(entry + more, PLAN)


def stops(trial: Trial) -> list[str]:
    return [finding.code for finding in check_trial(trial) if finding.severity is Severity.STOP]


@pytest.mark.parametrize("at", ["oils", "trace", "top"])
def test_extra_lye_lowers_the_superfat_wherever_it_went(at: str) -> None:
    in_jug = effective_portion(made("20 g", "lye water")).figures
    elsewhere = effective_portion(made("20 g", at)).figures
    assert elsewhere.superfat_effective == pytest.approx(in_jug.superfat_effective)
    assert elsewhere.superfat_effective < 0
    assert "lye-excess" in stops(made("20 g", at))


@pytest.mark.parametrize("at", ["oils", "trace", "top"])
def test_only_what_is_in_the_jug_makes_its_lye_stronger(at: str) -> None:
    planned = effective_portion(trial_of("", PLAN)).figures
    assert effective_portion(made("200 g", at)).figures.in_jug_percent == planned.in_jug_percent
    assert "jug-saturated" not in stops(made("200 g", at))
    assert "jug-saturated" in stops(made("200 g", "lye water"))


def test_lye_on_top_of_a_bar_is_never_sold_however_much_fat_the_batter_has_to_spare() -> None:
    on_top = made("1 g", "top", TESTED + SOLD)
    assert effective_portion(on_top).figures.superfat_effective > 3
    (stopped,) = (finding for finding in check_trial(on_top) if finding.severity is Severity.STOP)
    assert stopped.code == "lye-excess"
    assert stopped.what == "1.0 g of sodium-hydroxide lies on top, where it stays caustic"
    assert [each.code for each in fit_to_sell(on_top)] == ["lye-excess"]
    household = plan_of(PLAIN.replace("name: Midwinter clove\n", "name: Midwinter clove\npurpose: household\n"))
    told = check_trial(trial_of("as_made: [{extra: sodium-hydroxide, weighed: 1 g, at: top}]\n", household))
    assert [each.severity for each in told if each.code == "lye-excess"] == [Severity.WARN]
    worked_in = "after_pour: [{at: 20 h, what: rebatched}]\n"
    assert stops(made("1 g", "top", worked_in + TESTED)) == []
    assert "lye-excess" in stops(made("20 g", "top", worked_in + TESTED))
