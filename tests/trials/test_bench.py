"""The bench: a trial is started in one commit, found by little, recorded without loss, and checked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from formulary.errors import ChangedError, InputError, StopError
from formulary.folder.folder import Folder
from formulary.folder.starting import init_folder
from formulary.recipes.tweaks import add
from formulary.settings import parse_settings
from tests.trials.examples import MIDWINTER_CLOVE, folder_with, outcomes, trial_of
from trials import record
from trials.bench import Bench, open_bench
from trials.due.ready import render_ready_by
from trials.trial.entry import Entry
from trials.trial.model import Trial
from trials.trial_text import headline_values

NOW = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
NO_SUPERFAT = MIDWINTER_CLOVE.replace("superfat: 5", "superfat: -3")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    with folder_with(tmp_path / "Hafen Würfel") as opened:
        yield opened


@pytest.fixture
def bench(folder: Folder) -> Bench:
    return open_bench(folder)


def codes() -> Callable[[], str]:
    """Four characters after four characters, the same in every run."""
    drawn = iter(["k7wq", "m3hd", "x2gv", "9bcd"])
    return lambda: next(drawn)


def start(bench: Bench, **more: object) -> Trial:
    return bench.start("midwinter-clove", oils="1000g", now=NOW, draw_code=lambda: "k7wq", **more)  # type: ignore[arg-type]


def subjects(folder: Folder) -> list[str]:
    return list(dict.fromkeys(saved.commit + " " + saved.subject for saved in folder.store.history()))


def test_starting_saves_recipe_plan_and_trial_in_one_commit(folder: Folder, bench: Bench) -> None:
    before = len(subjects(folder))
    trial = start(bench)
    assert trial.id == "2026-10-03-midwinter-clove-k7wq"
    assert len(subjects(folder)) == before + 1
    saved = folder.store.tip_blobs("")
    assert f"trials/2026/{trial.id}/trial.yaml" in saved
    assert f"trials/2026/{trial.id}/planned.yaml" in saved
    assert "recipes/midwinter-clove.yaml" in saved
    assert folder.changed_paths() == ()
    assert bench.find_trial("k7wq") == trial
    assert folder.find_version("midwinter-clove").is_saved


EVERY_SETTING = """\
format: 1
name: Harbour soap
scale: {step: 0.5 g, alkali_step: 50 mg}
measures: {tsp: 4.9 ml, tbsp: 15 ml, cup: 250 ml, fl_oz: 29.5735 ml}
moulds: {tall-loaf: 25 x 8 x 7 cm}
vessels: {pot: 5 l, jug: 1.5 l}
cure: {days: 35.5, water_lost: 55.5 %}
currency: EUR
temperature: °F
outcomes: {scent left: {scale: graded, grades: [none, some, much], ages: [28 d, 90 d]}}
events: {sprinkled: petals on top}
follow_up: {hardness: [28 d], gel: []}
checks: {off: [castor-much]}
"""


def test_a_trial_is_started_whatever_the_settings_say(folder: Folder, bench: Bench) -> None:
    _, findings = parse_settings("format: 1\nno-such-key: 1\n")
    known = next(each.do for each in findings if each.code == "unknown-key").removeprefix("keys here: ").split(", ")
    said = [line.partition(":")[0] for line in EVERY_SETTING.splitlines()]
    assert sorted(said) == sorted(known)
    (folder.root / "formulary.yaml").write_text(EVERY_SETTING, encoding="utf-8")
    folder.refresh()
    trial = start(bench)
    assert open_bench(folder.root).find_trial("k7wq") == trial
    assert trial.plan.settings.moulds == {"tall-loaf": "25 x 8 x 7 cm"}


def test_a_batch_with_a_stop_is_not_started_and_nothing_is_written(folder: Folder, bench: Bench) -> None:
    (folder.root / "recipes" / "midwinter-clove.yaml").write_text(NO_SUPERFAT, encoding="utf-8")
    folder.refresh()
    tip = folder.store.tip
    with pytest.raises(StopError):
        start(bench)
    with pytest.raises(StopError):
        start(bench, despite=["superfat-negative", "lye-excess"])
    assert folder.store.tip == tip
    assert bench.trial_ids() == ()


def test_numbers_of_a_trial_stay_when_the_recipe_and_the_register_change(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    (folder.root / "recipes" / "midwinter-clove.yaml").write_text("format: 1\n", encoding="utf-8")
    (folder.root / "materials").mkdir(exist_ok=True)
    own = "format: 1\nname: Olive oil\nkind: oil\nsaponification_value: 180\n"
    (folder.root / "materials" / "olive-oil.yaml").write_text(own, encoding="utf-8")
    again = open_bench(folder.root).find_trial("k7wq")
    assert again == trial


def test_entries_are_saved_and_read_back(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    trial = bench.record(record.lye_in(trial, NOW), trial.event("poured", "9:30", portion="clove"), now=NOW)
    trial = bench.record(trial.observe("hardness", "3.1 mm", "3.3 mm", age="28 d"), now=NOW)
    assert open_bench(folder.root).find_trial("k7wq") == trial
    assert folder.changed_paths() == ()
    assert [item.outcome for item in trial.observations] == ["hardness"]
    assert "hardness 3.1 mm, 3.3 mm at 28 d" in folder.store.history()[0].body


WRONG_ENTRIES: dict[str, Callable[[Trial], Entry]] = {
    "unknown-outcome": lambda trial: trial.observe("hardnes", "3.1 mm", age="28 d"),
    "bad-value": lambda trial: trial.observe("hardness", "3.1 g", age="28 d"),
    "bad-value, a bare number": lambda trial: record.condition(trial, "room", "19"),
    "bad-value, before the trial": lambda trial: trial.observe("gel", "100 %", age="-1 d"),
    "bad-value, a volume": lambda trial: record.as_made(trial, "water 283 ml"),
    "off-scale": lambda trial: trial.observe("riced", "a bit", age="0 d"),
    "unknown-event": lambda trial: trial.event("light trase", "4:10"),
    "event-before-lye": lambda trial: trial.event("scent in", "-4:10"),
    "unknown-line": lambda trial: record.as_made(trial, "oliv-oil 455 g"),
    "unknown-material": lambda trial: record.as_made(trial, "extra dragon-oil 3 g at trace"),
    "lot-not-in-pot": lambda trial: record.lot(trial, "honey", "H-1"),
    "unknown-portion": lambda trial: trial.event("poured", "9:00", portion="clov"),
}


def test_a_wrong_entry_is_refused_and_nothing_is_written(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    path = folder.root / "trials" / "2026" / trial.id / "trial.yaml"
    before, tip = path.read_bytes(), folder.store.tip
    for code, entry in WRONG_ENTRIES.items():
        with pytest.raises(InputError) as caught:
            bench.record(trial.observe("gel", "100 %", age="1 d"), entry(trial), now=NOW)
        assert [finding.code for finding in caught.value.findings] == [code.partition(",")[0]]
        assert all(finding.place.line is None and finding.do for finding in caught.value.findings)
        assert path.read_bytes() == before
        assert folder.store.tip == tip


def test_what_went_in_beyond_the_plan_keeps_its_values_beside_the_trial(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    trial = bench.record(record.as_made(trial, "sunflower-oil instead of castor-oil 80 g"), now=NOW)
    (folder.root / "materials").mkdir(exist_ok=True)
    own = "format: 1\nname: Sunflower oil\nkind: oil\nsaponification_value: 150\n"
    (folder.root / "materials" / "sunflower-oil.yaml").write_text(own, encoding="utf-8")
    again = open_bench(folder.root).find_trial("k7wq")
    assert again == trial
    assert again.added["sunflower-oil"] == trial.added["sunflower-oil"]
    assert f"trials/2026/{trial.id}/added.yaml" in folder.store.tip_blobs("")


def test_what_goes_in_beyond_the_plan_is_never_kept_by_built_in_values_in_the_place_of_a_file(
    folder: Folder, bench: Bench
) -> None:
    trial = start(bench)
    own = folder.root / "materials" / "sunflower-oil.yaml"
    own.parent.mkdir(exist_ok=True)
    own.write_text("format: 1\nname: Sunflower oil\nkind: oil\nsaponification_value: 1S0\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        bench.record(record.as_made(trial, "extra sunflower-oil 60 g at oils"), now=NOW)
    assert {finding.place.path for finding in caught.value.findings} == {"materials/sunflower-oil.yaml"}
    path = folder.root / "trials" / "2026" / trial.id / "trial.yaml"
    text = path.read_text(encoding="utf-8")
    by_hand = "as_made:\n  - {extra: sunflower-oil, weighed: 60 g, at: oils}\n"
    path.write_text(text.replace("as_made:\n", by_hand), encoding="utf-8")
    bench.record(trial.observe("gel", "100 %", age="1 d"), now=NOW)
    assert not (path.parent / "added.yaml").exists()
    own.write_text("format: 1\nname: Sunflower oil\nkind: oil\nsaponification_value: 150\n", encoding="utf-8")
    trial = open_bench(folder.root).record(trial.observe("hardness", "3.1 mm", age="28 d"), now=NOW)
    (kept,) = trial.added.values()
    assert kept.saponification_value is not None
    assert kept.saponification_value.working == 150


def test_where_a_material_is_not_known_a_file_that_cannot_be_read_is_told_beside(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    own = folder.root / "materials" / "dragon-oil.yaml"
    own.parent.mkdir(exist_ok=True)
    own.write_text("format: 1\nname: Dragon oil\nkind: oyl\n", encoding="utf-8")
    for ask in (
        lambda: bench.record(record.as_made(trial, "extra dragon-oil 3 g at trace"), now=NOW),
        lambda: folder.branch(trial.recipe + "@latest", "dragon-bar", add("dragon-oil", "1 % of oils")),
    ):
        with pytest.raises(InputError) as caught:
            ask()
        told = [finding.place.path for finding in caught.value.findings]
        assert caught.value.findings[0].code == "unknown-material"
        assert "materials/dragon-oil.yaml" in told


def test_an_extra_written_by_hand_is_used_and_said_not_to_be_kept(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    path = folder.root / "trials" / "2026" / trial.id / "trial.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("as_made:\n", "as_made:\n  - {extra: honey, weighed: 12 g, at: trace}\n"), encoding="utf-8"
    )
    assert "added-not-kept" in [finding.code for finding in bench.check()]
    assert "honey" in bench.find_trial("k7wq").added


def test_a_hand_edit_made_meanwhile_is_kept(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    path = folder.root / "trials" / "2026" / trial.id / "trial.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("notes:\n", "notes: by hand   # mine\n"), encoding="utf-8")
    after = bench.record(trial.observe("gel", "100 %", age="1 d"), now=NOW)
    assert after.notes == "by hand"
    assert "# mine" in path.read_text(encoding="utf-8")


def test_a_lye_excess_as_made_says_so_at_once(bench: Bench) -> None:
    trial = start(bench)
    assert "lye-excess" not in [finding.code for finding in bench.check_trial(trial)]
    trial = bench.record(record.as_made(trial, "olive-oil 350 g"), now=NOW)
    found = [finding for finding in bench.check_trial(trial) if finding.code == "lye-excess"]
    assert [finding.severity.value for finding in found] == ["stop"]
    assert found[0].place.path == trial.path
    assert "lye-excess" in [finding.code for finding in bench.check()]


def test_several_loaves_of_one_sitting_share_what_was_entered_once(bench: Bench) -> None:
    draw = codes()
    first = bench.start(
        "midwinter-clove",
        oils="1000 g",
        sitting="autumn",
        lots={"olive-oil": "OL-7"},
        conditions={"room": "19 °C", "lye_temperature": "37 °C", "mould": "tall-loaf"},
        now=NOW,
        draw_code=draw,
    )
    second = bench.start("first-bar", oils="500 g", sitting="autumn", now=NOW, draw_code=draw)
    assert (second.conditions.room_c, second.conditions.lye_temperature_c) == (19, 37)
    assert second.conditions.mould is None  # each loaf has its own
    assert second.lots["olive-oil"] == first.lots["olive-oil"]
    assert [trial.id for trial in bench.sitting("autumn", first.made)] == sorted([first.id, second.id])
    both = bench.record_sitting(first, lambda each: record.condition(each, "humidity", "55 %"), now=NOW)
    assert [trial.conditions.humidity_percent for trial in both] == [55, 55]


def test_a_sitting_of_the_same_name_on_another_day_shares_nothing(bench: Bench) -> None:
    draw = codes()
    first = bench.start(
        "midwinter-clove",
        oils="1000 g",
        sitting="saturday",
        made=NOW.date() - timedelta(days=7),
        lots={"olive-oil": "OL-7"},
        conditions={"room": "15 °C"},
        now=NOW,
        draw_code=draw,
    )
    second = bench.start("first-bar", oils="500 g", sitting="saturday", now=NOW, draw_code=draw)
    assert second.conditions.room_c is None
    assert "olive-oil" not in second.lots
    recorded = bench.record_sitting(second, lambda each: record.condition(each, "humidity", "55 %"), now=NOW)
    assert [trial.id for trial in recorded] == [second.id]
    assert first.occasion != second.occasion


def test_within_a_recipe_are_its_variants_too(folder: Folder, bench: Bench) -> None:
    from formulary.recipes.tweaks import swap

    draw = codes()
    first = start(bench)
    variant = folder.branch("midwinter-clove@latest", "hemp-clove", swap("10 %", "olive-oil", "hemp-seed-oil"))
    second = bench.start(variant, oils="1000 g", now=NOW, draw_code=lambda: "m3hd")
    third = bench.start("first-bar", oils="1000 g", now=NOW, draw_code=lambda: "x2gv")
    assert {trial.id for trial in bench.trials()} == {first.id, second.id, third.id}
    assert {trial.id for trial in bench.trials(within=["midwinter-clove"])} == {first.id, second.id}
    assert {trial.id for trial in bench.trials(within=["hemp-clove"])} == {second.id}
    with pytest.raises(InputError):
        bench.trials(within=["midwinter-clov"])
    assert draw() == "k7wq"


def test_a_family_holds_over_a_rename_and_over_a_variant_without_trials(folder: Folder, bench: Bench) -> None:
    from formulary.folder.returning import rename_recipe
    from formulary.recipes.tweaks import swap

    first = start(bench)
    middle = folder.branch("midwinter-clove@latest", "hemp-clove", swap("10 %", "olive-oil", "hemp-seed-oil"))
    folder.save(middle, why="hemp")
    last = folder.branch("hemp-clove@latest", "soft-clove", swap("5 %", "coconut-oil", "hemp-seed-oil"))
    second = bench.start(last, oils="1000 g", now=NOW, draw_code=lambda: "m3hd")
    rename_recipe(folder, "midwinter-clove", "winter-clove")
    again = open_bench(folder.root)
    for name in ("winter-clove", "midwinter-clove"):
        assert {trial.id for trial in again.trials(within=[name])} == {first.id, second.id}
    assert {trial.id for trial in again.trials(within=["hemp-clove"])} == {second.id}


def test_a_broken_trial_does_not_stop_work_on_others(folder: Folder, bench: Bench) -> None:
    first = start(bench)
    second = bench.start("first-bar", oils="1000 g", now=NOW, draw_code=lambda: "x2gv")
    path = folder.root / "trials" / "2026" / first.id
    (path / "trial.yaml").write_text("format: 1\n\tmade: yes\n", encoding="utf-8")
    assert [trial.id for trial in bench.trials()] == [second.id]
    assert [finding.code for finding in bench.check() if finding.severity.value == "error"] == ["yaml-tab"]
    with pytest.raises(InputError):
        bench.find_trial("k7wq")
    (path / "planned.yaml").unlink()
    assert "plan-missing" in [finding.code for finding in bench.check()]
    trial = bench.start("first-bar", oils="1000 g", now=NOW, draw_code=lambda: "9bcd")
    (folder.root / "trials" / "2026" / trial.id / "planned.yaml").unlink()
    assert [finding.code for finding in bench.read_trial(trial.id)[1]] == ["plan-missing"]


def test_a_frozen_plan_is_to_be_brought_back_and_never_mended_by_hand(folder: Folder, bench: Bench) -> None:
    path = folder.root / "trials" / "2026" / start(bench).id / "planned.yaml"
    frozen = path.read_text(encoding="utf-8")
    for damaged in (
        "",
        frozen[:400],
        "weigh: nan\n",
        frozen.replace("superfat: 5", "superfat: NaN"),
        frozen + "x: 1\n",
    ):
        path.write_text(damaged, encoding="utf-8")
        faults = [
            finding
            for finding in open_bench(folder.root).check()
            if finding.place.path == str(path.relative_to(folder.root))
        ]
        assert faults
        assert all(f"formulary restore {path.parent.name} --discard" in finding.do for finding in faults)


def test_a_trial_without_oils_stops_nothing_but_itself(folder: Folder, bench: Bench) -> None:
    first = start(bench)
    second = bench.start("first-bar", oils="1000 g", now=NOW, draw_code=lambda: "x2gv")
    path = folder.root / "trials" / "2026" / first.id / "trial.yaml"
    oils = ("olive-oil", "coconut-oil", "rice-bran-oil", "castor-oil")
    entries = "".join(f"\n  - {{line: {oil}, left_out: true}}" for oil in oils)
    path.write_text(path.read_text(encoding="utf-8").replace("\nas_made:", f"\nas_made:{entries}"), encoding="utf-8")
    assert [finding.code for finding in bench.check() if finding.severity.value == "error"] == ["no-oils"]
    assert [trial.id for trial in bench.trials()] == [second.id]
    assert {row[0] for row in bench.table().rows} == {second.id}
    with pytest.raises(InputError, match="no oil went into"):
        bench.find_trial("k7wq")
    with pytest.raises(InputError, match="no oil went into"):
        bench.record(record.condition(first, "room", "19 °C"))


def test_nothing_is_started_that_could_not_be_read_back(
    folder: Folder, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    from trials.record import starting

    tip, write = folder.store.tip, starting.render_plan
    for before, after, code in (
        ("\nsize:", "\nsizes:", "missing-key"),
        ("weigh: 450 g", "weigh: 45 g", "plan-altered"),
    ):
        monkeypatch.setattr(
            starting, "render_plan", lambda plan, old=before, new=after: write(plan).replace(old, new, 1)
        )
        with pytest.raises(InputError) as caught:
            start(bench)
        assert code in [finding.code for finding in caught.value.findings]
    assert folder.store.tip == tip
    assert bench.trial_ids() == ()


def test_a_folder_that_is_no_trial_is_named(folder: Folder, bench: Bench) -> None:
    other = folder.root / "trials" / "2026" / "my soap"
    other.mkdir(parents=True)
    (other / "trial.yaml").write_text("format: 1\n", encoding="utf-8")
    assert [finding.code for finding in bench.check()] == ["bad-trial-name"]


def test_a_trial_whose_version_is_not_here_is_kept_and_said(folder: Folder, bench: Bench, tmp_path: Path) -> None:
    import shutil

    trial = start(bench)
    with init_folder(tmp_path / "other") as other:
        shutil.copytree(folder.root / "trials", other.root / "trials")
        elsewhere = open_bench(other)
        assert elsewhere.find_trial("k7wq") == trial
        assert "version-not-here" in [finding.code for finding in elsewhere.check()]


def test_own_outcomes_and_events_are_the_makers(folder: Folder) -> None:
    settings = folder.root / "formulary.yaml"
    own = (
        "outcomes:\n  swirl: {scale: graded, grades: [muddy, fair, crisp], direction: higher, ages: [1 d]}\n"
        "  froth: {scale: measured, unit: bubbles/cm, ages: [28 d]}\nevents:\n  swirled: the two colours were drawn\n"
    )
    settings.write_text(settings.read_text(encoding="utf-8") + own, encoding="utf-8")
    again = open_bench(folder.root)
    trial = start(again)
    trial = again.record(
        trial.observe("swirl", "crisp", age="1 d"),
        trial.observe("froth", "12.5 bubbles/cm", age="28 d"),
        trial.event("swirled", "8:00"),
        now=NOW,
    )
    assert [item.readings[0].value for item in trial.observations] == [2, pytest.approx(12.5)]


def test_a_faulty_definition_of_an_outcome_is_found_and_the_others_stay(folder: Folder) -> None:
    settings = folder.root / "formulary.yaml"
    own = "outcomes:\n  swirl: {scale: graded}\n  gel: {scale: percent}\n  froth: {scale: log time, unit: mm}\n"
    settings.write_text(settings.read_text(encoding="utf-8") + own, encoding="utf-8")
    bench = open_bench(folder.root)
    assert [finding.code for finding in bench.check()] == ["outcome-grades", "outcome-built-in", "outcome-unit"]
    assert "hardness" in bench.outcomes


@pytest.mark.parametrize(
    ("size", "written"),
    [
        ({"total": "1500g"}, ("batter", "1500 g")),
        ({"mould": "25 x 8 x 7 cm"}, ("mould", "25 x 8 x 7 cm")),
        ({"bars": 12, "bar": "100g"}, ("bars", "12 of 100 g")),
        ({"bars": 12, "bar": "100 g", "cured": True}, ("bars", "12 of 100 g cured")),
    ],
)
def test_a_trial_can_be_started_for_any_size_that_a_batch_can(
    bench: Bench, size: dict[str, object], written: tuple[str, str]
) -> None:
    trial = bench.start("midwinter-clove", now=NOW, draw_code=lambda: "k7wq", **size)  # type: ignore[arg-type]
    assert trial.size == trial.plan.size == written
    assert bench.find_trial("k7wq") == trial


def test_what_is_due_and_where_a_lot_went_are_asked_of_the_bench(bench: Bench) -> None:
    trial = start(bench, lots={"olive-oil": "OL-7"})
    assert [item.task for item in bench.due(date(2026, 10, 4), days_ahead=0)] == ["cut", "mass"]
    (used,) = bench.find_lot("ol-7")
    assert (used.trial, used.grams) == (trial, 450.0)
    with pytest.raises(InputError) as caught:
        bench.find_lot("OL-8")
    assert "OL-7" in caught.value.findings[0].do
    assert "not-decided" in [finding.code for finding in bench.fit_to_sell(trial)]


def test_a_trial_whose_lye_goes_in_on_a_later_day_was_made_on_that_day(bench: Bench) -> None:
    trial = start(bench)
    morning = NOW.replace(day=4)
    trial = bench.record(record.lye_in(trial, morning), now=morning)
    assert trial.made == date(2026, 10, 4)
    assert record.elapsed_now(trial, morning.replace(minute=4, second=10)) == "4:10"


def test_a_plan_without_portions_can_be_divided_on_the_day(bench: Bench) -> None:
    trial = bench.start(
        "first-bar", oils="1000 g", portions=[("plain", "60"), ("swirl", "40 %")], now=NOW, draw_code=lambda: "k7wq"
    )
    assert [(portion.name, portion.share) for portion in trial.portions] == [("plain", 60), ("swirl", 40)]
    trial = bench.record(trial.event("poured", "9:30", portion="swirl"), now=NOW)
    assert trial.portions[1].events[0].what == "poured"


def test_a_stop_that_may_be_overridden_is_kept_with_the_trial(folder: Folder, bench: Bench) -> None:
    (folder.root / "materials").mkdir(exist_ok=True)
    own = "format: 1\nname: Clove\nkind: fragrance\nlimit: {percent_of_product: 0.5, certificate: 2026-02-11}\n"
    (folder.root / "materials" / "clove-bud-oil.yaml").write_text(own, encoding="utf-8")
    folder.refresh()
    with pytest.raises(StopError) as caught:
        start(bench)
    code = caught.value.findings[0].code
    trial = start(bench, despite=[code])
    assert trial.despite == (code,)
    assert code in [finding.code for finding in trial.plan.findings]
    assert code in [finding.code for finding in bench.fit_to_sell(trial)]


def test_broken_settings_are_left_to_the_folders_own_check(folder: Folder, bench: Bench) -> None:
    start(bench)
    (folder.root / "formulary.yaml").write_text("format: 1\nname: [\n", encoding="utf-8")
    again = open_bench(folder.root)
    assert again.check() == ()
    assert "yaml-syntax" in [finding.code for finding in again.folder.check()]


def test_a_lot_of_another_material_and_a_batter_that_loosens_are_refused(folder: Folder, bench: Bench) -> None:
    (folder.root / "materials").mkdir(exist_ok=True)
    own = 'format: 1\nname: Castor oil\nkind: oil\nlots: {"CA-1": {received: 2026-08-02}}\n'
    (folder.root / "materials" / "castor-oil.yaml").write_text(own, encoding="utf-8")
    folder.refresh()
    trial = start(bench)
    trial = bench.record(trial.event("thick trace", "3:00"), now=NOW)
    tip = folder.store.tip
    for entry, code in (
        (record.lot(trial, "olive-oil", "CA-1"), "lot-of-another"),
        (trial.event("light trace", "4:00"), "stages-backwards"),
    ):
        with pytest.raises(InputError) as caught:
            bench.record(entry, now=NOW)
        assert [finding.code for finding in caught.value.findings] == [code]
    assert folder.store.tip == tip


def test_how_many_loaves_to_pour_follows_from_what_past_loaves_gave(bench: Bench) -> None:
    trial = start(bench)
    ready = bench.ready_by(date(2026, 12, 12), "midwinter-clove", date(2026, 10, 3), bars=60)
    assert ready.loaves is None
    bench.record(*record.bars(trial, cut="12", scrapped="1"), now=NOW)
    ready = bench.ready_by(date(2026, 12, 12), "midwinter-clove", date(2026, 10, 3), bars=60)
    assert ready.loaves == 6  # 12 less one scrapped and one kept back are 10 to sell
    again = bench.ready_by(date(2026, 12, 12), "midwinter-clove", date(2026, 10, 3), bars=60, bars_per_loaf=21)
    assert again.loaves == 3
    bench.folder.rename("midwinter-clove", "hearth-clove")
    renamed = bench.ready_by(date(2026, 12, 12), "hearth-clove", date(2026, 10, 3), bars=60)
    assert renamed.loaves == 6  # its trials stay with it


def test_how_much_oil_the_bars_for_a_market_take_is_told_with_those_that_are_kept(folder: Folder, bench: Bench) -> None:
    day, today = date(2026, 12, 12), date(2026, 10, 3)
    ready = bench.ready_by(day, "midwinter-clove", today, bars=60, bars_per_loaf=11, bar="100 g")
    # six loaves of eleven, of which one each is kept
    batch = folder.batch("midwinter-clove", bars=66, bar="100 g", cured=True)
    assert ready.oil_mass_g == batch.oil_mass_g
    assert f"about {batch.oil_mass_g:.0f} g of oils for 66 bars, with those that are kept" in " ".join(
        render_ready_by(ready).split()
    )
    assert ready.to_json()["oil_mass_grams"] == batch.oil_mass_g
    assert bench.ready_by(day, "midwinter-clove", today, bars=60).oil_mass_g is None


def test_a_label_names_nothing_that_a_rebatch_to_come_would_take_in(bench: Bench) -> None:
    def listed() -> set[str]:
        return {line.inci for line in bench.ingredients(trial).in_bar}

    trial = start(bench)
    as_poured = listed()
    trial = bench.record(record.handle(trial, "rebatched", "9000 d", taken_in="honey 60 g"), now=NOW)
    assert listed() == as_poured
    trial = bench.record(record.handle(trial, "rebatched", "30 h", taken_in="honey 60 g"), now=NOW)
    assert listed() == as_poured | {"MEL"}


def test_a_file_that_changes_while_an_entry_is_written_is_not_overwritten(
    folder: Folder, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    from trials.record import recording
    from trials.record.file_text import write_entries

    trial = start(bench)
    path = folder.root / "trials" / "2026" / trial.id / "trial.yaml"

    def write_slowly(text: str, entries: list[Entry], file: str) -> str:
        path.write_text(text + "# typed meanwhile\n", encoding="utf-8")
        return write_entries(text, entries, file)

    monkeypatch.setattr(recording, "write_entries", write_slowly)
    tip = folder.store.tip
    with pytest.raises(ChangedError):
        bench.record(trial.observe("gel", "100 %", age="1 d"), now=NOW)
    assert path.read_text(encoding="utf-8").endswith("# typed meanwhile\n")
    assert folder.store.tip == tip


def test_a_trial_in_a_line_tells_what_was_read_before_what_only_follows_from_it() -> None:
    events = 'events: [{at: "0:00", what: lye in}, {at: "6:00", what: light trace}]\n'
    trial = trial_of(events + "observations: [{age: 2 d, outcome: free alkali, value: none}]\n")
    said = headline_values(trial, outcomes())
    assert said.index("time to light trace 6.0 min") < said.index("free alkali") < said.index("time to emulsion before")
