"""The sheet for the bench: whole in itself, with the weights of the batch and lines to fill in, and never of a stop."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formulary.batch.model import Batch
from formulary.batch.overriding import override_stops
from formulary.batch.scale import Scale
from formulary.batch.sheet_weights import shown_weights
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_text import render_sitting
from formulary.batch.weigh_out_text import CAUTIONS, CLOSING, HOUSEHOLD, render_batch
from formulary.errors import InputError, StopError, StorageError
from formulary.folder.folder import Folder
from formulary.materials.register import read_builtin_register
from tests.batch.recipes import PLAIN, weigh_out
from tests.demo.in_memory import draw_year
from tests.trials.examples import MIDWINTER_CLOVE, folder_with
from trials import record
from trials.bench import Bench, open_bench
from trials.pages.page import clean, element, render_page
from trials.pages.sheet import Sheet, make_sheet
from trials.pages.trial_sheet import make_trial_sheet
from trials.trial.model import EVENT_WORDS, Trial

from .reading import cells, demand_self_contained, read_page, text_of

DAY = date(2026, 10, 3)
NOW = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
NASTY = '<script>alert(1)</script>"&amp;'


def sheet_of(batch: Batch) -> Sheet:
    return make_sheet(batch, on=DAY)


def midwinter() -> Batch:
    return weigh_out(MIDWINTER_CLOVE)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    with folder_with(tmp_path / "harbour") as opened:
        yield opened


@pytest.fixture
def bench(folder: Folder) -> Bench:
    return open_bench(folder)


def start(bench: Bench, **more: str) -> Trial:
    return bench.start("midwinter-clove", oils="1000 g", now=NOW, draw_code=lambda: "k7wq", **more)  # type: ignore[arg-type]


def test_a_sheet_is_one_file_that_runs_nothing_and_asks_for_nothing() -> None:
    page = demand_self_contained(sheet_of(midwinter()).html)
    assert "@page" in (page.findtext("head/style") or "")
    assert page.findtext("head/title")


def test_every_thing_in_the_pot_has_a_box_and_its_weight_once() -> None:
    batch = midwinter()
    page = demand_self_contained(sheet_of(batch).html)
    boxes = [part for part in page.iter("span") if part.get("class") == "box"]
    weighings = {(line.material, line.at) for line in batch.pot.lines}
    assert len(boxes) == len(cells(page, "grams")) == len(weighings) + len(batch.pot.portions)


def test_that_a_jug_may_boil_or_spit_stands_above_what_goes_into_it() -> None:
    strong = weigh_out(PLAIN.replace("lye_concentration: 33", "lye_concentration: 45"))
    for sheet in (sheet_of(strong), make_sheet(plan_sitting([strong, strong], read_builtin_register()), on=DAY)):
        text = text_of(demand_self_contained(sheet.html))
        assert text.count("it may boil or spit") == 1
        jug = text.index("In the jug" if "In the jug" in text[: text.index("boil")] else "One jug")
        assert jug < text.index("it may boil or spit") < text.index("then let it clear and cool", jug)


def test_its_weights_are_those_of_the_json_as_the_scales_show_them() -> None:
    tree = midwinter().to_json()
    page = demand_self_contained(sheet_of(midwinter()).html)
    printed = dict(zip((name for name in cells(page, "what")), cells(page, "grams"), strict=True))
    for kind in ("oils", "lye", "additions", "scent"):
        for line in tree[kind]:  # type: ignore[attr-defined]
            name = line["material"].replace("-", " ")
            (shown,) = [float(grams) for what, grams in printed.items() if what.startswith(name)]
            if kind == "lye":
                assert shown == pytest.approx(line["grams"])
            elif kind == "scent":
                assert line["grams"] - 0.1 < shown <= line["grams"] + 1e-6
            else:
                assert abs(shown - line["grams"]) <= 1.0
    assert sum(float(printed[name]) for name in printed if name in ("olive oil", "coconut oil")) > 0


def test_water_stands_before_the_lye_that_goes_into_it() -> None:
    page = demand_self_contained(sheet_of(midwinter()).html)
    order = cells(page, "what")
    water = next(number for number, name in enumerate(order) if name.startswith("water"))
    lye = next(number for number, name in enumerate(order) if name.startswith("sodium hydroxide"))
    assert water < lye


def test_it_says_the_cautions_the_figures_the_findings_and_who_decides() -> None:
    batch = midwinter()
    said = text_of(demand_self_contained(sheet_of(batch).html))
    assert CAUTIONS in said
    assert CLOSING in said
    assert batch.findings
    for finding in batch.findings:
        assert finding.what in said
        assert finding.do in said
    told = " ".join(render_batch(batch, width=1000).split())
    for sentence in re.findall(r"Superfat [^.]*\.|Lye concentration \d+", told):
        assert sentence[:30] in " ".join(said.split())


def test_there_is_a_line_for_every_event_in_every_portion_and_for_the_temperatures() -> None:
    batch = midwinter()
    html = make_sheet(batch, on=DAY, own_events=["swirled"]).html
    said = text_of(demand_self_contained(html))
    for word in (*EVENT_WORDS, "swirled", "room, °C", "lye, °C", "oils, °C"):
        assert word.replace("temperature", "batter, °C") in said
    for portion in batch.pot.portions:
        assert portion.name in said


def test_a_batch_with_a_stop_has_no_sheet() -> None:
    stopped = weigh_out(PLAIN.replace("superfat: 5", "superfat: -3"))
    assert stopped.is_stopped
    with pytest.raises(StopError) as caught:
        sheet_of(stopped)
    assert {finding.code for finding in caught.value.findings} <= {finding.code for finding in stopped.findings}
    with pytest.raises(StopError):
        sheet_of(override_stops(stopped, [finding.code for finding in stopped.findings]))


def test_a_stop_that_is_overridden_is_told_before_the_weights() -> None:
    recipe = f"{PLAIN}additions: [{{material: honey, rate: 2 % of oils, at: lye water, water: extra}}]\n"
    stopped = weigh_out(recipe)
    codes = [finding.code for finding in stopped.findings if finding.severity.value == "stop"]
    assert codes
    said = text_of(demand_self_contained(sheet_of(override_stops(stopped, codes)).html))
    assert said.index("overridden:") < said.index("In the jug")


def test_a_household_soap_says_so_before_the_weights() -> None:
    said = text_of(demand_self_contained(sheet_of(weigh_out(f"{PLAIN}purpose: household\n")).html))
    assert said.index(HOUSEHOLD) < said.index("In the jug")


def test_a_sitting_says_what_its_text_says_and_has_a_column_of_times_for_each_loaf() -> None:
    batches = [weigh_out(PLAIN, oil_mass_g=800.0), weigh_out(PLAIN.replace("Plain bar", "Other bar"), oil_mass_g=555.5)]
    sitting = plan_sitting(batches, read_builtin_register())
    page = demand_self_contained(make_sheet(sitting, on=DAY).html)
    printed = cells(page, "grams")
    text = render_sitting(sitting, width=100)
    told = re.findall(r"^ {2,}[a-z][a-z ]+? {2,}([0-9.]+)(?: |$)", text, flags=re.MULTILINE)
    assert sorted(told) == sorted(printed)
    said = text_of(page)
    assert said.count("too thick to pour") == 2
    assert "Loaf 1: Plain bar" in said
    assert "Loaf 2: Other bar" in said


def test_the_weights_of_a_loaf_stay_with_its_heading_on_paper() -> None:
    page = demand_self_contained(make_sheet(plan_sitting([weigh_out(PLAIN)] * 3, read_builtin_register()), on=DAY).html)
    assert re.search(r"\.loaf[^{]*\{ break-inside: avoid; \}", page.findtext("head/style") or "")
    loaves = [part for part in page.iter("div") if part.get("class") == "loaf"]
    heads = [text_of(part) for loaf in loaves for part in loaf.iter("h2")]
    assert [head.split(":")[0] for head in heads] == ["For all loaves", "Loaf 1", "Loaf 2", "Loaf 3"]
    assert all(len(list(loaf.iter("table"))) == 1 for loaf in loaves)


def test_a_sitting_with_a_stop_has_no_sheet() -> None:
    sitting = plan_sitting([weigh_out(PLAIN), weigh_out(PLAIN)], read_builtin_register())
    stopped = weigh_out(PLAIN.replace("superfat: 5", "superfat: -3"))
    (stop, *_) = [finding for finding in stopped.findings if finding.severity.value == "stop"]
    for each in (replace(sitting, findings=(stop,)), replace(sitting, batches=(sitting.batches[0], stopped))):
        with pytest.raises(StopError):
            make_sheet(each, on=DAY)


def test_what_a_person_wrote_is_text_and_never_markup(folder: Folder, bench: Bench) -> None:
    recipe = MIDWINTER_CLOVE.replace("name: Midwinter clove", f"name: '{NASTY}'")
    assert recipe != MIDWINTER_CLOVE
    (folder.root / "recipes" / "midwinter-clove.yaml").write_text(recipe, encoding="utf-8")
    folder.refresh()
    trial = start(bench, who=NASTY, sitting=NASTY)
    trial = bench.record(
        record.lot(trial, "olive-oil", NASTY),
        record.condition(trial, "blender", NASTY),
        record.condition(trial, "mould", NASTY),
        now=NOW,
    )
    html = bench.sheet(trial).html
    page = demand_self_contained(html)
    assert text_of(page).count(NASTY) >= 6
    assert "<script" not in html


@given(st.text(st.characters()))
@example("a\x00b\x85c\ud800d\ufffee\U0001ffff\r\x0b")
def test_any_text_is_text_in_a_page(text: str) -> None:
    page = demand_self_contained(
        render_page(
            text, [element("p", text, element("b"), text), element("img", src="data:image/svg+xml;base64,", alt=text)]
        )
    )
    assert text_of(next(page.iter("p"))) == clean(text) * 2


def test_a_trials_sheet_has_its_frozen_weights_whatever_changed_since(folder: Folder, bench: Bench) -> None:
    trial = start(bench, who="Wren")
    before = bench.sheet(trial).html
    (folder.root / "recipes" / "midwinter-clove.yaml").write_text("format: 1\n", encoding="utf-8")
    (folder.root / "materials").mkdir(exist_ok=True)
    own = "format: 1\nname: Olive oil\nkind: oil\nsaponification_value: 180\n"
    (folder.root / "materials" / "olive-oil.yaml").write_text(own, encoding="utf-8")
    after = open_bench(folder.root).sheet("k7wq").html
    assert after == before
    batch_sheet = sheet_of(midwinter()).html
    assert cells(demand_self_contained(after), "grams") == cells(demand_self_contained(batch_sheet), "grams")
    assert "Wren" in after
    assert trial.id in after


def test_a_certificate_that_came_later_and_makes_the_lye_too_much_leaves_no_sheet(folder: Folder, bench: Bench) -> None:
    trial = start(bench)
    (folder.root / "materials").mkdir(exist_ok=True)
    own = "format: 1\nname: Olive oil\nkind: oil\nsaponification_value: 150\n"
    (folder.root / "materials" / "olive-oil.yaml").write_text(own, encoding="utf-8")
    with pytest.raises(StopError):
        open_bench(folder.root).sheet(trial.id)


def test_the_sheets_of_a_years_trials_have_the_weights_of_their_plans() -> None:
    for trial in draw_year(7):
        sheet = make_trial_sheet(trial, ())
        pot = trial.plan.pot
        shown = shown_weights(pot.lines, Scale.of(trial.plan.settings))
        (part,) = sheet.parts
        printed = [(step.title, line) for step in part.steps for line in step.lines]
        assert cells(read_page(sheet.html), "grams") == [line.grams for _, line in printed]
        poured_off = [float(line.grams) for title, line in printed if "divide the batter" in title.lower()]
        alone = [float(line.grams) for title, line in printed if "  Into the " in title]
        for_all = sorted({float(line.grams) for _, line in printed} - {*poured_off, *alone})
        divided = {(line.material, line.role, line.at) for line in pot.lines if line.portion and line.at == "trace"}
        assert sum(float(line.grams) for _, line in printed) == pytest.approx(sum(shown.values()) + sum(poured_off))
        assert sum(alone) == pytest.approx(sum(shown[key] for key in divided))
        assert set(for_all) <= {round(grams, 4) for grams in shown.values()}
        of_batter = sum(grams for key, grams in shown.items() if key not in divided and key[2] != "top")
        assert not pot.portions or sum(poured_off) == pytest.approx(of_batter)


def test_what_is_recorded_already_stands_on_a_trials_sheet(bench: Bench) -> None:
    trial = start(bench)
    trial = bench.record(
        record.lot(trial, "olive-oil", "OL-7"),
        record.condition(trial, "room", "19.5 °C"),
        trial.event("light trace", "4:10", portion="clove"),
        record.as_made(trial, "water 283 g"),
        now=NOW,
    )
    said = text_of(demand_self_contained(bench.sheet(trial).html))
    for words in ("OL-7", "19.5", "4:10", "water 283 g"):
        assert words in said


def test_a_trial_that_is_caustic_as_made_has_no_sheet(bench: Bench) -> None:
    trial = start(bench)
    trial = bench.record(record.as_made(trial, "sodium-hydroxide 190 g"), now=NOW)
    with pytest.raises(StopError):
        bench.sheet(trial)


def test_the_same_batch_gives_the_same_file(tmp_path: Path) -> None:
    first, second = sheet_of(midwinter()), sheet_of(midwinter())
    first.save(tmp_path / "one.html")
    second.save(tmp_path / "two.HTML")
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.HTML").read_bytes()


def test_only_a_page_is_ever_written_over(tmp_path: Path) -> None:
    recipe = tmp_path / "harbour-base.yaml"
    recipe.write_text(PLAIN, encoding="utf-8")
    with pytest.raises(InputError):
        sheet_of(midwinter()).save(recipe)
    assert recipe.read_text(encoding="utf-8") == PLAIN


def test_a_page_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    taken = tmp_path / "taken.html"
    taken.mkdir()
    for path in (taken, tmp_path / "no" / "folder.html"):
        with pytest.raises(StorageError):
            sheet_of(midwinter()).save(path)
    assert [path.name for path in tmp_path.iterdir()] == ["taken.html"]
