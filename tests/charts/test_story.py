"""A recipe's story as a chart: every pour in it, nothing overlapping, told apart without colour, same bytes twice."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import pytest
from matplotlib.text import Text

from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.charts.layout import find_faults
from tests.demo.in_memory import draw_year
from tests.trials.invented import steady, trial, version
from trials.answer.answer import LikelyCause
from trials.charts import StoryData, draw_story, find_story
from trials.charts.figure import Chart
from trials.charts.story_data import StoryCause
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.factors.factors import find_factors
from trials.outcomes.find import outcome_values
from trials.outcomes.known import find_outcomes
from trials.pours.pour_book import PourBook
from trials.pours.seen import find_seen
from trials.trial.model import AsMade, Trial

OUTCOMES = find_outcomes(Settings())
WORKING = OUTCOMES["working time"]
CLOVE = "material: clove-bud-oil, rate: 1 % of oils, at: trace"


@lru_cache(maxsize=1)
def year() -> tuple[Trial, ...]:
    return draw_year(11)


@lru_cache(maxsize=1)
def sixty() -> tuple[Trial, ...]:
    """Sixty pours of 27 versions, a year's records over and over."""
    trials = []
    for turn, seed in enumerate((11, 12, 13)):
        for one in draw_year(seed)[:20]:
            made = one.made + timedelta(days=400 * turn)
            trials.append(replace(one, id=f"{one.id}{turn}", version=f"{turn}{one.version}"[:40], made=made))
    return tuple(trials)


@lru_cache(maxsize=1)
def told() -> StoryData:
    return find_story(year(), WORKING, title="The base and its variants", explanation=answer())


@lru_cache(maxsize=1)
def answer() -> Explanation:
    """An answer written down by hand: clove, and something that never varied."""
    bare = explain_outcome(year(), OUTCOMES["cracked"])
    causes = LikelyCause((("clove bud oil",),), 0.97, (), (), ()), LikelyCause((("room",),), 0.4, (), (), ())
    seen = find_seen(PourBook(year()), WORKING, None)[0]
    table = find_factors([item.pour for item in seen])
    return replace(bare, no_answer=None, seen=seen, table=table, causes=causes)


def test_every_pour_with_a_value_is_a_point_and_versions_stand_in_the_order_of_their_first_pour() -> None:
    story = told()
    assert len(story.points) == sum(len(outcome_values(one, WORKING)) for one in year())
    assert len(story.slots) == len(year())
    assert [one.number for one in story.versions] == list(range(1, len(story.versions) + 1))
    assert [one.first_poured for one in story.versions] == sorted(one.first_poured for one in story.versions)
    assert [number for number, _ in story.slots] == sorted(number for number, _ in story.slots)


