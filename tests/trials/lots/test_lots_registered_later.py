"""A certificate that is copied after the loaf was poured counts like one that was there.

A loaf is sold by the worse of what was known then and what is known today.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from formulary.errors import InputError, StopError
from formulary.finding import Severity
from formulary.folder.folder import Folder
from formulary.materials.model import Material
from tests.trials.examples import MIDWINTER_CLOVE, folder_with
from trials import record
from trials.as_made.effective import effective_portion
from trials.as_made.recalculate import VALUES
from trials.bench import Bench, open_bench
from trials.lots.lot_values import describe_lot_values
from trials.table import make_table
from trials.trial.added import Added, parse_added, render_added
from trials.trial.model import Trial

MADE = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
LATER = datetime(2026, 12, 1, 9, 0, tzinfo=UTC)
UNSCENTED = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")]
OLD = "format: 1\nname: Sodium hydroxide\nkind: alkali\nassay: 93\n"
STRONG = OLD + 'lots: {"N1": {assay: 99.8}}\n'
AS_OLD = OLD + 'lots: {"N1": {assay: 93}}\n'


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    with folder_with(tmp_path / "soap", UNSCENTED) as opened:
        (opened.root / "materials").mkdir(exist_ok=True)
        know(opened, OLD)
        yield opened


def know(folder: Folder, text: str) -> Bench:
    """The formulary with the alkali's file as it is then."""
    (folder.root / "materials" / "sodium-hydroxide.yaml").write_text(text, encoding="utf-8")
    folder.refresh()
    return open_bench(folder)


def start(folder: Folder) -> Trial:
    bench = open_bench(folder)
    trial = bench.start("midwinter-clove", oils="1000g", now=MADE, draw_code=lambda: "k7wq")
    return bench.record(trial.observe("free alkali", "none", age="2 d"), now=MADE)


def superfat(trial: Trial) -> float:
    return effective_portion(trial).figures.superfat_effective


def sell(bench: Bench, *despite: str) -> Trial:
    trial = bench.find_trial("k7wq")
    return bench.record(record.release(trial, "sell", who="R", why="fine", despite=despite), now=LATER)


def excess(bench: Bench, trial: Trial) -> list[str]:
    """What the checks of a trial say of free lye."""
    return [finding.what for finding in bench.check_trial(trial) if finding.code == "lye-excess"]


def test_a_lot_registered_after_the_start_counts_as_one_registered_before(folder: Folder) -> None:
    start(folder)
    bench = know(folder, STRONG)
    trial = bench.record(record.lot(bench.find_trial("k7wq"), "sodium-hydroxide", "N1"), now=LATER)
    # 93 % was weighed for, so that 99.8 % is 99.8/93 of the alkali for 95 % of the fat.
    assert superfat(trial) == pytest.approx(100 - (100 - superfat(without_lots(trial))) * 99.8 / 93)
    assert superfat(trial) < 0
    assert excess(bench, trial)
    assert open_bench(folder.root).find_trial("k7wq") == trial
    column = make_table([trial], bench.outcomes).column("effective_superfat_percent")
    assert column == (pytest.approx(superfat(trial), abs=1e-6),)
    with pytest.raises(StopError) as refused:
        sell(bench, "lye-excess")
    assert "lye-excess" in [finding.code for finding in refused.value.findings]


def without_lots(trial: Trial) -> Trial:
    from dataclasses import replace

    return replace(trial, lots={})


def test_a_lot_that_a_trial_names_counts_from_its_registration_on_and_is_kept_by_the_next_entry(folder: Folder) -> None:
    trial = start(folder)
    bench = open_bench(folder)
    trial = bench.record(record.lot(trial, "sodium-hydroxide", "N1"), now=MADE)
    assert superfat(trial) > 4
    bench = know(folder, STRONG)
    named = bench.find_trial("k7wq")
    assert superfat(named) < 0
    assert "lot-not-kept" in [finding.code for finding in bench.check()]
    kept = bench.record(record.note(named, "a remark"), now=LATER)
    assert superfat(kept) == superfat(named)
    assert "lot-not-kept" not in [finding.code for finding in bench.check()]
    assert superfat(know(folder, OLD).find_trial("k7wq")) == superfat(named)  # also when it is gone from the register


