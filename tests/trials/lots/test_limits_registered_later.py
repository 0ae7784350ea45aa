"""A limit that is registered after a loaf was planned comes to count for it by its lot, and the finding says how.

All materials and lots are invented.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from formulary.folder.folder import Folder
from tests.trials.examples import MIDWINTER_CLOVE, folder_with
from trials import record
from trials.bench import Bench, open_bench
from trials.trial.model import Trial

MADE = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
WHOLE = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]
SCENT = "format: 1\nname: Clove bud oil\nkind: fragrance\n"
LIMIT = "limit: {percent_of_product: 2.5}"


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    with folder_with(tmp_path / "soap", WHOLE) as opened:
        (opened.root / "materials").mkdir(exist_ok=True)
        yield opened


def know(folder: Folder, text: str) -> Bench:
    (folder.root / "materials" / "clove-bud-oil.yaml").write_text(text, encoding="utf-8")
    folder.refresh()
    return open_bench(folder)


def start(folder: Folder) -> Trial:
    bench = know(folder, f"{SCENT}contains: {{invented-constituent: 4 %}}\n")
    return bench.start("midwinter-clove", oils="1000g", now=MADE, draw_code=lambda: "k7wq")


def ways(bench: Bench) -> list[str]:
    trial = bench.find_trial("k7wq")
    return [each.do for each in bench.check_trial(trial) if each.code == "scent-limit-unknown"]


def name_lot(bench: Bench, way: str) -> Bench:
    """What the finding says to do with the trial's lot, once the register has it."""
    said = re.search(r"formulary trial lot (.*)", way)
    assert said is not None, way
    code, material, lot = shlex.split(said.group(1))
    trial = bench.find_trial(code)
    bench.record(record.lot(trial, material, "C 9" if lot == "LOT" else lot), now=MADE)
    return bench


def test_without_any_limit_the_way_is_the_certificate_of_its_lot(folder: Folder) -> None:
    start(folder)
    (way,) = ways(open_bench(folder))
    assert "formulary materials lot clove-bud-oil LOT --set limit=PERCENT" in way
    bench = name_lot(know(folder, f'{SCENT}lots: {{"C 9": {{{LIMIT}}}}}\n'), way)
    assert ways(bench) == []


def test_a_limit_of_the_material_is_told_to_be_there_with_the_way_by_which_it_counts(folder: Folder) -> None:
    start(folder)
    (way,) = ways(know(folder, f"{SCENT}{LIMIT}\n"))
    assert way.startswith("clove-bud-oil has a limit by now, and this loaf's plan has none")
    assert "formulary materials lot clove-bud-oil LOT --set limit=2.5" in way
    bench = name_lot(know(folder, f'{SCENT}{LIMIT}\nlots: {{"C 9": {{{LIMIT}}}}}\n'), way)
    assert ways(bench) == []


def test_a_lot_that_is_named_and_registered_without_a_limit_is_told_where_to_write_it(folder: Folder) -> None:
    trial = start(folder)
    bench = know(folder, f'{SCENT}{LIMIT}\nlots: {{"C 9": {{received: 2026-08-02}}}}\n')
    bench.record(record.lot(trial, "clove-bud-oil", "C 9"), now=MADE)
    (way,) = ways(bench)
    assert "write `limit: {percent_of_product: 2.5}` to lot C 9 in materials/clove-bud-oil.yaml" in way
    bench = know(folder, f'{SCENT}{LIMIT}\nlots: {{"C 9": {{received: 2026-08-02, {LIMIT}}}}}\n')
    (way,) = ways(bench)
    assert way.endswith(": formulary trial lot k7wq clove-bud-oil 'C 9'")
    assert ways(name_lot(bench, way)) == []


def test_a_sale_is_refused_with_the_same_way(folder: Folder) -> None:
    from trials.checks.sale import check_before_sale

    trial = start(folder)
    bench = know(folder, f"{SCENT}{LIMIT}\n")
    told = {each.code: each.do for each in check_before_sale(trial, register=bench.folder.register)}
    assert ways(bench)[0] in told["limit-unknown"]
