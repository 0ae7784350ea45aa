"""A recipe is shown, checked and compared for 1000 g of oils, for which nobody's vessel or scale is too small."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run

SMALL = "vessels: {pot: 800 ml, jug: 200 ml}\nmoulds: {tiny: 100 ml}\n"
OF_A_SIZE = {"pot-small", "jug-small", "size-unlikely", "weight-small"}


@pytest.fixture
def small(home: Path, formulary: Run) -> Path:
    settings = home / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8") + SMALL, encoding="utf-8")
    formulary("branch", "harbour-base", "light", "--add", "rose-clay 0.4 % of oils at oils")
    return home


def codes(text: str, *of: str) -> set[str]:
    told = json.loads(text)
    for name in of:
        told = told[name]
    return {finding["code"] for finding in told}


@pytest.mark.usefixtures("small")
def test_what_is_told_for_a_kilogram_says_nothing_of_vessels(formulary: Run) -> None:
    poured = formulary("batch", "light", "--oils", "1000g", "--json")
    assert codes(poured.out, "findings") >= OF_A_SIZE
    for command in (["show", "light"], ["check"]):
        assert not codes(formulary(*command, "--json").out, "findings") & (OF_A_SIZE - {"weight-small"})
        assert "jug-small" not in formulary(*command).out


@pytest.mark.usefixtures("small")
def test_a_diff_says_nothing_of_the_scale_and_vessels_of_one_size(formulary: Run) -> None:
    formulary("branch", "harbour-base@latest", "weak", "--set", "lye_concentration=18")
    for after in ("light", "weak"):
        for sides in (("harbour-base", after), (after, "harbour-base")):
            found = formulary("diff", *sides, "--json").out
            assert not (codes(found, "findings", "appeared") | codes(found, "findings", "vanished")) & OF_A_SIZE


def test_a_diff_tells_that_a_scale_is_so_coarse_that_free_lye_would_stay(formulary: Run, home: Path) -> None:
    settings = home / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8").replace("step: 1 g,", "step: 10 g,"), encoding="utf-8")
    swaps = ("--swap", "all rice-bran-oil:olive-oil", "--swap", "10% coconut-oil:castor-oil")
    more = ("--swap", "5% olive-oil:castor-oil", "--set", "lye.superfat=3")
    assert formulary("branch", "harbour-base", "lean", *swaps, *more).status == 0
    found = formulary("diff", "harbour-base", "lean", "--oils", "150g", "--json")
    appeared = json.loads(found.out)["findings"]["appeared"]
    assert ("stop", "oils-rounded") in {(each["severity"], each["code"]) for each in appeared}
    assert found.status == 1
