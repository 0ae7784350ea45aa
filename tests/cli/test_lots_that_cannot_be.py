"""What cannot be right of a delivery is told when it is typed, and nothing is weighed or recorded by it unawares."""

from __future__ import annotations

import json

import pytest

from tests.cli.conftest import Run


@pytest.mark.usefixtures("home")
def test_an_impossible_certificate_is_told_when_it_is_typed_and_stops_the_weigh_out(formulary: Run) -> None:
    typed = formulary("materials", "lot", "olive-oil", "OY", "--set", "saponification_value=250")
    assert typed.status == 0
    assert "250 is hard to believe" in typed.err
    weighed = formulary("batch", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OY", "--json")
    assert weighed.status == 1
    assert json.loads(weighed.out)["lye"][0]["grams"] is None
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OY").status == 1
    knowingly = ("--lot", "olive-oil=OY", "--despite", "saponification-doubted")
    assert formulary("batch", "harbour-base", "--oils", "1000g", *knowingly).status == 0


@pytest.mark.usefixtures("home")
def test_a_doubtful_value_of_a_new_material_is_told_when_it_is_typed(formulary: Run) -> None:
    values = ("--set", "saponification_value=240", "--set", "fatty_acids={C18:1: 75, C16:0: 25}")
    typed = formulary("materials", "add", "meadow-oil", "--kind", "oil", *values)
    assert typed.status == 0
    assert "its fatty acids imply 19" in typed.err