def test_each_version_says_what_changed_in_words() -> None:
    first = version("bar", superfat="5")
    stronger = version("bar", superfat="5", concentration="35")
    scented = version("bar", concentration="35", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")
    trials = [trial(made_of, f"t{k}", k, working="12:00") for k, made_of in enumerate((first, stronger, scented))]
    words = [one.words for one in find_story(trials, WORKING).versions]
    assert words == [
        "as it was first poured",
        "the lye concentration rose from 33 to 35 %",
        "clove bud oil is new",
    ]


def test_the_likely_cause_stands_at_the_version_in_which_it_came_in() -> None:
    causes = told().causes
    with_clove = next(one.number for one in told().versions if "clove bud oil is new" in one.words)
    assert [cause.version for cause in causes] == [with_clove]
    assert causes[0].words == "clove bud oil (97 %) came in"


def with_cause(trials: Sequence[Trial], name: str) -> tuple[StoryCause, ...]:
    """The marks of a story for an answer that names one factor, written down by hand."""
    bare = explain_outcome(trials, WORKING)
    named = replace(bare, no_answer=None, causes=(LikelyCause(((name,),), 0.97, (), (), ()),))
    return find_story(trials, WORKING, explanation=named).causes


def test_a_cause_that_most_pours_had_is_marked_where_it_came_in_and_not_where_it_left() -> None:
    plain, scented = version(), version("clove", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")
    before = [trial(plain, f"a{k}", k, working="12:00") for k in range(2)]
    most = [trial(scented, f"b{k}", 10 + k, working="7:00") for k in range(6)]
    after = [trial(plain, f"c{k}", 30 + k, working="12:30") for k in range(2)]
    (mark,) = with_cause([*before, *most, *after], "clove bud oil")
    assert mark.version == 2
    assert mark.slot == 4  # the four plain pours stand before it, since they are of one version
    assert mark.words == "clove bud oil (97 %) came in"
    (from_the_start,) = with_cause([*most, *after], "clove bud oil")
    assert from_the_start.words.endswith("was there from the start")


def test_a_lot_is_marked_at_its_first_pour_with_the_day_and_a_temperature_at_none() -> None:
    scented = version("clove", scent=CLOVE)
    pours = [
        trial(scented, f"d{k}", k, working="7:00" if k < 4 else "5:00", lots={"clove-bud-oil": "A" if k < 4 else "B"})
        for k in range(7)
    ]
    (mark,) = with_cause(pours, "lot B of clove bud oil")
    assert (mark.slot, mark.version) == (4, None)  # no version brought it
    assert mark.words.endswith(f"came in on {pours[4].made}")
    other = version("clove-clay", scent=CLOVE, additions="material: kaolin, rate: 2 % of oils, at: oils")
    also = [
        trial(other, f"f{k}", 20 + k, working="6:00", lots={"clove-bud-oil": "A" if k < 2 else "B"}) for k in range(4)
    ]
    (both,) = with_cause([*pours, *also], "lot B of clove bud oil")
    assert (both.slot, both.again) == (4, (9,))  # pours with it stand in both versions
    warm = [trial(version(), f"e{k}", k, working="9:00", room=str(16 + 3 * (k % 3))) for k in range(6)]
    (varied,) = with_cause(warm, "room")
    assert (varied.version, varied.slot) == (None, None)
    assert "varied" in varied.words


@pytest.mark.parametrize("width_mm", [80.0, 160.0])
def test_a_cause_is_told_to_its_end(width_mm: float) -> None:
    words = "lot WF-2026-03 of winter fir fragrance with cucumber puree (always together) (over 99 %) came in"
    for slot in (0, 5, len(told().slots) - 1):
        marks = (StoryCause(words, 1, slot), StoryCause("oil temperature (95 %) varied from pour to pour", None, None))
        chart = draw_story(replace(told(), causes=marks), width_mm=width_mm)
        shown = " ".join(text.get_text() for text in chart.texts)
        assert words in shown
        assert find_faults(chart) == []


def test_repeats_are_bands_and_two_portions_of_one_trial_are_none() -> None:
    bands = find_story(steady(4, version(), ("12:00", "11:00")), WORKING).bands
    assert [(band.n, band.portion) for band in bands] == [(4, "whole batter")]
    assert bands[0].low < 8.5 < bands[0].high
    halves = {name: {"working": f"{9 + k}:00", "scent_in": "3:00"} for k, name in enumerate(("left", "right"))}
    assert find_story([trial(version(), "aaaa", portions=halves)], WORKING).bands == ()


def test_what_was_made_otherwise_is_ringed_and_in_no_band() -> None:
    wet = AsMade(line="water", weighed_g=Decimal(360))
    trials = [*steady(3, version(), ("12:00", "11:30")), trial(version(), "weak", 40, working="19:00", as_made=[wet])]
    story = find_story(trials, WORKING)
    assert [point.is_otherwise for point in story.points] == [False, False, False, True]
    assert [band.n for band in story.bands] == [3]
    assert find_faults(draw_story(story)) == []


def test_a_parent_stands_before_what_was_branched_from_it_on_the_same_day() -> None:
    base = version("z-base")
    text = base.text + f'based_on: {{recipe: z-base, version: "{base.id}"}}\n'
    recipe, _ = parse_recipe(text, "a-variant")
    assert recipe is not None
    variant = Version(recipe=recipe, text=text, is_saved=True)
    story = find_story([trial(variant, "aaaa", working="9:00"), trial(base, "bbbb", working="9:30")], WORKING)
    assert [one.recipe for one in story.versions] == ["z-base", "a-variant"]


def test_a_variant_of_a_renamed_parent_still_says_what_it_changed() -> None:
    old = version("z-base")
    renamed_text = old.text + "formerly: [z-base]\n"
    renamed, _ = parse_recipe(renamed_text, "quay-base")
    text = old.text.replace("rice-bran-oil: 22", "rice-bran-oil: 12\n  castor-oil: 10")
    variant, _ = parse_recipe(text + f'based_on: {{recipe: z-base, version: "{old.id}"}}\n', "tw")
    assert renamed is not None
    assert variant is not None
    poured = [
        trial(Version(recipe=renamed, text=renamed_text, is_saved=True), "aaaa", working="9:00"),
        trial(Version(recipe=variant, text=text, is_saved=True), "bbbb", 1, working="9:30"),
    ]
    words = find_story(poured, WORKING).versions[1].words
    assert words.startswith("branched from quay-base; beside it: 10 % of rice bran oil became castor oil")


def test_a_renamed_recipe_goes_on_from_its_own_last_version() -> None:
    old = version("z-base")
    text = old.text.replace("rice-bran-oil: 22", "rice-bran-oil: 12\n  castor-oil: 10") + "formerly: [z-base]\n"
    renamed, _ = parse_recipe(text, "quay-base")
    assert renamed is not None
    poured = [
        trial(old, "aaaa", working="9:00"),
        trial(Version(recipe=renamed, text=text, is_saved=True), "bbbb", 1, working="9:30"),
    ]
    words = find_story(poured, WORKING, names={"z-base": "quay-base"}).versions[1].words
    assert words == "z-base by another name; 10 % of rice bran oil became castor oil"


@lru_cache(maxsize=1)
def scented() -> StoryData:
    """Pours whose two portions both had scent, the one half of the second of which was not timed."""
    made = version(
        "red-and-white",
        scent=CLOVE,
        portions="name: white, share: 50, gets: {clove-bud-oil: 30}\nname: red, share: 50, gets: {clove-bud-oil: 70}",
    )
    slow, quick = {"working": "12:00", "scent_in": "3:00"}, {"working": "8:00", "scent_in": "3:00"}
    poured = [
        trial(made, "aaaa", 0, portions={"white": slow, "red": quick}),
        trial(made, "bbbb", 9, portions={"white": {}, "red": quick}),
    ]
    causes = (StoryCause("clove bud oil (over 99 %) was there from the start", 1, 0),)
    return replace(find_story(poured, WORKING, title="red-and-white"), causes=causes)


def _texts(chart: Chart) -> str:
    return " ".join(item.get_text() for item in chart.findobj(Text) if isinstance(item, Text))


@pytest.mark.parametrize("width_mm", [80.0, 160.0])
def test_portions_that_look_alike_are_told_by_their_place_and_what_has_no_point_is_named(width_mm: float) -> None:
    chart = draw_story(scented(), width_mm=width_mm)
    text = _texts(chart)
    assert "scented portion" in text
    assert "portions from left to right: white, red" in text
    assert "bbbb white has no working time and no point here" in text
    assert find_faults(chart) == []


def test_a_cause_from_the_start_draws_no_line_on_the_axis() -> None:
    lines = [line for axes in draw_story(scented()).axes for line in axes.get_lines()]
    dashed = [line for line in lines if line.is_dashed()]
    assert dashed == []


def test_a_narrow_story_still_names_its_trials() -> None:
    text = _texts(draw_story(find_story(year()[:18], WORKING, title="18 pours"), width_mm=80.0))
    assert all(one.id[-4:] in text for one in year()[:18])


@pytest.mark.parametrize("width_mm", [80.0, 160.0])
@pytest.mark.parametrize("count", [3, 18, 60])
def test_nothing_overlaps_and_nothing_is_cut_off(count: int, width_mm: float) -> None:
    trials = year()[:count] if count < 60 else sixty()
    story = find_story(trials, WORKING, title=f"{count} pours of a bar with quite a long name, for the width of it")
    assert find_faults(draw_story(story, width_mm=width_mm)) == []


@pytest.mark.parametrize("width_mm", [80.0, 160.0])
def test_several_causes_stand_above_one_another(width_mm: float) -> None:
    last = len(told().versions)
    marks = tuple(StoryCause(f"thing {k} with a name of some length (9{k} %)", k, k) for k in (1, 2, last))
    assert find_faults(draw_story(replace(told(), causes=marks), width_mm=width_mm)) == []


def test_portions_and_limits_are_told_apart_by_shape_and_not_by_colour_alone() -> None:
    chart = draw_story(told())
    lines = [line for axes in chart.axes for line in axes.get_lines() if len(line.get_xdata()) == 1]
    by_colour: dict[str, set[str]] = {}
    for line in lines:
        colour = str(line.get_markerfacecolor())
        by_colour.setdefault(colour, set()).add(str(line.get_marker()))
    assert by_colour["#0072B2"] == {"s"}
    assert by_colour["#E69F00"] == {"D"}
    assert len(by_colour["white"]) > 1  # limits keep the shape of their portion and are open


def test_grades_stand_by_their_words() -> None:
    story = find_story(year(), OUTCOMES["ash"])
    chart = draw_story(story)
    labels = [label.get_text() for axes in chart.axes for label in axes.get_yticklabels()]
    assert "up to a quarter" in labels


@pytest.mark.parametrize("width_mm", [80.0, 160.0])
@pytest.mark.parametrize("pours", [year, sixty])
def test_portions_of_one_grade_do_not_cover_one_another(
    pours: Callable[[], tuple[Trial, ...]], width_mm: float
) -> None:
    chart = draw_story(find_story(pours(), OUTCOMES["ash"]), width_mm=width_mm)
    assert find_faults(chart) == []
    (axes,) = (one for one in chart.axes if one.get_yticklabels() and one.axison)
    marks = [line for line in axes.lines if len(line.get_xdata()) == 1]
    places = {
        kind: [axes.transData.transform(line.get_xydata()[0]) for line in marks if line.get_marker() == kind]
        for kind in "sD"
    }
    least = 0.8 * max(float(line.get_markersize()) for line in marks if line.get_marker() == "s") * chart.dpi / 72.0
    for plain in places["s"]:
        for scented in places["D"]:
            assert max(abs(plain - scented)) > least


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_same_story_gives_the_same_file(ending: str) -> None:
    assert draw_story(told()).to_bytes(ending) == draw_story(told()).to_bytes(ending)


def test_an_svg_is_the_same_in_another_process_with_another_hash_seed() -> None:
    script = (
        "import hashlib; from tests.charts.test_story import told; from trials.charts import draw_story;"
        "print(hashlib.sha256(draw_story(told()).to_bytes('svg')).hexdigest())"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).parents[2],
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone},
        ).stdout
        for seed, zone in (("1", "UTC"), ("77", "Pacific/Auckland"))
    }
    assert len(found) == 1


