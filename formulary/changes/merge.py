"""Merging what two sides made of one recipe, on the changes and not on the text.

Oils are vectors that total zero: a change of one side alone is taken, the same change of both is taken once, changes
in opposite directions are added up, and the same direction by different amounts is a conflict. Every other line and
field is taken from the side that changed it; two different changes are a conflict. Nothing is resolved silently: each
thing that both sides changed differently is a decision, to be shown before anything is written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from types import MappingProxyType
from typing import Generic, TypeVar

from formulary.changes.recipe_changes import alkalis_of, alkalis_text, water_text
from formulary.errors import InputError
from formulary.quantity import format_decimal
from formulary.recipes.model import Addition, Lye, OilLine, Recipe, RecipePortion, ScentLine

_T = TypeVar("_T")
_U = TypeVar("_U")
_Key = TypeVar("_Key", str, tuple[str, str])
_Line = TypeVar("_Line", Addition, ScentLine)

HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing that both sides changed: what it was, what each made of it, and what was made of that.

    merged: None for a conflict. field: in the recipe's terms, such as `oils, olive-oil`.
    """

    field: str
    base: str
    ours: str
    theirs: str
    merged: str | None

    @property
    def is_conflict(self) -> bool:
        """Whether a person must decide."""
        return self.merged is None

    def to_json(self) -> dict[str, object]:
        return {
            "field": self.field,
            "base": self.base,
            "ours": self.ours,
            "theirs": self.theirs,
            "merged": self.merged,
        }

    def __str__(self) -> str:
        sides = f"{self.field}: was {self.base}, ours {self.ours}, theirs {self.theirs}"
        return sides if self.merged is None else f"{sides}, merged {self.merged}"


@dataclass(frozen=True, slots=True)
class Merge:
    """The merged recipe and every decision on what both sides changed.

    recipe: valid in itself. Where there is a conflict it holds our side, and lists the conflicts, so that no lye is
    calculated from it until they are settled.
    """

    recipe: Recipe
    decisions: tuple[Decision, ...]

    @property
    def conflicts(self) -> tuple[Decision, ...]:
        """What a person must decide."""
        return tuple(decision for decision in self.decisions if decision.is_conflict)


def merge_recipes(base: Recipe, ours: Recipe, theirs: Recipe) -> Merge:
    """What both sides made of `base`, in one recipe.

    ours: the side that is kept where there is a conflict, with its own slug, earlier names and parent.
    Raises InputError when a side has an open conflict already.
    """
    for side in (base, ours, theirs):
        if side.conflicts:
            what = f"{side.slug} has an open conflict already: {side.conflicts[0]}"
            raise InputError.of("conflict-open", what, "settle it in the file and remove `conflicts:`, then merge")
    sides = _Three(base, ours, theirs)
    decisions: list[Decision] = []
    alkalis, by = _merge_field(sides.map(lambda side: alkalis_of(side.lye)), "lye, alkali", decisions, alkalis_text)
    merged = replace(
        ours,
        name=_merge_field(sides.map(lambda side: side.name), "name", decisions),
        purpose=_merge_field(sides.map(lambda side: side.purpose), "purpose", decisions),
        oils=_merge_oils(sides.map(lambda side: side.oils), decisions),
        lye=Lye(
            alkalis,
            _merge_field(sides.map(lambda side: side.lye.superfat), "lye, superfat", decisions, _percent_text),
            by,
        ),
        water=_merge_field(sides.map(lambda side: side.water), "water", decisions, water_text),
        additions=_merge_lines(sides.map(lambda side: side.additions), "additions", decisions),
        scent=_merge_lines(sides.map(lambda side: side.scent), "scent", decisions),
        process=_merge_process(sides.map(lambda side: side.process), decisions),
        notes=_merge_field(sides.map(lambda side: side.notes), "notes", decisions, _notes_text),
    )
    merged = replace(merged, portions=_merge_portions(sides.map(lambda side: side.portions), merged, decisions))
    conflicts = tuple(str(decision) for decision in decisions if decision.is_conflict)
    return Merge(replace(merged, conflicts=conflicts), tuple(decisions))


