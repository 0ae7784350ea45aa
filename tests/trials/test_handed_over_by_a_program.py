"""What a program hands over is taken as it is meant, or told to be wrong as a person is told; never half of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from formulary import ChangedError, Folder, FormularyError, InputError, RecipeFiles, init_folder, open_folder, swap
from trials import Bench, Trial, open_bench, record
from trials.record import as_made, bars, condition, note, release, temperature

NOW = datetime(2026, 10, 30, 9, 0, tzinfo=UTC)
NUMPY = pytest.importorskip("numpy")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return open_bench(init_folder(tmp_path_factory.mktemp("here") / "soap"))


@pytest.fixture(scope="module")
def trial(bench: Bench) -> Trial:
    started = bench.start("first-bar", oils="1000 g", conditions={"room": "19 °C"}, made="2026-10-02", now=NOW)
    return bench.record(
        started.event("lye in", "0:00"),
        started.event("too thick to pour", "20:00"),
        started.observe("hardness", "3.1 mm", age="14 d"),
        bars(started, cut=10, kept_back="1"),
        now=NOW,
    )


Call = Callable[[Bench, Trial], object]
UNITS: dict[str, Call] = {
    "oils": lambda bench, _: bench.folder.batch("first-bar", oils=1000),  # type: ignore[arg-type]
    "oils of a diff": lambda bench, _: bench.folder.diff("first-bar", "first-bar@latest", oils=500),  # type: ignore[arg-type]
    "mould": lambda bench, _: bench.folder.batch("first-bar", mould=1200),  # type: ignore[arg-type]
    "a reading": lambda _, trial: trial.observe("hardness", 3.1, age="28 d"),
    "a reading of another library": lambda _, trial: trial.observe("hardness", NUMPY.float64(3.1), age="28 d"),
    "an age": lambda _, trial: trial.observe("hardness", "3.1 mm", age=28),
    "a time": lambda _, trial: trial.event("light trace", 4.5),
    "a temperature": lambda _, trial: temperature(trial, Decimal(38), "2:00"),
    "a room": lambda _, trial: condition(trial, "room", 20),
    "conditions": lambda bench, _: bench.start("first-bar", oils="1 kg", conditions={"room": 20}, now=NOW),  # type: ignore[dict-item]
}


@pytest.mark.parametrize("call", UNITS.values(), ids=UNITS)
def test_a_number_without_its_unit_is_told_to_lack_it(call: Call, bench: Bench, trial: Trial) -> None:
    def recorded() -> object:
        return bench.record(call(bench, trial), now=NOW)  # type: ignore[arg-type]

    with pytest.raises(InputError) as raised:
        recorded()
    (finding,) = raised.value.findings
    assert "unit" in finding.what or finding.code == "bad-mould"
    assert finding.do


def test_a_number_stands_where_no_unit_is_needed(bench: Bench, trial: Trial) -> None:
    seen = bench.record(
        trial.observe("pH", NUMPY.float64(9.8), age="27 d"), bars(trial, scrapped=NUMPY.int64(1)), now=NOW
    )
    assert (str(seen.observations[-1].readings[0].value), seen.bars.scrapped) == ("9.8", 1)
    folder = bench.folder
    made = folder.compose(
        "plain-bar", {"olive-oil": "700 g", "coconut-oil": "300 g"}, superfat=6, lye_concentration=32.5
    )
    assert (made.recipe.lye.superfat, made.recipe.water.value) == (Decimal(6), Decimal("32.5"))
    assert made == folder.compose(
        "plain-bar", ["olive-oil 700 g", "coconut-oil 300 g"], superfat="6 %", lye_concentration="32.5"
    )


@pytest.mark.usefixtures("trial")
def test_one_text_is_one_where_several_can_be_given(bench: Bench) -> None:
    folder = bench.folder
    assert bench.trials("first-bar") == bench.trials(["first-bar"])
    assert bench.table("first-bar").rows == bench.table(["first-bar"]).rows
    assert str(bench.rank("hardness", "first-bar")) == str(bench.rank("hardness", ["first-bar"]))
    told = [bench.explain("working time", within=names).sentence for names in ("first-bar", ["first-bar"])]
    assert told[0] == told[1]
    batch = folder.batch("first-bar", oils="1000 g")
    rescues = [folder.rescue(batch, said) for said in ("olive-oil 640 g", ["olive-oil 640 g"], {"olive-oil": "640 g"})]
    assert rescues[0] == rescues[1] == rescues[2]
    for call in (
        lambda: folder.save_changed("first-barr", why="x"),
        lambda: bench.explain("working time", within="first-barr"),
        lambda: bench.report("first-bar", outcomes="hardnes"),
        lambda: folder.compose("a-b", "olive-oill 450 g"),
        lambda: bench.start("first-bar", oils="1 kg", despite="no-such-stop", now=NOW),
    ):
        with pytest.raises(InputError) as raised:
            call()
        assert len(raised.value.findings) == 1


def test_how_a_batter_was_divided_is_said_in_texts_or_by_name(trial: Trial) -> None:
    said = record.portions_entry(trial, ["plain 60", "clove 40"], by_eye="5")
    assert record.portions_entry(trial, {"plain": 60, "clove": "40 %"}, by_eye=5) == said
    with pytest.raises(InputError, match="'plain' does not say"):
        record.portions_entry(trial, "plain")


def test_a_trial_is_named_or_handed_over_everywhere(bench: Bench, trial: Trial) -> None:
    code = trial.id[-4:]
    now = bench.find_trial(code)
    assert bench.find_trial(trial) == now
    for method in (bench.check_trial, bench.fit_to_sell, bench.cost, bench.recalculate, bench.is_hand_written):
        assert method(code) == method(now)
    assert bench.diff(now, code).is_empty
    assert bench.diff(now, "first-bar@latest") == bench.diff(code, bench.folder.find_version("first-bar@latest"))
    assert bench.compare(now, code).sentence == bench.compare(code).sentence
    with pytest.raises(InputError, match="as they were saved"):
        bench.restore(trial)


def test_a_day_is_one_as_it_is_written_too(bench: Bench, trial: Trial) -> None:
    assert trial.made == date(2026, 10, 2)
    day, text = date(2026, 11, 1), "2026-11-01"
    for other in ("20261101", "2026-W44-7", "01.11.2026", 20261101, None):  # in a file none of them is a day
        with pytest.raises(InputError, match="year-month-day"):
            bench.due(other)  # type: ignore[arg-type]
    assert bench.due(day) == bench.due(text) == bench.due(datetime(2026, 11, 1, 8, tzinfo=UTC))
    assert bench.ready_by(day, "first-bar", trial.made, bars=9) == bench.ready_by(
        text, "first-bar", "2026-10-02", bars=9
    )
    assert bench.fit_to_sell(trial, day) == bench.fit_to_sell(trial, text)
    decided = [release(trial, "hold", who="me", why="ash", on=on) for on in (trial.made, "2026-10-02")]
    assert decided[0] == decided[1]
    for wrong in ("1.11.2026", "today", 5, None):
        with pytest.raises(InputError):
            bench.due(wrong)  # type: ignore[arg-type]


def test_a_moment_without_its_time_zone_is_refused_before_anything_is_written(bench: Bench, tmp_path: Path) -> None:
    naive = datetime(2026, 10, 3, 9)
    trial = bench.trials()[0]
    for call in (
        lambda: bench.start("first-bar", oils="1 kg", now=naive),
        lambda: bench.record(note(trial, "x"), now=naive),
        lambda: init_folder(tmp_path / "new", now=naive),
        lambda: bench.folder.save_changed(why="x", now=naive),
    ):
        with pytest.raises(InputError):
            call()
    assert not (tmp_path / "new").exists()
    assert bench.folder.changed_paths() == ()


WRONG: dict[str, Call] = {
    "a condition that there is not": lambda bench, _: bench.start(
        "first-bar", oils="1 kg", conditions={"rooom": "19 °C"}
    ),
    "conditions in a list": lambda bench, _: bench.start("first-bar", oils="1 kg", conditions=["room 19 °C"]),  # type: ignore[arg-type]
    "portions in a text": lambda bench, _: bench.start("first-bar", oils="1 kg", portions="plain:50"),  # type: ignore[arg-type]
    "portions without shares": lambda bench, _: bench.start("first-bar", oils="1 kg", portions=["plain"]),  # type: ignore[list-item]
    "no value": lambda bench, trial: bench.record(trial.observe("hardness", age="28 d")),
    "several values in a list": lambda bench, trial: bench.record(trial.observe("hardness", ["3 mm"], age="28 d")),  # type: ignore[arg-type]
    "a note of nothing": lambda bench, trial: bench.record(note(trial, None)),  # type: ignore[arg-type]
    "no words of what differed": lambda bench, trial: bench.record(as_made(trial, None)),  # type: ignore[arg-type]
    "no entry": lambda bench, _: bench.record(None),  # type: ignore[arg-type]
    "a trial for an entry": lambda bench, trial: bench.record(trial),  # type: ignore[arg-type]
    "a lot that is no text": lambda bench, trial: bench.record(record.lot(trial, "olive-oil", 7)),  # type: ignore[arg-type]
    "no trial": lambda bench, _: bench.compare(),
    "no trial to draw": lambda bench, _: bench.trace(),
    "trials in a list": lambda bench, trial: bench.compare([trial, trial]),  # type: ignore[arg-type]
    "no name": lambda bench, _: bench.find_trial(None),  # type: ignore[arg-type]
    "no recipe": lambda bench, _: bench.report(),
    "no outcome": lambda bench, _: bench.explain(None),  # type: ignore[arg-type]
    "rows of another kind": lambda bench, _: bench.table(by="trials"),  # type: ignore[arg-type]
    "no bars": lambda bench, _: bench.ready_by("2027-03-01", "first-bar", "2026-11-01", bars=0),
    "less than no bars": lambda bench, _: bench.ready_by("2027-03-01", "first-bar", "2026-11-01", bars=-5),
    "loaves of no bars": lambda bench, _: bench.ready_by(
        "2027-03-01", "first-bar", "2026-11-01", bars=5, bars_per_loaf=0
    ),
    "bars of no weight": lambda bench, _: bench.folder.batch("first-bar", bars=12),
    "bars that are a text": lambda bench, _: bench.folder.batch("first-bar", bars="12", bar="90 g"),  # type: ignore[arg-type]
    "half a bar": lambda bench, _: bench.folder.batch("first-bar", bars=2.5, bar="90 g"),  # type: ignore[arg-type]
    "a version of nothing": lambda bench, _: bench.folder.find_version(None),  # type: ignore[arg-type]
    "a batch of nothing": lambda bench, _: bench.folder.batch(None, oils="1 kg"),  # type: ignore[arg-type]
    "a tweak that is a text": lambda bench, _: bench.folder.branch("first-bar@latest", "a-b", "swap 10"),  # type: ignore[arg-type]
    "no reason": lambda bench, _: bench.folder.save_changed(why=None),  # type: ignore[arg-type]
    "values in a list": lambda bench, _: bench.folder.add_material("q-oil", ["price 3"], kind="oil"),  # type: ignore[arg-type]
    "no name of a material": lambda bench, _: bench.folder.add_material(None, {}, kind="oil"),  # type: ignore[arg-type]
    "no name of a variant": lambda bench, _: bench.folder.branch("first-bar@latest", None),  # type: ignore[arg-type]
    "no name in a history": lambda bench, _: bench.folder.history(None),  # type: ignore[arg-type]
    "a recipe for a batch": lambda bench, _: bench.folder.rescue("first-bar", "olive-oil 640 g"),  # type: ignore[arg-type]
    "recipes for a sitting": lambda bench, _: bench.folder.sitting(["first-bar", "first-bar"]),  # type: ignore[list-item]
    "a maker of no name": lambda bench, _: bench.start("first-bar", oils="1 kg", who=3),  # type: ignore[arg-type]
    "a sitting of no name": lambda bench, _: bench.start("first-bar", oils="1 kg", sitting=3),  # type: ignore[arg-type]
    "who that is no text": lambda bench, trial: bench.record(trial.observe("pH", 9.8, age="28 d", who=3)),  # type: ignore[arg-type]
    "lots in a list": lambda bench, _: bench.folder.batch("first-bar", oils="1 kg", lots=["OL-7"]),  # type: ignore[arg-type]
}


@pytest.mark.parametrize("call", WRONG.values(), ids=WRONG)
def test_what_cannot_be_meant_is_told_and_nothing_is_written(call: Call, bench: Bench, trial: Trial) -> None:
    saved, ids = bench.folder.store.tip, bench.trial_ids()
    with pytest.raises(FormularyError) as raised:
        call(bench, trial)
    assert all(finding.what and finding.do for finding in raised.value.findings)
    bench.folder.refresh()
    assert (bench.folder.store.tip, bench.trial_ids(), bench.folder.changed_paths()) == (saved, ids, ())


def test_a_path_is_taken_for_the_name_that_it_is(bench: Bench, tmp_path: Path) -> None:
    file = bench.folder.root / "recipes/first-bar.yaml"
    own = bench.folder.batch(file, oils="500 g")
    assert own == bench.folder.batch("first-bar", oils="500 g")
    assert RecipeFiles().batch(file, oils="500 g").oils == own.oils
    assert bench.folder.diff(file, "first-bar@latest").is_empty
    kept = str(tmp_path / "kept")
    assert open_folder(str(bench.folder.root), cache=kept).cache == Path(kept)


def test_who_saved_meanwhile_is_an_error_with_a_name_of_its_own(bench: Bench) -> None:
    folder: Folder = bench.folder
    file = folder.root / "recipes/first-bar.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text + "# edited\n", encoding="utf-8")
    with pytest.raises(ChangedError):
        folder.restore("first-bar@1")
    file.write_text(text, encoding="utf-8")


@pytest.mark.usefixtures("trial")
def test_an_outcome_is_enough_to_ask_what_to_pour_next(bench: Bench) -> None:
    answer: Any = bench.explain("working time", with_next=False)
    assert bench.next_trials("working time") == bench.next_trials(answer)


def test_a_version_by_itself_says_where_a_material_of_ones_own_is_known(tmp_path: Path) -> None:
    folder = init_folder(tmp_path / "soap")
    folder.add_material("hill-olive-oil", {"saponification_value": 190}, kind="oil")
    base = folder.find_version("first-bar@latest")
    tweak = swap("10 %", "olive-oil", "hill-olive-oil")
    with pytest.raises(InputError, match=r"folder\.branch"):
        base.branch("hill-bar", tweak)
    assert folder.branch(base, "hill-bar", tweak).recipe.oils[-1].material == "hill-olive-oil"


def test_a_version_names_its_recipe_and_a_recipe_its_kilogram(bench: Bench) -> None:
    folder = bench.folder
    version = folder.find_version("first-bar@latest")
    assert folder.history(version) == folder.history("first-bar")
    assert folder.describe_history(version) == folder.describe_history("first-bar")
    kilogram = folder.batch(version, oils="1000 g")
    for method in (folder.blend, folder.cost, folder.ingredients):
        assert method("first-bar") == method(version) == method(kilogram)
    assert bench.story(version).title == "first-bar"


def test_a_version_is_given_a_lasting_name_as_it_was_found(tmp_path: Path) -> None:
    folder = init_folder(tmp_path / "soap")
    version = folder.find_version("first-bar@latest")
    assert folder.name_version(version, "shop-2026").id == folder.find_version("first-bar@shop-2026").id == version.id