def test_saving_changes_nobody_elses_settings() -> None:
    import matplotlib

    before = dict(matplotlib.rcParams)
    draw_story(told()).savefig(BytesIO(), format="svg")
    assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize("minutes", ["8:50", "14:00"])
def test_an_axis_of_one_value_begins_at_nothing_and_has_no_hundredths(minutes: str) -> None:
    (axes, *_) = [
        axes
        for axes in draw_story(find_story([trial(version(), "aaaa", working=minutes)], WORKING)).axes
        if any(tick.get_text() for tick in axes.get_yticklabels())
    ]
    ticks = [float(tick) for tick in axes.get_yticks()]
    assert axes.get_ylim()[0] == 0.0
    assert min(after - before for before, after in pairwise(ticks)) >= 1.0


def test_what_seized_is_named_though_it_has_no_point() -> None:
    lost = trial(version(), "lost", 9, seen={"seized": "2"})
    chart = draw_story(find_story([trial(version(), "aaaa", working="9:00"), lost], WORKING))
    assert "lost has no working time and no point here; lost seized, lost" in _texts(chart)


def test_without_any_value_the_chart_says_so() -> None:
    story = find_story([trial(version(), "aaaa")], WORKING)
    assert story.nothing == "working time was not recorded"
    assert draw_story(story).to_bytes("png")


