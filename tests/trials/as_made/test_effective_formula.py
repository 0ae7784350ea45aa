"""The grams in the pot of every as-made case, against tables made by hand from the planned grams."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.figures import portion_pot
from formulary.batch.model import PotLine, PotPortion
from formulary.errors import InputError
from formulary.materials.model import Known, Lot, ValueRange
from formulary.materials.register import read_builtin_register
from tests.trials.examples import HEAD, TRIAL, faults, read, round_plan, trial_of
from trials.as_made.effective import effective_portion
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import effective_pot
from trials.checks.checks import check_trial
from trials.trial.model import AsMade, LotUse, Plan, TrialPortion

PORTIONS = (PotPortion("plain", 0.6), PotPortion("clove", 0.4))
# Planned, in grams; the clove bud oil is all for one portion, the honey follows the shares.
PLAN = round_plan(
    PotLine("olive-oil", "oil", "oils", 500.0),
    PotLine("coconut-oil", "oil", "oils", 300.0),
    PotLine("castor-oil", "oil", "trace", 200.0),
    PotLine("sodium-hydroxide", "alkali", "lye water", 140.0),
    PotLine("water", "water", "lye water", 210.0),
    PotLine("oat-milk", "addition", "oils", 80.0, water="replaces"),
    PotLine("rose-clay", "addition", "oils", 20.0),
    PotLine("honey", "addition", "trace", 10.0, water="extra"),
    PotLine("clove-bud-oil", "scent", "trace", 12.0, portion="clove"),
    portions=PORTIONS,
)
AS_PLANNED = {
    "olive-oil": 500.0,
    "coconut-oil": 300.0,
    "castor-oil": 200.0,
    "sodium-hydroxide": 140.0,
    "water": 210.0,
    "oat-milk": 80.0,
    "rose-clay": 20.0,
    "honey": 10.0,
    "clove-bud-oil": 12.0,
}
TRIAL_PORTIONS = (TrialPortion("plain", Decimal(60)), TrialPortion("clove", Decimal(40)))


def grams(weight: str) -> Decimal:
    return Decimal(weight)


def in_pot(entries: list[AsMade], portions: tuple[TrialPortion, ...] = TRIAL_PORTIONS) -> dict[str, float]:
    """Grams by material of the whole pot."""
    table: dict[str, float] = {}
    for line in effective_pot(PLAN, entries, portions).lines:
        table[line.material] = table.get(line.material, 0.0) + line.grams
    return table


def in_portion(
    name: str, entries: list[AsMade], portions: tuple[TrialPortion, ...] = TRIAL_PORTIONS
) -> dict[str, float]:
    """Grams by material of one portion."""
    pot = effective_pot(PLAN, entries, portions)
    share = {portion.name: portion.share for portion in pot.portions}[name]
    table: dict[str, float] = {}
    for line in pot.lines:
        if line.portion in (None, name):
            part = line.grams if line.portion == name else line.grams * share
            table[line.material] = table.get(line.material, 0.0) + part
    return {material: weight for material, weight in table.items() if weight}


CASES = {
    "as planned": ([], {}),
    "forgotten water replacement": ([AsMade("water", weighed_g=grams("282"))], {"water": 282.0}),
    "an oil weighed over": ([AsMade("olive-oil", weighed_g=grams("505"))], {"olive-oil": 505.0}),
    "a substitute": (
        [AsMade("castor-oil", instead="sunflower-oil", weighed_g=grams("195"))],
        {"castor-oil": None, "sunflower-oil": 195.0},
    ),
    "a substitute of the planned weight": (
        [AsMade("castor-oil", instead="sunflower-oil")],
        {"castor-oil": None, "sunflower-oil": 200.0},
    ),
    "two oils mistaken for each other": (
        [AsMade("olive-oil", instead="coconut-oil"), AsMade("coconut-oil", instead="olive-oil")],
        {"olive-oil": 300.0, "coconut-oil": 500.0},
    ),
    "a substitute that is in the pot already": (
        [AsMade("castor-oil", instead="olive-oil", weighed_g=grams("200"))],
        {"castor-oil": None, "olive-oil": 700.0},
    ),
    "left out": ([AsMade("rose-clay", left_out=True)], {"rose-clay": None}),
    "an extra": ([AsMade(extra="honey", weighed_g=grams("12"), at="oils")], {"honey": 22.0}),
    "an extra of something new": ([AsMade(extra="salt", weighed_g=grams("5"), at="lye water")], {"salt": 5.0}),
    "an extra in one portion": (
        [AsMade(extra="cocoa-butter", weighed_g=grams("9"), at="trace", portion="clove")],
        {"cocoa-butter": 9.0},
    ),
    "a scent weighed for its portion": (
        [AsMade("clove-bud-oil", weighed_g=grams("7.5"), portion="clove")],
        {"clove-bud-oil": 7.5},
    ),
    "a scent that also went into the other portion": (
        [AsMade("clove-bud-oil", weighed_g=grams("2"), portion="plain")],
        {"clove-bud-oil": 14.0},
    ),
    "a shared line weighed for one portion": (
        # 10 g: 6 in plain, 4 in clove; the clove half got 5 instead of its 4
        [AsMade("honey", weighed_g=grams("5"), portion="clove")],
        {"honey": 11.0},
    ),
    "a shared line left out of one portion": ([AsMade("honey", left_out=True, portion="clove")], {"honey": 6.0}),
    "everything at once": (
        [
            AsMade("water", weighed_g=grams("282")),
            AsMade("olive-oil", weighed_g=grams("505")),
            AsMade("castor-oil", instead="sunflower-oil", weighed_g=grams("195")),
            AsMade("rose-clay", left_out=True),
            AsMade(extra="honey", weighed_g=grams("12"), at="trace", portion="clove"),
            AsMade("clove-bud-oil", weighed_g=grams("7.5"), portion="clove"),
        ],
        {
            "water": 282.0,
            "olive-oil": 505.0,
            "castor-oil": None,
            "sunflower-oil": 195.0,
            "rose-clay": None,
            "honey": 22.0,
            "clove-bud-oil": 7.5,
        },
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_pot_holds_what_a_table_made_by_hand_says(case: str) -> None:
    entries, changes = CASES[case]
    expected = {**AS_PLANNED, **changes}
    table = in_pot(entries)
    assert table == pytest.approx({name: weight for name, weight in expected.items() if weight is not None})


@pytest.mark.parametrize("case", [case for case in CASES if len(CASES[case][0]) > 1])
def test_the_order_of_entries_changes_nothing(case: str) -> None:
    entries, _ = CASES[case]
    pots = [effective_pot(PLAN, order, TRIAL_PORTIONS) for order in list(permutations(entries))[:120]]
    assert all(pot == pots[0] for pot in pots)


def test_the_order_of_extras_of_one_material_changes_nothing() -> None:
    extras = [
        AsMade(extra="salt", weighed_g=grams(weight), at=at, portion=portion)
        for weight, at, portion in (
            ("1", "trace", "plain"),
            ("2", "trace", "clove"),
            ("3", "oils", None),
            ("4", "top", None),
        )
    ]
    pots = [effective_pot(PLAN, order, TRIAL_PORTIONS) for order in permutations(extras)]
    assert all(pot == pots[0] for pot in pots)


SHARED_60 = {
    "olive-oil": 300.0,
    "coconut-oil": 180.0,
    "castor-oil": 120.0,
    "sodium-hydroxide": 84.0,
    "water": 126.0,
    "oat-milk": 48.0,
    "rose-clay": 12.0,
    "honey": 6.0,
}
SHARED_40 = {
    "olive-oil": 200.0,
    "coconut-oil": 120.0,
    "castor-oil": 80.0,
    "sodium-hydroxide": 56.0,
    "water": 84.0,
    "oat-milk": 32.0,
    "rose-clay": 8.0,
    "honey": 4.0,
}


def test_a_share_divides_what_follows_it_and_the_rest_keeps_its_grams() -> None:
    assert in_portion("plain", []) == pytest.approx(SHARED_60)
    assert in_portion("clove", []) == pytest.approx({**SHARED_40, "clove-bud-oil": 12.0})


def test_another_share_on_the_day_moves_the_batter_but_not_the_scent_that_was_for_one_portion() -> None:
    on_the_day = (TrialPortion("plain", Decimal(40)), TrialPortion("clove", Decimal(60)))
    assert in_portion("plain", [], on_the_day) == pytest.approx(SHARED_40)
    assert in_portion("clove", [], on_the_day) == pytest.approx({**SHARED_60, "clove-bud-oil": 12.0})


def test_a_line_planned_at_nothing_can_still_have_been_weighed() -> None:
    plan = round_plan(PotLine("olive-oil", "oil", "oils", 500.0), PotLine("honey", "addition", "trace", 0.0))
    pot = effective_pot(plan, [AsMade("honey", weighed_g=grams("5"))])
    assert pot.grams("addition") == 5.0


def test_an_extra_goes_only_where_it_was_said_to_go() -> None:
    extra = [AsMade(extra="salt", weighed_g=grams("9"), at="trace", portion="clove")]
    assert in_portion("plain", extra) == pytest.approx(SHARED_60)
    assert in_portion("clove", extra) == pytest.approx({**SHARED_40, "clove-bud-oil": 12.0, "salt": 9.0})


def test_a_shared_line_weighed_for_one_portion_leaves_the_other_as_it_was() -> None:
    weighed = [AsMade("honey", weighed_g=grams("5"), portion="clove")]
    assert in_portion("plain", weighed)["honey"] == pytest.approx(6.0)
    assert in_portion("clove", weighed)["honey"] == pytest.approx(5.0)


def test_a_batter_that_stayed_whole_has_all_that_the_portions_were_to_get() -> None:
    pot = effective_pot(PLAN, [], ())
    assert pot.portions == ()
    assert all(line.portion is None for line in pot.lines)
    assert in_pot([], ()) == pytest.approx(AS_PLANNED)


@pytest.mark.parametrize(
    ("material", "role", "water"),
    [
        ("cocoa-butter", "oil", None),
        ("stearic-acid", "oil", None),
        ("lavender-oil", "scent", None),
        ("potassium-hydroxide", "alkali", None),
        ("water", "water", None),
        ("goat-milk", "addition", "extra"),
        ("kaolin", "addition", "extra"),
        ("unheard-of", "addition", "extra"),
    ],
)
def test_an_extra_counts_as_what_it_is(material: str, role: str, water: str | None) -> None:
    pot = effective_pot(PLAN, [AsMade(extra=material, weighed_g=grams("7"), at="trace")], TRIAL_PORTIONS)
    (line,) = [line for line in pot.lines if line.grams == 7.0]
    assert (line.role, line.at, line.water, line.portion) == (role, "trace", water, None)


@pytest.mark.parametrize(
    ("line", "instead", "role"),
    [
        ("water", "goat-milk", "addition"),
        ("honey", "cocoa-butter", "addition"),
        ("castor-oil", "cocoa-butter", "oil"),
        ("castor-oil", "lavender-oil", "scent"),
        ("castor-oil", "unheard-of", "oil"),
        ("clove-bud-oil", "unheard-of", "scent"),
        ("water", "unheard-of", "addition"),
        ("sodium-hydroxide", "potassium-hydroxide", "alkali"),
        ("oat-milk", "water", "water"),
    ],
)
def test_what_went_in_instead_counts_as_what_it_is(line: str, instead: str, role: str) -> None:
    pot = effective_pot(PLAN, [AsMade(line, instead=instead, weighed_g=grams("7"))], TRIAL_PORTIONS)
    (found,) = [found for found in pot.lines if found.grams == 7.0 and found.material == instead]
    assert found.role == role
    assert (found.water is not None) == (role == "addition")


def test_water_is_the_water_weighed_for_the_lye_unless_another_stage_is_named() -> None:
    plan = round_plan(
        PotLine("olive-oil", "oil", "oils", 500.0),
        PotLine("water", "addition", "trace", 20.0, water="extra"),
        PotLine("water", "water", "lye water", 150.0),
    )
    weighed = effective_pot(plan, [AsMade("water", weighed_g=grams("170"))])
    assert {(line.at, line.grams) for line in weighed.lines if line.material == "water"} == {
        ("lye water", 170.0),
        ("trace", 20.0),
    }
    later = effective_pot(plan, [AsMade("water", weighed_g=grams("30"), at="trace")])
    assert later.grams("water") == 150.0
    assert later.grams("addition") == 30.0


def test_a_line_that_was_to_be_divided_is_one_again_when_the_batter_stayed_whole() -> None:
    plan = round_plan(
        PotLine("olive-oil", "oil", "oils", 500.0),
        PotLine("clove-bud-oil", "scent", "trace", 3.0, portion="plain"),
        PotLine("clove-bud-oil", "scent", "trace", 9.0, portion="clove"),
        portions=PORTIONS,
    )
    (line,) = [line for line in effective_pot(plan).lines if line.role == "scent"]
    assert (line.grams, line.portion) == (12.0, None)


def test_a_divided_line_weighed_as_a_whole_keeps_its_division() -> None:
    plan = round_plan(
        PotLine("olive-oil", "oil", "oils", 500.0),
        PotLine("clove-bud-oil", "scent", "trace", 3.0, portion="plain"),
        PotLine("clove-bud-oil", "scent", "trace", 9.0, portion="clove"),
        portions=PORTIONS,
    )
    pot = effective_pot(plan, [AsMade("clove-bud-oil", weighed_g=grams("16"))], TRIAL_PORTIONS)
    assert {line.portion: line.grams for line in pot.lines if line.role == "scent"} == {"plain": 4.0, "clove": 12.0}


def test_a_portion_under_another_name_gets_what_was_planned_for_the_one_it_replaces() -> None:
    renamed = (TrialPortion("plain", Decimal(60)), TrialPortion("swirl", Decimal(40), instead_of="clove"))
    assert in_portion("swirl", [], renamed)["clove-bud-oil"] == pytest.approx(12.0)


def test_gets_of_the_day_divide_a_line_anew() -> None:
    on_the_day = (
        TrialPortion("plain", Decimal(60), gets=(("clove-bud-oil", Decimal(25)),)),
        TrialPortion("clove", Decimal(40), gets=(("clove-bud-oil", Decimal(75)),)),
    )
    assert in_portion("plain", [], on_the_day)["clove-bud-oil"] == pytest.approx(3.0)
    assert in_portion("clove", [], on_the_day)["clove-bud-oil"] == pytest.approx(9.0)


def test_a_portion_that_does_not_name_a_line_divided_on_the_day_gets_none_of_it() -> None:
    on_the_day = (
        TrialPortion("plain", Decimal(60)),
        TrialPortion("clove", Decimal(40), gets=(("honey", Decimal(100)),)),
    )
    assert "honey" not in in_portion("plain", [], on_the_day)
    assert in_portion("clove", [], on_the_day)["honey"] == pytest.approx(10.0)


def test_the_example_of_the_format_gives_each_portion_its_own_rates() -> None:
    trial = trial_of(TRIAL)
    whole, plain, clove = (effective_portion(trial, name) for name in (None, "plain", "clove"))
    # By hand: oils 455 + 250 + 220 + 80 = 1005 g, half of it 502.5 g; scent 7.5 g and honey 12 g, in clove alone.
    assert whole.figures.oil_mass_g == pytest.approx(1005.0)
    assert whole.oil_percents["sunflower-oil"] == pytest.approx(8000 / 1005)
    assert clove.rates["clove-bud-oil", "trace"] == pytest.approx(750 / 502.5)
    assert clove.rates["honey", "trace"] == pytest.approx(1200 / 502.5)
    assert ("clove-bud-oil", "trace") not in plain.rates
    assert plain.pot.grams("scent") == 0.0
    assert (whole.portion, whole.share, clove.portion, clove.share) == (None, 1.0, "clove", 0.5)
    assert [(portion.share, portion.by_eye) for portion in whole.pot.portions] == [(0.5, 0.1), (0.5, 0.1)]
    assert effective_portion(trial, "whole").portion is None
    in_clove = {line.material: line.grams for line in clove.pot.lines}
    assert in_clove["honey"] == pytest.approx(12.0)
    assert in_clove["olive-oil"] == pytest.approx(227.5)
    assert "rose-clay" not in {line.material for line in whole.pot.lines}
    assert whole.figures.water_weighed_g == pytest.approx(283.0)


def test_the_effective_superfat_follows_from_what_was_weighed_by_plain_stoichiometry() -> None:
    """Against moles counted here: hydroxide of 39.997 g/mol (CIAAW, abridged) and fat by its saponification value."""
    trial = trial_of("as_made:\n  - {line: olive-oil, weighed: 380 g}\n")
    register = read_builtin_register()
    weights = {"olive-oil": 380.0, "coconut-oil": 250.0, "rice-bran-oil": 220.0, "castor-oil": 80.0}
    fat_mol = 0.0
    for name, weight in weights.items():
        value = register[name].saponification_value
        assert value is not None
        fat_mol += weight * value.working / 56105.0
    milk = register["oat-milk"]
    assert milk.fat_percent is not None
    assert milk.fat_saponification_value is not None
    fat_mol += 80.0 * milk.fat_percent / 100.0 * milk.fat_saponification_value / 56105.0
    lye_g = next(line.grams for line in trial.plan.pot.lines if line.role == "alkali")
    expected = 100.0 * (1.0 - lye_g / 39.997 / fat_mol)
    assert effective_portion(trial).figures.superfat_effective == pytest.approx(expected, abs=1e-9)
    assert expected < 0.0  # 70 g too little oil is lye excess


def test_the_certificate_of_a_lot_that_the_plan_kept_is_used_once_the_lot_is_recorded() -> None:
    from dataclasses import replace

    from formulary.materials.model import Known, Lot, ValueRange
    from tests.trials.examples import plan_of
    from trials.as_made.lots_used import materials_of

    certificate = ValueRange(186.0, 188.0, 187.0, Known("maker", "certificate of lot OL-7"))
    oil = replace(
        read_builtin_register()["olive-oil"],
        lots={"OL-7": Lot("OL-7", overrides={"saponification_value": certificate})},
    )
    plan = replace(plan_of(), materials={**plan_of().materials, "olive-oil": oil})
    without = trial_of("notes: none\n", plan)
    recorded = trial_of('lots: {olive-oil: "OL-7"}\n', plan)
    assert materials_of(without)["olive-oil"].saponification_value == oil.saponification_value
    assert materials_of(recorded)["olive-oil"].saponification_value == certificate


_POOL = [entry for entries, _ in CASES.values() for entry in entries]


@given(
    st.lists(st.integers(1, 9_999), min_size=0, max_size=3, unique=True),
    st.lists(st.sampled_from(range(len(_POOL))), max_size=5, unique=True),
)
def test_what_is_in_the_portions_is_what_is_in_the_pot(cuts: list[int], picked: list[int]) -> None:
    edges = [0, *sorted(cuts), 10_000]
    names = ["plain", "clove", "third", "fourth"]
    portions = tuple(
        TrialPortion(name, Decimal(high - low) / 100) for name, (low, high) in zip(names, pairwise(edges), strict=False)
    )
    there = {portion.name for portion in portions}
    entries = [_POOL[number] for number in picked if _POOL[number].portion in (None, *there)]
    pot = effective_pot(PLAN, entries, portions)
    lost = sum(line.grams for line in pot.lines if line.portion is not None and line.portion not in there)
    parts = [portion_pot(pot, portion.name) for portion in portions]
    for role in ("oil", "alkali", "water", "addition"):
        assert sum(part.grams(role) for part in parts) == pytest.approx(pot.grams(role), abs=1e-6)
    assert sum(part.grams("scent") for part in parts) == pytest.approx(pot.grams("scent") - lost, abs=1e-6)


@given(st.integers(1, 4000), st.sampled_from(sorted(AS_PLANNED)))
def test_weighing_one_line_changes_no_other(weighed_g: int, line: str) -> None:
    table = in_pot([AsMade(line, weighed_g=Decimal(weighed_g))])
    assert table == pytest.approx({**AS_PLANNED, line: float(weighed_g)})


def test_entries_that_say_what_was_planned_change_nothing() -> None:
    said = [AsMade(name, weighed_g=Decimal(str(weight))) for name, weight in AS_PLANNED.items()]
    assert effective_pot(PLAN, said, TRIAL_PORTIONS) == effective_pot(PLAN, [], TRIAL_PORTIONS)


# -- lots --------------------------------------------------------------------------------------------


def _certified() -> Plan:
    """A soap of 1000 g of olive oil, weighed for lot A; the saponification values of its lots are invented."""
    known = Known("maker", "invented certificate")
    lots = {
        name: Lot(name, overrides={"saponification_value": ValueRange(value, value, value, known)})
        for name, value in (("A", 220.0), ("C", 160.0))
    }
    planned = round_plan(
        PotLine("olive-oil", "oil", "oils", 1000.0),
        PotLine("sodium-hydroxide", "alkali", "lye water", 149.0),
        PotLine("water", "water", "lye water", 300.0),
    )
    oil = replace(planned.materials["olive-oil"], lots=lots)
    return replace(planned, lots={"olive-oil": (LotUse("A"),)}, materials={**planned.materials, "olive-oil": oil})


def _olive_value(text: str) -> float:
    value = materials_of(trial_of(text, _certified()))["olive-oil"].saponification_value
    assert value is not None
    return value.working


GENERAL = read_builtin_register()["olive-oil"].saponification_value


def test_a_lot_that_did_not_go_in_never_decides_the_superfat() -> None:
    lots = 'lots: {olive-oil: {"C": 999 g, "A": 1 g}}\n'
    assert _olive_value(lots) == pytest.approx(160.0 * 0.999 + 220.0 * 0.001)
    found = check_trial(trial_of(lots, _certified()))
    assert "lye-excess" in [finding.code for finding in found]
    assert _olive_value('lots: {olive-oil: "C"}\n') == 160.0


def test_the_planned_lot_holds_where_the_record_names_none() -> None:
    assert _olive_value("notes: none\n") == 220.0
    assert _olive_value("lots:\n  olive-oil:\n") == 220.0
    assert "lye-excess" not in [finding.code for finding in check_trial(trial_of("notes: none\n", _certified()))]


@given(st.integers(1, 999))
def test_lots_count_by_their_weight(first_g: int) -> None:
    value = _olive_value(f'lots: {{olive-oil: {{"A": {first_g} g, "C": {1000 - first_g} g}}}}\n')
    assert value == pytest.approx((220.0 * first_g + 160.0 * (1000 - first_g)) / 1000.0)


def test_a_lot_without_a_certificate_counts_with_the_general_values_and_is_told() -> None:
    assert GENERAL is not None
    alone, half = 'lots: {olive-oil: "D"}\n', 'lots: {olive-oil: {"D": 500 g, "A": 500 g}}\n'
    assert _olive_value(alone) == GENERAL.working
    assert _olive_value(half) == pytest.approx((GENERAL.working + 220.0) / 2.0)
    for text in (alone, half):
        assert "lot-certificate-missing" in [finding.code for finding in check_trial(trial_of(text, _certified()))]
    assert "lot-certificate-missing" not in [
        finding.code for finding in check_trial(trial_of('lots: {olive-oil: {"C": 999 g, "A": 1 g}}\n', _certified()))
    ]


def test_several_lots_without_weights_are_refused() -> None:
    assert faults('lots: {olive-oil: {"A": 0 g, "C": 0 g}}\n', _certified()) == ["lots-unweighed"]
    assert faults("lots: {olive-oil: {A: , C: }}\n", _certified())
    made = replace(trial_of("notes: none\n", _certified()), lots={"olive-oil": (LotUse("A"), LotUse("C"))})
    assert "lots-unweighed" in [finding.code for finding in check_trial(made)]
    assert materials_of(made)["olive-oil"].saponification_value == GENERAL


# -- no oil at all -----------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["left_out: true", "instead: kaolin", "instead: water", "instead: sodium-hydroxide"])
def test_a_record_that_leaves_no_oil_is_one_finding_where_it_stands(how: str) -> None:
    text = HEAD + f"as_made:\n  - {{line: olive-oil, {how}}}\n"
    trial, (finding,) = read(text, _certified())
    assert trial is None
    assert (finding.code, finding.place.line) == ("no-oils", text[: text.index("{line")].count("\n") + 1)


def test_what_has_no_oils_is_refused_by_the_calculation_too() -> None:
    made = replace(trial_of("notes: none\n", _certified()), as_made=(AsMade("olive-oil", left_out=True),))
    with pytest.raises(InputError, match="no oil went into"):
        effective_portion(made)
