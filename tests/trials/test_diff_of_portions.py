"""A portion is a side of a diff like any other: what went into it, for the same mass of oils, all its own."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest

from formulary import InputError, init_folder
from formulary.batch.figures import portion_figures
from formulary.changes.text import render_changes
from formulary.text_table import text_width
from tests.schemas import read_schema
from tests.trials.examples import folder_with
from trials.as_made.effective import effective_portion
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import effective_pot
from trials.bench import Bench, open_bench
from trials.record import as_made
from trials.trial.model import Trial

SCHEMA = read_schema("diff")

TWO_HALVES = """\
format: 1
name: Two halves
oils:
  olive-oil: 55
  coconut-oil: 25
  sunflower-oil: 20
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
additions:
  - {material: rose-clay, rate: 15 g per kg oils, at: oils}
  - {material: honey, rate: 1 tbsp per kg oils, at: trace, water: extra}
scent:
  - {material: clove-bud-oil, rate: 1 % of oils}
  - {material: lavender-oil, rate: 1.5 % of oils}
portions:
  - {name: plain, share: {percent: 60, by_eye: 6}, gets: {clove-bud-oil: 0, honey: 0}}
  - {name: clove, share: {percent: 40, by_eye: 6}, gets: {clove-bud-oil: 100, honey: 100}}
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    folder = folder_with(tmp_path / "soap", TWO_HALVES, "two-halves")
    clove = "format: 1\nname: Clove bud oil\nkind: fragrance\nlimit: {percent_of_product: 2.9}\nprice: 30 per 100 g\n"
    (folder.root / "materials").mkdir(exist_ok=True)
    (folder.root / "materials/clove-bud-oil.yaml").write_text(clove, encoding="utf-8")
    folder.refresh()
    folder.save_changed(why="halves")
    return open_bench(folder)


def start(bench: Bench) -> Trial:
    return bench.start("two-halves", oils="800 g", now=datetime(2026, 10, 3, 9, 0, tzinfo=UTC))


def test_the_portions_of_a_trial_are_told_apart_by_what_each_of_them_got(bench: Bench) -> None:
    trial = start(bench)
    changes = bench.diff(f"{trial.id}:plain", f"{trial.id[-4:]}:clove")
    rates = {line["material"]: (line["before"], line["after"]) for line in changes.to_json()["rates"]}  # type: ignore[attr-defined]
    # All the clove of 1 % for the whole is in two fifths of it; clay and lavender follow the share.
    assert rates["clove-bud-oil"] == (0, 2.5)
    assert set(rates) == {"clove-bud-oil", "honey"}
    assert changes.recipe.oils == ()
    assert changes.sentence.startswith("Honey and clove bud oil are new; the lye stays the same.")
    assert (changes.before.portion, changes.after.portion) == ("plain", "clove")
    tree = json.loads(json.dumps(changes.to_json(), allow_nan=False))
    jsonschema.Draft202012Validator(SCHEMA).validate(tree)
    assert set(tree) == set(SCHEMA["properties"])
    text = render_changes(changes)
    assert "the clove portion" in " ".join(text.split())
    assert max(map(text_width, text.splitlines())) <= 80


def test_a_portion_has_the_figures_that_the_trial_has_of_it(bench: Bench) -> None:
    """The scent is that at the worst end of its split, the superfat that of its own pot."""
    trial = bench.record(as_made(start(bench), "clove-bud-oil 7.5 g", portion="clove"))
    changes = bench.diff(f"{trial.id}:plain", f"{trial.id}:clove")
    pot = effective_pot(trial.plan, trial.as_made, trial.portions, trial.added)
    (_, clove) = portion_figures(pot, materials_of(trial), trial.plan.settings)
    told = {figure.key: figure.after for figure in changes.scent}
    assert told == pytest.approx({line.material: line.percent_of_cured for line in clove.scent})
    figures = effective_portion(trial, "clove").figures
    (effective,) = [figure.after for figure in changes.superfat if figure.key == "effective"]
    assert effective == pytest.approx(figures.superfat_effective, abs=1e-6)
    (sugars,) = [figure.after for figure in changes.others if figure.key == "sugars"]
    assert sugars == pytest.approx(figures.sugars_g_per_kg_oils)


def test_a_portion_of_a_recipe_is_that_of_a_trial_made_as_planned(bench: Bench) -> None:
    trial = start(bench)
    for name in ("plain", "clove"):
        for recipe in (f"two-halves:{name}", f"two-halves@latest:{name}"):
            tree = bench.diff(recipe, f"{trial.id}:{name}").to_json()
            assert (tree["oils"], tree["rates"], tree["process"], tree["scent"]) == ([], [], [], [])
            assert tree["findings"] == {"appeared": [], "vanished": []}
    same = bench.folder.diff("two-halves:plain", "two-halves:clove")
    assert same.sentence == bench.diff(f"{trial.id}:plain", f"{trial.id}:clove").sentence


def test_a_portion_beside_the_whole_is_set_beside_it_in_one_unit(bench: Bench) -> None:
    start(bench)
    changes = bench.diff("two-halves", "two-halves:clove")
    (honey,) = [line for line in changes.recipe.lines if line.material == "honey"]
    assert honey.unit == "% of oils"
    assert honey.before_amount is not None
    assert honey.after_amount is not None
    assert float(honey.after_amount) == pytest.approx(2.5 * float(honey.before_amount), abs=0.02)
    assert changes.recipe.portions == ()
    assert "division" not in changes.sentence


