"""A weight that is known only about counts at its worse end; of one that nobody knows nothing is worked out."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.blend_text import render_cost
from formulary.errors import InputError, StopError
from formulary.finding import Severity
from formulary.materials.register import read_builtin_register
from formulary.materials.value_texts import parse_price
from tests.trials.examples import HEAD, MIDWINTER_CLOVE, faults, outcomes, plan_of, read, trial_of
from trials import record
from trials.as_made.as_made_recipe import describe_as_made
from trials.as_made.cost import cost_of_trial
from trials.as_made.effective import effective_portion
from trials.as_made.pot_as_made import pot_of_batter
from trials.as_made.unknown_weights import is_unknown_line
from trials.checks.checks import check_trial
from trials.checks.sale import demand_sellable, fit_to_sell, is_never_sold
from trials.comparison.compare import compare_trials
from trials.factors.portion_facts import find_facts
from trials.lots.lot_trace import find_lot, find_not_recorded
from trials.outcomes.known import find_outcome
from trials.pours.pour_book import PourBook
from trials.pours.seen import find_seen
from trials.trial.model import Trial
from trials.trial_json import trial_json
from trials.trial_text import render_trial

SCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")])
UNSCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")])
SOLD = "release: {decision: sell, who: R, why: mild, despite: [weight-unknown]}\n"
TESTED = "observations: [{age: 40 d, outcome: free alkali, value: none}]\n"


def made(line: str, weighed: str, plan: object = UNSCENTED) -> Trial:
    return trial_of(f"as_made: [{{line: {line}, weighed: {weighed}}}]\n", UNSCENTED if plan is UNSCENTED else SCENTED)


def superfat(trial: Trial) -> float:
    return effective_portion(trial, as_bars=True).figures.superfat_effective


@given(st.integers(100, 150), st.integers(0, 30))
def test_of_an_alkali_the_most_that_it_may_have_been_counts_and_of_an_oil_the_least(low: int, wide: int) -> None:
    more = made("sodium-hydroxide", f"{low}-{low + wide} g")
    assert superfat(more) == pytest.approx(superfat(made("sodium-hydroxide", f"{low + wide} g")))
    less = made("coconut-oil", f"{low} to {low + wide} g")
    assert superfat(less) == pytest.approx(superfat(made("coconut-oil", f"{low} g")))


def test_about_is_five_percent_either_way_and_what_it_was_taken_for_is_said() -> None:
    about = made("sodium-hydroxide", "~120 g")
    assert superfat(about) == pytest.approx(superfat(made("sodium-hydroxide", "126 g")))
    # What is compared is the likeliest, not the worst.
    assert pot_of_batter(about).grams("alkali") == pytest.approx(120)
    shown = " ".join(render_trial(about, (), outcomes()).split())
    assert "sodium hydroxide 114 to 126 g" in shown
    assert "at the worse end of what was weighed" in shown


def test_a_scent_that_is_known_about_is_held_against_its_limit_at_the_most_that_it_may_have_been() -> None:
    about, most = (made("clove-bud-oil", text, SCENTED) for text in ("10-14 g", "14 g"))
    percents = [effective_portion(each, as_bars=True).figures.scent[0].percent_of_cured for each in (about, most)]
    assert percents[0] == pytest.approx(percents[1])


@pytest.mark.parametrize(
    ("line", "is_told"), [("sodium-hydroxide", True), ("olive-oil", True), ("lye", True), ("rose-clay", False)]
)
def test_what_decides_the_lye_and_nobody_knows_leaves_no_superfat_and_no_sale(line: str, is_told: bool) -> None:
    trial = made(line, "unknown")
    stops = [each for each in check_trial(trial) if each.code == "weight-unknown"]
    assert bool(stops) == is_told
    assert all(each.severity is Severity.STOP and is_never_sold(each) for each in stops)
    told = trial_json(trial, (), outcomes())["superfat"]["effective"]  # type: ignore[index]
    assert (told is None) == is_told
    assert ("Superfat not known" in render_trial(trial, (), outcomes())) == is_told
    decided = trial_of(f"as_made: [{{line: {line}, weighed: unknown}}]\n{SOLD}{TESTED}", UNSCENTED)
    assert ("weight-unknown" in [each.code for each in fit_to_sell(decided, date(2027, 1, 1))]) == is_told


def test_where_nobody_can_decide_to_sell_no_code_is_offered_that_would_override_it() -> None:
    text = f"as_made: [{{line: lye, weighed: unknown}}]\n{SOLD.replace('weight-unknown', 'a-slip')}{TESTED}"
    with pytest.raises(StopError) as refused:
        demand_sellable(trial_of(text, UNSCENTED), date(2027, 1, 1), register={})
    assert "can never be overridden" in refused.value.findings[-1].what
    assert not any("can be overridden:" in each.do for each in refused.value.findings)


def test_the_way_out_of_an_unknown_weight_names_no_weight_that_could_be_taken_over() -> None:
    (told,) = [each for each in check_trial(made("sodium-hydroxide", "unknown")) if each.code == "weight-unknown"]
    assert '"sodium-hydroxide LOW-HIGH g"' in told.do
    with pytest.raises(InputError):
        record.as_made(made("sodium-hydroxide", "unknown"), "sodium-hydroxide LOW-HIGH g")


def test_of_what_went_in_twice_only_the_weight_that_nobody_knows_is_told_as_not_known() -> None:
    for name, unknown_at in (("water", "lye water"), ("olive-oil", "oils")):
        entries = f"{{line: {name}, weighed: unknown}}, {{extra: {name}, weighed: 20 g, at: trace}}"
        trial = trial_of(f"as_made: [{entries}]\n", UNSCENTED)
        stages = [line.at for line in pot_of_batter(trial).lines if line.material == name]
        assert [at for at in stages if is_unknown_line(trial, name, at)] == [unknown_at]
        assert "trace" in stages


def test_a_scent_that_nobody_weighed_keeps_its_superfat_and_may_pass_its_limit() -> None:
    trial = made("clove-bud-oil", "unknown", SCENTED)
    assert "scent-unweighed" in [each.code for each in check_trial(trial)]
    assert "Superfat not known" not in render_trial(trial, (), outcomes())


def test_a_lot_of_what_nobody_weighed_is_traced_without_grams() -> None:
    entry = "as_made: [{line: olive-oil, weighed: unknown}]\n"
    named, silent = (trial_of(entry + lots, UNSCENTED) for lots in ('lots: {olive-oil: "OL-7"}\n', ""))
    assert [used.grams for used in find_lot([named], "OL-7")] == [None]
    assert [each.grams for each in find_not_recorded([silent], {"olive-oil": None})] == [None]


def test_of_a_scent_that_nobody_weighed_no_grams_and_no_percent_are_told_anywhere() -> None:
    for text, plan in (("line: clove-bud-oil", SCENTED), ("line: clove-bud-oil, portion: clove", plan_of())):
        divided = "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n" if plan is not SCENTED else ""
        trial = trial_of(f"as_made: [{{{text}, weighed: unknown}}]\n{divided}", plan)
        told = json.loads(json.dumps(trial_json(trial, (), outcomes())))
        of_it = [*told["scent"], *(line for part in told["portions"] for line in part["scent"])]
        assert of_it
        assert {(line["grams"], line["percent_of_cured"]) for line in of_it if line["material"] == "clove-bud-oil"} == {
            (None, None)
        }
        shown = render_trial(trial, (), outcomes(), show_all=True)
        rows = [line for line in shown.splitlines() if line.strip().startswith("clove bud oil")]
        assert rows
        assert all("not known" in line for line in rows)


@pytest.mark.parametrize("line", ["sodium-hydroxide", "olive-oil", "rose-clay"])
def test_nothing_is_compared_with_a_loaf_of_which_a_weight_is_not_known(line: str) -> None:
    events = 'events: [{at: "3:00", what: light trace}, {at: "9:00", what: too thick to pour}]\n'
    text = f"as_made: [{{line: {line}, weighed: unknown}}]\n{events}"
    unknown, known = trial_of(text, UNSCENTED), trial_of(events, UNSCENTED)
    unknown = replace(unknown, id="2026-10-04-midwinter-clove-aaaa")
    seen, left_out = find_seen(PourBook([unknown, known]), find_outcome("working time", outcomes())[0], None)
    assert [item.pour.trial.id for item in seen] == [known.id]
    assert [(item.trial, "is not known" in item.why) for item in left_out] == [(unknown.id, True)]
    facts = find_facts(unknown)
    formula = {aspect.kind for aspect, fact in facts.facts.items() if fact is not None}
    assert not formula & {"oil", "addition", "scent", "water", "superfat", "size"}
    with pytest.raises(InputError, match="is not known"):
        compare_trials([unknown, known], outcomes=outcomes())
    with pytest.raises(InputError, match="is not known") as refused:
        describe_as_made(unknown)
    told = [each for each in check_trial(unknown) if each.code == "weight-unknown"]  # none of what takes no lye
    (finding,) = refused.value.findings
    assert all(each.do.startswith(finding.do) for each in told)  # the next step is the same, wherever it is met
    assert "LOW-HIGH g" in finding.do


@given(st.integers(200, 500))
def test_of_the_mixed_lye_that_went_in_alkali_and_water_went_in_alike(lye_g: int) -> None:
    planned = UNSCENTED.pot
    mixed_g = sum(line.grams for line in planned.lines if line.at == "lye water")
    trial = made("lye", f"{lye_g} g")
    for role in ("alkali", "water"):
        assert pot_of_batter(trial).grams(role) == pytest.approx(planned.grams(role) * lye_g / mixed_g)
    # By hand: what is left of the oils' equivalents is one less what the alkali takes.
    taken = 1 - superfat(trial_of("notes: x\n", UNSCENTED)) / 100
    assert superfat(trial) == pytest.approx(100 * (1 - taken * lye_g / mixed_g))


@pytest.mark.parametrize("weighed", ["%s g", "~%s g", "130-%s g"])
def test_a_weight_of_lye_that_may_be_of_the_dry_alkali_is_refused(weighed: str) -> None:
    (alkali_g,) = [line.grams for line in UNSCENTED.pot.lines if line.role == "alkali"]
    text = f"as_made: [{{line: lye, weighed: {weighed % round(alkali_g + 5)}}}]\n"
    (fault,) = read(HEAD + text, UNSCENTED)[1]
    assert fault.code == "bad-weighed"
    assert "of lye may be the alkali by itself" in fault.what
    assert 'for the alkali write "sodium-hydroxide ' in fault.do
    assert "for mixed lye each part of it" in fault.do
    assert trial_of(f"as_made: [{{line: lye, weighed: {round(1.3 * alkali_g)} g}}]\n", UNSCENTED)


def test_lye_that_was_weighed_wrong_and_then_spilled_is_spilled_as_it_was_mixed() -> None:
    mixed = "{line: sodium-hydroxide, weighed: 150 g}, {line: water, weighed: 250 g}"
    pot = pot_of_batter(trial_of(f"as_made: [{{line: lye, weighed: 200 g}}, {mixed}]\n", UNSCENTED))
    assert (pot.grams("alkali"), pot.grams("water")) == (pytest.approx(75), pytest.approx(125))


@pytest.mark.parametrize(
    ("entry", "fault"),
    [
        ("line: olive-oil, weighed: 126-118 g", "bad-value"),
        ("line: olive-oil, weighed: ~0 g", "as-made-shape"),
        ("line: olive-oil, weighed: about 3 g", "bad-value"),
        ("line: lye, left_out: true", "as-made-shape"),
        ("line: lye, weighed: 3 g, at: trace", "as-made-stage"),
        ("line: lye, instead: olive-oil, weighed: 3 g", "as-made-shape"),
    ],
)
def test_what_cannot_be_a_weight_is_refused(entry: str, fault: str) -> None:
    assert faults(f"as_made: [{{{entry}}}]\n", UNSCENTED) == [fault]


@pytest.mark.parametrize(
    ("said", "weighed"),
    [
        ("sodium-hydroxide unknown", "unknown"),
        ("sodium-hydroxide ~120 g", "~120 g"),
        ("sodium-hydroxide 118-126 g", "118-126 g"),
        ("sodium-hydroxide 118 to 126g", "118 to 126g"),
        ("lye 300g", "300 g"),
        ("extra honey ~12 g at oils", "~12 g"),
        ("sunflower-oil instead of castor-oil 75-80 g", "75-80 g"),
    ],
)
def test_it_can_be_said_in_a_sentence(said: str, weighed: str) -> None:
    entry = record.as_made(trial_of("notes: x\n", UNSCENTED), said)
    assert entry.value["weighed"] == weighed  # type: ignore[call-overload, index]


def rebatched(weighed: str, *, material: str = "olive-oil", more: str = "") -> Trial:
    """A loaf with too much lye that was rebatched with so much of something."""
    caustic = "as_made: [{line: sodium-hydroxide, weighed: 150 g}]\n"
    rescue = f"after_pour: [{{at: 20 h, what: rebatched, with: {{{material}: {weighed}}}}}]\n"
    return trial_of(caustic + rescue + more, UNSCENTED)


@given(st.integers(20, 200), st.integers(1, 60))
def test_of_what_a_rebatch_took_in_the_worse_end_counts_for_the_bars(low: int, wide: int) -> None:
    between, least, most = (rebatched(text) for text in (f"{low}-{low + wide} g", f"{low} g", f"{low + wide} g"))
    assert superfat(between) == pytest.approx(superfat(least))
    assert superfat(between) < superfat(most)
    lye = [rebatched(text, material="sodium-hydroxide") for text in (f"{low}-{low + wide} g", f"{low + wide} g")]
    assert superfat(lye[0]) == pytest.approx(superfat(lye[1]))
    assert pot_of_batter(between) == pot_of_batter(most), "it never was in the batter"


def test_of_a_rebatch_about_is_five_percent_either_way_and_said() -> None:
    about = rebatched("~100 g")
    assert superfat(about) == pytest.approx(superfat(rebatched("95 g")))
    shown = " ".join(render_trial(about, (), outcomes()).split())
    assert "with 95 to 105 g of olive oil" in shown
    assert "at the worse end of what was weighed" in shown
    (told,) = json.loads(json.dumps(trial_json(about, (), outcomes())))["worked_in_later"]
    assert (told["grams"], told["give_or_take_grams"]) == (100, 5)


@pytest.mark.parametrize("material", ["olive-oil", "sodium-hydroxide"])
def test_a_rescue_that_nobody_weighed_clears_no_loaf_and_its_batter_is_compared_all_the_same(material: str) -> None:
    trial = rebatched("unknown", material=material, more=TESTED.replace("40 d", "1 h") + SOLD)
    told = [each for each in check_trial(trial) if each.code == "weight-unknown"]
    assert [each.severity for each in told] == [Severity.STOP]
    assert f'--with "{material} LOW-HIGH g" --correct' in told[0].do
    assert "weight-unknown" in [each.code for each in fit_to_sell(trial, date(2027, 1, 1))]
    shown = render_trial(trial, (), outcomes())
    assert "Superfat not known" in shown
    told_json = json.loads(json.dumps(trial_json(trial, (), outcomes())))
    assert (told_json["superfat"]["effective"], told_json["worked_in_later"][0]["grams"]) == (None, None)
    assert cost_of_trial(trial, {}).unweighed == (material,)
    side = describe_as_made(trial)
    assert "weight-unknown" in [each.code for each in side.told]
    other = replace(trial_of("notes: x\n", UNSCENTED), id="2026-10-04-midwinter-clove-aaaa")
    remarks = " ".join(compare_trials([trial, other], outcomes=outcomes()).remarks)
    assert "superfat of the bars: k7wq not known" in remarks


def test_a_lot_may_be_in_what_nobody_weighed_though_the_plan_has_none_of_it() -> None:
    extra = "as_made: [{extra: sunflower-oil, weighed: unknown, at: trace}]\n"
    rescue = "after_pour: [{at: 20 h, what: rebatched, with: {sunflower-oil: unknown}}]\n"
    for text in (extra, rescue):
        named, silent = (trial_of(text + lots, UNSCENTED) for lots in ('lots: {sunflower-oil: "S-1"}\n', ""))
        assert [used.grams for used in find_lot([named], "S-1")] == [None]
        for since in (None, silent.made):
            assert [each.grams for each in find_not_recorded([silent], {"sunflower-oil": since})] == [None]


@pytest.mark.parametrize("weighed", ["~60 g", "55-65 g", "55 to 65 g", "unknown"])
def test_what_a_rebatch_took_in_about_is_typed_as_it_is_known_and_kept_by_a_correction(weighed: str) -> None:
    entry = record.handle(trial_of("notes: x\n", UNSCENTED), "rebatched", "20 h", taken_in=[f"olive oil {weighed}"])
    assert entry.value["with"] == {"olive-oil": weighed}  # type: ignore[call-overload, index]
    trial = rebatched(weighed)
    corrected = record.handle(trial, "rebatched", "21 h", corrects=True)
    again = rebatched(corrected.value["with"]["olive-oil"])  # type: ignore[call-overload, index]
    assert again.after_pour[0].taken_in == trial.after_pour[0].taken_in


def priced(trial: Trial, prices: dict[str, str]) -> Trial:
    """The trial with what its materials cost, a kilogram each."""
    materials = {
        name: replace(material, price=parse_price(f"{prices[name]} per 1 kg")) if name in prices else material
        for name, material in trial.plan.materials.items()
    }
    return replace(trial, plan=replace(trial.plan, materials=materials))


PRICES = {"olive-oil": "8.00", "coconut-oil": "4.00", "sodium-hydroxide": "10.00"}


def test_of_a_weight_that_is_known_about_the_cost_is_from_the_least_to_the_most() -> None:
    text = "as_made: [{line: olive-oil, weighed: 400-500 g}]\n"
    rescue = "after_pour: [{at: 20 h, what: rebatched, with: {coconut-oil: 50-100 g}}]\n"
    found = cost_of_trial(priced(trial_of(text + rescue, UNSCENTED), PRICES), {}, currency="EUR")
    planned = cost_of_trial(priced(trial_of("notes: x\n", UNSCENTED), PRICES), {})
    by_name = {name: (least, cost, most) for name, cost, least, most in found.ranges()}
    assert by_name["olive-oil"] == pytest.approx((3.2, 3.6, 4.0))
    coconut = dict(planned.lines)["coconut-oil"]
    assert by_name["coconut-oil"] == pytest.approx((coconut + 0.2, coconut + 0.3, coconut + 0.4))
    assert (found.most - found.least, found.unweighed) == (pytest.approx(0.8 + 0.2), ())
    said = render_cost(found, bars=10)
    assert f"{found.least:.2f} to {found.most:.2f}" in said
    assert f"{found.least / 10:.2f} to {found.most / 10:.2f}" in said
    assert (planned.least, planned.most) == (pytest.approx(planned.total), pytest.approx(planned.total))
    assert " to " not in render_cost(planned)


def test_what_is_less_of_a_weighed_lye_the_more_of_another_was_in_it_costs_from_the_least_to_the_most() -> None:
    entries = "{line: sodium-hydroxide, weighed: 120-150 g}, {extra: honey, weighed: 30 g, at: lye water}"
    trial = trial_of(f"as_made: [{entries}, {{line: lye, weighed: 320 g}}]\n", UNSCENTED)
    honey = read_builtin_register()["honey"]
    trial = replace(trial, added={"honey": replace(honey, price=parse_price("9.00 per 1 kg"))})
    found = cost_of_trial(priced(trial, PRICES), {})
    for _, cost, least, most in found.ranges():
        assert least <= cost <= most
    assert {name for name, _, _ in found.between} == {"honey", "sodium-hydroxide"}


@pytest.mark.parametrize(("line", "names"), [("olive-oil", ["olive-oil"]), ("lye", ["sodium-hydroxide"])])
def test_what_nobody_weighed_is_told_to_be_in_no_figure_of_the_cost(line: str, names: list[str]) -> None:
    unknown = priced(made(line, "unknown"), PRICES)
    found, planned = cost_of_trial(unknown, {}), cost_of_trial(priced(trial_of("notes: x\n", UNSCENTED), PRICES), {})
    assert list(found.unweighed) == names
    assert found.total == pytest.approx(planned.total - sum(dict(planned.lines)[name] for name in names))
    said = " ".join(render_cost(found, bars=10).split())
    assert "together, at least" in said
    assert f"What nobody weighed is not counted: {names[0].replace('-', ' ')}." in said
    nothing = " ".join(render_cost(cost_of_trial(made(line, "unknown"), {})).split())
    assert "What nobody weighed is not counted" in nothing
