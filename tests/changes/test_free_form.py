"""Parts that nothing calculates with: every difference is found, by its path, and told in a few words."""

from __future__ import annotations

from typing import Any

from deepdiff import DeepDiff
from hypothesis import example, given
from hypothesis import strategies as st

from formulary.changes.free_form import compare_free_form, describe_free_form
from formulary.changes.recipe_changes import FieldChange

names = st.sampled_from(["mould", "cover", "cure", "lye_temperature"])
flat = st.dictionaries(names, st.sampled_from(["a", "b", "1.0", "1"]))
trees = st.recursive(
    st.sampled_from(["a", "b", "1.0"]),
    lambda part: st.lists(part, max_size=3) | st.dictionaries(names, part, max_size=3),
    max_leaves=8,
)
files = st.dictionaries(names, trees, max_size=4)


@given(flat, flat)
def test_texts_by_name_differ_where_the_general_differ_says(before: dict[str, str], after: dict[str, str]) -> None:
    tree = DeepDiff(before, after, view="tree", threshold_to_diff_deeper=0)
    judged = {level.path(output_format="list")[0] for levels in tree.values() for level in levels}
    assert {change.field for change in compare_free_form(before, after)} == judged


@given(files, files)
def test_what_is_alike_has_no_change_and_what_differs_has_one(before: dict[str, Any], after: dict[str, Any]) -> None:
    assert bool(compare_free_form(before, after)) == (before != after)
    assert compare_free_form(before, before) == ()


@given(files, files)
@example({"lye_temperature": ["a", "b"]}, {"lye_temperature": ["b", "a", "a"]})
def test_the_other_way_round_each_change_is_reversed(before: dict[str, Any], after: dict[str, Any]) -> None:
    there, back = compare_free_form(before, after), compare_free_form(after, before)
    assert {change.field for change in there} == {change.field for change in back}


def test_changes_are_told_by_their_path() -> None:
    before = {"cure": {"days": "28"}, "checks": {"off": ["castor"]}, "scale": {"step": "1 g"}}
    after = {"cure": {"days": "35", "water_lost": "60 %"}, "checks": {"off": ["castor", "honey"]}}
    changes = compare_free_form(before, after)
    assert FieldChange("cure.days", "28", "35") in changes
    assert describe_free_form(changes) == (
        "checks.off.1 added (honey), cure.days 28 → 35, cure.water_lost added (60 %), scale removed"
    )
    many = compare_free_form({}, {f"key-{number}": "x" for number in range(9)})
    assert describe_free_form(many).endswith(" and 3 more")
