"""A command that takes no portion by itself says so, and which do; it never guesses at another name."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import BASE, Run

DIVIDED = BASE + (
    "scent:\n  - {material: lavender-oil, rate: 1 % of oils}\n"
    "portions:\n  - {name: plain, share: 50, gets: {}}\n  - {name: lav, share: 50, gets: {lavender-oil: 100}}\n"
)


def code_of_day(home: Path, day: str) -> str:
    (found,) = (home / "trials").glob(f"*/{day}-two-*")
    return found.name[-4:]


@pytest.fixture
def two(home: Path, formulary: Run) -> str:
    (home / "recipes/two.yaml").write_text(DIVIDED.replace("Harbour base", "Two"), encoding="utf-8")
    started = formulary("trial", "start", "two", "--oils", "500g", "--made", "2026-01-02")
    assert started.status == 0, started.err
    return code_of_day(home, "2026-01-02")


@pytest.mark.parametrize(
    "command",
    [
        *("show two:lav", "check two:lav", "batch two:lav --oils 500g", "blend two:lav", "cost two:lav"),
        *("history two:lav", "branch two:lav kid", "save two:lav -m x", "trial start two:lav --oils 500g"),
        *("trial show TRIAL:lav", "cost TRIAL:lav", "report two:lav", "table two:lav", "two@latest:lav"),
    ],
)
def test_a_portion_is_refused_with_the_name_of_the_whole(command: str, formulary: Run, two: str) -> None:
    words = command.replace("TRIAL", two).split()
    ran = formulary(*(words if len(words) > 1 else ("blend", *words)))
    assert ran.status == 2
    named = next(word for word in words if ":lav" in word)
    assert f"{named!r} is one portion" in ran.err.replace("\n", " ")
    assert f"name the whole: {named.partition(':')[0]}; diff, compare and ingredients take one" in ran.err


@pytest.mark.parametrize("command", ["ingredients two:lav", "diff two:lav two:plain", "compare TRIAL:lav TRIAL:plain"])
def test_what_takes_a_portion_takes_it(command: str, formulary: Run, two: str) -> None:
    ran = formulary(*command.replace("TRIAL", two).split())
    assert ran.status == 0, ran.err
    assert "lav" in ran.out


def test_a_portion_that_there_is_not_is_told_with_those_that_there_are(formulary: Run, two: str) -> None:
    ran = formulary("ingredients", "two:lab")
    assert (ran.status, "did you mean lav" in ran.err, bool(two)) == (2, True, True)


@pytest.mark.usefixtures("two")
def test_a_mould_by_its_name_is_told_with_its_inside(formulary: Run, home: Path) -> None:
    settings = home / "formulary.yaml"
    text = settings.read_text(encoding="utf-8")
    if "\nmoulds:" not in text:
        settings.write_text(text + "\nmoulds: {tall: 25 x 8 x 7 cm}\n", encoding="utf-8")
    started = formulary("trial", "start", "two", "--mould", "tall", "--made", "2026-01-03")
    assert started.status == 0, started.err
    code = code_of_day(home, "2026-01-03")
    assert "for the mould tall, 25 x 8 x 7 cm" in " ".join(formulary("trial", "show", code).out.split())
