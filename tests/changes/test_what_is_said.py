"""A diff says first what a person would say aloud, then shows what changed and no more."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings

from formulary.changes.compare import compare_sides
from formulary.changes.message import save_message
from formulary.changes.text import render_changes
from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.tweaks import Tweak, add, drop, set_field, swap
from formulary.text_table import text_width
from tests.changes.worked_out import TEXT, compare, side_of, tweaked, version
from tests.laws.strategies import written_recipes


@pytest.mark.parametrize(
    ("tweaks", "said"),
    [
        ([swap("8", "olive-oil", "castor-oil")], "8 % of olive oil became castor oil; sodium hydroxide falls"),
        ([swap("all", "rice-bran-oil", "olive-oil")], "All the rice bran oil (22 %) became olive oil; sodium"),
        (
            [swap("3", "olive-oil", "castor-oil"), swap("2.5", "olive-oil", "hemp-seed-oil")],
            "5.5 % of olive oil became castor oil (3 %) and hemp seed oil (2.5 %); sodium hydroxide",
        ),
        (
            [swap("3", "olive-oil", "castor-oil"), swap("4", "coconut-oil", "castor-oil")],
            "4 % of coconut oil and 3 % of olive oil became castor oil; sodium hydroxide falls",
        ),
        (
            [swap("3", "olive-oil", "castor-oil"), swap("4", "coconut-oil", "hemp-seed-oil")],
            "7 % of the oils were exchanged (coconut oil -4, olive oil -3, hemp seed oil +4, castor oil +3); sodium",
        ),
        (
            [
                swap("8 %", "olive-oil", "castor-oil"),
                add("oat-milk", "8 % of oils", "oils", "replaces"),
                add("clove-bud-oil", "1.2 % of oils"),
            ],
            "8 % of olive oil became castor oil, oat milk came in for part of the water, and clove bud oil is new; "
            "sodium hydroxide falls",
        ),
        ([add("oat-milk", "8 % of oils", "oils", "extra")], "Oat milk is new; the lye stays the same."),
        ([drop("lavender-oil")], "Lavender oil is gone; the lye stays the same."),
        ([set_field("lavender-oil.rate", "2.5 % of oils")], "Lavender oil rose from 2 to 2.5 % of oils; the lye stays"),
        ([set_field("lavender-oil.rate", "15 g per kg oils")], "Lavender oil fell from 20 to 15 g per kg oils; the"),
        ([set_field("lavender-oil.rate", "20 g per kg oils")], "Lavender oil is the same, given in g per kg oils;"),
        ([set_field("lavender-oil.rate", "2 % of batter")], "Lavender oil went from 2 % of oils to 2 % of batter;"),
        ([set_field("rose-clay.at", "trace")], "Rose clay moved from the oils to trace; the lye stays the same."),
        ([set_field("coconut-oil.at", "trace")], "Coconut oil is held back to trace; the lye stays the same."),
        ([set_field("superfat", "6")], "The superfat rose from 5 to 6 %; sodium hydroxide falls by 1."),
        ([set_field("lye_concentration", "35")], "The lye concentration rose from 33 to 35 %; the lye stays the same."),
        ([set_field("water_to_lye", "2")], "The water is now 2 to 1 of lye (before: 33 % lye); the lye stays"),
        ([set_field("alkali", "potassium-hydroxide")], "Potassium hydroxide took the place of sodium hydroxide;"),
        ([set_field("cover", "insulated")], "Cover went from covered to insulated; the lye stays the same."),
        ([set_field("oil_temperature", "40 °C")], "Oil temperature is set to 40 °C; the lye stays the same."),
        ([set_field("notes", "Pour fast.")], "Only the name and the notes changed; the lye stays the same."),
        ([], "Only the name changed; the lye stays the same."),
    ],
)  # fmt: skip
def test_the_sentence_is_what_a_person_would_say(tweaks: list[Tweak], said: str) -> None:
    assert tweaked(*tweaks).sentence.startswith(said)


def test_the_change_of_lye_in_the_sentence_is_that_of_the_two_batches() -> None:
    changes = tweaked(swap("8", "olive-oil", "castor-oil"))
    (lye,) = changes.lye
    assert lye.before is not None
    assert lye.after is not None
    assert f"sodium hydroxide falls by {lye.before - lye.after:.1f} g for 1000 g of oils" in changes.sentence


def test_many_changes_are_counted_past_the_sixth() -> None:
    changes = tweaked(
        swap("8", "olive-oil", "castor-oil"),
        add("oat-milk", "8 % of oils", "oils", "replaces"),
        drop("lavender-oil"),
        set_field("superfat", "6"),
        set_field("lye_concentration", "35"),
        set_field("cover", "insulated"),
        set_field("mould", "slab"),
        set_field("cure", "40 d"),
    )
    assert "3 more things changed" in changes.sentence


def test_nothing_changed_is_said_so() -> None:
    base = version()
    changes = compare(base, version(TEXT.replace("53", "53.0").replace("# x", "")))
    assert changes.is_empty
    assert changes.sentence == "Nothing changed."


def test_a_stop_is_said_in_the_sentence_and_no_gram_is_shown() -> None:
    changes = tweaked(set_field("superfat", "-3"))
    assert "must not be weighed out" in changes.sentence
    assert changes.to_json()["lye"] == [
        {"material": "sodium-hydroxide", "before_grams": changes.lye[0].before, "after_grams": None}
    ]
    table = render_changes(changes)
    assert "STOP" in table
    assert re.search(r"sodium hydroxide +\d+\.\d +-\n", table)


def test_a_superfat_below_nothing_is_always_in_the_first_sentence() -> None:
    household = version(TEXT.replace("superfat: 5", "superfat: -3").replace("lye:", "purpose: household\nlye:"))
    for changes in (tweaked(set_field("superfat", "-3")), compare(household, version()), compare(household, household)):
        first = changes.sentence.partition("As it stands")[0]
        assert re.search(r"the effective superfat (is|fell from 5\.\d to|rose from) -(3\.0|2\.\d)", first), first
    assert "superfat" not in tweaked(swap("8", "olive-oil", "castor-oil")).sentence


def test_only_changed_lines_are_shown_and_the_others_are_counted() -> None:
    changes = tweaked(swap("8", "olive-oil", "castor-oil"))
    short, full = render_changes(changes), render_changes(changes, show_all=True)
    assert "coconut oil" not in short
    assert "coconut oil" in full
    assert f"{changes.hidden} lines unchanged (--all shows them)" in short
    assert "unchanged" not in full


@given(written_recipes())
@settings(max_examples=25)
def test_show_all_adds_exactly_the_hidden_lines(written: tuple[Recipe, str]) -> None:
    recipe, text = written
    if recipe.lye.by is not None:
        return
    changes = compare(version(text, recipe.slug), version(text, recipe.slug))
    rows = [line for line in render_changes(changes, show_all=True, width=200).splitlines() if line.strip()]
    headings = [line for line in rows if re.search(r"^  (?! ).* (?:points|g|after|change)$|^ +before +after", line)]
    headings += [line for line in rows if re.match(r"  (?:additions|scent), ", line)]
    assert len(rows) - len(set(headings)) - len(changes.sentence.splitlines()) - 2 == changes.hidden


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_wider_than_asked(width: int) -> None:
    changes = tweaked(
        swap("8", "olive-oil", "castor-oil"),
        add("oat-milk", "8 % of oils", "oils", "replaces"),
        add("clove-bud-oil", "1.2 % of oils"),
        set_field("water_to_lye", "2"),
    )
    for show_all in (False, True):
        assert (
            max(text_width(line) for line in render_changes(changes, width=width, show_all=show_all).splitlines())
            <= width
        )


def test_numbers_of_a_column_stand_with_their_points_under_one_another() -> None:
    table = render_changes(tweaked(swap("8.25", "olive-oil", "castor-oil"), set_field("rose-clay.rate", "3 % of oils")))
    rows = [line for line in table.splitlines() if re.search(r"\d+\.\d+ +\d+\.\d+ +[+-]\d", line)]
    assert len(rows) > 4
    assert len({re.search(r"\.\d", line).start() for line in rows}) == 1  # type: ignore[union-attr]


def test_digits_follow_what_was_written() -> None:
    table = render_changes(tweaked(swap("8.25", "olive-oil", "castor-oil")))
    assert re.search(r"olive oil +53\.00 +44\.75 +-8\.25", table)


HALVES = """\
portions:
  - {name: plain, share: 50, gets: {lavender-oil: 0}}
  - {name: scented, share: 50, gets: {lavender-oil: 100}}
