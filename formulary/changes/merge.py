"""Merging what two sides made of one recipe, on the changes and not on the text.

Oils are vectors that total zero: a change of one side alone is taken, the same change of both is taken once, and
changes in opposite directions are added up. The same direction by different amounts, an oil that one side took out and
the other changed, and a total that breaks are a conflict of the oils as a whole. Every other line and field is taken
from the side that changed it; two different changes are a conflict. Nothing is resolved silently: each thing that a
side changed is a decision, to be shown before anything is written.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Generic, TypeVar

from formulary.changes.decision import EVERYTHING, Choice, Decision, MergeOutcome, conflict_words, find_choice
from formulary.changes.recipe_changes import alkalis_of, alkalis_text, water_text
from formulary.errors import InputError
from formulary.names import suggest
from formulary.quantity import format_decimal
from formulary.read_only import ReadOnly
from formulary.recipes.model import Addition, Lye, OilLine, Recipe, RecipePortion, ScentLine

_T = TypeVar("_T")
_U = TypeVar("_U")
_Key = TypeVar("_Key", str, tuple[str, str])
_Line = TypeVar("_Line", Addition, ScentLine)

HUNDRED = Decimal(100)
_NONE = "none"


@dataclass(frozen=True, slots=True)
class Merge:
    """The merged recipe and a decision on each thing that a side changed.

    recipe: valid in itself. Where there is a conflict it holds my side, and lists the conflicts, so that no lye is
    calculated from it until they are settled.
    """

    recipe: Recipe
    decisions: tuple[Decision, ...]

    @property
    def conflicts(self) -> tuple[Decision, ...]:
        """What a person must decide."""
        return tuple(decision for decision in self.decisions if decision.is_conflict)


def merge_recipes(
    before: Recipe,
    mine: Recipe,
    theirs: Recipe,
    *,
    choices: Mapping[str, Choice] = ReadOnly({}),
    own: Collection[str] = (),
) -> Merge:
    """What both sides made of `before`, in one recipe.

    mine: the side that is kept where there is a conflict, with its own slug, earlier names and parent. choices: how
    a person settles things that they changed, by the field of their decision or `all` of them. own: fields that stay
    mine where both changed them, such as the notes of a variant.
    Raises InputError when a side has an open conflict already, or a choice fits nothing that they changed.
    """
    for side in (before, mine, theirs):
        if side.conflicts:
            what = f"{side.slug} has an open conflict already: {side.conflicts[0]}"
            raise InputError.of("conflict-open", what, "settle it in the file and remove `conflicts:`, then merge")
    sides = _Three(before, mine, theirs)
    merging = _Merging(choices, own)
    name = merging.value(sides.map(lambda side: side.name), "name", str)
    purpose = merging.value(sides.map(lambda side: side.purpose), "purpose", str)
    oils = merging.oils(sides.map(lambda side: side.oils))
    alkalis, by = merging.value(sides.map(lambda side: alkalis_of(side.lye)), "lye.alkali", alkalis_text)
    superfat = merging.value(sides.map(lambda side: side.lye.superfat), "lye.superfat", _percent_text)
    merged = replace(
        mine,
        name=name,
        purpose=purpose,
        oils=oils,
        lye=Lye(alkalis, superfat, by),
        water=merging.value(sides.map(lambda side: side.water), "water", water_text),
        additions=merging.lines(sides.map(lambda side: side.additions), "additions"),
        scent=merging.lines(sides.map(lambda side: side.scent), "scent"),
        process=merging.process(sides.map(lambda side: side.process)),
        notes=merging.value(sides.map(lambda side: side.notes), "notes", _notes_text),
    )
    merged = replace(merged, portions=merging.portions(sides.map(lambda side: side.portions), merged))
    merging.demand_all_used()
    conflicts = tuple(conflict_words(each, theirs.slug) for each in merging.decisions if each.is_conflict)
    return Merge(replace(merged, conflicts=conflicts), tuple(merging.decisions))


@dataclass(frozen=True, slots=True)
class _Three(Generic[_T]):
    """The same thing on three sides."""

    before: _T
    mine: _T
    theirs: _T

    def map(self, read: Callable[[_T], _U]) -> _Three[_U]:
        return _Three(read(self.before), read(self.mine), read(self.theirs))

    @property
    def is_untouched(self) -> bool:
        """Whether neither side changed it."""
        return self.before == self.mine == self.theirs

    def decision(
        self,
        field: str,
        outcome: MergeOutcome,
        merged: _T,
        show: Callable[[_T], str],
        together: str | None = None,
    ) -> Decision:
        made = None if outcome is MergeOutcome.CONFLICT else show(merged)
        return Decision(field, outcome, show(self.before), show(self.mine), show(self.theirs), made, together)


def _at(sides: _Three[Mapping[_Key, _T]], key: _Key) -> _Three[_T | None]:
    """What stands under a key on each side."""
    return _Three(sides.before.get(key), sides.mine.get(key), sides.theirs.get(key))


def _keyed(sides: _Three[tuple[_T, ...]], key: Callable[[_T], _Key]) -> _Three[Mapping[_Key, _T]]:
    """The lines of each side by what they are."""
    before, mine, theirs = ({key(line): line for line in side} for side in (sides.before, sides.mine, sides.theirs))
    return _Three(before, mine, theirs)


class _Merging:
    """One merge under way: the decisions so far, and the person's choices for what is still to come."""

    def __init__(self, choices: Mapping[str, Choice], own: Collection[str]) -> None:
        self.decisions: list[Decision] = []
        self._choices = choices
        self._own = own
        self._used: set[str] = set()
        self._offered: list[str] = []

    def demand_all_used(self) -> None:
        unused = [field for field in self._choices if field not in self._used]
        if unused:
            what = f"`{unused[0][:60]}` is nothing that the other side changed and this one has otherwise"
            listed = f"to be settled here: {', '.join(self._offered)}" if self._offered else "nothing is to be settled"
            raise InputError.of("nothing-to-settle", what, suggest(unused[0], self._offered, listed))

    def _choice(self, field: str) -> Choice | None:
        """What the person chose for a field; what is mine anyway is only settled by its own name."""
        name = find_choice(self._choices, field)
        if field in self._own and name == EVERYTHING:
            return None
        self._offered.append(field)
        if name is None:
            return None
        self._used.add(name)
        if self._choices[name] is Choice.BOTH and field != "oils":
            what = f"both changes of `{field}` cannot be had together"
            raise InputError.of("not-a-choice", what, "choose one side, or edit the line by hand")
        return self._choices[name]

    def value(self, sides: _Three[_T], field: str, show: Callable[[_T], str]) -> _T:
        """A thing that is taken as a whole."""
        if sides.is_untouched:
            return sides.mine
        outcome, merged = self._judge(sides, field)
        self.decisions.append(sides.decision(field, outcome, merged, show))
        return merged

    def _judge(self, sides: _Three[_T], field: str) -> tuple[MergeOutcome, _T]:
        if sides.theirs == sides.before:
            return MergeOutcome.KEPT, sides.mine
        if sides.theirs == sides.mine:
            return MergeOutcome.ALIKE, sides.mine
        choice = self._choice(field)
        if choice is not None:
            return MergeOutcome.SETTLED, sides.mine if choice is Choice.MINE else sides.theirs
        if sides.mine == sides.before:
            return MergeOutcome.TAKEN, sides.theirs
        return (MergeOutcome.KEPT if field in self._own else MergeOutcome.CONFLICT), sides.mine

    def oils(self, sides: _Three[tuple[OilLine, ...]]) -> tuple[OilLine, ...]:
        """Each oil by itself; where that is a conflict or breaks the total, the oils are one thing to settle."""
        by_name = _keyed(sides, lambda line: line.material)
        names = list(dict.fromkeys(line.material for side in (sides.mine, sides.theirs, sides.before) for line in side))
        moved = [name for name in names if not _at(by_name, name).is_untouched]
        if not moved:
            return sides.mine
        apart = _Merging({}, ())
        lines = [line for name in names if (line := apart._oil(_at(by_name, name), name)) is not None]
        clash = any(each.is_conflict for each in apart.decisions) or _total(lines) != HUNDRED
        differs = by_name.theirs not in (by_name.before, by_name.mine)
        choice = self._choice("oils") if differs else None
        if choice is None and not clash:
            self.decisions += apart.decisions
            return tuple(lines)
        both = _add_up(by_name, names)
        if choice is Choice.BOTH and both is None:
            what = "both changes of the oils together would leave less than nothing of one of them"
            raise InputError.of("negative-amount", what, "choose one side, or edit the oils by hand")
        stands = both if choice is Choice.BOTH else sides.theirs if choice is Choice.THEIRS else sides.mine
        assert stands is not None
        outcome = MergeOutcome.CONFLICT if choice is None else MergeOutcome.SETTLED

        def show(oils: tuple[OilLine, ...]) -> str:
            return ", ".join(_oil_text(line) for line in oils if line.material in moved) or _NONE

        together = show(both) if both is not None and clash else None
        self.decisions.append(sides.decision("oils", outcome, stands, show, together))
        return stands

    def _oil(self, line: _Three[OilLine | None], name: str) -> OilLine | None:
        if line.is_untouched:
            return line.mine
        if line.before is not None and None in (line.mine, line.theirs):
            # Taken out by one side: with whatever the other has changed of it.
            return self.value(line, f"oils.{name}", _oil_percent_text)
        percents = line.map(lambda one: one.percent if one is not None else Decimal(0))
        mine, theirs = percents.mine - percents.before, percents.theirs - percents.before
        # Neither side took it out: opposite changes add up, and cannot come to less than nothing.
        if mine * theirs < 0 and percents.mine and percents.theirs:
            percent = percents.before + mine + theirs
            self.decisions.append(percents.decision(f"oils.{name}", MergeOutcome.ADDED, percent, _percent_text))
        else:
            percent = self.value(percents, f"oils.{name}", _percent_text)
        at = self.value(_stages(line), f"oils.{name}.at", lambda stage: stage or _NONE)
        is_there = line.map(lambda one: one is not None)
        stays = is_there.theirs if is_there.mine == is_there.before else is_there.mine
        return OilLine(name, percent, at or "oils") if percent or stays else None

    def lines(self, sides: _Three[tuple[_Line, ...]], part: str) -> tuple[_Line, ...]:
        """Additions or scent: each material by itself, by what was changed in its lines where these are the same."""
        merged: list[_Line] = []
        every = (*sides.mine, *sides.theirs, *sides.before)
        for name in dict.fromkeys(line.material for line in every):
            of_material = _Three(*(_lines_of(side, name) for side in (sides.before, sides.mine, sides.theirs)))
            stages = of_material.map(lambda lines: [line.at for line in lines])
            if not stages.is_untouched:  # a line came, went, or moved to another stage
                of_either = self.value(of_material, f"{part}.{name}", _lines_text)
                merged += of_either
                continue
            for before, mine, theirs in zip(of_material.before, of_material.mine, of_material.theirs, strict=True):
                field = f"{part}.{name}" + (f" at {mine.at}" if len(stages.mine) > 1 else "")
                merged.append(self._line(_Three(before, mine, theirs), field))
        order = [(line.material, line.at) for line in every]
        return tuple(sorted(merged, key=lambda line: order.index((line.material, line.at))))

    def _line(self, line: _Three[_Line], field: str) -> _Line:
        rate = self.value(line.map(lambda one: one.rate), f"{field}.rate", str)
        before, mine, theirs = line.before, line.mine, line.theirs
        if isinstance(before, Addition) and isinstance(mine, Addition) and isinstance(theirs, Addition):
            addition = _Three(before, mine, theirs)
            water = self.value(addition.map(lambda one: one.water), f"{field}.water", lambda word: word or _NONE)
            prepared = self.value(
                addition.map(lambda one: one.prepared), f"{field}.prepared", lambda words: ", ".join(words) or _NONE
            )
            return replace(mine, rate=rate, water=water, prepared=prepared)
        return replace(mine, rate=rate)

    def process(self, sides: _Three[Mapping[str, str]]) -> Mapping[str, str]:
        merged: dict[str, str] = {}
        for key in dict.fromkeys((*sides.mine, *sides.theirs, *sides.before)):
            value = self.value(_at(sides, key), f"process.{key}", lambda text: text or "not stated")
            if value is not None:
                merged[key] = value
        return ReadOnly(merged)

    def portions(self, sides: _Three[tuple[RecipePortion, ...]], recipe: Recipe) -> tuple[RecipePortion, ...]:
        """Portions by their names; where these clash, or no longer fit the recipe, they are one thing to settle."""
        whole = sides.map(_in_plain_order)
        by_name = _keyed(whole, lambda portion: portion.name)
        apart = _Merging({}, ())
        merged = [
            portion
            for name in dict.fromkeys((*by_name.mine, *by_name.theirs, *by_name.before))
            if (portion := apart.value(_at(by_name, name), f"portions.{name}", _portion_text)) is not None
        ]
        standing = self._without_parts_of_lines_chosen_away(merged, recipe)
        clash = any(each.is_conflict for each in apart.decisions) or _fitting(standing, recipe) != standing
        differs = by_name.theirs not in (by_name.before, by_name.mine)
        choice = self._choice("portions") if differs or clash else None
        if choice is None and not clash:
            self.decisions += apart.decisions
            if standing != tuple(merged):
                self.decisions.append(whole.decision("portions", MergeOutcome.SETTLED, standing, _portions_text))
            return standing
        outcome = MergeOutcome.CONFLICT if choice is None else MergeOutcome.SETTLED
        stands = _fitting(whole.theirs if choice is Choice.THEIRS else whole.mine, recipe)
        self.decisions.append(whole.decision("portions", outcome, stands, _portions_text))
        return stands

    def _without_parts_of_lines_chosen_away(
        self, portions: Iterable[RecipePortion], recipe: Recipe
    ) -> tuple[RecipePortion, ...]:
        """What portions get of a line that was settled to go goes with it: that opens no new question."""
        settled = {each.field for each in self.decisions if each.outcome is MergeOutcome.SETTLED}
        lines = recipe.divisible

        def stays(material: str) -> bool:
            return material in lines or not {f"additions.{material}", f"scent.{material}"} & settled

        return tuple(replace(each, gets=tuple(part for part in each.gets if stays(part[0]))) for each in portions)