def test_importing_the_charts_loads_no_drawing_library() -> None:
    script = (
        "import sys, trials.charts, trials.explain_trials; print('matplotlib' in sys.modules, 'numpy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2]
    )
    assert done.stdout.split() == ["False", "False"]


def test_bands_never_lie_on_one_another_and_each_hatch_is_in_the_legend() -> None:
    halves = {"plain": {"working": "12:00", "scent_in": "3:00"}, "clove": {"working": "11:00", "scent_in": "3:00"}}
    made_of = version(
        "halves",
        scent=CLOVE,
        portions="name: plain, share: 50, gets: {clove-bud-oil: 0}\nname: clove, share: 50, gets: {clove-bud-oil: 100}",
    )
    loaves = [
        trial(made_of, f"h{k}", k, portions={name: {**one, "working": f"{9 + k}:30"} for name, one in halves.items()})
        for k in range(3)
    ]
    chart = draw_story(find_story(loaves, WORKING))
    legend, plot = chart.axes
    drawn = [item.get_paths()[0].get_extents() for item in plot.collections if item.get_hatch()]
    assert len(drawn) == 6  # in each of three loaves one beside the other
    for number, one in enumerate(drawn):
        for other in drawn[number + 1 :]:
            assert min(one.x1, other.x1) <= max(one.x0, other.x0) or min(one.y1, other.y1) <= max(one.y0, other.y0)
    hatches = {item.get_hatch() for item in plot.collections if item.get_hatch()}
    assert {item.get_hatch() for item in legend.collections if item.get_hatch()} == hatches
    words = " ".join(text.get_text() for text in legend.texts)
    assert "repeats, scented portion" in words
    assert "repeats, unscented portion" in words
    assert "standard deviation" in words


