"""What is said of a superfat, at every bound and for every purpose: stop, warn, note or nothing; all is invented."""

from __future__ import annotations

import pytest

from formulary.batch.lye_checks import check_alkali_weights
from formulary.batch.model import PortionFigures, Pot, PotLine, WeighedAlkali
from formulary.batch.superfat_checks import check_alkali_on_top, check_portion_superfat, check_superfat
from formulary.finding import Finding, Place
from formulary.materials.model import Known, Material, MaterialKind, ValueRange
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings

REGISTER = read_builtin_register()
POT = Pot((PotLine("olive-oil", "oil", "oils", 1000.0),))


def said(
    nominal: float | None, effective: float, low: float, purpose: str = "skin", pot: Pot = POT, step_g: float = 0.0
) -> set[str]:
    findings = check_superfat(
        nominal=nominal,
        effective=effective,
        low=low,
        pot=pot,
        materials=REGISTER,
        purpose=purpose,
        locate=lambda *_: Place(),
        alkali_step_g=step_g,
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
        (20.01, 20.01, "skin", {"warn superfat-high"}),
        (None, 20.0, "skin", set()),
        (None, 20.01, "skin", {"warn superfat-high"}),
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


@pytest.mark.parametrize("nominal", [20.0, None])
@pytest.mark.parametrize(
    ("alkalis", "step_g", "most"),
    [(1, 0.1, 20.0799), (2, 0.1, 20.1596), (1, 0.5, 20.3980), (1, 1.0, 20.5), (2, 1.0, 20.5)],
)
def test_of_a_high_superfat_rounding_the_lye_may_be_half_a_point(
    nominal: float | None, alkalis: int, step_g: float, most: float
) -> None:
    # Where 100 g of alkali leave 20 % of the fat, 0.1 g more leave 100 - 80 * 1.001 %.
    pot = Pot(
        (*POT.lines, *(PotLine(f"lye-{each}", "alkali", "lye water", 100.0 / alkalis) for each in range(alkalis)))
    )
    assert said(nominal, most, 0.0, pot=pot, step_g=step_g) == set()
    assert said(nominal, most + 0.001, 0.0, pot=pot, step_g=step_g) == {"warn superfat-high"}


@pytest.mark.parametrize(
    ("nominal", "effective", "expected"),
    [
        (5.0, -1e-10, {"warn superfat-low"}),
        (5.0, -1e-9, {"warn superfat-low"}),
        (5.0, 2.0 - 1e-9, set()),
        (5.0, 20.0 + 1e-9, set()),
        (5.0, -1e-8, {"stop lye-excess"}),
        (5.0, 2.0 - 1e-10, set()),
        (5.0, 2.0 - 1e-8, {"warn superfat-low"}),
        (5.0, 20.0 + 1e-10, set()),
        (5.0, 20.0 + 1e-8, {"warn superfat-high"}),
        (0.0, -1e-10, {"warn superfat-low"}),
    ],
)
def test_a_rounding_of_the_last_digit_is_nothing(nominal: float, effective: float, expected: set[str]) -> None:
    assert said(nominal, effective, 0.0) == expected
    for low in (-1e-10, -1e-9):
        assert said(nominal, effective, low) == expected
    is_told = "note superfat-band" in said(nominal, effective, -1.0)
    assert is_told == (effective >= -1e-9)


@pytest.mark.parametrize(
    ("effective", "is_soap"), [(30.0, True), (30.0 + 1e-10, True), (30.0 + 1e-9, True), (30.0 + 1e-8, False)]
)
def test_a_third_of_the_fat_left_as_it_was_is_no_soap_once_it_is_made(effective: float, *, is_soap: bool) -> None:
    assert said(None, effective, 29.0) == {"warn superfat-high" if is_soap else "stop superfat-high"}
    assert said(5.0, effective, 29.0) == {"warn superfat-high"}


def test_a_superfat_that_makes_no_soap_is_told_to_a_tenth() -> None:
    found = check_superfat(
        nominal=None,
        effective=43.84,
        low=40.0,
        pot=POT,
        materials=REGISTER,
        purpose="skin",
        locate=lambda *_: Place(),
    )
    assert [finding.what for finding in found] == ["the effective superfat is 43.8 %: this is not soap as meant"]


def portions(whole: float, purpose: str, *found: float | None, name: str = "one") -> list[Finding]:
    figures = [PortionFigures(name, 50.0, 700.0, (), each) for each in found]
    return list(check_portion_superfat(figures, whole, purpose, lambda *_: Place(), is_planned=True))


@pytest.mark.parametrize(
    ("found", "whole", "on_skin", "in_household"),
    [
        (-0.01, 5.0, "stop lye-excess", "warn lye-excess"),
        (-1e-10, 5.0, "warn superfat-low", None),
        (-1e-9, 5.0, "warn superfat-low", None),
        (0.0, 5.0, "warn superfat-low", None),
        (1.99, 5.0, "warn superfat-low", None),
        (2.0, 5.0, None, None),
        (8.0, 5.0, None, None),
        # as little as the whole batch has is told of the whole batch
        (1.5, 1.5, None, None),
        (1.5, 1.54, None, None),
        (1.5, 1.46, None, None),
        (0.0, 0.05, "warn superfat-low", None),
        (1.5, 1.56, "warn superfat-low", None),
        (1.5, 1.44, "warn superfat-low", None),
        (-3.0, -3.04, None, None),
        # an excess of lye that the whole batch does not have is told, however little it is
        (-0.03, 0.01, "stop lye-excess", "warn lye-excess"),
        (-0.03, -1e-8, None, None),
        (-0.03, -1e-9, "stop lye-excess", "warn lye-excess"),
        (-0.03, 0.0, "stop lye-excess", "warn lye-excess"),
        (-1e-9, 0.01, None, None),
        (0.0, 0.0, None, None),
        (None, 5.0, None, None),
    ],
)
def test_a_portion_with_its_own_superfat(
    found: float | None, whole: float, on_skin: str | None, in_household: str | None
) -> None:
    for purpose, expected in (("skin", on_skin), ("household", in_household)):
        told = [f"{finding.severity.value} {finding.code}" for finding in portions(whole, purpose, found)]
        assert told == ([] if expected is None else [expected])
    assert portions(whole, "skin", found, name="whole") == []


def test_every_portion_is_looked_at_and_tells_its_superfat() -> None:
    first, second = portions(5.0, "skin", 5.0, 1.44, 3.0, -0.76)
    assert "may be 1.4 %" in first.what
    assert "may be -0.8 %" in second.what
    (household,) = portions(5.0, "household", -0.76)
    assert household.do.startswith("never use it on skin; take acids")


KNOWN = Known("maker", "invented for this test")


def material(slug: str, kind: MaterialKind, low: float, working: float, acid: float | None = None) -> Material:
    acids = None if acid is None else ValueRange(acid, acid, acid, KNOWN)
    value = ValueRange(low, 300.0, working, KNOWN)
    return Material(slug, slug, kind, saponification_value=value, acid_value=acids)


OWN = {
    each.slug: each
    for each in (
        material("sure", MaterialKind.OIL, 190, 190),
        material("fair", MaterialKind.OIL, 188, 190),
        material("vague", MaterialKind.OIL, 180, 190),
        material("wax", MaterialKind.WAX, 90, 95, 20),
        Material("bare", "bare", MaterialKind.OIL),
        Material("soda", "soda", MaterialKind.ALKALI),
    )
}


def band(
    *oils: tuple[str, float], low: float = -1.0, nominal: float | None = 5.0, alkali_g: float = 0.0, step_g: float = 0.0
) -> str:
    lines = [PotLine(name, "oil", "oils", grams) for name, grams in oils]
    lines += [PotLine("soda", "alkali", "lye water", alkali_g), PotLine("vague", "addition", "oils", 500.0)]
    (finding,) = check_superfat(
        nominal=nominal,
        effective=5.0,
        low=low,
        pot=Pot(tuple(lines)),
        materials=OWN,
        purpose="skin",
        locate=lambda *_: Place(),
        **({"alkali_step_g": step_g} if step_g else {}),
    )
    return finding.do


def test_the_band_names_what_is_known_least_by_its_grams() -> None:
    assert "your vague " in band(("fair", 400.0), ("vague", 100.0), ("bare", 500.0))
    assert "your fair " in band(("fair", 600.0), ("vague", 100.0))
    assert "your fair " in band(("fair", 0.3), ("sure", 100.0))
    # lines of one oil are one
    assert "your fair " in band(("fair", 300.0), ("vague", 100.0), ("fair", 300.0))
    assert band(("fair", 600.0), ("wax", 100.0)).startswith(
        "use less wax, which takes up alkali only in part, or raise"
    )
    assert band(("sure", 600.0)).startswith("raise the superfat")
    assert band(("bare", 600.0)).startswith("raise the superfat")


def test_the_superfat_that_is_enough_is_the_alkali_less_what_may_be_too_much() -> None:
    # at 5 % a low end of -1 % means 101/95 of the alkali worked with: 95 x 100/101 = 94.06 % of it is enough
    assert band(("sure", 600.0)) == "raise the superfat to 6 % or more"
    assert band(("sure", 600.0), low=-0.9) == "raise the superfat to 5.9 % or more"
    assert band(("sure", 600.0), low=-10.0) == "raise the superfat to 13.7 % or more"
    assert band(("sure", 600.0), low=-10.0, nominal=2.0) == "raise the superfat to 11 % or more"
    # 0.1 g of 10 g of alkali that rounding took off is a hundredth more
    assert band(("sure", 600.0), alkali_g=10.0, step_g=0.1) == "raise the superfat to 6.9 % or more"
    assert band(("sure", 600.0), alkali_g=0.5, step_g=0.1) == "raise the superfat to 21.7 % or more"
    assert band(("sure", 600.0), alkali_g=0.0, step_g=0.1) == "raise the superfat to 6 % or more"
    assert band(("sure", 600.0), alkali_g=10.0) == "raise the superfat to 6 % or more"


def test_past_twenty_percent_less_of_the_oil_is_asked_for() -> None:
    assert band(("fair", 600.0), low=-18.7).endswith("or raise the superfat to 20 % or more")
    assert "raise" not in band(("fair", 600.0), low=-18.8)
    assert band(("wax", 600.0), low=-30.0) == "use less wax, which takes up alkali only in part"


def test_what_is_in_the_pot_is_tested() -> None:
    assert band(("vague", 600.0), nominal=None).endswith("test a fresh cut for free alkali before anyone uses it")
    for oil in ("wax", "sure"):
        assert band((oil, 600.0), nominal=None) == "test a fresh cut for free alkali before anyone uses it"


def test_a_superfat_is_told_to_a_tenth() -> None:
    def what(nominal: float, effective: float) -> list[str]:
        return [
            finding.what
            for finding in check_superfat(
                nominal=nominal,
                effective=effective,
                low=-0.26,
                pot=POT,
                materials=REGISTER,
                purpose="skin",
                locate=lambda *_: Place(),
            )
        ]

    assert "is -1.3 %" in what(-1.26, -1.36)[0]
    assert "is -1.4 %" in what(-1.26, -1.36)[1]
    assert "is only 1.3 %" in what(5.0, 1.26)[0]
    assert "is 20.3 %" in what(5.0, 20.26)[0]
    assert "as low as -0.3 %" in what(5.0, 5.0)[0]


@pytest.mark.parametrize(
    ("superfat", "purpose", "advice"),
    [
        (-0.1, "skin", "rework it with more oil"),
        (0.0, "skin", "test a fresh cut"),
        (1.9, "skin", "test a fresh cut"),
        (-0.1, "household", "test a fresh cut"),
    ],
)
def test_of_a_portion_that_is_poured_is_said_what_can_still_be_done(superfat: float, purpose: str, advice: str) -> None:
    figures = [PortionFigures("red", 50.0, 500.0, superfat_percent=superfat)]
    (found,) = check_portion_superfat(figures, 5.0, purpose, lambda *_: Place(), is_planned=False)
    assert advice in found.do
    assert "gets" not in found.do


@pytest.mark.parametrize(("grams", "told"), [(0.0, 0), (0.5, 1), (40.0, 1)])
def test_lye_on_top_is_told_where_there_is_any(grams: float, told: int) -> None:
    pot = Pot((*POT.lines, PotLine("sodium-hydroxide", "alkali", "top", grams)))
    assert len(list(check_alkali_on_top(pot, "skin", lambda *_: Place()))) == told


@pytest.mark.parametrize(
    ("low", "whole_low", "told"),
    [
        (-0.1, 0.5, "note superfat-band"),
        (-2.0, 0.5, "note superfat-band"),
        (-2.1, 0.5, "warn superfat-band"),
        (0.0, 0.5, None),
        # what may be of all of the batter is told of that
        (-0.1, -0.1, None),
        (-0.04, 0.0, "note superfat-band"),
        (-0.3, -0.25, "note superfat-band"),
        (-0.4, -0.3, "note superfat-band"),
        (None, 0.5, None),
    ],
)
def test_a_portion_that_may_have_an_excess_of_lye_is_told_where_the_whole_may_not(
    low: float | None, whole_low: float, told: str | None
) -> None:
    figures = [PortionFigures("one", 50.0, 700.0, (), 4.0, low)]
    for purpose, expected in (("skin", told), ("household", None)):
        found = check_portion_superfat(figures, 5.0, purpose, lambda *_: Place(), is_planned=False, whole_low=whole_low)
        said = [f"{each.severity.value} {each.code}" for each in found]
        assert said == ([] if expected is None else [expected])


def test_a_portion_that_has_just_enough_and_may_have_less_is_told_with_a_tenth_of_a_point() -> None:
    figures = [PortionFigures("one", 50.0, 700.0, (), 0.0, -0.26)]
    found = check_portion_superfat(figures, 5.0, "skin", lambda *_: Place(), is_planned=False, whole_low=0.5)
    (band,) = (each for each in found if each.code == "superfat-band")
    assert band.what.endswith("may be as low as -0.3 %")