def _stages(line: _Three[OilLine | None]) -> _Three[str | None]:
    """When an oil goes in on each side; a side without it has no opinion."""
    at = line.map(lambda one: one.at if one is not None else None)
    before = at.before if at.before is not None else at.mine if at.mine is not None else at.theirs
    return _Three(before, at.mine if at.mine is not None else before, at.theirs if at.theirs is not None else before)


def _lines_of(lines: Iterable[_Line], material: str) -> tuple[_Line, ...]:
    return tuple(sorted((line for line in lines if line.material == material), key=lambda line: line.at))


def _total(lines: Iterable[OilLine]) -> Decimal:
    return sum((line.percent for line in lines), Decimal(0))


def _add_up(by_name: _Three[Mapping[str, OilLine]], names: Iterable[str]) -> tuple[OilLine, ...] | None:
    """The oils with the changes of both sides added; None where that leaves less than nothing of one."""
    lines: list[OilLine] = []
    for name in names:
        line = _at(by_name, name)
        percents = line.map(lambda one: one.percent if one is not None else Decimal(0))
        percent = percents.mine + percents.theirs - percents.before
        if percent < 0:
            return None
        if percent:
            at = _stages(line)
            lines.append(OilLine(name, percent, (at.mine if at.mine != at.before else at.theirs) or "oils"))
    return tuple(lines)