@dataclass(frozen=True, slots=True)
class _Three(Generic[_T]):
    """The same thing on three sides."""

    base: _T
    ours: _T
    theirs: _T

    def map(self, read: Callable[[_T], _U]) -> _Three[_U]:
        return _Three(read(self.base), read(self.ours), read(self.theirs))

    @property
    def is_settled(self) -> bool:
        """Whether at most one side changed it, or both the same way."""
        return self.base in (self.ours, self.theirs) or self.ours == self.theirs

    @property
    def settled(self) -> _T:
        """What the side made of it that changed it."""
        return self.theirs if self.ours == self.base else self.ours

    def decision(self, field: str, show: Callable[[_T], str], merged: _T | None = None) -> Decision:
        return Decision(
            field, show(self.base), show(self.ours), show(self.theirs), None if merged is None else show(merged)
        )


def _at(sides: _Three[Mapping[_Key, _T]], key: _Key) -> _Three[_T | None]:
    """What stands under a key on each side."""
    return _Three(sides.base.get(key), sides.ours.get(key), sides.theirs.get(key))


def _keyed(sides: _Three[tuple[_T, ...]], key: Callable[[_T], _Key]) -> _Three[Mapping[_Key, _T]]:
    """The lines of each side by what they are."""
    base, ours, theirs = ({key(line): line for line in side} for side in (sides.base, sides.ours, sides.theirs))
    return _Three(base, ours, theirs)


def _merge_field(
    sides: _Three[_T], field: str, decisions: list[Decision], show: Callable[[_T], str] = lambda value: str(value)
) -> _T:
    if sides.is_settled:
        return sides.settled
    decisions.append(sides.decision(field, show))
    return sides.ours


def _merge_oils(sides: _Three[tuple[OilLine, ...]], decisions: list[Decision]) -> tuple[OilLine, ...]:
    by_name = _keyed(sides, lambda line: line.material)
    found: list[Decision] = []
    lines: list[OilLine] = []
    for name in dict.fromkeys(line.material for side in (sides.ours, sides.theirs, sides.base) for line in side):
        line = _at(by_name, name)
        percent = _merge_percent(line.map(lambda one: one.percent if one is not None else Decimal(0)), name, found)
        if percent or line.map(lambda one: one is not None).settled:
            at = _merge_field(_stages(line), f"oils, {name}, at", found)
            lines.append(OilLine(name, percent, at or "oils"))
    total = sum((line.percent for line in lines), Decimal(0))
    if total != HUNDRED and not any(decision.is_conflict for decision in found):
        found.append(sides.decision("oils", lambda side: ", ".join(_oil_text(line) for line in side)))
    decisions += found
    # With any conflict among them the oils are ours as a whole, so that they still total 100.
    return sides.ours if any(decision.is_conflict for decision in found) else tuple(lines)


def _merge_percent(percents: _Three[Decimal], name: str, found: list[Decision]) -> Decimal:
    if percents.is_settled:
        return percents.settled
    ours, theirs = percents.ours - percents.base, percents.theirs - percents.base
    if (ours > 0) == (theirs > 0):
        found.append(percents.decision(f"oils, {name}", _percent_text))
        return percents.ours
    # Opposite directions: neither side alone goes below 0, so their sum does not.
    merged = percents.base + ours + theirs
    found.append(percents.decision(f"oils, {name}", _percent_text, merged))
    return merged


def _stages(line: _Three[OilLine | None]) -> _Three[str | None]:
    """When an oil goes in on each side; a side without it has no opinion."""
    at = line.map(lambda one: one.at if one is not None else None)
    base = at.base if at.base is not None else at.ours if at.ours is not None else at.theirs
    return _Three(base, at.ours if at.ours is not None else base, at.theirs if at.theirs is not None else base)


def _merge_lines(sides: _Three[tuple[_Line, ...]], part: str, decisions: list[Decision]) -> tuple[_Line, ...]:
    by_key = _keyed(sides, _line_key)
    keys = dict.fromkeys(_line_key(line) for line in (*sides.ours, *sides.theirs))
    merged: list[_Line] = []
    for key in keys:
        line = _at(by_key, key)
        field = f"{part}, {key[0]} at {key[1]}"
        one = line.settled if line.is_settled else _merge_line(line, field, decisions)
        if one is not None:
            merged.append(one)
    return tuple(merged)


