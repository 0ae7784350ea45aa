"""A decimal comma, with or without a space, is refused with what to write instead: in files and on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import BASE, Run


@pytest.mark.parametrize("written", ["5,5", "5, 5", "5 ,5", "5,5 %", "5, 5 %"])
@pytest.mark.parametrize(
    ("line", "changed"),
    [
        ("superfat: 5", "superfat: {}"),
        ("{lye_concentration: 33}", "{{lye_concentration: 3{}}}"),
        ("rice-bran-oil: 22", "rice-bran-oil: {}"),
        ("rice-bran-oil: 22", "rice-bran-oil: {{percent: {}, at: trace}}"),
        ("water:", "additions:\n  - {{material: kaolin, rate: {} of oils, at: oils}}\nwater:"),
    ],
)
def test_a_file_with_a_decimal_comma_is_refused_at_its_place(
    formulary: Run, home: Path, line: str, changed: str, written: str
) -> None:
    text = BASE.replace(
        "lye: {alkali: sodium-hydroxide, superfat: 5}", "lye:\n  alkali: sodium-hydroxide\n  superfat: 5"
    )
    (home / "recipes/comma.yaml").write_text(text.replace(line, changed.format(written)), encoding="utf-8")
    ran = formulary("batch", "comma", "--oils", "500g")
    assert ran.status == 2
    assert not ran.out
    assert "recipes/comma.yaml:" in ran.err
    assert "5.5" in ran.err


def test_a_decimal_comma_hides_nothing_else_that_is_wrong_in_a_file(formulary: Run, home: Path) -> None:
    text = BASE.replace("superfat: 5}", "superfat: 5,5}").replace("rice-bran-oil: 22", "rice-bran-oil: 23")
    text = text.replace("olive-oil:", "olve-oil:")
    (home / "recipes/comma.yaml").write_text(text + "colour: blue\n", encoding="utf-8")
    ran = formulary("check", "comma")
    assert ran.status == 2
    for told in ("write 5.5", "101 %, not 100 %", "did you mean olive-oil", "`colour` is not a key"):
        assert told in ran.err
    assert "`5`" not in ran.err  # what the comma split off is no key of its own
    formulary("trial", "start", "harbour-base", "--oils", "500g")
    trial = next(home.glob("trials/*/*/trial.yaml"))
    record = trial.read_text(encoding="utf-8").replace(
        "\nobservations:\n",
        (
            "\nobservations:\n  - {age: 28 d, outcome: hardness, values: [3,1 mm, 3.3 mm]}\n"
            "  - {age: 28 d, outcome: hardnes, value: 3.2 mm}\n"
        ),
        1,
    )
    trial.write_text(record, encoding="utf-8")
    ran = formulary("check")
    assert "write 3.1 mm" in ran.err
    assert "did you mean hardness" in ran.err
    assert formulary("trial", "show", trial.parent.name).status == 2


@pytest.mark.parametrize(
    ("arguments", "meant"),
    [
        (["batch", "harbour-base", "--oils", "1, 5 kg"], "1.5"),
        (["batch", "harbour-base", "--oils", "1,000 g"], "1000 for thousands, or 1.000"),
        (["batch", "harbour-base", "--oils", "1,000,000 g"], "1000000"),
        (["batch", "harbour-base", "--mould", "25,5 x 8 x 7 cm"], "25.5"),
        (["batch", "harbour-base", "--oils", "1kg", "--weighed", "olive-oil 640, 5 g"], "640.5"),
        (["batch", "harbour-base", "--oils", "1kg", "--lot", "olive-oil=OL-7 300,5 g"], "300.5"),
        (["branch", "harbour-base", "a", "--swap", "8, 5 % olive-oil:shea-butter"], "8.5"),
        (["branch", "harbour-base", "a", "--add", "kaolin 1, 5 % of oils at oils"], "1.5"),
        (["new", "b", "--from-weights", "olive-oil 405, 5 g"], "405.5"),
        (["materials", "add", "x", "--kind", "fragrance", "--limit", "2, 9"], "2.9"),
        (["materials", "add", "x", "--kind", "fragrance", "--set", "contains={eugenol: 82, 5}"], "82.5"),
    ],
)
def test_a_command_with_a_decimal_comma_is_refused_and_writes_nothing(
    formulary: Run, home: Path, arguments: list[str], meant: str
) -> None:
    before = sorted(home.rglob("*.yaml"))
    ran = formulary(*arguments)
    assert ran.status == 2
    assert meant in ran.err
    assert sorted(home.rglob("*.yaml")) == before


def test_no_trial_is_started_by_the_weight_of_a_lot_with_a_decimal_comma(formulary: Run, home: Path) -> None:
    lot = "olive-oil=OL-7 300,5 g"
    assert formulary("trial", "start", "harbour-base", "--oils", "500g", "--lot", lot).status == 2
    assert not list(home.glob("trials/*/*"))


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["as-made", "water 283,5 g"], "283.5"),
        (["as-made", "water 283, 5 g"], "283.5"),
        (["as-made", "sunflower-oil instead of olive-oil 80,5 g"], "80.5"),
        (["as-made", "extra honey 12,5 g at oils"], "12.5"),
        (["observe", "hardness", "3, 1 mm", "--age", "28d"], "3.1"),
        (["observe", "hardness", "3.1 mm", "--age", "28,5 d"], "28.5"),
        (["event", "light trace", "--at", "~4,5 min"], "4.5"),
        (["event", "light trace", "--at", "3,5-4 min"], "3.5"),
        (["temperature", "38,5C", "--at", "1:00"], "38.5"),
        (["condition", "room", "19, 5 C"], "19.5"),
        (["lot", "olive-oil", "OL-7 300,5 g"], "300.5"),
    ],
)
def test_an_entry_with_a_decimal_comma_is_refused_and_changes_nothing(
    formulary: Run, home: Path, words: list[str], meant: str
) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "500g").status == 0
    (trial,) = home.glob("trials/*/*/trial.yaml")
    before = trial.read_bytes()
    ran = formulary("trial", words[0], trial.parent.name[-4:], *words[1:])
    assert ran.status == 2
    assert meant in ran.err
    assert trial.read_bytes() == before