"""


def test_oils_that_came_in_or_are_gone_kept_no_proportion() -> None:
    one_oil = TEXT.replace("  olive-oil: 53\n  coconut-oil: 25\n  rice-bran-oil: 22\n", "  olive-oil: 100\n")
    became = compare(version(one_oil), version()).sentence
    assert became.startswith("47 % of olive oil became coconut oil (25 %) and rice bran oil (22 %); sodium hydroxide")
    gone = compare(version(), version(one_oil)).sentence
    assert gone.startswith("All the coconut oil (25 %) and all the rice bran oil (22 %) became olive oil; sodium")


def test_a_batter_that_is_divided_is_compared_portion_by_portion_with_the_whole() -> None:
    changes = compare(version(), version(TEXT + HALVES))
    assert changes.sentence == "The batter is divided into plain and scented; the lye stays the same."
    scent = {figure.key: (figure.shown(figure.before), figure.shown(figure.after)) for figure in changes.scent}
    whole = scent["lavender-oil in plain"][0]
    assert scent == {
        "lavender-oil in plain": (whole, "0.00"),
        "lavender-oil in scented": (whole, scent["lavender-oil in scented"][1]),
    }
    assert float(scent["lavender-oil in scented"][1]) == pytest.approx(2 * float(whole), rel=0.05)
    assert "batter is no longer divided" in compare(version(TEXT + HALVES), version()).sentence


def test_a_second_alkali_joins_and_leaves() -> None:
    both = version(
        TEXT.replace("alkali: sodium-hydroxide", "alkali: {by: mass, sodium-hydroxide: 90, potassium-hydroxide: 10}")
    )
    changes = compare(version(), both)
    assert changes.sentence.startswith("Potassium hydroxide joined sodium hydroxide; potassium hydroxide rises by")
    assert "alkali: sodium-hydroxide -> by mass: potassium-hydroxide 10 %" in render_changes(changes)
    assert compare(both, version()).sentence.startswith(
        "Potassium hydroxide left the alkalis; potassium hydroxide falls"
    )


def test_findings_that_appear_and_vanish_are_shown_once_and_not_by_their_figures() -> None:
    there = tweaked(add("clove-bud-oil", "1.2 % of oils"))
    assert "phenol-takes-alkali" in [finding.code for finding in there.appeared]
    base = version()
    more = base.branch("more-clove", add("clove-bud-oil", "1.2 % of oils"))
    most = base.branch("most-clove", add("clove-bud-oil", "1.3 % of oils"))
    same = compare(version(more.text, "more-clove"), version(most.text, "most-clove"))
    assert "phenol-takes-alkali" not in [finding.code for finding in (*same.appeared, *same.vanished)]
    back = compare(more, base)
    assert "phenol-takes-alkali" in [finding.code for finding in back.vanished]


def test_batches_of_different_size_are_not_compared() -> None:
    base, register = version(), read_builtin_register()
    with pytest.raises(InputError):
        compare_sides(side_of(base, register), side_of(base, register, oil_mass_g=500.0))


def test_an_oil_of_unknown_fatty_acids_moves_none_of_the_others() -> None:
    known = read_builtin_register()
    unknown = {**known, "olive-oil": replace(known["olive-oil"], fatty_acids={})}
    base = version()
    for after in (base.branch("a-b", swap("20", "olive-oil", "rice-bran-oil")), base.branch("a-c", drop("rose-clay"))):
        full, blind = (compare_sides(side_of(base, of), side_of(after, of)) for of in (known, unknown))
        assert "not known" not in {figure.key for figure in full.fatty_acids}
        of_all = {figure.key: figure for figure in full.fatty_acids}
        told = {figure.key: figure for figure in blind.fatty_acids}
        olive = {
            side: next(o.percent for o in v.recipe.oils if o.material == "olive-oil")
            for side, v in (("before", base), ("after", after))
        }
        missing = told.pop("not known")
        assert (missing.before, missing.after) == pytest.approx((float(olive["before"]), float(olive["after"])))
        assert told["C12:0"].difference == pytest.approx(of_all["C12:0"].difference, abs=1e-9)  # olive oil has none
        for acid, figure in told.items():
            assert (figure.before or 0.0) <= (of_all[acid].before or 0.0) + 1e-9


def test_a_register_that_changed_is_told_on_lines_of_its_own() -> None:
    base, register = version(), dict(read_builtin_register())
    olive = register["olive-oil"]
    assert olive.saponification_value is not None
    certificate = replace(olive.saponification_value, working=olive.saponification_value.working + 4)
    newer = {**register, "olive-oil": replace(olive, saponification_value=certificate)}
    changes = compare_sides(side_of(base, register), side_of(base, newer))
    assert not changes.is_empty
    assert changes.sentence.startswith("The recipe is the same, and what is known of its materials is not; sodium")
    assert [(change.material, change.field) for change in changes.register] == [("olive-oil", "saponification_value")]
    assert "the register itself changed" in render_changes(changes)


def test_a_save_says_why_first_and_then_what_changed() -> None:
    message = save_message(
        "winter clove\n\nfor the market",
        [("midwinter-clove", tweaked(set_field("superfat", "6")))],
        ["materials/x.yaml new"],
    )
    lines = message.splitlines()
    assert lines[:5] == ["winter clove", "", "for the market", "", lines[4]]
    assert lines[4].startswith("midwinter-clove: The superfat rose from 5 to 6 %")
    assert lines[-1] == "also: materials/x.yaml new"
    assert all(len(line) <= 72 for line in lines)


def test_a_save_of_nothing_but_other_files_is_short() -> None:
    assert save_message("settings", (), ["formulary.yaml"]) == "settings\n\nalso: formulary.yaml\n"


def test_of_many_oils_that_moved_the_largest_are_named_and_the_rest_counted() -> None:
    swaps = [swap(points, "olive-oil", oil) for points, oil in (("5", "castor-oil"), ("3", "hemp-seed-oil"))]
    swaps += [swap(points, "coconut-oil", oil) for points, oil in (("2", "shea-butter"), ("1.48", "cocoa-butter"))]
    said = tweaked(*swaps).sentence
    assert said.startswith(
        "6 oils changed, 11.48 % of all (olive oil -8, castor oil +5, coconut oil -3.48 and 3 others)"
    )