def _in_plain_order(portions: Iterable[RecipePortion]) -> tuple[RecipePortion, ...]:
    return tuple(replace(portion, gets=tuple(sorted(portion.gets))) for portion in portions)


def _fitting(portions: Iterable[RecipePortion], recipe: Recipe) -> tuple[RecipePortion, ...]:
    """The portions without what does not total 100, or divides a line that is not there when there are portions."""
    listed = tuple(portions)
    if sum((portion.share for portion in listed), Decimal(0)) != HUNDRED:
        return ()
    totals: dict[str, Decimal] = {}
    for portion in listed:
        for material, percent in portion.gets:
            totals[material] = totals.get(material, Decimal(0)) + percent
    kept = {material for material, total in totals.items() if total == HUNDRED and material in recipe.divisible}
    return tuple(replace(portion, gets=tuple(part for part in portion.gets if part[0] in kept)) for portion in listed)


def _percent_text(percent: Decimal) -> str:
    return f"{format_decimal(percent)} %"


def _oil_percent_text(line: OilLine | None) -> str:
    return _percent_text(line.percent if line is not None else Decimal(0))


def _oil_text(line: OilLine) -> str:
    return f"{line.material} {_percent_text(line.percent)}" + (f" at {line.at}" if line.at != "oils" else "")


