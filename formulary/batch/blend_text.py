"""A blend's chemistry, its ingredient lists and its cost, as text."""

from __future__ import annotations

from formulary.batch.blend import Blend
from formulary.batch.cost import Cost
from formulary.batch.ingredients import WATER_INCI, Ingredient, IngredientList
from formulary.batch.weigh_out_text import render_findings
from formulary.chemistry.fatty_acids import CHAIN_GROUPS
from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from formulary.text_table import Row, paragraph, render_rows


def render_blend(blend: Blend, *, width: int = 80) -> str:
    """Fatty acids, groups with what chemistry says of each, calculated values, and what a kilogram of oils carries."""
    lines = (
        _acids(blend, width) if blend.fatty_acids else paragraph("No fatty acids of these oils are known.", width=width)
    )
    values = [
        Row("", ("by the oils", "by the fatty acids")),
        Row(
            "saponification value, mg KOH/g",
            (_maybe(blend.saponification_value_weighed), _maybe(blend.saponification_value_calculated)),
        ),
        Row("iodine value, g/100 g", (_maybe(blend.iodine_value_weighed), _maybe(blend.iodine_value_calculated))),
    ]
    carried = [
        Row("in 1 kg of oils", ("g",)),
        Row("water", (format_number(blend.water_g_per_kg_oils, 0),)),
        Row("sugars", (format_number(blend.sugars_g_per_kg_oils, 1),)),
        Row("solids of additions", (format_number(blend.solids_g_per_kg_oils, 1),)),
        Row("vanillin", (format_number(blend.vanillin_g_per_kg_oils, 2),)),
    ]
    return "\n".join([*lines, "", *render_rows(values, width=width), "", *render_rows(carried, width=width)])


def _acids(blend: Blend, width: int) -> list[str]:
    known = format_number(blend.known_percent, 0)
    lines = paragraph(f"Of the fatty acids that are known ({known} % of the oils):", width=width)
    parts = (
        ("saturated", blend.saturated_percent),
        ("monounsaturated", blend.monounsaturated_percent),
        ("polyunsaturated", blend.polyunsaturated_percent),
    )
    rows = [Row("", ("%",))]
    rows += [Row(name, (format_number(percent, 1),)) for name, percent in parts]
    rows.append(Row(""))
    facts = {group.name: group.fact for group in CHAIN_GROUPS}
    rows += [Row(name, (format_number(part, 1),), facts[name]) for name, part in blend.chain_groups.items()]
    rows.append(Row(""))
    rows += [Row(acid, (format_number(part, 1),)) for acid, part in blend.fatty_acids.items() if part >= 0.05]
    return [*lines, *render_rows(rows, width=width)]


def _maybe(value: float | None) -> str:
    return "not known" if value is None else format_number(value, 1)


def render_ingredients(lists: IngredientList, *, width: int = 80) -> str:
    """Both lists in descending order, allergens to name, origins to tell; of a divided batter those of each portion."""
    lines: list[str] = []
    if lists.portions:
        lines += [
            *paragraph("The batter is divided: the bars of each portion have lists of their own.", width=width),
            "",
        ]
    for each in lists.portions or (lists,):
        lines += _lists(each, width)
    return "\n".join([*lines, *render_findings(lists.findings, width=width)])


def _lists(lists: IngredientList, width: int) -> list[str]:
    lines: list[str] = []
    whose = "" if lists.portion is None else f" for the {lists.portion} portion"
    whose_bar = "" if lists.portion is None else f" of the {lists.portion} portion"
    for title, listed in ((f"As put in the pot{whose}", lists.in_pot), (f"As in the bar{whose_bar}", lists.in_bar)):
        lines += [*paragraph(title, width=width), *paragraph(_joined(listed), width=width, indent=2), ""]
    if lists.with_their_water:
        wet = ", ".join(material_words(name) for name in lists.with_their_water)
        text = f"In the bar, the water that the cure takes is taken off {WATER_INCI}; still with all of theirs: {wet}."
        lines += [*paragraph(text, width=width), ""]
    small = [line.inci for line in lists.in_bar if line.any_order]
    if small:
        text = f"Under 1 % of the bar, and so in any order after the others: {', '.join(small)}."
        lines += [*paragraph(text, width=width), ""]
    if lists.allergens:
        named = ", ".join(name if percent is None else f"{name} ({percent:.2g} %)" for name, percent in lists.allergens)
        lines += [*paragraph(f"Allergens to name (over 0.01 % of a rinsed-off product): {named}.", width=width), ""]
    elif lists.portion is not None:
        said = f"Allergens to name in the {lists.portion} portion: none that is known."
        lines += [*paragraph(said, width=width), ""]
    for origin, names in lists.origins:
        lines += paragraph(f"Of {origin} origin: {', '.join(material_words(name) for name in names)}.", width=width)
    if lists.origins:
        lines.append("")
    return lines


def _joined(listed: tuple[Ingredient, ...]) -> str:
    return ", ".join(line.inci for line in listed) + "."


def render_cost(cost: Cost, *, bars: int | None = None, width: int = 80, naming: str = "--lot {material}={lot}") -> str:
    """What each material costs, the sum, and the sum by bar: `at least` where something has no price or weight, from
    the least to the most where a weight is known only about.

    naming: how a lot is named, so that its price counts.
    """
    at_lots = _priced_at_lots(cost, naming, width)
    if not cost.is_known:
        text = (
            "No price is known of anything in it, so there is nothing to add up. Write one in materials/NAME.yaml"
            " (price: 24.00 per 100 g), or with a delivery: formulary materials lot NAME LOT --price PRICE."
        )
        return "\n".join([*paragraph(text, width=width), *_unweighed(cost, width), *at_lots])
    unit = cost.currency or "money"
    least = ", at least" if cost.unpriced or cost.unweighed else ""
    rows = [Row("", (unit,))]
    rows += [Row(material_words(material), (_from_to(low, high),)) for material, _, low, high in cost.ranges()]
    rows.append(Row(f"together{least}", (_from_to(cost.least, cost.most),)))
    if bars:
        rows.append(Row(f"for each of {bars} bars{least}", (_from_to(cost.least / bars, cost.most / bars),)))
    lines = render_rows(rows, width=width)
    if cost.unweighed:
        lines += ["", *_unweighed(cost, width)]
    if cost.unpriced:
        text = f"Without a price, and so not counted: {', '.join(material_words(name) for name in cost.unpriced)}."
        lines += ["", *paragraph(text, width=width), *at_lots]
    return "\n".join(lines)


def _from_to(least: float, most: float) -> str:
    ends = (format_number(least, 2), format_number(most, 2))
    return " to ".join(dict.fromkeys(ends))


def _unweighed(cost: Cost, width: int) -> list[str]:
    """What went in and nobody knows how much of it."""
    names = ", ".join(material_words(name) for name in cost.unweighed)
    return paragraph(f"What nobody weighed is not counted: {names}.", width=width) if names else []


def _priced_at_lots(cost: Cost, naming: str, width: int) -> list[str]:
    """Which of what is not counted has a price at a lot, and how to have it counted."""
    import shlex

    if not cost.at_lots:
        return []
    each = ", ".join(
        f"{material_words(name)} at {' and '.join(lots[:3])}{' and others' if len(lots) > 3 else ''}"
        for name, lots in cost.at_lots
    )
    (material, (lot, *_)), *_ = cost.at_lots
    with_lot = naming.format(material=material, lot=shlex.quote(lot))
    text = f"A price stands at a lot: {each}. It counts with the lot: {with_lot}"
    return paragraph(text, width=width)
