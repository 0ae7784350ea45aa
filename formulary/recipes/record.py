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
from types import MappingProxyType
from typing import Any, TypeVar

from formulary.finding import Place
from formulary.quantity import Basis, Rate
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

_decode = json.JSONDecoder().raw_decode
_Word = TypeVar("_Word", str, str | None)
_LARGEST = Decimal(10**9)  # of a figure; what is beyond it is read from the file


# The same few figures and lines come again in version after version; none of these can be changed.
@lru_cache(maxsize=4096)
def _number(text: str) -> Decimal:
    number = Decimal(_text(text))
    if not abs(number) < _LARGEST:  # true of a NaN too
        raise ValueError
    return number


@lru_cache(maxsize=16_384)
def _oil(material: str, percent: str, at: str) -> OilLine:
    return OilLine(_text(material), _number(percent), _one_of(STAGES, at))


@lru_cache(maxsize=4096)
def _water(method: str, value: str) -> Water:
    return Water(_one_of(WATER_METHODS, method), _number(value))


@lru_cache(maxsize=4096)
def _rate(amount: str, unit: str, basis: str) -> Rate:
    rate = Rate(_number(amount), _text(unit), Basis(basis))
    _ = rate.is_volume  # a KeyError for what is no unit
    return rate


@lru_cache(maxsize=4096)
def _lye(superfat: str, by: str | None, *alkalis: str) -> Lye:
    pairs = zip(alkalis[::2], alkalis[1::2], strict=True)
    shares = tuple([(_text(material), _number(share)) for material, share in pairs])
    return Lye(shares, _number(superfat), _one_of((None, "mass", "moles"), by))


@lru_cache(maxsize=16_384)
def _addition(
    material: str, amount: str, unit: str, basis: str, at: str, water: str | None, *prepared: str
) -> Addition:
    rate = _rate(amount, unit, basis)
    whose = _one_of((None, "replaces", "extra"), water)
    return Addition(_text(material), rate, _one_of(STAGES, at), whose, _texts([*prepared]))


@lru_cache(maxsize=16_384)
def _scent(material: str, amount: str, unit: str, basis: str, at: str) -> ScentLine:
    return ScentLine(_text(material), _rate(amount, unit, basis), _one_of(STAGES, at))


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


def render_record(recipe: Recipe) -> bytes:
    """The record of a recipe that was read without a fault; empty for one that cannot be kept so."""
    parts = [
        recipe.name,
        recipe.purpose,
        recipe.formerly,
        (recipe.based_on.recipe, recipe.based_on.version) if recipe.based_on is not None else None,
        [(line.material, str(line.percent), line.at) for line in recipe.oils],
        [str(recipe.lye.superfat), recipe.lye.by, *(str(part) for pair in recipe.lye.alkalis for part in pair)],
        recipe.water.method,
        str(recipe.water.value),
        [(line.material, *_rate_parts(line.rate), line.at, line.water, *line.prepared) for line in recipe.additions],
        [(line.material, *_rate_parts(line.rate), line.at) for line in recipe.scent],
        [
            (each.name, str(each.share), str(each.by_eye), [(name, str(part)) for name, part in each.gets])
            for each in recipe.portions
        ],
        dict(recipe.process),
        recipe.conflicts,
    ]
    places = [part for name, place in recipe.places.items() for part in (name, place.line, place.column, place.field)]
    if "\0" in recipe.notes:
        return b""
    return b"\0".join([_as_json(parts), _as_json(places), recipe.notes.encode("utf-8", "surrogatepass")])


def _as_json(parts: list[Any]) -> bytes:
    return json.dumps(parts, separators=(",", ":")).encode("ascii")


def _rate_parts(rate: Rate) -> tuple[str, str, str]:
    return str(rate.amount), rate.unit, rate.basis.value


def parse_record(
    record: bytes, slug: str, path: str | None, read_places: Callable[[], Mapping[str, Place]]
) -> Recipe | None:
    """The recipe that a record holds, under a name and from a path; None for what is no such record.

    read_places: reads the places from the file's text, for when those of the record turn out to be none.
    """
    try:
        formula, _, rest = record.partition(b"\0")  # twice as quick as to split
        kept_places, end, notes = rest.partition(b"\0")
        if not end or b"\0" in notes:
            return None
        parts = _decode(formula.decode("ascii"))[0]
        places = _RecordedPlaces(kept_places, path, read_places)
        return _recipe(parts, places, notes.decode("utf-8", "surrogatepass"), slug)
    except (ValueError, TypeError, LookupError, ArithmeticError, RecursionError):
        return None


def _recipe(parts: list[Any], places: Mapping[str, Place], notes: str, slug: str) -> Recipe:
    name, purpose, formerly, based_on, oils, lye, method, water = parts[:8]
    additions, scent, portions, process, conflicts = parts[8:]
    if not isinstance(process, dict):
        raise TypeError
    for said in process.values():
        _text(said)
    return Recipe(
        slug=slug,
        name=_text(name),
        oils=tuple([_oil(*line) for line in oils]),
        lye=_lye(*lye),
        water=_water(method, water),
        purpose=_one_of(PURPOSES, purpose),
        formerly=_texts(formerly),
        based_on=None if based_on is None else BasedOn(*_texts(based_on)),
        additions=tuple([_addition(*line) for line in additions]),
        scent=tuple([_scent(*line) for line in scent]),
        portions=tuple(
            [
                RecipePortion(
                    _text(portion),
                    _number(share),
                    _number(by_eye),
                    tuple([(_text(line), _number(part)) for line, part in gets]),
                )
                for portion, share, by_eye, gets in portions
            ]
        ),
        process=MappingProxyType(process),
        notes=notes,
        conflicts=_texts(conflicts),
        places=places,
    )


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
