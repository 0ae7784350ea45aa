"""A name that is not known comes back with the ones that were most likely meant."""

from __future__ import annotations

import pytest

from formulary.materials.register import read_builtin_register
from formulary.names import nearest, suggest

OILS = [name for name, material in read_builtin_register().items() if material.kind.is_fat]
ALKALIS = ["sodium-hydroxide", "potassium-hydroxide"]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("olive oil", "olive-oil"),
        ("Olive_Oil", "olive-oil"),
        ("shea", "shea-butter"),
        ("castor", "castor-oil"),
        ("olve-oil", "olive-oil"),
        ("rise-bran-oil", "rice-bran-oil"),
    ],
)
def test_an_oil_in_a_persons_own_spelling_is_found_first(typed: str, meant: str) -> None:
    assert nearest(typed, OILS)[0] == meant


@pytest.mark.parametrize(
    ("typed", "meant"), [("NaOH", "sodium-hydroxide"), ("KOH", "potassium-hydroxide"), ("lye", "sodium-hydroxide")]
)
def test_an_alkali_by_its_formula_or_its_common_name_is_found(typed: str, meant: str) -> None:
    assert nearest(typed, ALKALIS)[0] == meant


def test_names_that_share_only_their_ending_are_not_alike() -> None:
    assert "linseed-oil" not in nearest("lavender-oil", OILS)
    assert nearest("xyzzy-butter", OILS) == ()


def test_lots_come_back_as_they_are_written() -> None:
    assert nearest("ol-8", ["OL-7", "CB-2291"]) == ("OL-7",)
    assert suggest("OL-8", ["OL-7"], "none") == "did you mean OL-7?"
