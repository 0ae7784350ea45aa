"""Which tests must notice a change of each module that is studied, the quickest and most telling first."""

from __future__ import annotations

_CHEMISTRY = (
    "tests/chemistry/test_figures_by_hand.py",
    "tests/chemistry/test_laws_of_the_formulas.py",
    "tests/outside/test_alkali_tables.py",
)
_EXAMPLES = ("tests/outside/test_worked_examples.py",)
_DOCSTRINGS = ("tests/chemistry/test_examples_in_docstrings.py",)
_FINDINGS = ("tests/batch/test_every_finding.py",)
_ENOUGH = ("tests/batch/test_how_much_is_enough.py",)
_SUPERFAT = ("tests/batch/test_superfat_bounds.py",)
_SCENT = ("tests/batch/test_limits_and_lye.py",)
_FIGURES = (
    "tests/batch/test_one_portion_as_a_pot.py",
    "tests/batch/test_figures_of_a_pot.py",
    "tests/batch/test_fat_and_acid_in_additions.py",
    "tests/batch/test_limits_and_lye.py",
    "tests/batch/test_what_is_not_shared_alike.py",
    "tests/batch/test_balance_with_everything.py",
)
_OUTSIDE_THE_JUG = ("tests/trials/as_made/test_lye_outside_the_jug.py",)
_RESCUE = (
    "tests/batch/test_rescue_in_grams.py",
    "tests/batch/test_rescue_at_its_bounds.py",
    "tests/batch/test_rescue_with_the_lye_in.py",
    "tests/batch/test_sitting_rescue_and_size.py",
    "tests/batch/test_plan_and_as_made.py",
)
_SCALES = ("tests/batch/test_weights_as_a_scale_shows_them.py", "tests/batch/test_what_the_sheets_say.py")
_PLAN = ("tests/batch/test_plan_and_as_made.py",)
_READ = ("tests/batch/test_sheets_as_they_are_read.py",)
_LOTS = ("tests/batch/test_several_lots.py",)
_DIVIDED = ("tests/batch/test_dividing_the_batter.py",)

