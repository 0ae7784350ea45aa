"""Every factor and outcome goes into a table that other programs read without loss.

Against pandas (round trip), the Frictionless library (validation by the Table Schema) and pyarrow (Parquet).
"""

from __future__ import annotations

import io
import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from formulary.data_table import Table
from formulary.data_table_formats import render_csv, render_json_lines, render_markdown, save_table, table_schema
from formulary.errors import InputError
from tests.trials.examples import HEAD, MIDWINTER_CLOVE, TRIAL, outcomes, plan_of, trial_of
from trials.table import make_table
from trials.trial.model import Observation, Reading

WHOLE_BATTER = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]


def table(by: str = "portion") -> Table:
    divided = trial_of(TRIAL)
    whole = trial_of(
        HEAD
        + 'conditions: {room: 21 °C}\nevents: [{at: "2:00", what: scent in}, {at: "6:30", what: poured}]\n'
        + "observations:\n  - {age: 28 d, outcome: hardness, value: 3.4 mm}\n"
        + "  - {age: 1 d, outcome: cracked, value: yes}\n  - {age: 7 d, outcome: ash, value: 30 %}\n",
        plan_of(WHOLE_BATTER),
    )
    return make_table([divided, replace(whole, id="2026-10-03-midwinter-clove-m3hd")], outcomes(), by=by)  # type: ignore[arg-type]


def test_there_is_one_row_a_portion_with_its_own_figures_and_values() -> None:
    found = table()
    assert found.column("portion") == ("plain", "clove", "whole")
    assert found.column("scent_clove_bud_oil_at_trace_percent_of_oils") == (
        0.0,
        pytest.approx(750 / 502.5),
        pytest.approx(1.2),
    )
    assert found.column("working_time_min_bound") == ("above", "above", "above")
    assert found.column("working_time_min_low") == (pytest.approx(8 - 160 / 60), pytest.approx(9.5 - 160 / 60), 4.5)
    assert found.column("hardness_at_28_d_mm") == (3.1, 3.1, 3.4)  # of the whole trial where no portion has its own
    assert found.column("gel_percent") == (None, 100.0, None)
    assert found.column("room_c") == (19.0, 19.0, 21.0)


def test_there_is_one_row_a_trial_when_asked_for() -> None:
    found = table("trial")
    assert found.column("portion") == ("whole", "whole")
    assert found.column("scent_clove_bud_oil_at_trace_percent_of_oils") == (
        pytest.approx(750 / 1005),
        pytest.approx(1.2),
    )


def test_names_are_unique_and_plain() -> None:
    names = [column.name for column in table().columns]
    assert len(set(names)) == len(names)
    assert all(name.isidentifier() and name == name.lower() for name in names)


def test_outcomes_whose_names_have_no_plain_letter_have_columns_of_their_own() -> None:
    own = {name: replace(outcomes()["hardness"], name=name) for name in ("мягкость", "твёрдость")}
    seen = (
        Observation(Decimal(28), name, (Reading(f"{mm}", Decimal(mm)),)) for name, mm in zip(own, (3, 5), strict=True)
    )
    trial = replace(trial_of(TRIAL), observations=tuple(seen))
    (row, *_) = (json.loads(line) for line in render_json_lines(make_table([trial], own)).splitlines())
    assert {3.0, 5.0} <= set(row.values())


def test_csv_round_trips_through_pandas_without_loss() -> None:
    import pandas

    found = table()
    frame = pandas.read_csv(
        io.StringIO(render_csv(found)),
        dtype={
            column.name: {"string": "string", "date": "string", "integer": "Int64", "number": "float64"}[column.kind]
            for column in found.columns
        },
        keep_default_na=False,
        na_values=[""],
    )
    for number, column in enumerate(found.columns):
        assert [None if pandas.isna(cell) else cell for cell in frame[column.name]] == [
            row[number] for row in found.rows
        ]


def test_json_lines_round_trip() -> None:
    found = table()
    rows = [json.loads(line) for line in render_json_lines(found).splitlines()]
    assert rows == [dict(zip([column.name for column in found.columns], row, strict=True)) for row in found.rows]


def test_a_dataframe_has_the_types_that_the_schema_says() -> None:
    frame = table().to_dataframe()
    assert str(frame["made"].dtype).startswith("datetime64")
    assert str(frame["hardness_at_28_d_mm_n"].dtype) == "Int64"
    assert frame["gel_percent"].isna().tolist() == [True, False, True]


def test_the_frictionless_library_finds_the_csv_valid_by_its_schema(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    frictionless = pytest.importorskip("frictionless")
    monkeypatch.chdir(tmp_path)  # it refuses paths that lead out of where it works
    save_table(table(), Path("trials.csv"))
    schema = frictionless.Schema.from_descriptor("trials.schema.json")
    report = frictionless.validate(frictionless.Resource(path="trials.csv", schema=schema))
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    text = Path("trials.csv").read_text(encoding="utf-8").replace(",100.0,exact", ",180.0,exact")
    Path("trials.csv").write_text(text, encoding="utf-8")
    assert not frictionless.validate(frictionless.Resource(path="trials.csv", schema=schema)).valid


def test_the_schema_says_units_scales_and_bounds() -> None:
    fields = {field["name"]: field for field in table_schema(table())["fields"]}  # type: ignore[attr-defined]
    gel = fields["gel_percent"]
    assert (gel["unit"], gel["scale"], gel["constraints"]) == ("%", "percent", {"minimum": 0.0, "maximum": 100.0})
    assert fields["ash_at_7_d"]["unit"] == "0 none, 1 up to a quarter, 2 up to a half, 3 more than half"
    assert fields["cracked"]["constraints"] == {"minimum": 0.0, "maximum": 1.0}


def test_parquet_round_trips(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    import pandas

    found = table()
    path, schema = save_table(found, tmp_path / "trials.parquet")
    assert schema.is_file()
    pandas.testing.assert_frame_equal(pandas.read_parquet(path), found.to_dataframe(), check_dtype=False)


def test_markdown_has_a_row_each_and_leaves_out_what_has_no_value() -> None:
    lines = render_markdown(table()).splitlines()
    assert len(lines) == 2 + 3
    assert "hardness at 28 d, mm" in lines[0]
    assert "hardness at 28 d, at least, mm" not in lines[0]
    assert len({line.count("|") for line in lines}) == 1


def test_another_ending_says_which_there_are(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        save_table(table(), tmp_path / "trials.xlsx")
    assert ".csv" in caught.value.findings[0].do


def test_no_trials_make_an_empty_table_with_its_head() -> None:
    assert render_csv(make_table([], outcomes())).startswith(
        "trial,portion,recipe,version,made,sitting,share_percent\n"
    )
