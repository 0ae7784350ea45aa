"""Published posterior probabilities of active factors.

Sources: G. E. P. Box and R. D. Meyer, Technometrics 28(1), 1986, 11-18, and J. Quality Technology 25(2),
1993, 94-105; R. D. Meyer, D. M. Steinberg, G. E. P. Box, Technometrics 38(4), 1996, 303-332; data, settings
and probabilities as given in the R package BsMD 2023.920 (data/*.rda and inst/doc/BsMD.pdf, E. Barrios).
"""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from tests.outside.designed_experiment import DesignPosterior, discrimination, foretell_runs, weigh_design

DATA = Path(__file__).parent / "data"


def read_table(name: str) -> dict[str, np.ndarray]:
    with (DATA / name).open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def published() -> dict[tuple[str, str, str], dict[str, float]]:
    found: dict[tuple[str, str, str], dict[str, float]] = defaultdict(dict)
    with (DATA / "boxmeyer_published.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            key = (row["example"], row["data"], row["setting"])
            found[key][row["factor"]] = float(row["posterior_published"])
    return found


def weigh(example: str, data: str, setting: str) -> tuple[list[str], DesignPosterior]:
    activity, spread, order = (float(value) for value in re.findall(r"(?:p|g|mint)=([0-9.]+)", setting))
    block = None
    if example.startswith("BM86"):
        name, outcome = data.split(":")
        table = read_table(name)
        factors = [f"X{k}" for k in range(1, 16)]
        values = table[outcome]
    elif example.startswith("MSB96"):
        table = read_table("reactor_2to5.csv")
        first = [25, 2, 19, 12, 13, 22, 7, 32]
        more = {"8": [], "+4": [4, 10, 11, 26], "one": [10, 4, 11, 15]}
        extra = more["one"] if "one at a time" in example else more["+4"] if "8+4" in example else more["8"]
        runs = np.array(first + extra) - 1
        table = {key: column[runs] for key, column in table.items()}
        block = np.r_[-np.ones(len(first)), np.ones(len(extra))]
        factors, values = list("ABCDE"), table["y"]
    else:
        table = read_table(data)
        values = table["y"]
        factors = [key for key in table if key not in ("y", "Run")]
    matrix = np.column_stack([table[key] for key in factors])
    return factors, weigh_design(matrix, values, activity=activity, effect_sds=spread, order=int(order), block=block)


@pytest.mark.parametrize("key", list(published()), ids=lambda key: f"{key[0]} {key[2]}")
def test_factor_probabilities_are_those_published(key: tuple[str, str, str]) -> None:
    factors, answer = weigh(*key)
    # the eleven-column reactor and the follow-up runs were published with coarser rounding
    tolerance = 1.2e-3 if "11 columns" in key[0] or "MSB96" in key[0] else 6.5e-4
    ours = dict(zip(factors, answer.factors, strict=True)) | {"none": answer.chance[0]}
    for factor, probability in published()[key].items():
        assert ours[factor] == pytest.approx(probability, abs=tolerance), factor


@pytest.mark.parametrize(
    ("example", "prefix"),
    [
        ("BM86 ex1", "BM86 ex1"),
        ("BM93 ex1 reactor PB12", "BM93 ex1 reactor PB12"),
        ("BM93 ex3 injection 20 runs", "BM93 ex3"),
    ],
)
def test_model_probabilities_are_those_published(example: str, prefix: str) -> None:
    key = next(k for k in published() if k[0].startswith(prefix))
    factors, answer = weigh(*key)
    with (DATA / "boxmeyer_published_models.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["example"] == example]
    assert rows
    chance = dict(zip(answer.sets, answer.chance, strict=True))
    for row in rows:
        names = [] if row["model"] == "none" else row["model"].split(",")
        members = tuple(sorted(factors.index(f"X{n}" if n.isdigit() else n) for n in names))
        assert chance[members] == pytest.approx(float(row["posterior_published"]), abs=6.5e-4)


def test_four_aliased_explanations_get_equal_odds() -> None:
    table = {key: column[:16] for key, column in read_table("boxmeyer_injection.csv").items()}
    matrix = np.column_stack([table[key] for key in "ACEH"])
    answer = weigh_design(matrix, table["y"], activity=0.25, effect_sds=2.0, order=3, block=table["blk"])
    chance = dict(zip(answer.sets, answer.chance, strict=True))
    for three in ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3)):
        assert chance[three] == pytest.approx(0.2356, abs=2.5e-4)
    assert chance[(0, 1, 2, 3)] == pytest.approx(0.0566, abs=2.5e-4)


def follow_ups(example: str) -> list[tuple[list[int], float]]:
    with (DATA / "boxmeyer_published_md.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["example"].startswith(example)]
    return [([int(run) for run in row["runs"].split(",")], float(row["MD_published"])) for row in rows]


def test_follow_up_runs_of_the_injection_example_are_worth_what_was_published() -> None:
    table = {key: column[:16] for key, column in read_table("boxmeyer_injection.csv").items()}
    candidates = read_table("boxmeyer_md_candidates.csv")
    made = np.column_stack([table[key] for key in "ACEH"])
    coming = np.column_stack([candidates[key] for key in "ACEH"])
    answer = weigh_design(made, table["y"], activity=0.25, effect_sds=2.0, order=3, block=table["blk"])
    assert len(follow_ups("MSB96 ex1")) == 5
    for runs, published_value in follow_ups("MSB96 ex1"):
        new = np.array(runs) - 1
        block = (table["blk"], candidates["blk"][new])
        foretold = foretell_runs(answer, table["y"], coming[new], effect_sds=2.0, block=block, least=0.01)
        assert discrimination(foretold) == pytest.approx(published_value, abs=2e-3)


def test_follow_up_runs_of_the_reactor_example_are_worth_what_was_published() -> None:
    table = read_table("reactor_2to5.csv")
    factors = np.column_stack([table[key] for key in "ABCDE"])
    first = np.array([25, 2, 19, 12, 13, 22, 7, 32]) - 1
    before, after = -np.ones(8), np.ones(4)
    answer = weigh_design(factors[first], table["y"][first], activity=0.25, effect_sds=0.4, order=3, block=before)
    assert len(follow_ups("MSB96 ex2")) == 3
    for runs, published_value in follow_ups("MSB96 ex2"):
        new = factors[np.array(runs) - 1]
        foretold = foretell_runs(answer, table["y"][first], new, effect_sds=0.4, block=(before, after))
        assert discrimination(foretold) == pytest.approx(published_value, abs=1.1e-3)
