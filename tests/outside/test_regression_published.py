"""Published regressions that the engine must agree with: certified, censored, graded and batched data.

Sources: NIST/ITL Statistical Reference Datasets (Norris, Longley, Filip; data and certified values as in the
test files of the GNU Scientific Library); Meeker and Escobar 1998 capacitors, Gaussian fit as in the R
package survival (tests/r_tdist.Rout.save); Randall 1989 wine bitterness, fit as in the R package ordinal
(clm_article.pdf); hours of work with nine of seventeen at none, fit as in the SAS/ETS QLIM example "Tobit Analysis";
Davies 1947 dyestuff, fit as quoted by the tests of MixedModels.jl.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.outside.test_box_meyer import read_table
from trials.explain import EngineAnswer, Prior, Problem, explain
from trials.explain.aliases import find_near_aliases
from trials.explain.normal import FloatArray, normal_chance
from trials.explain.setting import take_out

DATA = Path(__file__).parent / "data"


def certified(dataset: str) -> dict[str, float]:
    with (DATA / "strd_certified.csv").open(newline="") as file:
        return {row["quantity"]: float(row["certified"]) for row in csv.DictReader(file) if row["dataset"] == dataset}


@pytest.mark.parametrize(("dataset", "columns"), [("norris", ["x"]), ("longley", [f"x{k}" for k in range(1, 7)])])
def test_the_sums_give_certified_coefficients_to_nine_digits(dataset: str, columns: list[str]) -> None:
    table = read_table(f"strd_{dataset}.csv")
    x = np.column_stack([table[column] for column in columns])
    size = x.std(axis=0)
    ones = np.ones((len(x), 1))
    scaled = (x - x.mean(axis=0)) / size
    moments, _ = take_out(scaled, ones, table["y"], np.zeros(1))
    effects = np.linalg.solve(moments.products, moments.scores) / size
    expected = [certified(dataset)[f"B{k}"] for k in range(1, len(columns) + 1)]
    assert effects == pytest.approx(expected, rel=1e-9)
    residual = np.sqrt((moments.square - moments.scores @ (effects * size)) / (len(x) - len(columns) - 1))
    assert residual == pytest.approx(certified(dataset)["residual_sd"], rel=1e-8)


def test_powers_that_nobody_can_tell_apart_are_said_to_be_nearly_the_same() -> None:
    x = read_table("strd_filip.csv")["x"]
    near = find_near_aliases(np.column_stack([x**k for k in range(1, 11)]), least=0.99)
    assert {(pair.first, pair.second) for pair in near} >= {(k, k + 1) for k in range(9)}


# an effect of any size beforehand, as in a plain regression
FLAT: dict[str, Any] = {
    "effect_sizes": ((1.0, 100.0),),
    "apart": False,
    "noise_kinds": ((1.0, 1.0),),
    "small_effects": (),
    "product_weight": 0.0,
}


def given(answer: object) -> EngineAnswer:
    assert isinstance(answer, EngineAnswer)
    return answer


def test_a_censored_regression_is_close_to_the_published_fit() -> None:
    with (DATA / "aft_capacitor.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    time, voltage = (np.array([float(row[key]) for row in rows]) for key in ("time", "voltage"))
    seen = np.array([row["status"] == "1" for row in rows])
    spread = voltage.std()
    problem = Problem.of(
        ["voltage"], ((voltage - voltage.mean()) / spread)[:, None], time, np.where(seen, time, np.inf)
    )
    answer = given(explain(problem, Prior(causes=(1e-6, 1.0), **FLAT)))
    effect = answer.candidates[0].effect
    assert effect is not None
    assert effect.middle / spread == pytest.approx(-4.087366, rel=0.08)
    level = answer.level.middle - effect.middle / spread * voltage.mean()
    assert level == pytest.approx(1917.431558, rel=0.05)
    assert answer.noise.sd.middle == pytest.approx(314.4748, rel=0.1)


def tobit_log_likelihood(hours: FloatArray, mean: FloatArray, sd: float) -> float:
    seen = hours > 0
    apart = (hours - mean) / sd
    read = -0.5 * np.log(2 * np.pi) - np.log(sd) - 0.5 * apart**2
    return float(np.where(seen, read, np.log(normal_chance(-mean / sd))).sum())


def test_hours_of_which_half_are_only_known_as_none_are_fitted_nearly_as_well_as_the_published_best() -> None:
    table = read_table("tobit_sas_qlim.csv")
    hours = table["hours"]
    x = np.column_stack([table["yrs_ed"], table["yrs_exp"]])
    published = (-5598.295129 + x @ [373.123254, 63.336247], 1582.859635)
    assert tobit_log_likelihood(hours, *published) == pytest.approx(-74.93700, abs=1e-4)

    def fitted(lower: FloatArray) -> tuple[FloatArray, float]:
        problem = Problem.of(["ed", "exp"], (x - x.mean(axis=0)) / x.std(axis=0), lower, hours)
        answer = given(explain(problem, Prior(causes=(1e-9, 1e-9, 1.0), **FLAT)))
        effects = {c.names[0]: c.effect.middle for c in answer.candidates if c.effect is not None}
        slopes = np.array([effects["ed"], effects["exp"]]) / x.std(axis=0)
        return answer.level.middle + (x - x.mean(axis=0)) @ slopes, answer.noise.sd.middle

    assert tobit_log_likelihood(hours, *fitted(np.where(hours > 0, hours, -np.inf))) > -74.93700 - 1.0
    assert tobit_log_likelihood(hours, *fitted(hours)) < -74.93700 - 3.0  # taking "none" for a value read


def test_graded_wine_is_made_bitter_by_warmth_and_contact_in_the_published_proportion() -> None:
    with (DATA / "ordinal_wine.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    x = np.array([[row["temp"] == "warm", row["contact"] == "yes"] for row in rows], dtype=float)
    grade = [float(row["rating"]) for row in rows]
    answer = given(explain(Problem.of(["warm", "contact"], x, grade, scale="graded", batch=[r["judge"] for r in rows])))
    found = {candidate.names[0]: candidate for candidate in answer.candidates}
    assert found["warm"].probability > 0.99
    assert found["contact"].probability > 0.8
    warm, contact = found["warm"].effect, found["contact"].effect
    assert warm is not None
    assert contact is not None
    assert warm.middle / contact.middle == pytest.approx(3.0619 / 1.8334, rel=0.2)
    assert warm.middle > 0


def test_five_samples_of_a_batch_are_not_five_witnesses() -> None:
    with (DATA / "batch_dyestuff.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    yields = np.array([float(row["yield"]) for row in rows])
    other = np.tile([0.0, 0.0, 0.0, 0.0, 1.0], 6)[:, None]
    plain = Prior(noise_kinds=((1.0, 1.0),), small_effects=())
    width = []
    for batch in ([row["batch"] for row in rows], None):
        answer = given(explain(Problem.of(["other"], other, yields, batch=batch), plain))
        width.append(answer.level.high - answer.level.low)
    # standard errors of the mean with and without batches, published: 19.3834 and 11.51
    assert width[0] / width[1] > 1.4
    assert width[0] > 2 * 1.645 * 19.3834 * 0.85
