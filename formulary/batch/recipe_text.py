"""A recipe as a person reads it: percentages, the lye for 1000 g of oils, and what its values rest on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from formulary.batch.model import Batch
from formulary.batch.weigh_out_text import cured_lines, format_weight, render_figures, render_findings
from formulary.materials.model import Material
from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal, format_number
from formulary.recipes.model import Recipe
from formulary.recipes.version import Version
from formulary.temperature import say_written
from formulary.text_table import Row, paragraph, render_rows

_WHEN = {"lye water": "in the jug", "oils": "in the oils", "trace": "at trace", "top": "on top"}
_RULES = {"lye_concentration": "% lye concentration", "water_to_lye": "times the lye", "percent_of_oils": "% of oils"}
_WHOSE = {"replaces": "its water replaces water weighed", "extra": "its water comes on top"}


def render_recipe(
    version: Version, batch: Batch, materials: Mapping[str, Material], *, width: int = 80, show_all: bool = False
) -> str:
    """A recipe as text: one sentence, the shares and rates as written beside the grams, the figures, the findings.

    batch: the version worked out for the mass of oils that the grams are to be for.
    show_all: adds what each working saponification value rests on, the worst case of the superfat, and the notes.
    """
    recipe = version.recipe
    lines = paragraph(f"{recipe.name}  {version.short_id} ({_standing(version)})", width=width)
    lines += paragraph(_sentence(recipe), width=width)
    if recipe.based_on is not None:
        lines += paragraph(f"Based on {recipe.based_on.name}.", width=width)
    lines += ["", *render_rows(list(_rows(recipe, batch)), width=width), ""]
    lines += render_figures(batch, width=width, show_all=show_all)
    lines += cured_lines(batch, width) if not batch.is_stopped else []
    if recipe.process:
        steps = ", ".join(
            f"{material_words(key.replace('_', ' '))} {say_written(value, batch.scale.temperature)}"
            for key, value in recipe.process.items()
        )
        lines += paragraph(f"Process: {steps}", width=width, indent=2)
    if recipe.notes.strip() and not show_all:
        count = len(recipe.notes.strip().splitlines())
        lines.append(f"  Notes: {count} line{'s' if count > 1 else ''} (--all shows them)")
    if show_all:
        lines += _everything(recipe, materials, width)
    if batch.findings:
        lines += ["", *render_findings(batch.findings, width=width)]
    return "\n".join(lines)


def recipe_json(version: Version, batch: Batch) -> dict[str, object]:
    """The recipe with stable keys: what its file states, and the batch that it was worked out for."""
    recipe = version.recipe
    parent = recipe.based_on
    return {
        "recipe": recipe.slug,
        "name": recipe.name,
        "version": {"id": version.id, "label": version.label},
        "is_saved": version.is_saved,
        "based_on": None if parent is None else {"recipe": parent.recipe, "version": parent.version},
        "stated": {
            "oils": [
                {"material": line.material, "percent": float(line.percent), "at": line.at} for line in recipe.oils
            ],
            "alkalis": [{"material": name, "share_percent": float(share)} for name, share in recipe.lye.alkalis],
            "alkali_basis": recipe.lye.by,
            "superfat": float(recipe.lye.superfat),
            "water": {"rule": recipe.water.method, "value": float(recipe.water.value)},
            "additions": [
                {"material": line.material, "rate": str(line.rate), "at": line.at, "water": line.water}
                for line in recipe.additions
            ],
            "scent": [{"material": line.material, "rate": str(line.rate), "at": line.at} for line in recipe.scent],
            "process": dict(recipe.process),
            "notes": recipe.notes,
        },
        "batch": batch.to_json(),
        "findings": [finding.to_json() for finding in batch.findings],
    }


def _standing(version: Version) -> str:
    if version.label is not None:
        return version.label
    return "saved" if version.is_saved else "not saved yet"


def _sentence(recipe: Recipe) -> str:
    count = len(recipe.oils)
    alkalis = " and ".join(material_words(name) for name, _ in recipe.lye.alkalis)
    scent = " and ".join(material_words(line.material) for line in recipe.scent)
    kind = "skin soap" if recipe.purpose == "skin" else "household soap"
    return (
        f"A {kind} of {count} oil{'s' if count > 1 else ''} with {alkalis}, superfat"
        f" {format_decimal(recipe.lye.superfat)} %, {f'scented with {scent}' if scent else 'unscented'}."
    )


def _rows(recipe: Recipe, batch: Batch) -> Iterable[Row]:
    def grams(amount: float) -> str:
        return "" if batch.is_stopped else format_number(amount, 1)

    yield Row("oils", ("%", "" if batch.is_stopped else "g"))
    for line, weighed in zip(recipe.oils, batch.oils, strict=True):
        held_back = "held back to trace" if line.at == "trace" else ""
        yield Row(material_words(line.material), (format_decimal(line.percent), grams(weighed.grams)), held_back, 4)
    yield Row("lye and water", ("", ""))
    for alkali in batch.lye:
        purity = f"counted as {alkali.assay_percent:g} % pure"
        weight = "" if batch.is_stopped else format_weight("alkali", alkali.grams)
        yield Row(material_words(alkali.material), ("", weight), purity, 4)
    rule = f"by {format_decimal(recipe.water.value)} {_RULES[recipe.water.method]}"
    yield Row("water", ("", grams(batch.water.weigh_grams)), rule, 4)
    if recipe.additions:
        yield Row("additions", ("", ""))
    for addition, added in zip(recipe.additions, batch.additions, strict=True):
        whose = f"; {_WHOSE[addition.water]}" if addition.water in _WHOSE else ""
        note = f"{addition.rate}, {_WHEN[addition.at]}{whose}"
        yield Row(material_words(addition.material), ("", grams(added.grams)), note, 4)
    if recipe.scent:
        yield Row("scent", ("", ""))
    weighed_g = {(scent.material, scent.at): scent.grams for scent in batch.scent}
    for scent in recipe.scent:
        yield Row(
            material_words(scent.material),
            ("", grams(weighed_g[scent.material, scent.at])),
            f"{scent.rate}, {_WHEN[scent.at]}",
            4,
        )
    if recipe.portions:
        yield Row("portions", ("%", ""))
    for portion in recipe.portions:
        gets = ", ".join(f"{format_decimal(percent)} % of the {material_words(name)}" for name, percent in portion.gets)
        by_eye = f"split by eye, ± {format_decimal(portion.by_eye)}" if portion.by_eye else ""
        note = "; ".join(part for part in (f"gets {gets}" if gets else "", by_eye) if part)
        yield Row(portion.name, (format_decimal(portion.share), ""), note, 4)


def _everything(recipe: Recipe, materials: Mapping[str, Material], width: int) -> list[str]:
    lines: list[str] = []
    if recipe.notes.strip():
        lines += ["", "  Notes"]
        for line in recipe.notes.strip().splitlines():
            lines += paragraph(line, width=width, indent=4)
    lines += ["", *paragraph("What the saponification values rest on, mg KOH per g", width=width, indent=2)]
    for oil in recipe.oils:
        material = materials[oil.material]
        value = material.saponification_value
        if value is None:
            text = f"{material_words(oil.material)} unknown."
        else:
            low, used, high = (format_number(number, 1) for number in (value.low, value.working, value.high))
            text = f"{material_words(oil.material)} {used}, range {low} to {high}. {material.how_working_value}"
            text += f" Source: {value.known.source}."
        first, *rest = paragraph(text, width=width, indent=4)
        lines += (
            [first, *paragraph(" ".join(part.strip() for part in rest), width=width, indent=6)] if rest else [first]
        )
    return lines