def test_a_band_stands_over_its_own_pours_alone() -> None:
    times = {"A-1": ("16:00", "17:00", "16:30"), "B-1": ("9:00", "10:00")}
    lots = ("A-1", "B-1", "A-1", "B-1", "A-1")
    trials = [
        trial(version(), f"l{k}", 7 * k, working=times[lot][k // 2], lots={"olive-oil": lot})
        for k, lot in enumerate(lots)
    ]
    story = find_story(trials, WORKING)
    assert sorted(band.n for band in story.bands) == [2, 3]
    plot = draw_story(story).axes[1]
    over = [item.get_paths()[0].get_extents() for item in plot.collections if item.get_hatch()]
    for point in story.points:
        (band,) = [band for band in story.bands if band.repeats == point.repeats]
        (drawn,) = [one for one in over if one.x0 < point.slot < one.x1]
        assert (drawn.y0, drawn.y1) == pytest.approx((band.low, band.high))


@pytest.mark.parametrize("width_mm", [80.0, 160.0])
def test_what_changed_is_told_to_its_end(width_mm: float) -> None:
    words = "; ".join(f"{name} oil rose from 5 to 25.5 % of oils" for name in ("olive", "palm", "coconut", "almond"))
    first = replace(told().versions[0], words=f"{words}; the superfat fell from 6 to 5 %")
    chart = draw_story(replace(told(), versions=(first, *told().versions[1:])), width_mm=width_mm)
    shown = " ".join(text.get_text() for text in chart.texts)
    assert "the superfat fell from 6 to 5 %" in shown
    assert find_faults(chart) == []