def test_a_certificate_corrected_later_never_changes_a_trial_by_itself_but_is_told_and_stops_its_sale(
    folder: Folder,
) -> None:
    know(folder, AS_OLD)
    bench = open_bench(folder)
    trial = bench.record(record.lot(start(folder), "sodium-hydroxide", "N1"), now=MADE)
    assert not excess(bench, trial)
    bench = know(folder, STRONG)
    again = bench.find_trial("k7wq")
    assert again == trial
    (told,) = excess(bench, again)
    assert told.startswith("by today's register, ")
    assert "lye-excess" in [finding.code for finding in bench.check()]
    assert "lye-excess" in [finding.code for _, finding in bench.compare(again).stops]
    assert "lye-excess" in [finding.code for finding in bench.fit_to_sell(again)]
    with pytest.raises(StopError):
        sell(bench, "lye-excess")
    # Naming the lot again takes what is registered of it now.
    renewed = bench.record(record.lot(again, "sodium-hydroxide", "N1"), now=LATER)
    assert superfat(renewed) < 0
    assert "assay, %: 99.8" in describe_lot_values(again, renewed, "sodium-hydroxide", ["N1"])


@pytest.mark.parametrize("written", ["N1", '"N1"', '"N\\x31"', "'N\"1'", '"N\\"1"', "'N''1'", '"N\n    1"'])
def test_a_certificate_that_makes_a_loaf_unsafe_is_told_however_the_loaf_spells_its_lot(
    folder: Folder, written: str
) -> None:
    trial = start(folder)
    path = folder.root / (trial.path or "")
    text = path.read_text(encoding="utf-8").replace("  sodium-hydroxide:\n", f"  sodium-hydroxide: {written}\n")
    path.write_text(text, encoding="utf-8")
    (use,) = open_bench(folder).find_trial("k7wq").lots["sodium-hydroxide"]
    quoted = use.lot.replace('"', '\\"')
    bench = know(folder, STRONG.replace('"N1"', f'"{quoted}"'))
    assert [each.code for each in bench.find_unsafe_loaves("sodium-hydroxide", use.lot)] == ["lye-excess"]


def test_the_frozen_values_stop_a_sale_however_mild_todays_are(folder: Folder) -> None:
    know(folder, STRONG)
    bench = open_bench(folder)
    bench.record(record.lot(start(folder), "sodium-hydroxide", "N1"), now=MADE)
    with pytest.raises(StopError):
        sell(know(folder, AS_OLD), "lye-excess")
    assert sell_after_naming_again(know(folder, AS_OLD)).release is not None


def sell_after_naming_again(bench: Bench) -> Trial:
    bench.record(record.lot(bench.find_trial("k7wq"), "sodium-hydroxide", "N1"), now=LATER)
    return sell(bench)


def test_general_values_that_change_are_told_until_the_loaf_names_its_own_delivery(folder: Folder) -> None:
    trial = start(folder)
    bench = know(folder, OLD.replace("assay: 93", "assay: 99.8"))
    assert excess(bench, trial)
    assert superfat(bench.find_trial("k7wq")) == superfat(trial)
    bench = know(folder, OLD.replace("assay: 93", "assay: 99.8") + 'lots: {"N0": {assay: 93}}\n')
    trial = bench.record(record.lot(trial, "sodium-hydroxide", "N0"), now=LATER)
    assert not excess(bench, trial)
    assert sell(bench).release is not None


def test_nothing_is_sold_or_looked_up_again_while_the_file_of_a_material_cannot_be_read(folder: Folder) -> None:
    trial = start(folder)
    broken = know(folder, "format: 1\nname: [\n")
    with pytest.raises(InputError):
        sell(broken)
    for look_up in (Bench.recalculate, Bench.ingredients):
        with pytest.raises(InputError, match=r"sodium-hydroxide\.yaml"):
            look_up(broken, trial)
    mended = know(folder, OLD)
    assert mended.recalculate(trial)
    assert mended.ingredients(trial)
    assert sell(mended).release is not None


