"""Tweaks make the recipe that was meant, or say what to write instead."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.recipes.apply_tweaks import apply_tweaks
from formulary.recipes.model import Recipe, Water
from formulary.recipes.read import parse_recipe
from formulary.recipes.tweaks import (
    SetField,
    Tweak,
    add,
    drop,
    parse_add,
    parse_set,
    parse_swap,
    parse_tweaks,
    set_field,
    swap,
)
from tests.laws.strategies import recipes

MATERIALS = read_builtin_register()
TEXT = """\
format: 1
name: Harbour base
oils: {olive-oil: 53, coconut-oil: 25, rice-bran-oil: 22}
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
additions:
  - {material: rose-clay, rate: 2 % of oils, at: oils}
  - {material: honey, rate: 1 % of oils, at: oils}
  - {material: honey, rate: 1 % of oils, at: trace}
scent:
  - {material: lavender-oil, rate: 2 % of oils}
portions:
  - {name: plain, share: 50, gets: {lavender-oil: 0}}
  - {name: scented, share: 50, gets: {lavender-oil: 100}}
process: {cover: covered}
"""


def base() -> Recipe:
    recipe, findings = parse_recipe(TEXT, "harbour-base")
    assert recipe is not None, findings
    return recipe


def tweaked(*tweaks: Tweak) -> Recipe:
    return apply_tweaks(base(), tweaks, MATERIALS)


def percents(recipe: Recipe) -> dict[str, Decimal]:
    return {line.material: line.percent for line in recipe.oils}


def refusal(*tweaks: Tweak) -> tuple[str, str, str]:
    with pytest.raises(InputError) as caught:
        tweaked(*tweaks)
    (finding,) = caught.value.findings
    return finding.code, finding.what, finding.do


def test_a_swap_moves_points_to_a_new_oil() -> None:
    after = tweaked(swap("10 %", "olive-oil", "hemp-seed-oil"))
    assert percents(after) == {"olive-oil": 43, "coconut-oil": 25, "rice-bran-oil": 22, "hemp-seed-oil": 10}


def test_a_swap_of_all_of_an_oil_takes_its_line_away() -> None:
    assert percents(tweaked(swap("22", "rice-bran-oil", "olive-oil"))) == {"olive-oil": 75, "coconut-oil": 25}
    assert percents(tweaked(swap("all", "rice-bran-oil", "olive-oil"))) == {"olive-oil": 75, "coconut-oil": 25}


@given(recipes(), st.data())
def test_any_swap_keeps_the_oils_at_exactly_100(recipe: Recipe, data: st.DataObject) -> None:
    line = data.draw(st.sampled_from(recipe.oils))
    points = data.draw(st.decimals(Decimal("0.01"), line.percent, places=2)) if line.percent >= 1 else line.percent
    target = data.draw(st.sampled_from([name for name in percents(recipe) if name != line.material] + ["beeswax"]))
    after = apply_tweaks(recipe, [swap(f"{points} %", line.material, target)], MATERIALS)
    assert sum(percents(after).values()) == 100
    assert all(percent > 0 for percent in percents(after).values())
    if target not in percents(recipe) or percents(after).keys() >= percents(recipe).keys():
        back = apply_tweaks(after, [swap(f"{points} %", target, line.material)], MATERIALS)
        assert percents(back) == percents(recipe)


def test_a_fragrance_goes_into_the_scent_and_the_rest_into_the_additions() -> None:
    after = tweaked(
        add("clove-bud-oil", "1.2 % of oils"),
        add("oat-milk", "8 % of oils", at="oils", water="replaces"),
        add("salt", "20 g per kg oils", at="lye water"),
    )
    assert after.scent[-1].material == "clove-bud-oil"
    assert after.scent[-1].at == "trace"
    assert [(line.material, line.at, line.water) for line in after.additions[-2:]] == [
        ("oat-milk", "oils", "replaces"),
        ("salt", "lye water", None),
    ]


def test_dropping_a_scent_takes_it_out_of_the_portions_too() -> None:
    after = tweaked(drop("lavender-oil"))
    assert after.scent == ()
    assert [portion.gets for portion in after.portions] == [(), ()]


@pytest.mark.parametrize(
    ("field", "value", "read"),
    [
        ("superfat", "6", lambda recipe: recipe.lye.superfat == 6),
        ("lye.superfat", "6.5 %", lambda recipe: recipe.lye.superfat == Decimal("6.5")),
        ("lye.alkali", "potassium-hydroxide", lambda recipe: recipe.lye.alkalis == (("potassium-hydroxide", 100),)),
        ("water.lye_concentration", "35", lambda recipe: recipe.water.value == 35),
        ("water_to_lye", "2.1", lambda recipe: recipe.water == Water("water_to_lye", Decimal("2.1"))),
        ("process.cover", "insulated", lambda recipe: recipe.process["cover"] == "insulated"),
        ("oil_temperature", "42 C", lambda recipe: recipe.process["oil_temperature"] == "42 °C"),
        ("cover", "", lambda recipe: "cover" not in recipe.process),
        ("name", "Clove = warm", lambda recipe: recipe.name == "Clove = warm"),
        ("purpose", "household", lambda recipe: recipe.purpose == "household"),
        ("notes", "stir slowly", lambda recipe: recipe.notes == "stir slowly"),
        ("scent.lavender-oil.rate", "1.5 % of oils", lambda recipe: str(recipe.scent[0].rate) == "1.5 % of oils"),
        ("rose-clay.at", "trace", lambda recipe: recipe.additions[0].at == "trace"),
        ("rose-clay.water", "extra", lambda recipe: recipe.additions[0].water == "extra"),
        ("coconut-oil.at", "trace", lambda recipe: recipe.oils[1].at == "trace"),
    ],
)  # fmt: skip
def test_fields_are_set(field: str, value: str, read: object) -> None:
    assert callable(read)
    assert read(tweaked(parse_set(f"{field}={value}")))


@pytest.mark.parametrize(
    ("tweak", "code", "words", "do"),
    [
        (swap("60 %", "olive-oil", "hemp-seed-oil"), "swap-too-much", "is 53 % of the oils", "53 % or less"),
        (swap("5 %", "castor-oil", "hemp-seed-oil"), "oil-not-there", "castor-oil", "olive-oil"),
        (swap("5 %", "olive-oill", "hemp-seed-oil"), "oil-not-there", "olive-oill", "did you mean olive-oil"),
        (swap("5 %", "olive-oil", "hempseed-oil"), "unknown-material", "hempseed-oil", "did you mean hemp-seed-oil"),
        (swap("5 %", "olive-oil", "clove-bud-oil"), "not-an-oil", "kind fragrance", "--add"),
        (swap("5 %", "olive-oil", "olive-oil"), "bad-tweak", "itself", "another"),
        (swap("0 %", "olive-oil", "hemp-seed-oil"), "bad-value", "more than nothing", "above 0"),
        (add("hemp-seed-oil", "5 % of oils"), "add-oil", "no alkali", '--swap "5% olive-oil:hemp-seed-oil"'),
        (add("beeswax", "2 % of oils"), "add-oil", "no alkali", "olive-oil:beeswax"),
        (add("potassium-hydroxide", "2 % of oils"), "add-alkali", "alkali", "lye"),
        (add("oat-milk", "8 % of oils"), "water-unsaid", "brings water", "replaces"),
        (add("pumpkin-puree", "8 % of oils"), "water-unsaid", "brings water", "extra"),
        (add("rose-clay", "1 % of oils", at="oils"), "line-exists", "already", "additions.rose-clay.rate"),
        (add("lavender-oil", "1 % of oils"), "line-exists", "already", "scent.lavender-oil.rate"),
        (add("clove-bud-oil", "1 tsp per kg oils"), "volume-refused", "volume", "weigh it"),
        (add("lactic-acid-88", "1 tsp per kg oils"), "volume-refused", "volume", "weigh it"),
        (add("clove-oil", "1 % of oils"), "unknown-material", "clove-oil", "did you mean clove-bud-oil"),
        (drop("coconut-oil"), "drop-oil", "25 % of the oils", '--swap "all coconut-oil:olive-oil"'),
        (drop("clove-bud-oil"), "line-not-there", "clove-bud-oil", "lavender-oil"),
        (set_field("superfat", 60), "out-of-bounds", "60", "-100 to 50"),
        (set_field("superfat", "0.05"), "fraction", "fraction", "write 5"),
        (set_field("superfat", "five"), "bad-value", "five", "digits"),
        (set_field("process.cover", "blanket"), "not-a-choice", "blanket", "insulated"),
        (set_field("oil_temperature", "42"), "bad-value", "no unit", "°C"),
        (set_field("lye.alkali", "salt"), "not-an-alkali", "salt", "sodium-hydroxide"),
        (set_field("olive-oil.percent", "50"), "set-oil", "not total 100", "--swap"),
        (set_field("honey.rate", "2 % of oils"), "line-ambiguous", "2 lines", "by hand"),
        (set_field("oat-milk.rate", "2 % of oils"), "line-not-there", "oat-milk", "lines here"),
        (set_field("super-fat", "6"), "unknown-field", "super-fat", "superfat"),
        (set_field("portions", "plain 60"), "unknown-field", "portions", "file, in an editor"),
        (set_field("oils", "olive-oil 60"), "unknown-field", "oils", "--swap"),
        (set_field("scent", "lavender-oil 2 %"), "unknown-field", "scent", "--add"),
        (set_field("scent.lavender-oil.water", "extra"), "unknown-field", "water", "rate or at"),
        (set_field("name", ""), "empty-value", "name", "write one"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_with_what_to_write(tweak: Tweak, code: str, words: str, do: str) -> None:
    found = refusal(tweak)
    assert found[0] == code
    assert words in found[1]
    assert do in found[2]


def test_all_tweaks_that_do_not_fit_are_told_together() -> None:
    with pytest.raises(InputError) as caught:
        tweaked(swap("60 %", "olive-oil", "hemp-seed-oil"), drop("salt"), set_field("superfat", "x"))
    assert [finding.code for finding in caught.value.findings] == ["swap-too-much", "line-not-there", "bad-value"]
    assert "swap: 60 % olive-oil:hemp-seed-oil" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "tweak"),
    [
        ("10% olive-oil:hemp-seed-oil", swap(10, "olive-oil", "hemp-seed-oil")),
        ("10 % of olive-oil : hemp-seed-oil", swap(10, "olive-oil", "hemp-seed-oil")),
        ("all olive-oil:hemp-seed-oil", swap("all", "olive-oil", "hemp-seed-oil")),
    ],
)
def test_swaps_are_read_from_a_command(text: str, tweak: Tweak) -> None:
    assert parse_swap(text) == tweak
    assert parse_swap(str(tweak).removeprefix("swap ")) == tweak


@pytest.mark.parametrize(
    ("text", "tweak"),
    [
        ("clove-bud-oil 1.2 % of oils at trace", add("clove-bud-oil", "1.2 % of oils")),
        ("clove-bud-oil 1.2% of oils", add("clove-bud-oil", "1.2 % of oils")),
        ("oat-milk 8 % of oils at oils replaces", add("oat-milk", "8 % of oils", "oils", "replaces")),
        ("oat-milk 8 % of oils at lye water, replaces", add("oat-milk", "8 % of oils", "lye water", "replaces")),
        ("honey 1 tbsp per kg oils extra", add("honey", "1 tbsp per kg oils", "trace", "extra")),
    ],
)
def test_additions_are_read_from_a_command(text: str, tweak: Tweak) -> None:
    assert parse_add(text) == tweak
    assert parse_add(str(tweak).removeprefix("add ")) == tweak


def test_settings_are_read_from_a_command() -> None:
    assert parse_set("name = a=b ") == SetField("name", "a=b")


@pytest.mark.parametrize("text", ["", "10%", "olive-oil:hemp-seed-oil", "ten olive-oil:x", "10,5 % a:b", "0.1 a:b"])
def test_what_is_no_swap_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_swap(text)


@pytest.mark.parametrize("text", ["", "clay", "clay 2", "clay 2 %", "clay 2 % of tea", "clay 2 % of oils at noon"])
def test_what_adds_nothing_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_add(text)


def test_an_addition_without_its_rate_is_told_as_it_was_typed() -> None:
    with pytest.raises(InputError) as raised:
        parse_add("honey at trace")
    (finding,) = raised.value.findings
    assert (finding.what, finding.found) == ("there is no rate of honey", "honey at trace")
    assert '"honey 2 % of oils at trace"' in finding.do


@pytest.mark.parametrize("text", ["", "superfat", "=6"])
def test_what_sets_nothing_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_set(text)


@given(st.text(max_size=60))
def test_any_words_of_a_command_give_a_tweak_or_a_finding(text: str) -> None:
    for parse in (parse_swap, parse_add, parse_set):
        try:
            tweak = parse(text)
        except InputError:
            continue
        try:
            apply_tweaks(base(), [tweak], MATERIALS)
        except InputError:
            continue


def test_the_tweaks_of_a_command_are_read_in_order_and_all_that_cannot_be_read_are_told() -> None:
    tweaks, unread = parse_tweaks(swaps=["5% olive-oil:hemp-seed-oil"], drops=["honey"], sets=["superfat=6"])
    assert tweaks == (swap(5, "olive-oil", "hemp-seed-oil"), drop("honey"), set_field("superfat", 6))
    assert unread == ()
    tweaks, unread = parse_tweaks(swaps=["ten olive-oil"], adds=["clay", "honey 1 % of oils"], sets=["superfat"])
    assert len(tweaks) == 1
    assert [finding.code for finding in unread] == ["bad-tweak"] * 3