MODULES = {
    "formulary/chemistry/alkali.py": (*_CHEMISTRY, *_EXAMPLES, *_DOCSTRINGS),
    "formulary/chemistry/acids.py": (*_CHEMISTRY, *_DOCSTRINGS),
    "formulary/chemistry/water.py": (*_CHEMISTRY, *_EXAMPLES),
    "formulary/chemistry/solubility.py": _CHEMISTRY,
    "formulary/chemistry/superfat_band.py": _CHEMISTRY,
    "formulary/chemistry/constituents.py": (
        "tests/chemistry/test_figures_by_hand.py",
        *_DOCSTRINGS,
        "tests/outside/test_register_tables.py",
    ),
    "formulary/batch/scent_checks.py": ("tests/batch/test_lowering_scents.py", *_SCENT, *_FINDINGS, *_ENOUGH, *_PLAN),
    "formulary/batch/superfat_checks.py": (*_SUPERFAT, *_FINDINGS, *_ENOUGH, *_PLAN, *_OUTSIDE_THE_JUG),
    "formulary/batch/lye_checks.py": (
        "tests/batch/test_lye_at_its_bounds.py",
        *_SUPERFAT,
        *_FINDINGS,
        *_SCENT,
        "tests/batch/test_weights_as_a_scale_shows_them.py",
        *_ENOUGH,
        *_PLAN,
        *_OUTSIDE_THE_JUG,
    ),
    "formulary/batch/liquid_checks.py": ("tests/batch/test_liquids_in_the_lye.py", *_FINDINGS, *_PLAN),
    "formulary/batch/vessel_checks.py": ("tests/batch/test_vessels.py", *_FINDINGS),
    "formulary/batch/common_practice.py": ("tests/batch/test_common_practice.py", *_FINDINGS),
    "formulary/batch/volume.py": ("tests/batch/test_volume_in_millilitres.py",),
    "formulary/batch/figures.py": (
        *_FIGURES,
        "tests/batch/test_practice_by_portion.py",
        "tests/batch/test_a_pot_as_a_recipe.py",
        *_FINDINGS,
        *_OUTSIDE_THE_JUG,
    ),
    "formulary/batch/weigh_out.py": (
        "tests/batch/test_a_plan_in_grams.py",
        *_DIVIDED,
        *_LOTS,
        *_FIGURES,
        *_EXAMPLES,
        *_FINDINGS,
    ),
    "formulary/batch/rescue.py": (*_RESCUE, *_DIVIDED, *_LOTS, *_READ),
    "formulary/batch/rescue_weights.py": _RESCUE,
    "formulary/batch/rescue_remarks.py": _RESCUE,
    "formulary/batch/weighed.py": _RESCUE,
    "formulary/batch/remaining.py": ("tests/batch/test_weights_as_a_scale_shows_them.py", *_RESCUE, *_DIVIDED),
    "formulary/batch/printed_checks.py": (*_SCALES, *_FINDINGS, *_RESCUE),
    "formulary/batch/scale.py": (*_SCALES, *_FINDINGS),
    "formulary/batch/portion_weights.py": (*_DIVIDED, *_READ),
    "formulary/batch/sheet_weights.py": _SCALES,
    "formulary/batch/sitting_weights.py": (*_SCALES, "tests/batch/test_sitting_rescue_and_size.py"),
    "formulary/batch/sitting.py": (
        "tests/batch/test_what_loaves_share.py",
        "tests/batch/test_sitting_rescue_and_size.py",
        *_SCALES,
        *_LOTS,
    ),
    "formulary/batch/overriding.py": ("tests/batch/test_stops.py", *_RESCUE, *_LOTS),
    "formulary/batch/settings_checks.py": ("tests/test_settings.py", *_FINDINGS),
    "formulary/batch/temperature_checks.py": ("tests/batch/test_too_hot.py",),
    "formulary/batch/common_quantities.py": (
        "tests/batch/test_quantities_of_practice.py",
        "tests/batch/test_common_practice.py",
        *_FINDINGS,
    ),
    "formulary/batch/checks.py": ("tests/batch/test_recipe_and_register.py", *_FINDINGS, *_PLAN, *_SUPERFAT),
    "formulary/batch/mould.py": ("tests/batch/test_size.py",),
    "formulary/batch/size.py": ("tests/batch/test_size.py",),
    "formulary/batch/from_weights.py": ("tests/batch/test_percentages_from_weights.py",),
    "formulary/batch/cost.py": ("tests/batch/test_what_a_batch_costs.py",),
    "formulary/batch/material_checks.py": ("tests/materials/test_values_that_cannot_be.py", *_FINDINGS, *_PLAN),
    "formulary/batch/model.py": (
        *_DIVIDED,
        *_LOTS,
        "tests/batch/test_a_pot_as_a_recipe.py",
        "tests/batch/test_figures_of_a_pot.py",
    ),
    "formulary/batch/sitting_model.py": ("tests/batch/test_what_loaves_share.py", *_LOTS, *_DIVIDED),
    "formulary/batch/working_steps.py": (*_DIVIDED, *_READ, *_SCALES),
    "formulary/batch/portion_practice.py": (
        "tests/batch/test_practice_by_portion.py",
        "tests/batch/test_common_practice.py",
    ),
    "formulary/batch/pot_as_recipe.py": ("tests/batch/test_a_pot_as_a_recipe.py",),
    "formulary/batch/lot_shares.py": (*_LOTS, *_FINDINGS, "tests/batch/test_the_rest_of_a_lot.py"),
    "formulary/batch/blend.py": ("tests/batch/test_blend_by_hand.py", "tests/batch/test_blend_and_ingredients.py"),
    "formulary/batch/weigh_out_text.py": (*_READ, *_DIVIDED, *_LOTS, *_SCALES),
    "formulary/batch/sitting_text.py": (*_READ, *_DIVIDED, *_LOTS, "tests/batch/test_rescue_in_grams.py"),
    "formulary/batch/recipe_text.py": _READ,
    "formulary/batch/blend_text.py": (*_READ, "tests/batch/test_what_a_batch_costs.py"),
    "formulary/materials/working_value.py": ("tests/materials/test_working_value.py",),
    "formulary/materials/lots.py": ("tests/materials/test_lots_by_weight.py", *_LOTS),
    "formulary/materials/chosen_lots.py": (
        "tests/materials/test_choosing_lots.py",
        *_LOTS,
        "tests/batch/test_the_rest_of_a_lot.py",
    ),
    "formulary/batch/ingredients.py": (
        "tests/batch/test_ingredient_lists_by_hand.py",
        "tests/batch/test_blend_and_ingredients.py",
        *_FINDINGS,
    ),
}