def _line_key(line: Addition | ScentLine) -> tuple[str, str]:
    return line.material, line.at


def _merge_line(line: _Three[_Line | None], field: str, decisions: list[Decision]) -> _Line | None:
    """A line that both sides changed: by what was changed in it, when it stands on all sides."""
    base, ours, theirs = line.base, line.ours, line.theirs
    if base is None or ours is None or theirs is None:
        decisions.append(line.decision(field, _line_text))
        return ours
    rate = _merge_field(_Three(base.rate, ours.rate, theirs.rate), f"{field}, rate", decisions)
    if isinstance(base, Addition) and isinstance(ours, Addition) and isinstance(theirs, Addition):
        water = _merge_field(_Three(base.water, ours.water, theirs.water), f"{field}, water", decisions)
        sides = _Three(base.prepared, ours.prepared, theirs.prepared)
        prepared = _merge_field(sides, f"{field}, prepared", decisions, ", ".join)
        return replace(ours, rate=rate, water=water, prepared=prepared)
    return replace(ours, rate=rate)


def _merge_process(sides: _Three[Mapping[str, str]], decisions: list[Decision]) -> Mapping[str, str]:
    merged: dict[str, str] = {}
    for key in dict.fromkeys((*sides.ours, *sides.theirs)):
        values = _at(sides, key)
        value = _merge_field(values, f"process, {key}", decisions, lambda text: text or "not stated")
        if value is not None:
            merged[key] = value
    return MappingProxyType(merged)


def _merge_portions(
    sides: _Three[tuple[RecipePortion, ...]], recipe: Recipe, decisions: list[Decision]
) -> tuple[RecipePortion, ...]:
    """Portions by their names; where the parts then do not total 100, ours as a whole and a conflict."""
    by_name = _keyed(sides.map(_sorted_gets), lambda portion: portion.name)
    found: list[Decision] = []
    merged: list[RecipePortion] = []
    for name in dict.fromkeys((*by_name.ours, *by_name.theirs)):
        portion = _at(by_name, name)
        one = _merge_field(portion, f"portions, {name}", found, _portion_text)
        if one is not None:
            merged.append(one)
    if found or _fitting(merged, recipe) != tuple(merged):
        if not found:
            found.append(sides.decision("portions", lambda side: "; ".join(map(_portion_text, side)) or "none"))
        merged = list(by_name.ours.values())
    decisions += found
    return _fitting(merged, recipe)


def _sorted_gets(portions: Iterable[RecipePortion]) -> tuple[RecipePortion, ...]:
    return tuple(replace(portion, gets=tuple(sorted(portion.gets))) for portion in portions)


def _fitting(portions: Iterable[RecipePortion], recipe: Recipe) -> tuple[RecipePortion, ...]:
    """The portions without what does not total 100, or divides a line that is not there."""
    listed = tuple(portions)
    if sum((portion.share for portion in listed), Decimal(0)) != HUNDRED:
        return ()
    lines = {line.material for line in recipe.additions} | {line.material for line in recipe.scent}
    totals: dict[str, Decimal] = {}
    for portion in listed:
        for material, percent in portion.gets:
            totals[material] = totals.get(material, Decimal(0)) + percent
    kept = {material for material, total in totals.items() if total == HUNDRED and material in lines}
    return tuple(replace(portion, gets=tuple(part for part in portion.gets if part[0] in kept)) for portion in listed)


def _percent_text(percent: Decimal) -> str:
    return f"{format_decimal(percent)} %"


def _oil_text(line: OilLine) -> str:
    return f"{line.material} {_percent_text(line.percent)}"


def _line_text(line: Addition | ScentLine | None) -> str:
    if line is None:
        return "absent"
    return f"{line.rate}, water {line.water}" if isinstance(line, Addition) and line.water else str(line.rate)


def _portion_text(portion: RecipePortion | None) -> str:
    if portion is None:
        return "absent"
    parts = [f"{_percent_text(percent)} of {material}" for material, percent in portion.gets]
    return f"{portion.name} {_percent_text(portion.share)}" + (f" with {', '.join(parts)}" if parts else "")


def _notes_text(notes: str) -> str:
    lines = notes.splitlines() or [""]
    return repr(lines[0][:40]) + (f" and {len(lines) - 1} lines more" if len(lines) > 1 else "")
