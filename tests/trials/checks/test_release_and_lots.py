"""From a lot's label to its bars, and what stands between a batch and being sold."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from formulary.errors import InputError
from formulary.finding import Severity
from formulary.folder.material_files import write_lot
from tests.trials.examples import HEAD, MIDWINTER_CLOVE, TRIAL, folder_with, outcomes, plan_of, trial_of
from trials import record
from trials.bench import open_bench
from trials.checks.checks import check_trial
from trials.checks.sale import fit_to_sell
from trials.due.ready import plan_ready_by
from trials.lots.lot_trace import find_lot, find_not_recorded, render_lot, render_not_recorded
from trials.trial.model import LotUse, Release, Trial

UNSCENTED = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")]
FINE = """\
observations:
  - {age: 2 d, outcome: free alkali, value: trace}
  - {age: 7 d, outcome: free alkali, value: none}
release: {decision: sell, who: R, why: firm and mild}
"""


def open_points(trial: Trial, today: date | None = None) -> list[str]:
    return [finding.code for finding in fit_to_sell(trial, today)]


def test_a_batch_is_fit_to_sell_when_it_is_safe_tested_cured_and_decided() -> None:
    assert open_points(trial_of(FINE, plan_of(UNSCENTED)), date(2026, 11, 2)) == []


def test_a_new_batch_says_what_is_still_open() -> None:
    trial = trial_of("notes: none\n", plan_of(UNSCENTED))
    assert open_points(trial, date(2026, 10, 10)) == ["free-alkali-untested", "cure-short", "not-decided"]


def test_the_last_free_alkali_test_counts() -> None:
    found = FINE.replace("value: trace", "value: none").replace(
        "7 d, outcome: free alkali, value: none", "7 d, outcome: free alkali, value: trace"
    )
    assert "free-alkali" in open_points(trial_of(found, plan_of(UNSCENTED)))


def test_a_decision_against_it_stands() -> None:
    text = FINE.replace("decision: sell", "decision: rework")
    assert open_points(trial_of(text, plan_of(UNSCENTED))) == ["not-for-sale"]


def test_lye_excess_as_made_takes_it_out_of_sale_whatever_was_decided() -> None:
    text = "as_made: [{line: olive-oil, weighed: 300 g}]\n" + FINE
    trial = trial_of(text, plan_of(UNSCENTED))
    assert "lye-excess" in [finding.code for finding in check_trial(trial)]
    assert open_points(trial) == ["lye-excess"]


def test_a_limit_passed_in_one_portion_is_found_there() -> None:
    from dataclasses import replace

    from formulary.materials.model import FragranceLimit, Known

    plan = plan_of()
    limit = FragranceLimit(2.9, None, None, Known("maker", "invented certificate"))
    clove = replace(plan.materials["clove-bud-oil"], limit=limit)
    plan = replace(plan, materials={**plan.materials, "clove-bud-oil": clove})
    as_planned = trial_of("portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n", plan)
    # 12 g in half of about 1400 g is under 2 % of the cured bar; in a fifth of it, it is over 4 %.
    small = trial_of("portions: [{name: plain, share: 80}, {name: clove, share: 20}]\n", plan)
    stops = {finding.code for finding in check_trial(small) if finding.severity.value == "stop"}
    assert stops
    assert not stops & {finding.code for finding in check_trial(as_planned)}


def test_lots_that_do_not_make_up_what_was_weighed_are_noticed() -> None:
    wrong = trial_of('lots: {olive-oil: {"OL-7": 300 g, "OL-8": 100 g}}\n')
    right = trial_of(TRIAL)
    assert "lots-total" in [finding.code for finding in check_trial(wrong)]
    assert "lots-total" not in [finding.code for finding in check_trial(right)]


def test_a_lot_is_followed_to_its_bars() -> None:
    first = trial_of(TRIAL + "bars: {cut: 10, kept_back: 1, scrapped: 2}\n")
    second = trial_of(HEAD + 'lots: {coconut-oil: "CO-1"}\n')
    (used,) = find_lot([second, first], "ol-8")
    assert (used.trial, used.material, used.grams) == (first, "olive-oil", 155.0)
    assert (used.bars.cut, used.bars.kept_back, used.bars.scrapped) == (10, 1, 2)
    (coconut,) = find_lot([first, second], "CO-1")
    assert coconut.grams == 250.0
    assert find_lot([first, second], "CO-2") == ()
    assert "OL-8 went into 1 batch." in render_lot("OL-8", [used])


def test_the_cure_ends_on_its_last_day() -> None:
    trial = trial_of(FINE, plan_of(UNSCENTED))
    assert open_points(trial, date(2026, 11, 1)) == ["cure-short"]  # poured on 3 October, cut and dry on the 5th
    assert open_points(trial, date(2026, 11, 2)) == []


def test_a_loaf_that_was_rebatched_cures_anew() -> None:
    # Worked through for the last time on 31 October: cut and dry on 2 November, 28 days until the 30th.
    again = "after_pour: [{at: 27 d, what: rebatched}, {at: 28 d, what: rebatched, with: {olive-oil: 10 g}}]\n"
    tested = FINE.replace("7 d", "29 d")
    trial = trial_of(again + tested, plan_of(UNSCENTED))
    assert open_points(trial, date(2026, 11, 29)) == ["cure-short"]
    assert open_points(trial, date(2026, 11, 30)) == []
    untimed = trial_of(again.replace("27 d", "unknown") + tested, plan_of(UNSCENTED))
    assert "cure-short" in open_points(untimed, date(2027, 11, 30))


def test_a_sale_waits_for_the_day_that_ready_by_plans() -> None:
    for cure in ("", "process: {cure: 6 weeks}\n"):
        plan = plan_of(UNSCENTED.partition("process:")[0] + cure)
        trial = trial_of(FINE, plan)
        market = date(2027, 3, 1)
        ready = plan_ready_by(market, plan.recipe, plan.settings, trial.made, bars=10)
        days = (ready.cured - ready.pour).days
        assert open_points(trial, trial.made + timedelta(days=days - 1)) == ["cure-short"]
        assert open_points(trial, trial.made + timedelta(days=days)) == []
        assert days == (44 if cure else 30)


def test_lots_may_differ_from_the_scale_by_a_percent_or_a_gram() -> None:
    def codes(second: str) -> list[str]:
        text = f'lots: {{olive-oil: {{"OL-7": 300 g, "OL-8": {second}}}}}\n'
        return [finding.code for finding in check_trial(trial_of(text)) if finding.code == "lots-total"]

    assert codes("145.5 g") == []  # 445.5 of 450 g
    assert codes("145.4 g") == ["lots-total"]
    assert codes("154.6 g") == ["lots-total"]


def test_one_of_two_lots_without_its_grams_cannot_be_added_up() -> None:
    assert "lots-total" not in [finding.code for finding in check_trial(trial_of('lots: {olive-oil: "OL-7"}\n'))]


def test_free_alkali_in_one_portion_is_named() -> None:
    text = (
        "portions: [{name: a, share: 50}, {name: b, share: 50}]\n"
        "observations:\n"
        "  - {age: 7 d, outcome: free alkali, value: none, portion: a}\n"
        "  - {age: 7 d, outcome: free alkali, value: present, portion: b}\n"
        "release: {decision: sell, who: R, why: firm}\n"
    )
    (finding,) = fit_to_sell(trial_of(text, plan_of(UNSCENTED)))
    assert finding.what == "free alkali: present at 7 d (b)"


def test_a_limit_that_is_passed_is_sold_only_by_its_name_and_lye_excess_by_no_name() -> None:
    from dataclasses import replace

    from formulary.materials.model import FragranceLimit, Known

    plan = plan_of()
    limit = FragranceLimit(0.1, None, None, Known("maker", "invented certificate"))
    clove = replace(plan.materials["clove-bud-oil"], limit=limit)
    plan = replace(plan, materials={**plan.materials, "clove-bud-oil": clove})
    whole = "events: []\n" + FINE
    (code,) = {finding.code for finding in check_trial(trial_of(whole, plan)) if finding.severity.value == "stop"}
    assert code in open_points(trial_of(whole, plan))
    named = whole.replace("why: firm and mild", f"why: firm and mild, despite: [{code}]")
    assert code not in open_points(trial_of(named, plan))
    caustic = "as_made: [{line: olive-oil, weighed: 300 g}]\n" + FINE.replace("mild}", "mild, despite: [lye-excess]}")
    assert open_points(trial_of(caustic, plan_of(UNSCENTED))) == ["lye-excess"]


def test_free_alkali_that_is_present_stays_against_it_whatever_was_decided() -> None:
    for grade, expected in (("present", ["free-alkali"]), ("trace", [])):
        text = FINE.replace("value: none", f"value: {grade}").replace("mild}", "mild, despite: [free-alkali]}")
        assert open_points(trial_of(text, plan_of(UNSCENTED))) == expected


def test_observations_are_held_against_the_calendar_and_against_what_soap_shows() -> None:
    text = (
        "observations:\n"
        "  - {age: 28 d, outcome: hardness, value: 3.1 mm}\n"
        "  - {age: 7 d, outcome: hardness, value: 3000 mm}\n"
    )
    trial = trial_of(text, plan_of(UNSCENTED))

    def codes(today: date | None) -> list[str]:
        told = check_trial(trial, outcomes(), today)
        found = [each for each in told if each.code in ("ahead-of-today", "unlikely-value")]
        assert {each.severity for each in found} <= {Severity.WARN}
        return [each.code for each in found]

    assert codes(None) == ["unlikely-value"]
    assert codes(date(2026, 10, 31)) == ["unlikely-value"]  # made on 3 October: the 28th day
    assert codes(date(2026, 10, 30)) == ["ahead-of-today", "unlikely-value"]


def test_of_a_trial_that_is_still_to_be_made_the_day_is_doubted() -> None:
    trial = trial_of("observations: [{age: 1 d, outcome: gel, value: 100 %}]\n", plan_of(UNSCENTED))
    (told,) = [each for each in check_trial(trial, outcomes(), date(2026, 10, 1)) if each.code == "ahead-of-today"]
    assert told.do == "correct `made: 2026-10-03` in its trial.yaml: that day is still to come, too"


def test_a_test_of_one_portion_says_nothing_of_another() -> None:
    def alkali(*tests: str) -> list[str]:
        rows = "".join(f"  - {{{test}}}\n" for test in tests)
        portions = "portions: [{name: a, share: 50}, {name: b, share: 50}]\n"
        decided = "release: {decision: sell, who: R, why: firm}\n"
        return open_points(trial_of(f"{portions}observations:\n{rows}{decided}", plan_of(UNSCENTED)))

    present = "age: 2 d, outcome: free alkali, value: present, portion: a"
    none_in_a = "age: 7 d, outcome: free alkali, value: none, portion: a"
    none_in_b = none_in_a.replace("portion: a", "portion: b")
    assert alkali(present, none_in_b) == ["free-alkali"]
    assert alkali(present, none_in_b, none_in_a) == []
    assert alkali(present, none_in_a.replace(", portion: a", "")) == ["free-alkali"], "that cut may have been of b"
    whole = present.replace(", portion: a", "")
    assert alkali(whole, none_in_b) == ["free-alkali"]
    assert alkali(whole, none_in_a, none_in_b) == []


LITTLE_FAT = "as_made: [{line: sodium-hydroxide, weighed: %s g}]\n"


def lye_of(superfat_percent: float) -> str:
    """As weighed: the alkali that leaves so much superfat, of a plan with 5 %."""
    plan = plan_of(UNSCENTED)
    planned_g = sum(line.grams for line in plan.pot.lines if line.role == "alkali")
    return LITTLE_FAT % round(planned_g * (100 - superfat_percent) / 95, 1)


def test_little_superfat_stands_against_a_sale_until_a_test_finds_no_free_alkali() -> None:
    decided = "release: {decision: sell, who: R, why: firm and mild}\n"
    untested = trial_of(lye_of(1.5) + decided, plan_of(UNSCENTED))
    assert {"superfat-low", "superfat-band", "free-alkali-untested"} <= set(open_points(untested))
    found_some = trial_of(lye_of(1.5) + FINE.replace("value: none", "value: trace"), plan_of(UNSCENTED))
    assert {"superfat-low", "superfat-band", "free-alkali"} <= set(open_points(found_some))
    assert open_points(trial_of(lye_of(1.5) + FINE, plan_of(UNSCENTED))) == []


def test_where_there_may_be_free_lye_nobody_sells_without_a_test() -> None:
    named = (
        "release: {decision: sell, who: R, why: mild, despite: [superfat-low, superfat-band, free-alkali-untested]}\n"
    )
    assert open_points(trial_of(named, plan_of(UNSCENTED))) == []
    assert open_points(trial_of(lye_of(1.5) + named, plan_of(UNSCENTED))) == ["free-alkali-untested"]


def test_of_a_lot_all_batches_are_told_that_may_have_it_since_nobody_wrote_down_theirs() -> None:
    named = trial_of('lots: {olive-oil: "OL-7"}\n')
    silent, other = trial_of("notes: x\n"), trial_of('lots: {olive-oil: "OL-8"}\n')
    without = trial_of("as_made: [{line: olive-oil, instead: sunflower-oil}]\n")
    planned = replace(silent, plan=replace(silent.plan, lots={"olive-oil": (LotUse("OL-7"),)}))
    every = [named, silent, other, without, planned]
    assert [each.trial for each in find_lot(every, "ol-7")] == [named, planned], (
        "the plan's lot holds where none is said"
    )
    for day, told in ((None, [silent]), (silent.made, [silent]), (silent.made + timedelta(days=1), [])):
        found = find_not_recorded(every, {"olive-oil": day})
        assert [each.trial for each in found] == told
    sold = replace(silent, release=Release("sell", "R", "mild"))
    (said,) = render_not_recorded(find_not_recorded([sold], {"olive-oil": None}), {"olive-oil": None})
    assert said.startswith("No lot of olive oil is recorded for 1 batch, and it may be in it, too: k7wq; sold of these")


def test_of_a_lot_the_batches_are_told_too_that_have_more_of_its_material_than_their_lots_make() -> None:
    trial = trial_of('lots: {olive-oil: {"OL-8": 300 g}}\n')
    (olive_g,) = [line.grams for line in trial.plan.pot.lines if line.material == "olive-oil"]
    (silent,) = find_not_recorded([trial], {"olive-oil": None})
    assert (silent.grams, silent.is_part) == (pytest.approx(olive_g - 300), True)
    (said,) = render_not_recorded([silent], {"olive-oil": None})
    assert said.startswith(
        "No lot of olive oil, or of part of it, is recorded for 1 batch, and it may be in it, too: k7wq"
    )
    whole = trial_of(f'lots: {{olive-oil: {{"OL-8": 300 g, "OL-9": {olive_g - 299.5:.1f} g}}}}\n')
    assert find_not_recorded([whole], {"olive-oil": None}) == (), "as near as scales tell"


@pytest.mark.parametrize("named", ["", 'lots: {olive-oil: "OL-7"}\n'])
def test_what_a_rebatch_took_in_may_be_of_a_lot_that_came_in_after_the_loaf_was_poured(named: str) -> None:
    rebatched = "after_pour: [{at: 20 d, what: rebatched, with: {olive-oil: 60 g}}]\n"
    trial, untimed = (trial_of(text + named) for text in (rebatched, rebatched.replace("20 d", "unknown")))
    for days, told in ((1, [60]), (20, [60]), (21, [])):
        received = {"olive-oil": trial.made + timedelta(days=days)}
        assert [each.grams for each in find_not_recorded([trial], received)] == told
        assert [each.grams for each in find_not_recorded([untimed], received)] == [60]
        (said,) = render_not_recorded(find_not_recorded([untimed], received), received)
        assert "made or rebatched since it came in on" in said
    (olive_g,) = [line.grams for line in trial.plan.pot.lines if line.material == "olive-oil"]
    of_all = trial_of(f'{rebatched}lots: {{olive-oil: {{"OL-7": {olive_g:.1f} g, "OL-8": 60 g}}}}\n')
    assert find_not_recorded([of_all], {"olive-oil": trial.made + timedelta(days=1)}) == ()


def test_a_day_on_which_a_lot_came_in_rules_nothing_out_where_a_batch_had_it_before(tmp_path: Path) -> None:
    folder = folder_with(tmp_path / "soap")
    bench = open_bench(folder)
    for code, day in (("k7wq", 3), ("m3hd", 5), ("p9rt", 7)):
        made = datetime(2026, 10, day, 9, tzinfo=UTC)
        bench.start("midwinter-clove", oils="1000g", now=made, draw_code=iter([code]).__next__)
    write_lot(folder, "olive-oil", "OL-7", {"received": "2026-10-06"})
    bench.record(record.lot(bench.find_trial("p9rt"), "olive-oil", "OL-7"), now=datetime(2026, 10, 8, tzinfo=UTC))

    def silent() -> list[str]:
        return [each.trial.id[-4:] for each in bench.find_lot_uses("OL-7").not_recorded]

    assert silent() == []
    bench.record(record.lot(bench.find_trial("m3hd"), "olive-oil", "OL-7"), now=datetime(2026, 10, 8, tzinfo=UTC))
    assert silent() == ["k7wq"]
    folder.close()


def test_what_was_left_out_gets_no_lot_and_the_lot_that_it_had_is_known_to_be_in_no_batch(tmp_path: Path) -> None:
    with folder_with(tmp_path / "soap") as folder:
        bench = open_bench(folder)
        made = datetime(2026, 10, 3, 9, tzinfo=UTC)
        trial = bench.start("midwinter-clove", oils="1000g", now=made, draw_code=lambda: "k7wq")
        trial = bench.record(record.lot(trial, "rose-clay", "RC-1"), now=made)
        assert [used.trial.id for used in bench.find_lot_uses("RC-1").batches] == [trial.id]
        trial = bench.record(record.as_made(trial, "no rose-clay"), now=made)
        assert bench.find_lot_uses("RC-1").batches == ()
        assert str(bench.find_lot_uses("rc-1")).startswith("No batch has lot")
        with pytest.raises(InputError) as caught:
            bench.find_lot("RC-1")
        assert "did you mean" not in caught.value.findings[0].do
        with pytest.raises(InputError, match="no rose clay went into"):
            record.lot(trial, "rose-clay", "RC-2", corrects=True)
        trial = bench.record(record.as_made(trial, "rose-clay unknown"), now=made)
        assert record.lot(trial, "rose-clay", "RC-2", corrects=True).value


def test_of_a_lot_that_is_not_found_it_is_told_where_a_trial_could_not_be_read(tmp_path: Path) -> None:
    with folder_with(tmp_path / "soap") as folder:
        bench = open_bench(folder)
        made = datetime(2026, 10, 3, 9, tzinfo=UTC)
        trial = bench.start("midwinter-clove", oils="1000g", now=made, draw_code=lambda: "k7wq")
        for text, told in (("", "no trial has a lot"), ("nonsense: 1\n", "no trial that could be read has a lot")):
            path = folder.root / (trial.path or "")
            path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
            folder.refresh()
            with pytest.raises(InputError, match=told):
                open_bench(folder).find_lot_uses("OL-7")
