"""What a recipe costs at any size and with its lots, and a trial as it was really made. Prices are invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run


@pytest.fixture
def priced(formulary: Run, home: Path) -> Path:
    for command in (
        ("materials", "add", "olive-oil", "--set", "price=9.00 per kg"),
        ("materials", "lot", "olive-oil", "OL-7", "--price", "12.00 per kg"),
        ("materials", "add", "coconut-oil", "--set", "price=4.00 per kg"),
        ("save", "-m", "what I have"),
    ):
        ran = formulary(*command)
        assert ran.status == 0, ran.err
    return home


def lines(formulary: Run, *words: str) -> dict[str, float]:
    tree = json.loads(formulary("cost", *words, "--json").out)
    return {line["material"]: line["cost"] for line in tree["lines"]}


def grams(formulary: Run, *words: str) -> dict[str, float]:
    return {line["material"]: line["grams"] for line in json.loads(formulary("batch", *words, "--json").out)["oils"]}


@pytest.mark.parametrize(
    "size",
    [
        ("--oils", "500g"),
        ("--total", "1500g"),
        ("--mould", "25 x 8 x 7 cm"),
        ("--bars", "12", "--bar", "110g"),
        ("--bars", "12", "--bar", "100g", "--cured"),
    ],
)
@pytest.mark.usefixtures("priced")
def test_a_batch_of_any_size_costs_its_grams(formulary: Run, size: tuple[str, ...]) -> None:
    oils = grams(formulary, "harbour-base", *size)
    found = lines(formulary, "harbour-base", *size)
    assert found["olive-oil"] == pytest.approx(9.00 * oils["olive-oil"] / 1000)
    assert found["coconut-oil"] == pytest.approx(4.00 * oils["coconut-oil"] / 1000)
    tree = json.loads(formulary("cost", "harbour-base", *size, "--json").out)
    assert tree["total"] == pytest.approx(sum(found.values()))
    assert (tree["per_bar"] is not None) == ("--bars" in size)


@pytest.mark.usefixtures("priced")
def test_a_lots_price_counts_when_the_lot_is_named(formulary: Run) -> None:
    plain, of_lot = lines(formulary, "harbour-base"), lines(formulary, "harbour-base", "--lot", "olive-oil=OL-7")
    assert of_lot["olive-oil"] == pytest.approx(plain["olive-oil"] * 12 / 9)
    assert of_lot["coconut-oil"] == plain["coconut-oil"]


def test_a_trial_costs_what_was_really_weighed_at_the_prices_of_its_day(formulary: Run, priced: Path) -> None:
    formulary("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-7")
    code = next(priced.glob("trials/*/*")).name[-4:]
    for entry in (("as-made", code, "olive-oil 500 g"), ("bars", code, "--cut", "12")):
        assert formulary("trial", *entry).status == 0
    dearer = (priced / "materials/coconut-oil.yaml").read_text(encoding="utf-8").replace("4.00 per kg", "8.00 per kg")
    (priced / "materials/coconut-oil.yaml").write_text(dearer, encoding="utf-8")
    found = lines(formulary, code)
    planned = grams(formulary, "harbour-base", "--oils", "1000g")
    assert found["olive-oil"] == pytest.approx(6.00)  # 500 g at 12.00 for a kilogram
    assert found["coconut-oil"] == pytest.approx(4.00 * planned["coconut-oil"] / 1000)
    assert "for each of 12 bars, at least" in formulary("cost", code).out
    refused = formulary("cost", code, "--oils", "500g")
    assert refused.status == 2
    assert "own size" in refused.err


def test_what_a_rebatch_of_a_day_to_come_takes_in_costs_nothing_yet(formulary: Run, priced: Path) -> None:
    formulary("trial", "start", "harbour-base", "--oils", "1000g")
    code = next(priced.glob("trials/*/*")).name[-4:]
    poured = lines(formulary, code)
    for at, more, how in (("100 d", 0.0, ()), ("1 h", 9.00 * 0.1, ("--correct",))):
        done = formulary("trial", "after", code, "rebatched", "--at", at, "--with", "olive-oil 100 g", *how)
        assert done.status == 0, done.out
        assert lines(formulary, code)["olive-oil"] == pytest.approx(poured["olive-oil"] + more)


@pytest.mark.usefixtures("priced")
def test_a_name_that_is_neither_is_told(formulary: Run) -> None:
    assert formulary("cost", "harbour-bas").status == 2
    assert "did you mean harbour-base" in formulary("cost", "harbour-bas").err
