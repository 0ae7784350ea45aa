"""What was worked into a loaf when it was rebatched is in its bars, and was never in its batter."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from formulary.errors import InputError
from formulary.finding import Severity
from formulary.folder.folder import Folder
from formulary.materials.model import FragranceLimit, Known, Lot, ValueRange
from tests.trials.examples import MIDWINTER_CLOVE, faults, folder_with, outcomes, plan_of, trial_of
from trials import record
from trials.as_made.as_made_recipe import describe_as_made
from trials.as_made.effective import effective_portion
from trials.as_made.portions_text import superfat_words
from trials.bench import open_bench
from trials.checks.checks import check_trial
from trials.checks.sale import fit_to_sell
from trials.factors.portion_facts import Aspect, find_facts
from trials.lots.lot_trace import find_lot
from trials.outcomes.find import find_values
from trials.outcomes.value import Missing, OutcomeValue
from trials.trial.model import TakenIn, Trial
from trials.trial_json import trial_json
from trials.trial_text import render_trial

NOW = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
UNSCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")])
TOO_MUCH = "as_made: [{line: sodium-hydroxide, weighed: 150 g}]\n"
RESCUE = "after_pour: [{at: 20 h, what: rebatched, with: {olive-oil: 100 g}}]\n"


def superfat(trial: Trial, *, as_bars: bool) -> float:
    return effective_portion(trial, as_bars=as_bars).figures.superfat_effective


def codes(trial: Trial) -> list[str]:
    return [finding.code for finding in check_trial(trial)]


def test_oil_worked_in_later_takes_up_the_lye_as_oil_in_the_pot_does() -> None:
    caustic = trial_of(TOO_MUCH, UNSCENTED)
    rescued = trial_of(TOO_MUCH + RESCUE, UNSCENTED)
    in_the_pot = trial_of(TOO_MUCH.replace("]", ", {extra: olive-oil, weighed: 100 g, at: trace}]"), UNSCENTED)
    assert superfat(caustic, as_bars=True) < 0
    assert superfat(rescued, as_bars=True) == pytest.approx(superfat(in_the_pot, as_bars=True))
    assert superfat(rescued, as_bars=False) == superfat(caustic, as_bars=False)
    assert ("lye-excess" in codes(caustic), "lye-excess" in codes(rescued)) == (True, False)
    # Mended on paper only: nobody sells it before a test has found no free alkali.
    assert "free-alkali-untested" in [each.code for each in fit_to_sell(rescued)]


def sale(text: str) -> dict[str, Severity]:
    decided = "release: {decision: sell, who: R, why: mild}\n"
    found = fit_to_sell(trial_of(text + decided, UNSCENTED))
    return {finding.code: finding.severity for finding in found}


def test_a_test_from_before_the_rebatch_tells_nothing_of_the_bars() -> None:
    tested = "observations: [{age: %s, outcome: free alkali, value: none}]\n"
    assert sale(TOO_MUCH + RESCUE + tested % "12 h") == {"free-alkali-untested": Severity.STOP}
    assert sale(TOO_MUCH + RESCUE + tested % "7 d") == {}
    assert sale(RESCUE + tested % "12 h") == {"free-alkali-untested": Severity.WARN}
    # Of the same age: it may be the older one, too.
    assert sale(TOO_MUCH + RESCUE + tested % "20 h") == {"free-alkali-untested": Severity.STOP}
    slow = RESCUE.replace("what", "for: 3 h, what")
    assert sale(TOO_MUCH + slow + tested % "22 h") == {"free-alkali-untested": Severity.STOP}
    assert sale(TOO_MUCH + slow + tested % "1 d") == {}
    # Rebatched nobody knows when: any test may be the older one.
    untimed = TOO_MUCH + RESCUE.replace("20 h", "unknown")
    assert sale(untimed + tested % "7 d") == {"free-alkali-untested": Severity.STOP}


def test_a_portion_that_was_caustic_before_its_rebatch_is_sold_only_after_a_test() -> None:
    extra = "as_made: [{extra: sodium-hydroxide, weighed: 5 g, at: trace, portion: clove}]\n"
    rescue = RESCUE.replace("with", "portion: clove, with")
    divided = "portions:\n  - {name: plain, share: 50}\n  - {name: clove, share: 50}\n"
    trial = trial_of(extra + divided + rescue, UNSCENTED)
    assert superfat(trial, as_bars=False) > 0 > effective_portion(trial, "clove").figures.superfat_effective
    assert "lye-excess" not in codes(trial)
    found = fit_to_sell(trial)
    assert ("free-alkali-untested", Severity.STOP) in [(each.code, each.severity) for each in found]


def test_of_a_loaf_of_which_one_portion_was_rebatched_no_superfat_is_told_of_all_but_each_portions() -> None:
    divided = "portions:\n  - {name: plain, share: 50}\n  - {name: clove, share: 50}\n"
    trial = trial_of(TOO_MUCH + divided + RESCUE.replace("with", "portion: clove, with"), UNSCENTED)
    shown = " ".join(render_trial(trial, (), outcomes()).split())
    plain, clove = (
        effective_portion(trial, name, as_bars=True).figures.superfat_effective for name in ("plain", "clove")
    )
    assert plain < 0 < clove
    assert f"superfat by portion, the least first: plain {plain:.1f} %, clove {clove:.1f} %; {plain:.1f} % as" in shown
    assert f"Superfat {superfat(trial, as_bars=True):.1f} %" not in shown, "a mean of bars would hide the worst"
    assert set(trial_json(trial, (), outcomes())["superfat"].values()) == {None}  # type: ignore[attr-defined]
    whole = trial_of(TOO_MUCH + divided + RESCUE, UNSCENTED)
    assert f"Superfat {superfat(whole, as_bars=True):.1f} % effective" in render_trial(whole, (), outcomes())


def test_a_rebatch_differs_in_nothing_that_the_batter_was_made_of() -> None:
    covered = "after_pour: [{at: 0 h, what: covered}]\n"
    plain, rescued = find_facts(trial_of(covered, UNSCENTED)), find_facts(trial_of(RESCUE, UNSCENTED))
    differing = {aspect.subject for aspect in rescued.facts if rescued.fact(aspect) != plain.fact(aspect)}
    assert differing == {"rebatched"}


def test_a_lot_that_was_worked_in_later_is_followed_there() -> None:
    trial = trial_of(RESCUE + 'lots: {olive-oil: "OL-7"}\n', UNSCENTED)
    (used,) = find_lot([trial], "OL-7")
    assert used.grams == pytest.approx(550.0)
    both = trial_of(RESCUE + 'lots: {olive-oil: {"OL-7": 450 g, "OL-8": 100 g}}\n', UNSCENTED)
    assert "lots-total" not in codes(both)


def test_the_lot_of_what_a_rebatch_took_is_in_the_bars_and_not_in_what_was_poured() -> None:
    values = ValueRange(200.0, 200.0, 200.0, Known("maker", "an invented certificate"))
    oil = UNSCENTED.materials["olive-oil"]
    other = replace(oil, lots={"OL-7": Lot("OL-7"), "OL-8": Lot("OL-8", overrides={"saponification_value": values})})
    plan = replace(UNSCENTED, materials={**UNSCENTED.materials, "olive-oil": other})

    def made(rebatch: str, lots: str) -> Trial:
        return trial_of(rebatch + f"lots: {{olive-oil: {{{lots}}}}}\n", plan)

    first, mixed = made("", '"OL-7": 450 g'), made("", '"OL-7": 300 g, "OL-8": 150 g')
    for as_poured, lots in (
        (first, '"OL-7": 450 g, "OL-8": 100 g'),
        (first, '"OL-7": 450.4 g, "OL-8": 99 g'),
        (mixed, '"OL-7": 300 g, "OL-8": 250 g'),
    ):
        rescued = made(RESCUE, lots)
        assert superfat(rescued, as_bars=False) == pytest.approx(superfat(as_poured, as_bars=False))
        of_lots = [find_facts(each).fact(Aspect("lot", "olive-oil", step="instead")) for each in (rescued, as_poured)]
        assert of_lots[0] == of_lots[1]
        assert describe_as_made(rescued).lots == describe_as_made(as_poured).lots
        assert superfat(rescued, as_bars=True) > superfat(made(RESCUE, '"OL-7": 550 g'), as_bars=True)


def test_what_a_rebatch_cannot_take_in_is_refused() -> None:
    assert faults(RESCUE.replace("rebatched", "fan"), UNSCENTED) == ["not-rebatched"]
    assert faults(RESCUE.replace("olive-oil", "oliv-oil"), UNSCENTED) == ["unknown-material"]
    assert faults(RESCUE.replace("100 g", "0 g"), UNSCENTED) == ["out-of-bounds"]
    assert faults(RESCUE.replace("100 g", "100"), UNSCENTED) == ["bad-value"]
    assert faults(RESCUE.replace("olive-oil", "water"), UNSCENTED) == []


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return folder_with(tmp_path / "soap")


def test_a_rebatch_is_recorded_and_what_it_took_in_keeps_its_values(folder: Folder) -> None:
    bench = open_bench(folder)
    trial = bench.start("midwinter-clove", oils="1000g", now=NOW, draw_code=lambda: "k7wq")
    entry = record.handle(trial, "rebatched", "20 h", taken_in=["sunflower oil 60g", "honey 5 g"], portion="clove")
    trial = bench.record(entry, now=NOW)
    (step,) = trial.after_pour
    assert step.taken_in == (TakenIn("sunflower-oil", Decimal(60)), TakenIn("honey", Decimal(5)))
    assert set(bench.read_added(trial.id)[0].materials) == {"sunflower-oil", "honey"}
    assert bench.find_trial("k7wq") == trial
    clove, plain = (effective_portion(trial, name, as_bars=True).figures.oil_mass_g for name in ("clove", "plain"))
    assert clove == pytest.approx(plain + 60.0)
    folder.close()


def test_what_is_weighed_twice_is_refused_since_only_one_of_them_would_count() -> None:
    for twice in (["olive oil 5 g", "Olive-oil 6 g"], ["sodium-hydroxide 20 g", "water 9 g", "sodium-hydroxide 2 g"]):
        with pytest.raises(InputError, match="twice"):
            record.handle(trial_of(TOO_MUCH, UNSCENTED), "rebatched", "20 h", taken_in=twice)


@pytest.mark.parametrize("at", ["unknown", "30 h"])
def test_a_corrected_time_takes_back_nothing_of_what_was_worked_in(folder: Folder, at: str) -> None:
    bench = open_bench(folder)
    trial = bench.start("midwinter-clove", oils="1000g", now=NOW, draw_code=lambda: "k7wq")
    lye = ["sodium-hydroxide 20 g", "water 40.5 g"]
    trial = bench.record(record.handle(trial, "rebatched", at, lasted="100 min", note="soft", taken_in=lye), now=NOW)
    before, (was,) = superfat(trial, as_bars=True), trial.after_pour
    assert before < 0
    trial = bench.record(record.handle(trial, "rebatched", "20 h", corrects=True), now=NOW)
    (step,) = trial.after_pour
    assert step == replace(was, at_h=step.at_h)
    assert float(step.at_h or 0) == 20
    assert superfat(trial, as_bars=True) == before
    trial = bench.record(record.handle(trial, "rebatched", "20 h", taken_in=["water 9 g"], corrects=True), now=NOW)
    assert [each.material for each in trial.after_pour[0].taken_in] == ["water"]


def test_a_diff_compares_the_batter_and_tells_what_holds_for_the_bars() -> None:
    caustic = describe_as_made(trial_of(TOO_MUCH, UNSCENTED))
    rescued = describe_as_made(trial_of(TOO_MUCH + RESCUE, UNSCENTED))
    assert rescued.recipe == caustic.recipe, "what thickened is the batter, into which nothing of it went"
    assert "before it was rebatched" in (rescued.batch.version_label or "")
    assert "rebatched" not in (caustic.batch.version_label or "")
    told = [[finding.code for finding in side.told] for side in (caustic, rescued)]
    assert ("lye-excess" in told[0], "lye-excess" in told[1]) == (True, False)


def test_a_scented_loaf_of_doubtful_lye_is_not_said_to_have_been_rebatched() -> None:
    doubtful = "as_made: [{line: sodium-hydroxide, weighed: 118-126 g}]\n"
    assert "rebatched" not in superfat_words(trial_of(doubtful))
    assert "as poured, before it was rebatched" in superfat_words(trial_of(doubtful + RESCUE))


def test_a_diff_tells_of_a_limit_that_only_the_rebatch_passes() -> None:
    scented = plan_of(MIDWINTER_CLOVE.partition("portions:")[0])
    limit = FragranceLimit(1.0, None, None, Known("maker", "an invented certificate"))
    plan = replace(
        scented,
        materials={
            name: replace(material, limit=limit) if name == "clove-bud-oil" else material
            for name, material in scented.materials.items()
        },
    )
    more = "after_pour: [{at: 20 h, what: rebatched, with: {clove-bud-oil: 20 g}}]\n"
    before, after = (describe_as_made(trial_of(text, plan)) for text in ("notes:\n", more))
    assert "scent-limit" not in [finding.code for finding in before.told]
    assert "scent-limit" in [finding.code for finding in after.told]


def value_between(text: str, outcome: str, age: int) -> OutcomeValue | Missing:
    (found,) = find_values(trial_of(text, UNSCENTED), outcomes()[outcome], Decimal(age))
    return found


def test_nothing_is_worked_out_between_readings_from_before_and_after_a_rebatch() -> None:
    measured = (
        "observations: [{age: 7 d, outcome: hardness, value: 6 mm}, {age: 28 d, outcome: hardness, value: 3 mm}]\n"
    )
    assert isinstance(value_between(measured, "hardness", 14), OutcomeValue)
    assert isinstance(value_between(measured + RESCUE, "hardness", 14), OutcomeValue), "both are from after it"
    for at in ("10 d", "20 d", "unknown"):
        assert isinstance(value_between(measured + RESCUE.replace("20 h", at), "hardness", 14), Missing)
    assert isinstance(value_between(measured + RESCUE.replace("20 h", "10 d"), "hardness", 28), OutcomeValue)


def test_a_test_for_safety_is_read_and_never_worked_out() -> None:
    tested = (
        "observations: [{age: 4 d, outcome: free alkali, value: none}, {age: 60 d, outcome: free alkali, value: %s}]\n"
    )
    for grade in ("none", "present"):
        assert isinstance(value_between(tested % grade, "free alkali", 28), Missing)
        assert isinstance(value_between(tested % grade, "free alkali", 60), OutcomeValue)


def test_a_rebatch_that_is_written_down_twice_takes_up_no_more_lye_than_one() -> None:
    twice = RESCUE.replace("}]", "}, {at: 20 h, what: rebatched, with: {olive-oil: 100 g}, note: again}]")
    once = trial_of(TOO_MUCH + RESCUE, UNSCENTED)
    for text in (twice, twice.replace("20 h", "unknown")):
        doubled = trial_of(TOO_MUCH + text, UNSCENTED)
        assert superfat(doubled, as_bars=True) == superfat(once, as_bars=True)
        assert len(trial_json(doubled, (), outcomes())["worked_in_later"]) == 1  # type: ignore[arg-type]
        assert "done-twice" in codes(doubled)
    more = trial_of(TOO_MUCH + twice.replace("at: 20 h", "at: 30 h", 1).replace("30 h", "10 h"), UNSCENTED)
    assert superfat(more, as_bars=True) > superfat(once, as_bars=True), "one a day later is another one"
    assert "done-twice" not in codes(more)
    other = trial_of(TOO_MUCH + twice.replace("100 g}, note", "20 g}, note"), UNSCENTED)
    assert superfat(other, as_bars=True) > superfat(once, as_bars=True), "what else went in then counts, and is told"
    assert "done-twice" in codes(other)


def test_what_is_recorded_of_the_same_time_already_is_refused_and_can_be_corrected(folder: Folder) -> None:
    bench = open_bench(folder)
    trial = bench.start("midwinter-clove", oils="1000g", now=NOW, draw_code=lambda: "k7wq")
    for what, at, more in (("rebatched", "20 h", ["olive-oil 90 g"]), ("sprayed", "1 h", []), ("fan", "unknown", [])):
        trial = bench.record(record.handle(trial, what, at, taken_in=more), now=NOW)
        with pytest.raises(InputError, match="recorded of that time already"):
            record.handle(trial, what, at, taken_in=more)
    with pytest.raises(InputError, match="90 g of olive oil"):
        record.handle(trial, "rebatched", "1200 min", taken_in=["olive-oil 40 g"])
    record.handle(trial, "rebatched", "21 h", taken_in=["olive-oil 90 g"])
    record.handle(trial, "rebatched", "20 h", portion="clove", taken_in=["olive-oil 90 g"])
    doubled = replace(trial, after_pour=(*trial.after_pour, trial.after_pour[-1]))
    assert record.handle(doubled, doubled.after_pour[-1].what, "2 d", corrects=True)
    folder.close()