def test_a_limit_that_one_portion_passes_is_told_of_it_and_forbids_weighing_out_the_other(bench: Bench) -> None:
    path = bench.folder.root / "recipes/two-halves.yaml"
    path.write_text(TWO_HALVES.replace("clove-bud-oil, rate: 1 %", "clove-bud-oil, rate: 2.4 %"), encoding="utf-8")
    bench.folder.refresh()
    changes = bench.diff("two-halves:plain", "two-halves:clove")
    assert [finding.code for finding in changes.stops] == ["scent-limit"]
    assert "in the clove portion" in changes.stops[0].what
    assert all(figure.before is None and figure.after is None for figure in changes.lye)
    back = bench.diff("two-halves:clove", "two-halves:plain")
    assert [finding.code for finding in back.stops] == ["scent-limit"]


@pytest.mark.parametrize(
    ("side", "told"), [("two-halves:clover", "did you mean clove"), ("two-halves:whole", "plain"), ("TRIAL:x", "plain")]
)
def test_a_portion_that_there_is_not_is_refused_with_those_that_there_are(bench: Bench, side: str, told: str) -> None:
    trial = start(bench)
    with pytest.raises(InputError) as raised:
        bench.diff("two-halves", side.replace("TRIAL", trial.id))
    (finding,) = raised.value.findings
    assert finding.code == "no-portion"
    assert told in finding.do


def test_a_trial_that_was_not_divided_is_one_portion_called_whole(bench: Bench) -> None:
    path = bench.folder.root / "recipes/two-halves.yaml"
    path.write_text(TWO_HALVES.partition("portions:")[0], encoding="utf-8")
    bench.folder.refresh()
    trial = start(bench)
    assert bench.diff("two-halves:whole", f"{trial.id}:whole").recipe.is_empty


def test_the_cost_is_told_as_far_as_prices_are_known_and_what_has_none_is_named(bench: Bench) -> None:
    unpriced = bench.diff("two-halves:clove", "two-halves")
    assert unpriced.cost is not None
    assert unpriced.cost.before is None, "one price of eight materials says nothing"
    for name in ("Olive oil", "Coconut oil", "Sunflower oil"):
        text = f"format: 1\nname: {name}\nkind: oil\nprice: 8 per 1000 g\n"
        (bench.folder.root / f"materials/{name.lower().replace(' ', '-')}.yaml").write_text(text, encoding="utf-8")
    bench.folder.refresh()
    changes = bench.diff("two-halves:clove", "two-halves")
    assert changes.cost is not None
    # 25 g of clove of 1000 g of oils, and 10 g, at 30 per 100 g.
    assert (changes.cost.before, changes.cost.after) == (pytest.approx(15.5), pytest.approx(11.0))
    assert "lavender-oil" in changes.cost.unpriced
    assert "clove-bud-oil" not in changes.cost.unpriced
    text = render_changes(changes)
    assert "cost of the materials" in text
    assert "without a price, and so in neither cost: sodium hydroxide" in text
    priced = start(bench)
    (bench.folder.root / "materials/lavender-oil.yaml").write_text(
        "format: 1\nname: Lavender oil\nkind: fragrance\nprice: 20 per 100 g\n", encoding="utf-8"
    )
    bench.folder.refresh()
    after = bench.diff("two-halves", priced.id).cost
    assert after is not None
    assert "lavender-oil" not in after.unpriced
    assert after.after == pytest.approx(after.before), "what was not priced at the start costs what it does today"


def test_no_cost_is_told_where_no_price_is_known(tmp_path: Path) -> None:
    folder = init_folder(tmp_path / "soap")
    changes = folder.diff("first-bar", "first-bar")
    assert changes.cost is None
    assert "cost" not in render_changes(changes, show_all=True)
    assert "sugars" not in render_changes(changes, show_all=True)


def test_what_a_portion_gets_is_shown_a_line_each_and_only_where_it_changed(bench: Bench) -> None:
    trial = bench.record(as_made(start(bench), "honey 12 g", portion="plain"))
    changes = bench.diff("two-halves", trial.id)
    text = render_changes(changes)
    (row,) = [line.split() for line in text.splitlines() if line.strip().startswith("of the honey") and "-" not in line]
    assert float(row[3]) == 0
    assert float(row[4]) > 0
    assert "of the clove bud oil" not in text
    assert "of the clove bud oil" in render_changes(changes, show_all=True)


def test_trials_are_compared_portion_by_portion_as_they_are_named(bench: Bench) -> None:
    one, two = start(bench), start(bench)
    labels = [column.label for column in bench.compare(f"{one.id[-4:]}:clove", f"{two.id}:clove").columns]
    assert [(label[:4], label[4:].strip()) for label in labels] == [(one.id[-4:], "clove"), (two.id[-4:], "clove")]
    both = [column.label for column in bench.compare(f"{one.id}:clove", f"{one.id}:plain").columns]
    assert both == [column.label for column in bench.compare(one).columns]
    assert len(bench.compare(f"{one.id}:clove", one).columns) == 2, "who names the whole means all of it"
    with pytest.raises(InputError) as raised:
        bench.compare(f"{one.id}:clover")
    assert "did you mean clove" in raised.value.findings[0].do
