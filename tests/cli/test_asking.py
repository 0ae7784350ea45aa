"""At a terminal `materials add`, `materials lot` and `trial start` ask for what no option said; answers are judged."""

from __future__ import annotations

from pathlib import Path

import pytest

from formulary.materials.model import MaterialKind
from formulary.materials.questions import Form, parse_answer, questions_for_lot, questions_for_material
from formulary.materials.read import parse_material
from formulary.materials.write import render_new_material
from formulary.quantity import NotAQuantity
from tests.cli.conftest import Run
from tests.cli.test_terminal import COLOUR, on_a_terminal


def ask(home: Path, typed: str, *arguments: str) -> tuple[int, str]:
    """What a command shows to somebody who types these lines; every line of it fits 80 columns."""
    status, shown = on_a_terminal(list(arguments), home, typed=typed.encode())
    # What is typed ahead is echoed at once, so the lines that it would end run on here.
    plain = COLOUR.sub("", shown).replace("> ", "> \n").replace("[y/N]: ", "[y/N]: \n")
    assert max(map(len, plain.splitlines())) <= 80
    return status, plain


def test_an_oil_is_asked_for_its_lye_and_bad_answers_are_asked_again_with_what_to_write(home: Path) -> None:
    answers = "oyl\noil\n0.19\n184 to 196\nC18:1 72, C16:0 11\n0,92 g/ml\n0.92 g/ml\n\nthe certificate\n"
    status, shown = ask(home, answers, "materials", "add", "meadow-oil")
    assert status == 0, shown
    assert "did you mean oil?" in shown
    assert "write 190 if it is grams of KOH" in shown
    assert shown.count("Saponification value, mg KOH per g") == 2
    text = (home / "materials/meadow-oil.yaml").read_text(encoding="utf-8")
    material, findings = parse_material(text, None, "meadow-oil")
    assert not findings
    assert material is not None
    assert material.reference_saponification_value is not None
    assert (material.reference_saponification_value.low, material.density_g_per_ml) == (184, 0.92)
    assert "# melting_point:   # ... °C" in text
    assert "saponification_value: {low: 184, high: 196}   # mg KOH per g" in text


def test_a_scent_is_asked_for_its_limit_and_its_certificate_only_where_there_is_one(home: Path) -> None:
    answers = "fragrance-oil\n2.9\n2026-02-11\n51\neugenol 82\n71 C\n\neugenol, linalool\n\n"
    status, shown = ask(home, answers, "materials", "add", "quay-scent", "--kind", "fragrance")
    assert status == 0, shown
    material, _ = parse_material((home / "materials/quay-scent.yaml").read_bytes(), None, "quay-scent")
    assert material is not None
    assert material.limit is not None
    assert (material.limit.percent_of_product, material.limit.edition) == (2.9, "51")
    assert material.contains == {"eugenol": 82}
    assert material.flash_point_c == 71
    status, shown = ask(home, "\n" * 7, "materials", "add", "pier-scent", "--kind", "fragrance")
    assert status == 0, shown
    assert "Date of that certificate" not in shown
    assert "Still open: without the limit of its certificate" in shown


def test_an_option_skips_its_question_and_a_taken_name_is_told_before_any(home: Path) -> None:
    options = ["--kind", "liquid", "--set", "group=milk", "--set", "water=88 %", "--set", "sugars=4.5"]
    status, shown = ask(home, "3.5\n" + "\n" * 6, "materials", "add", "ewe-milk", *options)
    assert status == 0, shown
    assert "Water, percent" not in shown
    assert "fat: 3.5" in (home / "materials/ewe-milk.yaml").read_text(encoding="utf-8")
    status, shown = ask(home, "", "materials", "add", "ewe-milk")
    assert status == 2
    assert "exists already" in shown
    assert "> " not in shown


def test_an_alkali_must_say_which_it_is_and_a_ready_made_lye_its_strength(home: Path) -> None:
    answers = "\nsodium-hydroxide\n50\n\n50\n\n"
    status, shown = ask(home, answers, "materials", "add", "drum-lye", "--kind", "alkali")
    assert status == 0, shown
    assert shown.count("This one is needed") == 2
    material, _ = parse_material((home / "materials/drum-lye.yaml").read_bytes(), None, "drum-lye")
    assert material is not None
    assert (material.group, material.water_percent) == ("lye-solution", 50)
    assert material.assay_percent is not None
    assert material.assay_percent.working == 50


