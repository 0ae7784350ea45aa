"""A recipe that was read, as a short record that is quicker to take up again than its file is to read.

A record holds all that the file says and where it stands, but neither the recipe's name nor its path: the same content
may have been saved under another one. Who keeps records makes sure that they come from the same edition of this
program; a record in which anything is not of the kind that it must be is none.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import TypeVar

from formulary.finding import Place
from formulary.rate import Basis, Rate
from formulary.read_only import ReadOnly
from formulary.recipes.model import (
    PURPOSES,
    STAGES,
    WATER_METHODS,
    Addition,
    BasedOn,
    Lye,
    OilLine,
    Recipe,
    RecipePortion,
    ScentLine,
    Water,
)

_Word = TypeVar("_Word", str, str | None)
_LARGEST = Decimal(10**9)  # of a figure; what is beyond it is read from the file
# Versions mostly differ in one part, and recipes use the same few figures: each part is read once and then shared, as
# none of them can be changed.
_remembering_parts = lru_cache(maxsize=16_384)


def render_kept_recipe(recipe: Recipe) -> bytes:
    """The record of a recipe that was read without a fault; empty for one that cannot be kept so."""
    based_on = (recipe.based_on.recipe, recipe.based_on.version) if recipe.based_on is not None else None
    parts = (
        [recipe.name, recipe.purpose, recipe.formerly, based_on, recipe.conflicts],
        [(line.material, str(line.percent), line.at) for line in recipe.oils],
        [recipe.lye.by, str(recipe.lye.superfat), [(name, str(share)) for name, share in recipe.lye.alkalis]],
        [recipe.water.method, str(recipe.water.value)],
        [(line.material, _rate_parts(line.rate), line.at, line.water, line.prepared) for line in recipe.additions],
        [(line.material, _rate_parts(line.rate), line.at) for line in recipe.scent],
        [
            (each.name, str(each.share), str(each.by_eye), [(name, str(part)) for name, part in each.gets])
            for each in recipe.portions
        ],
        dict(recipe.process),
        [part for name, place in recipe.places.items() for part in (name, place.line, place.column, place.field)],
    )
    if "\0" in recipe.notes:
        return b""
    return b"\0".join([*map(_as_json, parts), recipe.notes.encode("utf-8", "surrogatepass")])


def _as_json(part: object) -> bytes:
    return json.dumps(part, separators=(",", ":")).encode("ascii")


def _rate_parts(rate: Rate) -> tuple[str, str, str]:
    return str(rate.amount), rate.unit, rate.basis.value


def parse_kept_recipe(
    record: bytes, slug: str, path: str | None, read_places: Callable[[], Mapping[str, Place]]
) -> Recipe | None:
    """The recipe that a record holds, under a name and from a path; None for what is no such record.

    read_places: reads the places from the file's text, for when those of the record turn out to be none.
    """
    try:
        head, oils, lye, water, additions, scent, portions, process, places, notes = record.split(b"\0")
        name, purpose, formerly, based_on, conflicts = _head(head)
        return Recipe(
            slug=slug,
            name=name,
            oils=_oils(oils),
            lye=_lye(lye),
            water=_water(water),
            purpose=purpose,
            formerly=formerly,
            based_on=based_on,
            additions=_additions(additions),
            scent=_scent(scent),
            portions=_portions(portions),
            process=_process(process),
            notes=notes.decode("utf-8", "surrogatepass"),
            conflicts=conflicts,
            places=_RecordedPlaces(places, path, read_places),
        )
    except (ValueError, TypeError, LookupError, ArithmeticError, RecursionError):
        return None


@_remembering_parts
def _head(part: bytes) -> tuple[str, str, tuple[str, ...], BasedOn | None, tuple[str, ...]]:
    name, purpose, formerly, based_on, conflicts = json.loads(part)
    base = None if based_on is None else BasedOn(*_texts(based_on))
    return _text(name), _one_of(PURPOSES, purpose), _texts(formerly), base, _texts(conflicts)


@_remembering_parts
def _oils(part: bytes) -> tuple[OilLine, ...]:
    lines = json.loads(part)
    return tuple([OilLine(_text(material), _number(percent), _one_of(STAGES, at)) for material, percent, at in lines])


@_remembering_parts
def _lye(part: bytes) -> Lye:
    by, superfat, alkalis = json.loads(part)
    return Lye(_figures(alkalis), _number(superfat), _one_of((None, "mass", "moles"), by))


@_remembering_parts
def _water(part: bytes) -> Water:
    method, value = json.loads(part)
    return Water(_one_of(WATER_METHODS, method), _number(value))


@_remembering_parts
def _additions(part: bytes) -> tuple[Addition, ...]:
    return tuple(
        [
            Addition(
                _text(material),
                _rate(*rate),
                _one_of(STAGES, at),
                _one_of((None, "replaces", "extra"), water),
                _texts(prepared),
            )
            for material, rate, at, water, prepared in json.loads(part)
        ]
    )


@_remembering_parts
def _scent(part: bytes) -> tuple[ScentLine, ...]:
    lines = json.loads(part)
    return tuple([ScentLine(_text(material), _rate(*rate), _one_of(STAGES, at)) for material, rate, at in lines])


@_remembering_parts
def _portions(part: bytes) -> tuple[RecipePortion, ...]:
    return tuple(
        [
            RecipePortion(_text(name), _number(share), _number(by_eye), _figures(gets))
            for name, share, by_eye, gets in json.loads(part)
        ]
    )


@_remembering_parts
def _process(part: bytes) -> Mapping[str, str]:
    process = json.loads(part)
    if not isinstance(process, dict):
        raise TypeError
    for said in process.values():
        _text(said)
    return ReadOnly(process)


@lru_cache(maxsize=4096)
def _number(text: str) -> Decimal:
    number = Decimal(_text(text))
    if not abs(number) < _LARGEST:  # true of a NaN too
        raise ValueError
    return number


def _figures(pairs: list[list[str]]) -> tuple[tuple[str, Decimal], ...]:
    return tuple([(_text(name), _number(figure)) for name, figure in pairs])


def _rate(amount: str, unit: str, basis: str) -> Rate:
    rate = Rate(_number(amount), _text(unit), Basis(basis))
    _ = rate.is_volume  # a KeyError for what is no unit
    return rate


def _text(part: str) -> str:
    if not isinstance(part, str):
        raise TypeError
    return part


def _texts(parts: list[str]) -> tuple[str, ...]:
    if not isinstance(parts, list):
        raise TypeError
    return tuple([_text(part) for part in parts])


def _one_of(choices: Collection[_Word], part: _Word) -> _Word:
    if part not in choices:
        raise ValueError
    return part


class _RecordedPlaces(Mapping[str, Place]):
    """Where each part of a recipe stands; made out of the record only when somebody asks."""

    __slots__ = ("_found", "_parts", "_path", "_read_places")

    def __init__(self, parts: bytes, path: str | None, read_places: Callable[[], Mapping[str, Place]]) -> None:
        self._parts = parts
        self._path = path
        self._read_places = read_places
        self._found: Mapping[str, Place] | None = None

    def _places(self) -> Mapping[str, Place]:
        if self._found is None:
            try:
                self._found = self._recorded()
            except (ValueError, TypeError, LookupError, RecursionError):
                self._found = self._read_places()
        return self._found

    def _recorded(self) -> dict[str, Place]:
        four = iter(json.loads(self._parts))
        found = {
            _text(name): Place(self._path, line, column, field)
            for name, line, column, field in zip(four, four, four, four, strict=True)
        }
        for place in found.values():
            if not isinstance(place.line, int | None) or not isinstance(place.column, int | None):
                raise TypeError
            if not isinstance(place.field, str | None):
                raise TypeError
        return found

    def __getitem__(self, name: str) -> Place:
        return self._places()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._places())

    def __len__(self) -> int:
        return len(self._places())
