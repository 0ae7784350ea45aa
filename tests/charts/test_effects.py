"""The candidates as a chart: odds and effects beside one another, twins as one, readable small and in grey."""

from __future__ import annotations

from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from tests.charts.layout import find_faults
from tests.trials.invented import steady, trial, version
from trials.answer.answer import FactorEffect, LikelyCause
from trials.charts import EffectsData, draw_effects, find_effects
from trials.charts.effects_data import EffectRow
from trials.charts.figure import drawing
from trials.charts.lettering import Lettering
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.outcomes.known import find_outcomes

BASE = version()
OUTCOMES = find_outcomes(trial(BASE, "aaaa").plan.settings)


def row(name: str, chance: float, effect: float | None = None, per: str = "per 1 % of oils") -> EffectRow:
    low, high = (None, None) if effect is None else (effect - 2.0, effect + 1.5)
    return EffectRow((name,), False, chance, effect, low, high, per, "likelier", chance >= 0.8)


LONG = "lot CB-2291-B of the clove bud oil from the second delivery"
MANY = EffectsData(
    title="What did it: working time",
    label="working time",
    unit="min",
    rows=(
        EffectRow(("honey", "oat milk"), False, 0.86, -4.8, -6.6, -3.1, "per 1 % of oils", "", True),
        row("clove bud oil", 0.62, -2.2),
        row("blending before scent", 0.3, -1.0, "per 20 s"),
        row(LONG, 0.11, 1.0, "lot CB-2291-B instead of CB-1"),
        EffectRow(("rose clay", "kaolin"), True, 0.05, None, None, None, "", "", False),
        *(row(f"thing {k}", 0.03, 0.2 * k - 0.5) for k in range(5)),
    ),
    nothing=0.02,
    rest="nine others, each under 2 %",
    foot="From 18 trials in 40 portions, 2 known only as a limit.",
)
GRADES = EffectsData(
    "What did it: ash at 7 d", "ash at 7 d", "", (row("honey", 0.9), row("room", 0.1)), 0.05, "", "From nine trials."
)
SURE = EffectsData("What did it: gel", "gel", "points", (row("honey", 0.999, 28.0),), 0.001, "", "From nine trials.")
EMPTY = EffectsData(
    "What did it: cracked", "cracked", "", (), None, "", "From no trials.", "cracked was never observed"
)


def weighed() -> Explanation:
    """An answer written down by hand, with twins as its likely cause."""
    from dataclasses import replace

    trials = [
        trial(version(f"bar-{k}", superfat=str(4 + k)), f"t{k}", k, working=f"{9 + k}:00", room=str(15 + 2 * k))
        for k in range(6)
    ]
    bare = explain_outcome(trials[:2], OUTCOMES["working time"])
    full = explain_outcome(steady(2, BASE, ("12:00",)), OUTCOMES["working time"])
    assert full.no_answer is not None
    names = ("effective superfat", "room")
    effects = tuple(
        FactorEffect(name, -4.8, -6.6, -3.1, "3 %" if name == "effective superfat" else "5 °C", "down")
        for name in names
    )
    other = LikelyCause((("blending before scent",),), 0.01, (), (), ())
    return replace(bare, no_answer=None, nothing=0.1, causes=(LikelyCause((names,), 0.86, effects, (), ()), other))


def test_each_candidate_has_its_odds_and_the_effect_of_one_step_and_the_rest_is_counted() -> None:
    data = find_effects(weighed())
    assert [(one.names, one.probability, one.is_likely) for one in data.rows] == [
        (("effective superfat", "room"), 0.86, True)
    ]
    assert (data.rows[0].low, data.rows[0].effect, data.rows[0].high) == (-6.6, -4.8, -3.1)
    assert data.rows[0].per == "effective superfat, per 3 %"
    assert data.nothing == 0.1
    assert data.unit == f"min, of {weighed().level:.1f}"
    assert data.rest == "One other, under 2 %."


def test_what_always_went_together_is_drawn_as_one() -> None:
    words = [text.get_text() for text in draw_effects(MANY).texts]
    assert words.count("always together:") == 1
    assert words.count("only together:") == 1
    assert {"honey", "oat milk"} <= set(words)


@pytest.mark.parametrize("width_mm", [80.0, 120.0, 160.0])
@pytest.mark.parametrize("data", [MANY, GRADES, SURE, EMPTY], ids=["many", "grades", "sure", "empty"])
def test_nothing_overlaps_and_nothing_is_cut_off(data: EffectsData, width_mm: float) -> None:
    assert find_faults(draw_effects(data, width_mm=width_mm)) == []


