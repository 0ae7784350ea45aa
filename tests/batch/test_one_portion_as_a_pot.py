"""One portion taken as a pot of its own is told as the whole pot tells of it, at the worst end of its split, too."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.figures import take_portion, work_out_pot
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, weigh_out

DIVIDED = (
    "additions:\n  - {{material: oat-milk, rate: 8 % of oils, at: oils, water: replaces}}\n"
    "  - {{material: honey, rate: 2 % of oils, at: trace, water: extra}}\n"
    "scent:\n  - {{material: lavender-oil, rate: 2 % of oils}}\n"
    "portions:\n"
    "  - {{name: red, share: {{percent: {share}, by_eye: {eye}}}, gets: {{lavender-oil: {part}}}}}\n"
    "  - {{name: plain, share: {{percent: {rest}, by_eye: {eye}}}, gets: {{lavender-oil: {left}}}}}\n"
)


@given(st.integers(20, 80), st.integers(0, 15), st.integers(0, 100), st.sampled_from(["red", "plain"]))
def test_a_portion_by_itself_has_the_figures_that_the_whole_tells_of_it(
    share: int, eye: int, part: int, name: str
) -> None:
    batch = weigh_out(PLAIN + DIVIDED.format(share=share, rest=100 - share, eye=eye, part=part, left=100 - part))
    materials, settings = batch.materials, Settings()
    (of_whole,) = (each for each in work_out_pot(batch.pot, materials, settings).portions if each.name == name)
    alone = take_portion(batch.pot, name)
    (by_itself,) = work_out_pot(alone, materials, settings).portions
    assert sum(line.grams for line in alone.lines) == pytest.approx(of_whole.grams)
    assert (by_itself.share_percent, by_itself.grams) == (100.0, pytest.approx(of_whole.grams))
    assert by_itself.superfat_percent == pytest.approx(of_whole.superfat_percent)
    assert [line.material for line in by_itself.scent] == [line.material for line in of_whole.scent]
    for mine, whole in zip(by_itself.scent, of_whole.scent, strict=True):
        assert mine.percent_of_cured == pytest.approx(whole.percent_of_cured)
