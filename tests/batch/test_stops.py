"""What a stop does: it hides every gram, some can never be overridden, and none is left after its `do`.

The files that trigger each stop stand in `finding_cases`.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from formulary.batch.overriding import demand_weighable
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weigh_out_text import render_batch
from formulary.errors import StopError
from formulary.materials.register import read_builtin_register
from tests.batch.finding_cases import CASES, Case, superfat
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN, codes, read_recipe

# A loaf as made has its grams in the pot already, and nothing to hide.
STOPS = [case for case in CASES if case.finding.startswith("stop") and case.triggers.made is None]


def stop_codes(kitchen: Kitchen) -> set[str]:
    return codes(kitchen.weigh_out(), "stop")


@pytest.mark.parametrize("case", STOPS, ids=lambda case: case.finding)
def test_a_file_after_do_has_no_stop_at_all(case: Case) -> None:
    assert case.mended is not None, "no stop may stand always"
    assert stop_codes(case.mended) == set()


@pytest.mark.parametrize("case", STOPS, ids=lambda case: case.finding)
def test_a_stopped_batch_shows_no_gram_anywhere(case: Case) -> None:
    batch = case.triggers.weigh_out()
    assert batch.is_stopped
    assert not list(grams_in(batch.to_json()))
    text = render_batch(batch)
    assert "STOP" in text
    assert "In the jug" not in text


def grams_in(value: object) -> Iterator[object]:
    """Every value in the JSON whose key ends in `grams` and that is not null."""
    if isinstance(value, dict):
        for key, item in value.items():
            if key.endswith("grams") and item is not None:
                yield item
            yield from grams_in(item)
    elif isinstance(value, list):
        for item in value:
            yield from grams_in(item)


def test_an_alkali_with_no_share_is_left_out_and_no_larger_batch_is_asked_for() -> None:
    text = PLAIN.replace(
        "alkali: sodium-hydroxide", "alkali: {by: mass, sodium-hydroxide: 100, potassium-hydroxide: 0}"
    )
    batch = work_out_batch(read_recipe(text), read_builtin_register(), oil_mass_g=1000.0)
    (finding,) = (finding for finding in batch.findings if finding.code == "alkali-none")
    assert finding.do.startswith("leave potassium-hydroxide out of `alkali`")


def test_household_soap_may_have_a_negative_superfat_and_is_warned_of_it() -> None:
    batch = superfat("-1", "purpose: household\n").weigh_out()
    assert codes(batch, "stop") == set()
    assert "superfat-negative" in codes(batch, "warn")


@pytest.mark.parametrize("code", ["lye-excess", "superfat-negative", "saponification-unknown", "conflict-open"])
def test_some_stops_can_never_be_overridden(code: str) -> None:
    kitchen = next(case.triggers for case in STOPS if case.finding == f"stop {code}")
    with pytest.raises(StopError) as raised:
        demand_weighable(kitchen.weigh_out(), despite=stop_codes(kitchen))
    assert code in [finding.code for finding in raised.value.findings]


def test_another_stop_can_be_overridden_by_its_code_alone() -> None:
    batch = next(case.triggers for case in STOPS if case.finding == "stop scent-limit").weigh_out()
    assert not demand_weighable(batch, despite=["scent-limit"]).is_stopped
    with pytest.raises(StopError):
        demand_weighable(batch, despite=["jug-saturated"])
