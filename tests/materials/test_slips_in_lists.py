"""A comma that is missing or misplaced in a list never makes a constituent that no limit knows."""

from __future__ import annotations

import pytest

from formulary.materials.constituent_names import parse_constituent
from formulary.materials.model import MaterialKind
from formulary.materials.questions import parse_answer, questions_for_lot, questions_for_material
from formulary.materials.read import parse_material
from formulary.materials.write import render_new_material
from formulary.quantity import NotAQuantity

CONTAINS = next(each for each in questions_for_lot(MaterialKind.FRAGRANCE) if each.key == "contains")
FATTY_ACIDS = next(each for each in questions_for_material("of-mine", MaterialKind.OIL) if each.key == "fatty_acids")
ACIDS = next(each for each in questions_for_material("of-mine", MaterialKind.ACID) if each.key == "acids")
SLIPS = ["eugenol 12 linalool", "citronellal 75; geraniol", "eugenol 82% linalool", "eugenol 82", "eugenol  8"]
# Systematic names of the nomenclature of organic chemistry begin with locants: digits, commas, hyphens.
NAMES = ["1,8-cineole", "2-phenylethanol", "alpha-isomethyl ionone", "p-mentha-1,8-dien-7-ol", "aldehyde C-12"]


@pytest.mark.parametrize("key", ["contains", "limits"])
@pytest.mark.parametrize("name", SLIPS)
def test_a_name_that_holds_a_percent_is_refused_in_a_file(key: str, name: str) -> None:
    text = f'format: 1\nname: Scent\nkind: fragrance\n{key}: {{"{name}": 3}}\n'
    material, findings = parse_material(text, None, "of-mine")
    assert material is None
    assert [finding.code for finding in findings] == ["bad-value"]
    assert "its own percent and a comma between them" in findings[0].do


@pytest.mark.parametrize("typed", ["citronellal 75; geraniol 3", "eugenol 82 linalool 3", "eugenol  8 2"])
def test_a_name_that_holds_a_percent_is_refused_at_the_question(typed: str) -> None:
    with pytest.raises(NotAQuantity) as raised:
        parse_answer(CONTAINS, typed)
    assert "its own percent and a comma between them" in raised.value.do


@pytest.mark.parametrize("name", NAMES)
def test_names_with_locants_stay_possible_typed_and_in_a_file(name: str) -> None:
    assert parse_constituent(name) == name.casefold()
    answer = parse_answer(CONTAINS, f"eugenol 82,{name} 5, linalool 3")
    text = render_new_material("of-mine", "Mine", MaterialKind.FRAGRANCE, {"contains": answer})
    material, findings = parse_material(text, None, "of-mine")
    assert material is not None, findings
    assert material.contains == {"eugenol": 82, name.casefold(): 5, "linalool": 3}


@pytest.mark.parametrize(
    ("question", "typed"),
    [
        (FATTY_ACIDS, "C18:1 70, C18:1 7, C16:0 23"),
        (CONTAINS, "eugenol 82, eugenol 3"),
        (CONTAINS, "Eugenol 82, eugenol 3"),
        (ACIDS, "citric 5, citric 1"),
    ],
)
def test_a_name_typed_twice_is_refused(question: object, typed: str) -> None:
    with pytest.raises(NotAQuantity, match="twice"):
        parse_answer(question, typed)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "more",
    ["kind: fragrance\ncontains: {Eugenol: 82, eugenol: 3}", "kind: acid\nacids: {citric: 5, citric acid: 1}"],
)
def test_a_name_that_stands_twice_in_other_letters_is_refused_in_a_file(more: str) -> None:
    material, findings = parse_material(f"format: 1\nname: Mine\n{more}\n", None, "of-mine")
    assert material is None
    assert [finding.code for finding in findings] == ["name-twice"]


def test_a_decimal_comma_is_told_with_what_to_write() -> None:
    with pytest.raises(NotAQuantity) as raised:
        parse_answer(CONTAINS, "eugenol 82,5")
    assert raised.value.do == "write eugenol 82.5, with a point"


def test_a_fatty_acid_without_a_percent_is_told_so() -> None:
    with pytest.raises(NotAQuantity, match=r"'C18:1' has no percent"):
        parse_answer(FATTY_ACIDS, "C18:1")
