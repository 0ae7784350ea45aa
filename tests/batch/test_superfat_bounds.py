"""What is said of a superfat, at every bound and for every purpose: stop, warn, note or nothing."""

from __future__ import annotations

import pytest

from formulary.batch.lye_checks import check_alkali_weights
from formulary.batch.model import Pot, PotLine, WeighedAlkali
from formulary.batch.superfat_checks import check_superfat
from formulary.finding import Place
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings

REGISTER = read_builtin_register()
POT = Pot((PotLine("olive-oil", "oil", "oils", 1000.0),))


def said(nominal: float | None, effective: float, low: float, purpose: str = "skin") -> set[str]:
    findings = check_superfat(
        nominal=nominal,
        effective=effective,
        low=low,
        pot=POT,
        materials=REGISTER,
        purpose=purpose,
        locate=lambda *_: Place(),
    )
    return {f"{finding.severity.value} {finding.code}" for finding in findings}


@pytest.mark.parametrize(
    ("nominal", "effective", "purpose", "expected"),
    [
        (5.0, -0.01, "skin", {"stop lye-excess"}),
        (None, -0.5, "skin", {"stop lye-excess"}),
        (0.0, -0.5, "skin", {"stop lye-excess"}),
        (-1.0, -1.0, "skin", {"stop superfat-negative", "stop lye-excess"}),
        (-0.5, 0.1, "skin", {"stop superfat-negative", "warn superfat-low"}),
        (5.0, -0.5, "household", {"warn lye-excess"}),
        (0.0, -0.5, "household", {"warn lye-excess"}),
        (0.5, -0.5, "household", {"warn lye-excess"}),
        (None, -0.5, "household", {"warn lye-excess"}),
        (-0.5, -0.5, "household", {"warn superfat-negative"}),
        (0.0, 0.0, "household", set()),
        (0.0, 0.0, "skin", {"warn superfat-low"}),
        (1.0, 0.5, "skin", {"warn superfat-low"}),
        (2.0, 1.99, "skin", {"warn superfat-low"}),
        (2.0, 2.0, "skin", set()),
        (20.0, 20.0, "skin", set()),
        (20.0, 20.01, "skin", {"warn superfat-high"}),
        (20.0, 20.01, "household", {"warn superfat-high"}),
    ],
)
def test_superfat(nominal: float | None, effective: float, purpose: str, expected: set[str]) -> None:
    assert said(nominal, effective, 0.0, purpose) == expected


@pytest.mark.parametrize(
    ("effective", "low", "expected"),
    [
        (5.0, 0.0, set()),
        (5.0, -0.01, {"note superfat-band"}),
        (5.0, -2.0, {"note superfat-band"}),
        (5.0, -2.01, {"warn superfat-band"}),
        (0.0, -0.5, {"note superfat-band", "warn superfat-low"}),
        (-0.5, -1.0, {"stop lye-excess"}),
    ],
)
def test_the_band(effective: float, low: float, expected: set[str]) -> None:
    assert said(5.0, effective, low) == expected


@pytest.mark.parametrize(("grams", "told"), [(20.0, None), (19.9, "0.5 % of the 19.9 g"), (6.0, "1.7 % of the 6.0 g")])
def test_a_coarse_scale_says_how_coarse(grams: float, told: str | None) -> None:
    weighed = [WeighedAlkali("sodium-hydroxide-solution-50", grams, grams / 2, 50.0)]
    findings = list(check_alkali_weights(weighed, REGISTER, Settings(), lambda *_: Place()))
    coarse = [finding.what for finding in findings if finding.code == "scale-coarse"]
    assert coarse == [] if told is None else told in coarse[0]


def test_an_unknown_assay_says_where_its_band_begins() -> None:
    for name, low in (("sodium-hydroxide", "95 %"), ("potassium-hydroxide", "85 %")):
        findings = check_alkali_weights(
            [WeighedAlkali(name, 100.0, 100.0, 100.0)], REGISTER, Settings(), lambda *_: Place()
        )
        assert low in next(finding.what for finding in findings if finding.code == "assay-unknown")