def _lines_text(lines: Iterable[Addition | ScentLine]) -> str:
    return " and ".join(map(_line_text, lines)) or _NONE


def _line_text(line: Addition | ScentLine) -> str:
    water = {None: "", "replaces": ", replacing water", "extra": ", its water extra"}
    prepared = f", {', '.join(line.prepared)}" if isinstance(line, Addition) and line.prepared else ""
    return f"{line.rate} at {line.at}{water[line.water] if isinstance(line, Addition) else ''}{prepared}"


def _portions_text(portions: Iterable[RecipePortion]) -> str:
    return ", ".join(map(_portion_text, portions)) or _NONE


def _portion_text(portion: RecipePortion | None) -> str:
    if portion is None:
        return _NONE
    parts = [f"{_percent_text(percent)} of the {material}" for material, percent in portion.gets]
    eye = f" (give or take {_percent_text(portion.by_eye)})" if portion.by_eye else ""
    return f"{portion.name} {_percent_text(portion.share)}{eye}" + (f" with {' and '.join(parts)}" if parts else "")


def _notes_text(notes: str) -> str:
    lines = notes.splitlines()
    if not lines:
        return _NONE
    first = lines[0] if len(lines[0]) <= 40 else f"{lines[0][:39]}…"
    more = len(lines) - 1
    return f"“{first}”" + (f" and {more} line{'s' if more > 1 else ''} more" if more else "")