def test_a_lot_of_which_nothing_is_registered_is_said_to_count_for_nothing(folder: Folder) -> None:
    trial = start(folder)
    bench = open_bench(folder)
    named = bench.record(record.lot(trial, "sodium-hydroxide", "N9"), now=MADE)
    assert "general values" in describe_lot_values(trial, named, "sodium-hydroxide", ["N9"])
    clay = bench.record(record.lot(named, "rose-clay", "R9"), now=MADE)
    assert describe_lot_values(named, clay, "rose-clay", ["R9"]) == ""


def test_what_is_kept_of_lots_reads_back_the_same(folder: Folder) -> None:
    alkali = know(folder, STRONG).folder.register["sodium-hydroxide"]
    kept = Added({"sodium-hydroxide": alkali}, {"sodium-hydroxide": dict(alkali.lots)})
    for added in (kept, Added({}, kept.lots), Added(kept.materials, {})):
        assert parse_added(render_added(added)) == (added, ())


def test_a_loaf_thrown_away_is_not_looked_up_again(folder: Folder) -> None:
    trial = start(folder)
    bench = open_bench(folder)
    trial = bench.record(record.release(trial, "discard", who="R", why="dull"), now=LATER)
    bench = know(folder, OLD.replace("assay: 93", "assay: 99.8"))
    assert Severity.STOP not in [finding.severity for finding in bench.check_trial(trial)]


def test_a_hydroxide_that_was_taken_for_the_other_is_heard_of_and_stops_the_sale(folder: Folder) -> None:
    unnamed = OLD.replace("Sodium hydroxide", "My lye")
    mixed_up = unnamed.replace("kind: alkali\n", "kind: alkali\nalkali: potassium-hydroxide\n")
    (folder.root / "materials" / "my-lye.yaml").write_text(mixed_up, encoding="utf-8")
    recipe = folder.root / "recipes" / "midwinter-clove.yaml"
    recipe.write_text(UNSCENTED.replace("alkali: sodium-hydroxide", "alkali: my-lye"), encoding="utf-8")
    folder.refresh()
    start(folder)
    right = mixed_up.replace("potassium", "sodium")
    (folder.root / "materials" / "my-lye.yaml").write_text(right, encoding="utf-8")
    folder.refresh()
    bench = open_bench(folder)
    trial = bench.find_trial("k7wq")
    # Weighed for 56.1 g a mole and dissolved at 40.0 g a mole, there is 1.4 times as much of it.
    assert [finding.what[:10] for finding in bench.check_trial(trial) if finding.code == "lye-excess"] == ["by today's"]
    (change,) = bench.recalculate(trial).changes
    assert (change.value, change.before, change.after) == ("hydroxide", "potassium hydroxide", "sodium hydroxide")
    with pytest.raises(StopError, match="by today's register"):
        sell(bench, "lye-excess")


# What a material's file says and no figure of the lye, and no limit, follows from.
NO_FIGURE = {
    *("slug", "name", "notes", "inci", "inci_in_soap", "allergens", "origin", "carrier", "price", "measures"),
    *("density_g_per_ml", "bulk_density_g_per_ml", "melting_point_c", "flash_point_c", "iodine_value"),
    *("alcohol_percent", "vanillin_percent", "stated_solids_percent", "reference_saponification_value"),
    *("lots", "lots_used", "stated", "stated_working_value", "builtin", "sources", "how_working_value"),
}


def test_every_value_of_a_material_is_held_against_today_or_known_to_change_no_figure() -> None:
    held = {each for each in Material.__dataclass_fields__ if each in VALUES}
    assert held | NO_FIGURE == set(Material.__dataclass_fields__)
    assert not held & NO_FIGURE
