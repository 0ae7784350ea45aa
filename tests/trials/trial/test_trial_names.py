"""A trial's id is short, cannot be misread, is never given twice, and a part of it is enough."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.errors import InputError
from trials.trial.identity import (
    ALPHABET,
    TRIAL_ID,
    code_of,
    find_trial_id,
    make_trial_id,
    random_code,
    trial_folder,
    trial_ids_among,
)

DAY = date(2026, 10, 3)
IDS = ("2026-10-03-midwinter-clove-k7wq", "2026-10-03-midwinter-clove-m3hd", "2026-10-04-harbour-base-x2gv")


def test_an_id_is_date_recipe_and_four_characters() -> None:
    made = make_trial_id(DAY, "midwinter-clove", draw_code=lambda: "k7wq")
    assert made == "2026-10-03-midwinter-clove-k7wq"
    assert trial_folder(made) == "trials/2026/2026-10-03-midwinter-clove-k7wq"


def test_no_character_can_be_taken_for_another() -> None:
    assert not set("01ilou") & set(ALPHABET)
    assert all(TRIAL_ID.fullmatch(make_trial_id(DAY, "bar", draw_code=random_code)) for _ in range(50))


def test_four_characters_are_never_given_twice_even_to_another_recipe() -> None:
    drawn = iter(["k7wq", "m3hd", "9999"])
    assert code_of(make_trial_id(DAY, "bar", IDS, draw_code=lambda: next(drawn))) == "9999"


@given(st.sampled_from(IDS))
def test_the_whole_id_the_four_characters_and_a_beginning_of_one_are_enough(identifier: str) -> None:
    assert find_trial_id(identifier, IDS) == identifier
    assert find_trial_id(code_of(identifier).upper(), IDS) == identifier


def test_a_beginning_that_only_one_has_is_enough() -> None:
    assert find_trial_id("2026-10-04", IDS) == IDS[2]


def test_an_ambiguous_beginning_lists_what_it_fits() -> None:
    with pytest.raises(InputError) as caught:
        find_trial_id("2026-10-03", IDS)
    (finding,) = caught.value.findings
    assert finding.code == "ambiguous-trial"
    assert IDS[0] in finding.what
    assert IDS[1] in finding.what


@pytest.mark.parametrize("text", ["-x", "trials/2026/x", "", "a b", "../../etc"])
def test_what_cannot_name_a_trial_is_refused(text: str) -> None:
    with pytest.raises(InputError) as caught:
        find_trial_id(text, IDS)
    assert caught.value.findings[0].code == "bad-name"


def test_an_unknown_name_offers_the_nearest() -> None:
    with pytest.raises(InputError) as caught:
        find_trial_id("k7wr", IDS)
    assert "k7wq" in caught.value.findings[0].do


def test_files_in_folders_that_are_named_otherwise_belong_to_no_trial() -> None:
    trial = "2026-10-03-midwinter-clove-k7wq"
    other_years, renamed, photo = f"trials/2025/{trial}/trial.yaml", "trials/2026/k7wq-old/trial.yaml", "trials/a.jpg"
    assert trial_ids_among([f"{trial_folder(trial)}/trial.yaml", f"{trial_folder(trial)}/cut.jpg"]) == (trial,)
    assert trial_ids_among([other_years, renamed, photo, "recipes/midwinter-clove.yaml"]) == ()
