"""How far scents are told to be lowered, from their share of a bar in round percent.

A bar gets lighter with its scents: when a share p of it is lowered to a part x, that share is x p / (1 - p + x p).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.model import PortionFigures, Pot, PotLine, WeighedScent
from formulary.batch.scent_checks import check_scent
from formulary.finding import Finding, Place
from formulary.materials.model import Material, MaterialKind


def material(slug: str, contains: Mapping[str, float], limits: Mapping[str, float]) -> Material:
    return Material(slug, slug, MaterialKind.FRAGRANCE, contains=contains, limits=limits)


def scents(*lines: tuple[str, float, float], limit: float | None = None) -> tuple[WeighedScent, ...]:
    """Lines of name, percent of the cured and percent of the dry bar."""
    return tuple(WeighedScent(name, "trace", 10.0, 1.0, 1.0, cured, dry, limit) for name, cured, dry in lines)


def told(
    lines: tuple[WeighedScent, ...],
    contains: Mapping[str, Mapping[str, float]] | None = None,
    limits: Mapping[str, float] | None = None,
    portion: str = "whole",
) -> dict[str, Finding]:
    names = [line.material for line in lines]
    materials = {name: material(name, (contains or {}).get(name, {}), limits or {}) for name in names}
    scent = [PotLine(name, "scent", "trace", 10.0) for name in names]
    pot = Pot((PotLine("oil", "oil", "oils", 1000.0), *scent))
    figures = [PortionFigures(portion, 100.0, 1400.0, lines)]
    found = check_scent(pot, figures, materials, lambda *_: Place(), is_planned=True)
    return {finding.code: finding for finding in found}


def percent(finding: Finding) -> int:
    match = re.search(r"to (\d+) % of what", finding.do)
    assert match is not None, finding.do
    return int(match.group(1))


def left(part: float, *shares: float) -> float:
    """Percent of the bar that scents of these shares are once they are lowered to a part of what they are."""
    whole = sum(shares)
    return 100 * part * whole / (100 - whole + part * whole)


SHARES = st.floats(0.5, 10)


@settings(max_examples=60, deadline=None)
@given(SHARES, SHARES, st.floats(0.05, 0.98))
def test_a_blend_is_lowered_to_the_whole_percent_that_its_limits_allow(
    first: float, second: float, part: float
) -> None:
    limit = part * (first + second)
    finding = told(scents(("one", first, first), ("two", second, second), limit=limit))["scent-blend"]
    to = percent(finding)
    assert left(to / 100, first, second) <= limit * (1 + 1e-6)
    assert left((to + 1) / 100, first, second) > limit
    assert finding.do.endswith(f"lower one and two to {to} % of what they are")


@settings(max_examples=60, deadline=None)
@given(SHARES, SHARES, st.floats(20, 90), st.booleans())
def test_scents_are_lowered_to_what_their_constituent_allows(
    first: float, second: float, holds: float, only_dry: bool
) -> None:
    share = (first + second) * holds / 100
    limit = share * 0.8
    cured = 0.7 if only_dry else 1.0
    lines = scents(("one", first * cured, first), ("two", second * cured, second), ("three", 5.0, 5.0))
    contains = {"one": {"musk": holds}, "two": {"musk": holds}}
    found = told(lines, contains, {"musk": limit})
    finding = found["constituent-limit-dry" if only_dry else "constituent-limit"]
    assert len({"constituent-limit", "constituent-limit-dry"} & set(found)) == 1
    to = percent(finding)
    assert left(to / 100, first, second) * holds / 100 <= limit * (1 + 1e-6)
    assert left((to + 1) / 100, first, second) * holds / 100 > limit
    assert "lower one and two to" in finding.do
    assert "three" not in finding.do
    assert "materials/one.yaml" in finding.do


def test_what_a_constituent_finding_says() -> None:
    contains = {"one": {"musk": 50.0}}
    over = told(scents(("one", 4.0, 5.0)), contains, {"musk": 1.0}, "half")["constituent-limit"]
    assert over.what == "musk is 2 % of the cured bar in the half portion, over all scents; its limit is 1 %"
    dry = told(scents(("one", 4.0, 5.0)), contains, {"musk": 2.25})["constituent-limit-dry"]
    assert dry.what == (
        "musk is 2 % of the cured bar, over all scents, but 2.5 % once the bar is quite dry; its limit is 2.25 %"
    )
    assert "lower one to 89 % of what it is" in dry.do


@pytest.mark.parametrize(("limit", "is_left_out"), [(0.0, True), (0.004, True), (0.03, False)])
def test_what_no_whole_percent_is_left_of_is_left_out(limit: float, *, is_left_out: bool) -> None:
    found = told(scents(("one", 2.0, 2.0)), {"one": {"musk": 50.0}}, {"musk": limit})["constituent-limit"]
    assert ("leave one out" in found.do) == is_left_out


def test_a_scent_of_two_lines_is_named_once() -> None:
    lines = scents(("one", 2.0, 2.0), ("two", 2.0, 2.0), ("one", 1.0, 1.0), limit=4.0)
    assert "lower one and two to" in told(lines)["scent-blend"].do


@pytest.mark.parametrize(("hair", "is_over"), [(0.0, False), (0.5e-9, False), (1e-9, False), (2e-9, True)])
def test_a_rounding_of_the_last_digit_passes_no_limit(hair: float, *, is_over: bool) -> None:
    over = 1 + hair
    assert ("scent-limit" in told(scents(("one", 2 * over, 2), limit=2.0))) == is_over
    assert ("scent-limit-dry" in told(scents(("one", 1, 2 * over), limit=2.0))) == is_over
    both = scents(("one", 2 + 4 * hair, 2), ("two", 2, 2), limit=4.0)
    assert ("scent-blend" in told(both)) == is_over
    pure = {"one": {"musk": 100.0}}
    assert ("constituent-limit" in told(scents(("one", 2 * over, 1)), pure, {"musk": 2.0})) == is_over
    assert ("constituent-limit-dry" in told(scents(("one", 1, 2 * over)), pure, {"musk": 2.0})) == is_over


def test_what_the_findings_of_a_limit_say() -> None:
    over = told(scents(("one", 2.346, 2.567), limit=2.0), portion="half")["scent-limit"]
    assert over.what == "one is 2.35 % of the cured bar in the half portion; its limit is 2 %"
    dry = told(scents(("one", 1.946, 2.567), limit=2.0))["scent-limit-dry"]
    assert dry.what == "one is 1.95 % of the cured bar, but 2.57 % once the bar is quite dry; its limit is 2 %"
    blend = told(scents(("one", 1.5, 1.5), ("two", 1.56, 1.56), limit=2.0))["scent-blend"]
    assert blend.what == "the scents together use 153 % of their limits, and what they have in common is not known"
    for finding in (over, dry):
        assert finding.do.startswith("lower it to 0.")


@pytest.mark.parametrize("to", [1, 10, 25, 50, 80])
def test_what_a_whole_percent_is_exactly_enough_for_is_that_percent(to: int) -> None:
    limit = left(to / 100, 2.0)
    over = told(scents(("one", 2.0, 2.0)), {"one": {"musk": 100.0}}, {"musk": limit})["constituent-limit"]
    assert percent(over) == to
    # 10 g of 1000 g of oils are 1 %
    alone = told(scents(("one", 2.0, 2.0), limit=limit))["scent-limit"]
    assert alone.do.startswith(f"lower it to {to / 100:g} % of oils or less ({to} % of what it is)")