def test_a_slip_in_the_strength_of_a_ready_made_lye_is_asked_for_again(home: Path) -> None:
    answers = "sodium-hydroxide\n0\n50\n30\n50\n\n"
    status, shown = ask(home, answers, "materials", "add", "drum-lye", "--kind", "alkali")
    assert status == 0, shown
    assert "with 50 % water write assay 50" in " ".join(shown.split())
    material, _ = parse_material((home / "materials/drum-lye.yaml").read_bytes(), None, "drum-lye")
    assert material is not None
    assert material.assay_percent is not None
    assert (material.water_percent, material.assay_percent.working) == (50, 50)


def test_a_value_that_is_hard_to_believe_is_only_kept_when_the_person_says_so(home: Path) -> None:
    answers = "\n\n\n\n240\nn\n190\n"
    status, shown = ask(home, answers, "materials", "lot", "olive-oil", "OL-9")
    assert status == 0, shown
    assert "hard to believe" in shown
    text = (home / "materials/olive-oil.yaml").read_text(encoding="utf-8")
    assert '"OL-9": {saponification_value: 190}' in text


def test_leaving_in_the_middle_writes_nothing(home: Path) -> None:
    status, _ = ask(home, "184 to 196\n\x04", "materials", "add", "meadow-oil", "--kind", "oil")
    assert status == 130
    assert not (home / "materials/meadow-oil.yaml").exists()


def test_a_size_that_is_none_is_asked_for_again(home: Path) -> None:
    status, shown = ask(home, "much\n750 g\nwarm\n66F\ntall\n", "trial", "start", "harbour-base")
    assert status == 0, shown
    assert shown.count("What do the oils weigh") == 2
    assert shown.count("How warm is the room") == 2
    text = next(home.glob("trials/*/*/trial.yaml")).read_text(encoding="utf-8")
    assert "size: {oils: 750 g}" in text
    assert "room: 66 °F" in text
    assert "mould: tall" in text


def test_nobody_is_asked_where_nobody_sits(formulary: Run, home: Path) -> None:
    ran = formulary("materials", "add", "meadow-oil", "--kind", "oil")
    assert ran.status == 0
    assert ">" not in ran.out
    assert "Still open: without a saponification value" in ran.out.replace("\n", " ")
    assert (home / "materials/meadow-oil.yaml").exists()


@pytest.mark.parametrize("kind", list(MaterialKind))
def test_every_example_of_a_question_is_an_answer_that_can_stand_in_the_file(kind: MaterialKind) -> None:
    from formulary.materials.questions import with_answer

    for questions in (questions_for_material("of-mine", kind), questions_for_lot(kind)):
        for question in questions:
            if "such as " not in question.asks or question.key in ("received", "opened", "best_before"):
                continue
            example = question.asks.rpartition("such as ")[2].partition(";")[0].partition(" (")[0]
            answer = example.split(", or ")[0] if question.form is Form.RANGE or kind is MaterialKind.ACID else example
            start = {"alkali": "sodium-hydroxide"} if kind is MaterialKind.ALKALI else {}
            if question.key.startswith("limit."):
                start = {"limit": {"percent_of_product": "2"}}  # type: ignore[dict-item]
            if question.after == "water":
                start |= {"group": "lye-solution", "water": "50"}
            values = with_answer(start, question, parse_answer(question, answer))
            material, findings = parse_material(render_new_material("of-mine", "Mine", kind, values), None, "of-mine")
            assert material is not None, findings
            assert [finding for finding in findings if finding.severity.value == "error"] == []


@pytest.mark.parametrize("typed", ["eugenol", "82", "eugenol 82,5", "eugenol: many"])
def test_parts_without_a_name_or_a_number_are_refused_with_an_example(typed: str) -> None:
    question = next(each for each in questions_for_lot(MaterialKind.FRAGRANCE) if each.key == "contains")
    with pytest.raises(NotAQuantity) as raised:
        parse_answer(question, typed)
    assert "eugenol 82" in raised.value.do
