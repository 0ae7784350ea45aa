"""What is said of the alkali as it is bought: purity unknown, stated, or a ready-made lye."""

from __future__ import annotations

from formulary.batch.weigh_out import work_out_batch
from formulary.materials.read import parse_material
from formulary.materials.register import Register, read_builtin_register
from tests.batch.recipes import PLAIN, codes, read_recipe, weigh_out

STATED = "format: 1\nname: Sodium hydroxide\nkind: alkali\nassay: 98.5 %\n"


def with_stated_assay() -> Register:
    makers, findings = parse_material(STATED, "materials/sodium-hydroxide.yaml", "sodium-hydroxide")
    assert makers is not None, findings
    return read_builtin_register().combined_with([makers])


def test_an_unknown_purity_is_a_note_and_a_stated_one_is_not() -> None:
    assert "assay-unknown" in codes(weigh_out(PLAIN), "note")
    batch = work_out_batch(read_recipe(PLAIN), with_stated_assay(), oil_mass_g=1000.0)
    assert "assay-unknown" not in codes(batch, "note")
    assert batch.lye[0].assay_percent == 98.5


def test_a_stated_purity_narrows_the_band() -> None:
    unknown = weigh_out(PLAIN).superfat
    stated = work_out_batch(read_recipe(PLAIN), with_stated_assay(), oil_mass_g=1000.0).superfat
    assert stated.high - stated.low < unknown.high - unknown.low


STRONG = PLAIN.replace("lye_concentration: 33", "lye_concentration: 45")


def test_solid_alkali_in_little_water_may_boil_and_ready_made_lye_may_not() -> None:
    ready_made = STRONG.replace("sodium-hydroxide", "sodium-hydroxide-solution-50")
    assert "jug-strong" in codes(weigh_out(STRONG), "note")
    assert "jug-strong" not in codes(weigh_out(ready_made), "note")
    assert "assay-unknown" not in codes(weigh_out(ready_made), "note")


def test_ready_made_lye_gives_the_same_alkali_and_the_same_water() -> None:
    solid, ready_made = weigh_out(PLAIN), weigh_out(PLAIN.replace("sodium-hydroxide", "sodium-hydroxide-solution-50"))
    assert abs(solid.lye[0].pure_grams - ready_made.lye[0].pure_grams) <= 0.1
    assert abs(solid.water.total_grams - ready_made.water.total_grams) <= 0.3