def test_an_axis_names_its_unit() -> None:
    words = [text.get_text() for axes in draw_effects(MANY).axes for text in axes.texts]
    assert "effect of one step, min" in words
    assert "chance, %" in words


def test_grades_have_a_direction_and_no_figure() -> None:
    words = [text.get_text() for axes in draw_effects(GRADES).axes for text in axes.texts]
    assert "likelier" in words


def test_an_answer_draws_itself_and_saves_by_the_ending_of_the_name(tmp_path: Path) -> None:
    for ending, start in (("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")):
        path = tmp_path / f"why.{ending}"
        weighed().draw().savefig(path)
        assert path.read_bytes().startswith(start)


def test_where_there_is_nothing_to_weigh_the_chart_says_why() -> None:
    data = find_effects(explain_outcome([trial(BASE, "aaaa")], OUTCOMES["hardness"]))
    assert data.rows == ()
    assert data.empty is not None
    assert data.empty.startswith("hardness at 28 d was never observed.")


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_same_answer_gives_the_same_file(ending: str) -> None:
    assert draw_effects(MANY).to_bytes(ending) == draw_effects(MANY).to_bytes(ending)


def test_odds_that_add_to_more_than_all_are_explained() -> None:
    from dataclasses import replace

    answer = weighed()
    assert "need not add to 100 %" not in find_effects(answer).foot
    more = replace(answer, causes=(answer.causes[0], replace(answer.causes[1], probability=0.6)))
    assert "need not add to 100 %" in find_effects(more).foot


@pytest.mark.parametrize("width_mm", [80.0, 100.0, 160.0])
def test_no_chance_is_written_across_the_line_of_what_is_likely(width_mm: float) -> None:
    chances = [0.03, 0.44, 0.5, 0.55, 0.62, 0.7, 0.77, 0.8, 0.83, 0.999]
    rows = tuple(row(f"thing {k}", chance) for k, chance in enumerate(chances))
    chart = draw_effects(EffectsData("What did it: gel", "gel", "points", rows, 0.001, "", "."), width_mm=width_mm)
    canvas = FigureCanvasAgg(chart)
    with drawing(chart.title):
        canvas.draw()
        axes = chart.axes[0]
        line = axes.transData.transform((80.0, 0.0))[0]
        written = [text for text in axes.texts if text.get_text().endswith("%") and "," not in text.get_text()]
        boxes = [text.get_window_extent(canvas.get_renderer()) for text in written]
        assert len(boxes) == len(rows) + 1
        assert not [box for box in boxes if box.x0 < line < box.x1]
        assert axes.get_xticks()[-1] == 100


@pytest.mark.parametrize(
    ("interval", "said"),
    [
        ((-5.0, 3.0, 900.0), {">"}),
        ((-900.0, 3.0, 5.0), {"<"}),
        ((50.0, 200.0, 900.0), {">"}),
        ((-90.0, -60.0, -2.0), {"<"}),
    ],
)
def test_an_interval_beyond_all_that_was_seen_goes_on_as_an_arrow_and_leaves_the_others_readable(
    interval: tuple[float, float, float], said: set[str]
) -> None:
    from dataclasses import replace

    low, effect, high = interval
    far = replace(MANY, rows=(replace(MANY.rows[0], low=low, effect=effect, high=high), *MANY.rows[1:]), most=30.0)
    charts = draw_effects(far).axes
    axes = next(one for one in charts if any("effect of one step" in text.get_text() for text in one.texts))
    edges = dict(zip("<>", axes.get_xlim(), strict=True))
    assert max(map(abs, edges.values())) < 40.0
    arrows = {line.get_marker(): line.get_xdata()[0] for line in axes.lines if line.get_marker() in edges}
    assert arrows == {marker: edges[marker] for marker in said}
    assert find_faults(draw_effects(far)) == []


def test_no_line_below_a_chart_begins_with_a_unit() -> None:
    said = "Past 80 % (dashed) a candidate counts as likely. Intervals hold it in 9 of 10 cases (90 %)."
    for width_mm in range(80, 200, 3):
        lines = Lettering(float(width_mm)).wrap(said)
        assert " ".join(lines) == said
        assert not any(line.startswith("%") for line in lines)


def test_a_figure_on_a_grey_bar_hides_no_end_of_it() -> None:
    rows = (row("clove bud oil", 0.61, -3.0), row("room", 0.1, -1.0))
    chart = draw_effects(EffectsData("What did it: gel", "gel", "points", rows, 0.1, "", "."))
    figures = [text for axes in chart.axes for text in axes.texts if text.get_text() in ("61 %", "10 %")]
    assert len(figures) >= 2
    assert all(text.get_bbox_patch() is None for text in figures)
