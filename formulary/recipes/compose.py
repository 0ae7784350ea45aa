"""A new recipe from weights that somebody has: percentages that total exactly 100."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from decimal import Decimal

from formulary.document.write import Quoted, render_document
from formulary.errors import InputError
from formulary.finding import has_errors
from formulary.given import Figure
from formulary.names import hyphenate, suggest
from formulary.quantity import NotAQuantity, format_decimal, parse_mass_g, parse_percent
from formulary.recipes.read import check_name, parse_recipe
from formulary.recipes.version import Version, name_from

USUAL_SUPERFAT_PERCENT = "5"
USUAL_LYE_PERCENT = "33"
_RATIO = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,6})?)\s*:\s*([0-9]{1,6}(?:\.[0-9]{1,6})?)")
_WEIGHT = re.compile(r"(\D*[^\s\d+-])\s+([+-]?[\d.].*)")


def parse_weights(texts: Iterable[str], oils: Collection[str]) -> dict[str, Decimal]:
    """Oil -> grams, from texts such as `olive-oil 450 g`; weights of one oil add up.

    Raises InputError with everything that is wrong.
    """
    weights: dict[str, Decimal] = {}
    faults = []
    for text in texts:
        match = _WEIGHT.fullmatch(text.strip())
        try:
            if match is None:
                raise NotAQuantity(f"{text!r} does not say what was weighed", 'write "olive-oil 450 g"')
            name, weight_g = match.group(1), parse_mass_g(match.group(2))
            if name not in oils and hyphenate(name) in oils:
                do = f'write "{hyphenate(name)} {match.group(2)}"'
                raise NotAQuantity(f"{name[:40]!r} is not how a name is written here", do)
            if name not in oils:
                do = suggest(name, oils, "`formulary materials` lists the oils")
                raise NotAQuantity(f"no oil is called {name[:40]!r}", do)
            weights[name] = weights.get(name, Decimal(0)) + weight_g
        except NotAQuantity as problem:
            faults.append(InputError.of("bad-weighed", problem.what, problem.do).findings[0])
    if faults:
        raise InputError(faults)
    return weights


def find_repeated(texts: Iterable[str]) -> tuple[str, ...]:
    """Oils that several of the texts name, whose weights are added up."""
    matches = [_WEIGHT.fullmatch(text.strip()) for text in texts]
    named = [match.group(1) for match in matches if match is not None]
    return tuple(name for name in dict.fromkeys(named) if named.count(name) > 1)


def compose_recipe(
    slug: str,
    percents: dict[str, Decimal],
    *,
    name: str | None = None,
    superfat: Figure | None = None,
    lye_concentration: Figure | None = None,
) -> Version:
    """A recipe of these oils, not written yet.

    percents: oil -> percent, totalling 100. superfat, lye_concentration: percent, the usual ones unless given.
    Raises InputError for an unusable name or figure.
    """
    fault = check_name(slug)
    if fault is not None:
        raise InputError([fault])
    spelled = render_document({"name": Quoted(name or name_from(slug))}).strip()
    superfat = USUAL_SUPERFAT_PERCENT if superfat is None else superfat
    lye_concentration = _without_ratio(USUAL_LYE_PERCENT if lye_concentration is None else lye_concentration)
    try:
        figures = [format_decimal(parse_percent(text)) for text in (superfat, lye_concentration)]
    except NotAQuantity as problem:
        raise InputError.of("bad-value", problem.what, problem.do) from None
    lines = ["format: 1", spelled, "", "oils:                       # in percent; they must total exactly 100"]
    lines += [f"  {oil}: {format_decimal(percent)}" for oil, percent in percents.items()]
    lines += ["", f"lye: {{alkali: sodium-hydroxide, superfat: {figures[0]}}}"]
    lines += [f"water: {{lye_concentration: {figures[1]}}}", ""]
    text = "\n".join(lines)
    recipe, findings = parse_recipe(text, slug, f"recipes/{slug}.yaml")
    if recipe is None or has_errors(findings):
        raise InputError(findings)
    return Version(recipe=recipe, text=text, is_saved=False, label="not saved yet")


def _without_ratio(text: Figure) -> Figure:
    """The concentration. Raises InputError for parts of lye and water, `1:2`, with the percent of lye that they are."""
    match = _RATIO.fullmatch(str(text).strip())
    parts = [Decimal(part) for part in match.groups()] if match is not None else []
    if not sum(parts):
        return text
    # More lye than water does not dissolve, so that the smaller part is the lye.
    percent = format_decimal(round(100 * min(parts) / sum(parts), 2).normalize())
    raise InputError.of("bad-value", f"{text} is parts of lye and water, not percent of lye", f"write {percent}")
