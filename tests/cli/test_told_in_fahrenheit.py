"""With `temperature: °F` no command tells a temperature in °C alone, and files and programs keep °C."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import BASE, Run

WARM = """\
process: {lye_temperature: 38 °C, oil_temperature: 40 °C}
scent:
  - {material: clove-bud-oil, rate: 1 % of oils, at: trace}
"""
# What is known of a figure's source and how a material behaves at all, said in both units where it says one.
BOTH = re.compile(r"\d °C \([^()]*°F\)")
FIGURES = re.compile(r"(-?\d+(?:\.\d+)?) °([CF])")
ENTRIES = [
    ["condition", "room", "66F"],
    ["condition", "lye_temperature", "39 °C"],
    ["event", "lye in"],
    ["temperature", "38C", "--at", "1:00"],
    ["event", "poured", "--at", "9:30"],
    ["after", "oven", "--at", "1 h", "--temperature", "70 °C", "--for", "2h"],
    ["observe", "peak temperature", "62 °C", "--age", "0d"],
]
LOOKS = [
    ["show", "harbour-base", "--all"],
    ["batch", "harbour-base", "--oils", "1000g", "--all"],
    ["batch", "harbour-base", "--oils", "1000g", "harbour-base", "--oils", "500g"],
    ["check"],
    ["trial", "list"],
    ["trial", "list", "--by", "peak temperature"],
    ["outcomes"],
    ["outcomes", "peak temperature"],
    ["outcomes", "time above"],
    ["materials", "show", "clove-bud-oil"],
    ["blend", "harbour-base"],
    ["explain", "peak temperature", "--all"],
    ["explain", "working time", "--all"],
    ["next", "peak temperature"],
]


@pytest.fixture
def codes(home: Path, formulary: Run) -> list[str]:
    """Two trials with temperatures wherever one can be recorded."""
    (home / "recipes/harbour-base.yaml").write_text(BASE + WARM, encoding="utf-8")
    assert formulary("save", "-m", "warm").status == 0
    for _ in range(2):
        assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    found = [folder.name.rsplit("-", 1)[-1] for folder in sorted((home / "trials").glob("*/*"))]
    for number, code in enumerate(found):
        for words in ENTRIES:
            more = ["64 °C" if word == "62 °C" and number else word for word in words]
            ran = formulary("trial", more[0], code, *more[1:])
            assert ran.status in (0, 1), ran.err
    return found


def place(figure: str) -> float:
    """What one more in the last digit of a figure is."""
    return 10.0 ** -len(figure.partition(".")[2]) * 1.0001


def read_in_fahrenheit(home: Path) -> None:
    settings = home / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8") + "temperature: °F\n", encoding="utf-8")


def test_no_text_tells_a_temperature_in_celsius_alone_and_all_convert_back(
    home: Path, codes: list[str], formulary: Run
) -> None:
    looks = [*LOOKS, ["compare", *codes, "--all"], ["diff", "harbour-base", codes[0], "--all"], ["diff", *codes]]
    looks += [["trial", "show", codes[0], "--all"], ["trial", "recalculate", codes[0]]]
    there = [formulary(*words) for words in looks]
    read_in_fahrenheit(home)
    here = [formulary(*words) for words in looks]
    assert any("°C" in ran.out for ran in there)
    for words, one, other in zip(looks, there, here, strict=True):
        assert one.status == other.status, words
        text, kept = (BOTH.sub("", " ".join(ran.out.split())) for ran in (other, one))
        assert "°C" not in text, (words, text)
        told, was = FIGURES.findall(text), FIGURES.findall(kept)
        assert len(told) == len(was), words
        if words[0] in ("explain", "next", "compare"):  # which tell steps and differences, too
            continue
        for (fahrenheit, _), (celsius, _) in zip(told, was, strict=True):
            rounding = 0.5 * place(fahrenheit) / 1.8 + 0.5 * place(celsius)
            assert abs((float(fahrenheit) - 32) / 1.8 - float(celsius)) <= rounding, (words, fahrenheit, celsius)


def test_sheets_and_reports_are_in_fahrenheit(home: Path, codes: list[str], formulary: Run) -> None:
    read_in_fahrenheit(home)
    for words in (
        ["batch", "harbour-base", "--oils", "1000g", "--sheet", "page.html"],
        ["trial", "sheet", codes[0], "-o", "page.html"],
        ["report", "harbour-base", "-o", "page.html"],
    ):
        assert formulary(*words).status in (0, 1)
        page = (home / "page.html").read_text(encoding="utf-8")
        assert "°F" in page, words
        assert "°C" not in BOTH.sub("", page), words


def test_json_and_tables_keep_celsius(home: Path, codes: list[str], formulary: Run) -> None:
    looks = [
        ["trial", "show", codes[0], "--json"],
        ["compare", *codes, "--json"],
        ["trial", "list", "--by", "peak temperature", "--json"],
        ["outcomes", "--json"],
        ["materials", "show", "beeswax", "--json"],
    ]
    tables = [
        ["table"],
        ["compare", *codes, "--as", "csv"],
        ["trial", "list", "--by", "peak temperature", "--as", "md"],
    ]
    there = [formulary(*words).out for words in (*looks, *tables)]
    read_in_fahrenheit(home)
    here = [formulary(*words).out for words in (*looks, *tables)]

    def figures(tree: object) -> object:
        """All but the sentence, which is for people."""
        if isinstance(tree, dict):
            return {key: figures(value) for key, value in tree.items() if key != "sentence"}
        return [figures(each) for each in tree] if isinstance(tree, list) else tree

    assert here[len(looks) :] == there[len(looks) :]
    for one, other in zip(there[: len(looks)], here[: len(looks)], strict=True):
        assert figures(json.loads(one)) == figures(json.loads(other))


def test_what_is_recorded_is_written_as_it_was_and_a_unit_that_is_none_is_told(
    home: Path, codes: list[str], formulary: Run
) -> None:
    read_in_fahrenheit(home)
    assert formulary("trial", "condition", codes[0], "oil_temperature", "104 °F").status == 0
    record = next((home / "trials").glob(f"*/*{codes[0]}/trial.yaml")).read_text(encoding="utf-8")
    assert "oil_temperature: 104 °F" in record
    # 104 °F is the recipe's 40 °C, so nothing of it differs.
    assert "oil temperature" not in formulary("diff", "harbour-base", codes[0]).out
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    started = max((home / "trials").glob("*/*-harbour-base-*/trial.yaml"), key=lambda path: path.stat().st_mtime_ns)
    assert "oil_temperature:   # planned 104 °F" in started.read_text(encoding="utf-8")
    settings = home / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8").replace("temperature: °F", "temperature: K"), "utf-8")
    told = formulary("check")
    assert told.status == 2
    assert "one of: °C, °F" in told.out + told.err
