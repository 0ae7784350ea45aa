"""Making tweaks: the recipe that is intended, or what to write instead; the text is changed by `recipes.edit`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TypeAlias, TypeVar

from formulary.document.fields import fraction_fault
from formulary.errors import InputError
from formulary.finding import Finding
from formulary.materials.model import Material, MaterialKind
from formulary.names import SLUG, suggest
from formulary.quantity import format_decimal, parse_decimal, parse_percent, parse_quantity
from formulary.rate import Rate, parse_rate
from formulary.read_only import ReadOnly
from formulary.recipes.model import (
    COVERS,
    PROCESS_AMOUNTS,
    PURPOSES,
    STAGES,
    SUPERFAT_BOUNDS,
    WATER_BOUNDS,
    WATER_METHODS,
    Addition,
    Lye,
    OilLine,
    Recipe,
    ScentLine,
    Water,
)
from formulary.recipes.tweaks import Add, Drop, SetField, Swap, Tweak, one_of, read_value, refused

Materials: TypeAlias = Mapping[str, Material]
_Line = TypeVar("_Line", Addition, ScentLine)

HUNDRED = Decimal(100)


def apply_tweaks(recipe: Recipe, tweaks: Iterable[Tweak], materials: Materials) -> Recipe:
    """The recipe with the tweaks made, one after another.

    materials: what each name is; the register serves. Raises InputError with a finding for each tweak that does not
    fit, saying what to write instead; nothing is guessed.
    """
    findings: list[Finding] = []
    for tweak in tweaks:
        try:
            _demand_tweak(tweak)
            recipe = _apply(recipe, tweak, materials)
        except InputError as problem:
            findings += problem.findings
    if findings:
        raise InputError(findings)
    return recipe


def _demand_tweak(given: object) -> None:
    if not isinstance(given, Swap | Add | Drop | SetField):
        do = 'make one by swap("10 %", "olive-oil", "hemp-seed-oil"), add, drop or set_field'
        raise InputError.of("bad-tweak", f"{given!r:.60} is no tweak", do)


def _apply(recipe: Recipe, tweak: Tweak, materials: Materials) -> Recipe:
    if isinstance(tweak, Swap):
        return _apply_swap(recipe, tweak, materials)
    if isinstance(tweak, Add):
        return _apply_add(recipe, tweak, materials)
    if isinstance(tweak, Drop):
        return _apply_drop(recipe, tweak)
    return _apply_set(recipe, tweak, materials)


def _apply_swap(recipe: Recipe, tweak: Swap, materials: Materials) -> Recipe:
    percents = {line.material: line.percent for line in recipe.oils}
    if tweak.before not in percents:
        do = suggest(tweak.before, percents, f"the oils are {_all(percents)}")
        raise refused(tweak, "oil-not-there", f"{tweak.before} is not among the oils", do)
    there = percents[tweak.before]
    points = there if tweak.percent is None else tweak.percent
    kind = _kind(tweak, tweak.after, materials)
    if not kind.is_fat:
        what = f"{tweak.after} is a material of kind {kind}, not an oil"
        raise refused(tweak, "not-an-oil", what, f'swap for an oil, or add it: --add "{tweak.after} 2 % of oils"')
    if tweak.before == tweak.after:
        raise refused(tweak, "bad-tweak", "the oil is swapped for itself", "name another oil")
    if points <= 0:
        raise refused(tweak, "bad-value", "a swap is more than nothing", "write a percentage above 0")
    if points > there:
        what = f"{tweak.before} is {format_decimal(there)} % of the oils; {format_decimal(points)} % is more than that"
        do = f"swap {format_decimal(there)} % or less, or `all`"
        raise refused(tweak, "swap-too-much", what, do)
    lines = [
        replace(line, percent=line.percent - points) if line.material == tweak.before else line for line in recipe.oils
    ]
    if tweak.after in percents:
        lines = [
            replace(line, percent=line.percent + points) if line.material == tweak.after else line for line in lines
        ]
    else:
        lines.append(OilLine(tweak.after, points))
    return replace(recipe, oils=tuple(line for line in lines if line.percent or line.material != tweak.before))


def _apply_add(recipe: Recipe, tweak: Add, materials: Materials) -> Recipe:
    kind = _kind(tweak, tweak.material, materials)
    _demand_added_by_a_rate(recipe, tweak, kind)
    _demand_new_line(tweak, recipe.scent if kind == "fragrance" else recipe.additions, kind)
    if tweak.rate.unit == "%" and tweak.rate.amount > HUNDRED:
        raise refused(tweak, "bad-value", f"{tweak.rate} is more than all of it", "write 0 to 100 %")
    if tweak.rate.is_volume and kind in ("fragrance", "acid"):
        what = f"{'scent' if kind == 'fragrance' else 'an acid'} is measured by volume here"
        raise refused(tweak, "volume-refused", what, f'weigh it: --add "{tweak.material} 1.2 % of oils"')
    if kind == "fragrance":
        if tweak.water is not None:
            raise refused(tweak, "bad-tweak", "a scent brings no water", f"leave out `{tweak.water}`")
        line = ScentLine(tweak.material, tweak.rate, tweak.at)
        return replace(recipe, scent=(*recipe.scent, line))
    if tweak.water is None and materials[tweak.material].is_wet:
        what = f"{tweak.material} brings water, and the tweak does not say whether it comes off the water weighed"
        words = f"{tweak.material} {tweak.rate} at {tweak.at}"
        do = f'write --add "{words} replaces" (it comes off) or --add "{words} extra" (it comes on top)'
        raise refused(tweak, "water-unsaid", what, do)
    addition = Addition(tweak.material, tweak.rate, tweak.at, tweak.water)
    return replace(recipe, additions=(*recipe.additions, addition))


def _demand_added_by_a_rate(recipe: Recipe, tweak: Add, kind: MaterialKind) -> None:
    """Refuses fats, which would get no alkali, and alkalis."""
    if kind.is_fat:
        others = [line for line in recipe.oils if line.material != tweak.material]
        what = f"{tweak.material} is a material of kind {kind}; added, it would get no alkali"
        points = format_decimal(tweak.rate.amount) if tweak.rate.unit == "%" else "5"
        fullest = max(others, key=lambda line: line.percent).material if others else "another-oil"
        verb = "swap it in" if len(others) == len(recipe.oils) else "swap more of it in"
        do = f'{verb}, so that the oils keep totalling 100: --swap "{points}% {fullest}:{tweak.material}"'
        raise refused(tweak, "add-oil", what, do)
    if kind == "alkali":
        what = f"{tweak.material} is an alkali, and is not added by a rate"
        raise refused(tweak, "add-alkali", what, f"state it under `lye`: --set lye.alkali={tweak.material}")


def _demand_new_line(tweak: Add, present: Iterable[Addition | ScentLine], kind: MaterialKind) -> None:
    section = "scent" if kind == "fragrance" else "additions"
    for line in present:
        if (line.material, line.at) == (tweak.material, tweak.at):
            what = f"{tweak.material} at {tweak.at} is there already, at {line.rate}"
            do = f'set its rate: --set "{section}.{tweak.material}.rate={tweak.rate}"'
            raise refused(tweak, "line-exists", what, do)


def _apply_drop(recipe: Recipe, tweak: Drop) -> Recipe:
    name = tweak.material
    percents = {line.material: line.percent for line in recipe.oils}
    lines = _divisible(recipe)
    if name in percents and name not in lines:
        others = [line for line in recipe.oils if line.material != name]
        fullest = max(others, key=lambda line: line.percent).material if others else "another-oil"
        what = f"{name} is {format_decimal(percents[name])} % of the oils; without it they would not total 100"
        raise refused(tweak, "drop-oil", what, f'swap it for another: --swap "all {name}:{fullest}"')
    if name not in lines:
        do = suggest(name, lines, f"what can be dropped: {_all(lines)}" if lines else "there is nothing to drop")
        raise refused(tweak, "line-not-there", f"{name} is not among the additions or the scent", do)
    return replace(
        recipe,
        additions=tuple(line for line in recipe.additions if line.material != name),
        scent=tuple(line for line in recipe.scent if line.material != name),
        portions=tuple(
            replace(portion, gets=tuple(part for part in portion.gets if part[0] != name))
            for portion in recipe.portions
        ),
    )


def _divisible(recipe: Recipe) -> list[str]:
    """The materials of the additions and of the scent."""
    return [line.material for line in recipe.additions] + [line.material for line in recipe.scent]


# What a bare word means: `superfat` is `lye.superfat`.
_ALIASES = ReadOnly(
    {
        "superfat": "lye.superfat",
        "alkali": "lye.alkali",
        **{method: f"water.{method}" for method in WATER_METHODS},
        **{key: f"process.{key}" for key in (*PROCESS_AMOUNTS, "mould", "cover")},
    }
)
_FIELDS = ("name", "purpose", "notes", *_ALIASES.values())
# Parts of a recipe that are no one value -> how they are changed instead.
_ADDED = 'a line comes in by --add "NAME 1 % of oils at trace", and goes by --drop NAME'
_NO_ONE_VALUE = ReadOnly(
    {
        "oils": 'one oil becomes another: --swap "2% olive-oil:other-oil"',
        "additions": _ADDED,
        "scent": _ADDED,
        "portions": "write them into the recipe's file, in an editor, as the example that `formulary init` makes shows",
    }
)


def _apply_set(recipe: Recipe, tweak: SetField, materials: Materials) -> Recipe:
    field = _ALIASES.get(tweak.field, tweak.field)
    section, _, key = field.partition(".")
    if field in ("name", "purpose", "notes"):
        return _set_text(recipe, tweak, field)
    if field == "lye.superfat":
        superfat = _bounded(tweak, _percent(tweak), *SUPERFAT_BOUNDS)
        return replace(recipe, lye=replace(recipe.lye, superfat=superfat))
    if field == "lye.alkali":
        if _kind(tweak, tweak.value, materials) != "alkali":
            raise refused(tweak, "not-an-alkali", f"{tweak.value} is no alkali", "write sodium-hydroxide")
        return replace(recipe, lye=Lye(((tweak.value, HUNDRED),), recipe.lye.superfat))
    if section == "water" and key in WATER_METHODS:
        number = read_value(tweak.value, parse_decimal, tweak) if key == "water_to_lye" else _percent(tweak)
        return replace(recipe, water=Water(key, _bounded(tweak, number, *WATER_BOUNDS[key])))
    if section == "process" and field in _FIELDS:
        return _set_process(recipe, tweak, key)
    return _set_line(recipe, tweak, field, materials)


def _set_text(recipe: Recipe, tweak: SetField, field: str) -> Recipe:
    if field == "notes":
        return replace(recipe, notes=tweak.value)
    if not tweak.value:
        raise refused(tweak, "empty-value", f"`{field}` cannot be empty", "write one")
    if field == "name":
        return replace(recipe, name=tweak.value)
    return replace(recipe, purpose=_choice(tweak, PURPOSES))


def _set_process(recipe: Recipe, tweak: SetField, key: str) -> Recipe:
    process = dict(recipe.process)
    if not tweak.value:
        process.pop(key, None)
    elif key in PROCESS_AMOUNTS:
        process[key] = str(read_value(tweak.value, lambda text: parse_quantity(text, PROCESS_AMOUNTS[key]), tweak))
    else:
        process[key] = _choice(tweak, COVERS) if key == "cover" else tweak.value
    return replace(recipe, process=ReadOnly(process))


def _set_line(recipe: Recipe, tweak: SetField, field: str, materials: Materials) -> Recipe:
    """One value of an addition, a scent or a held-back oil: `scent.clove-bud-oil.rate`, `castor-oil.at`."""
    parts = field.split(".")
    part = parts.pop(0) if parts[0] in ("oils", "additions", "scent") else None
    is_block = part is None and parts[0] in {name.partition(".")[0] for name in _FIELDS}
    if len(parts) != 2 or is_block or not SLUG.fullmatch(parts[0]):
        what = f"`{tweak.field[:60]}` is no field that can be set"
        lines = [f"{name}.rate" for name in _divisible(recipe)]
        near = suggest(tweak.field, [*_FIELDS, *_ALIASES], f"fields: {_all((*_FIELDS, *lines))}")
        do = _NO_ONE_VALUE.get(field, near)
        raise refused(tweak, "unknown-field", what, do)
    material, key = parts
    section, index = _find_line(recipe, tweak, part, material)
    if section == "oils":
        return _set_oil(recipe, tweak, index, key)
    if section == "additions":
        addition = _set_addition(tweak, recipe.additions[index], key, materials)
        return replace(recipe, additions=_with(tweak, recipe.additions, index, addition))
    return replace(recipe, scent=_with(tweak, recipe.scent, index, _set_scent(tweak, recipe.scent[index], key)))


def _find_line(recipe: Recipe, tweak: SetField, part: str | None, material: str) -> tuple[str, int]:
    """Where the one line of a material stands: its part of the recipe, the one named unless that is None, and place."""
    lines: dict[str, Sequence[OilLine | Addition | ScentLine]] = {
        "oils": recipe.oils,
        "additions": recipe.additions,
        "scent": recipe.scent,
    }
    found = [
        (name, index)
        for name, there in lines.items()
        if part in (None, name)
        for index, line in enumerate(there)
        if line.material == material
    ]
    if not found:
        do = suggest(material, recipe.materials(), f"lines here: {_all(recipe.materials())}")
        raise refused(tweak, "line-not-there", f"{material} is not in this recipe", do)
    if len(found) > 1:
        what = f"{material} stands in {len(found)} lines"
        raise refused(tweak, "line-ambiguous", what, "say additions or scent before it, or change the file by hand")
    return found[0]


def _set_scent(tweak: SetField, line: ScentLine, key: str) -> ScentLine:
    if key == "rate":
        return replace(line, rate=_rate(tweak, allow_volume=False))
    if key == "at":
        return replace(line, at=_choice(tweak, STAGES))
    raise _no_such_key(tweak, ("rate", "at"))


def _set_oil(recipe: Recipe, tweak: SetField, index: int, key: str) -> Recipe:
    line = recipe.oils[index]
    if key == "at":
        changed = replace(line, at=_choice(tweak, ("oils", "trace")))
        return replace(recipe, oils=(*recipe.oils[:index], changed, *recipe.oils[index + 1 :]))
    if key in ("percent", "rate"):
        what = f"{line.material} alone cannot change: the oils would not total 100"
        raise refused(tweak, "set-oil", what, f'swap it with another oil: --swap "2% other-oil:{line.material}"')
    raise _no_such_key(tweak, ("at",))


def _set_addition(tweak: SetField, line: Addition, key: str, materials: Materials) -> Addition:
    if key == "rate":
        material = materials.get(line.material)
        return replace(line, rate=_rate(tweak, allow_volume=material is None or material.kind != "acid"))
    if key == "at":
        return replace(line, at=_choice(tweak, STAGES))
    if key == "water":
        return replace(line, water=_choice(tweak, ("replaces", "extra")))
    raise _no_such_key(tweak, ("rate", "at", "water"))


def _with(tweak: SetField, lines: Sequence[_Line], index: int, changed: _Line) -> tuple[_Line, ...]:
    others = [line for number, line in enumerate(lines) if number != index]
    if any((line.material, line.at) == (changed.material, changed.at) for line in others):
        what = f"{changed.material} at {changed.at} would stand twice"
        raise refused(tweak, "line-exists", what, "put both amounts into one line")
    return tuple(changed if number == index else line for number, line in enumerate(lines))


# Reading the words of a tweak


def _percent(tweak: SetField) -> Decimal:
    number = read_value(tweak.value, parse_percent, tweak)
    fault = fraction_fault(number, tweak.value)
    if fault is not None:
        raise refused(tweak, "fraction", *fault)
    return number


def _bounded(tweak: SetField, number: Decimal, low: Decimal, high: Decimal) -> Decimal:
    if low <= number <= high:
        return number
    bounds = f"{format_decimal(low)} to {format_decimal(high)}"
    what = f"{format_decimal(number)} is outside {bounds}"
    raise refused(tweak, "out-of-bounds", what, f"write a number from {bounds}")


def _rate(tweak: SetField, *, allow_volume: bool) -> Rate:
    rate = read_value(tweak.value, parse_rate, tweak)
    if rate.is_volume and not allow_volume:
        raise refused(tweak, "volume-refused", "this is measured by volume here", 'weigh it: "1.2 % of oils"')
    if rate.unit == "%" and rate.amount > HUNDRED:
        raise refused(tweak, "bad-value", f"{rate} is more than all of it", "write 0 to 100 %")
    return rate


def _choice(tweak: SetField, options: tuple[str, ...]) -> str:
    if tweak.value in options:
        return tweak.value
    do = suggest(tweak.value, options, f"write {one_of(options)}")
    raise refused(tweak, "not-a-choice", f"{tweak.value[:40]!r} is not one of: {', '.join(options)}", do)


def _kind(tweak: Tweak, name: str, materials: Materials) -> MaterialKind:
    material = materials.get(name)
    if material is None:
        do = suggest(name, materials, f"add it: formulary materials add {name}; or correct the name")
        raise refused(tweak, "unknown-material", f"no material is called {name[:40]!r}", do)
    return material.kind


def _no_such_key(tweak: SetField, keys: tuple[str, ...]) -> InputError:
    return refused(tweak, "unknown-field", f"`{tweak.field[:60]}` is no field that can be set", f"set {one_of(keys)}")


def _all(words: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(words))
