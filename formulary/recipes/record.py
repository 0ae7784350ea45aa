"""A recipe that was read, as a short record that is quicker to take up again than its file is to read.

A record holds all that the file says and where it stands, but neither the recipe's name nor its path: the same content
may have been saved under another one. Who keeps records makes sure that they come back as they were written, by the
same edition of this program.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from formulary.finding import Place
from formulary.quantity import Basis, Rate
from formulary.recipes.model import (
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
# The same few figures and lines come again in version after version; none of these can be changed.
_number = lru_cache(maxsize=4096)(Decimal)


@lru_cache(maxsize=16_384)
def _oil(material: str, percent: str, at: str) -> OilLine:
    return OilLine(material, Decimal(percent), at)


@lru_cache(maxsize=4096)
def _water(method: str, value: str) -> Water:
    return Water(method, Decimal(value))


@lru_cache(maxsize=4096)
def _rate(amount: str, unit: str, basis: str) -> Rate:
    return Rate(Decimal(amount), unit, Basis(basis))


def render_record(recipe: Recipe) -> bytes:
    """The record of a recipe that was read without a fault; empty for one that cannot be kept so."""
    parts = [
        recipe.name,
        recipe.purpose,
        recipe.formerly,
        (recipe.based_on.recipe, recipe.based_on.version) if recipe.based_on is not None else None,
        [(line.material, str(line.percent), line.at) for line in recipe.oils],
        [(material, str(share)) for material, share in recipe.lye.alkalis],
        str(recipe.lye.superfat),
        recipe.lye.by,
        recipe.water.method,
        str(recipe.water.value),
        [(line.material, *_rate_parts(line.rate), line.at, line.water, line.prepared) for line in recipe.additions],
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


def parse_record(record: bytes, slug: str, path: str | None) -> Recipe | None:
    """The recipe that a record holds, under a name and from a path; None for what is no such record."""
    try:
        formula, places, notes = record.split(b"\0")
        return _recipe(_decode(formula.decode("ascii"))[0], places, notes.decode("utf-8", "surrogatepass"), slug, path)
    except (ValueError, TypeError, LookupError, ArithmeticError):
        return None


def _recipe(parts: list[Any], places: bytes, notes: str, slug: str, path: str | None) -> Recipe:
    name, purpose, formerly, based_on, oils, alkalis, superfat, by, method, water = parts[:10]
    additions, scent, portions, process, conflicts = parts[10:]
    return Recipe(
        slug=slug,
        name=name,
        oils=tuple([_oil(*line) for line in oils]),
        lye=Lye(tuple([(material, _number(share)) for material, share in alkalis]), _number(superfat), by),
        water=_water(method, water),
        purpose=purpose,
        formerly=tuple(formerly),
        based_on=None if based_on is None else BasedOn(*based_on),
        additions=tuple(
            [
                Addition(material, _rate(amount, unit, basis), at, water_of, tuple(prepared))
                for material, amount, unit, basis, at, water_of, prepared in additions
            ]
        ),
        scent=tuple(
            [ScentLine(material, _rate(amount, unit, basis), at) for material, amount, unit, basis, at in scent]
        ),
        portions=tuple(
            [
                RecipePortion(
                    portion, _number(share), _number(by_eye), tuple([(line, _number(part)) for line, part in gets])
                )
                for portion, share, by_eye, gets in portions
            ]
        ),
        process=MappingProxyType(process),
        notes=notes,
        conflicts=tuple(conflicts),
        places=_RecordedPlaces(places, path),
    )


class _RecordedPlaces(Mapping[str, Place]):
    """Where each part of a recipe stands; made out of the record only when somebody asks."""

    __slots__ = ("_found", "_parts", "_path")

    def __init__(self, parts: bytes, path: str | None) -> None:
        self._parts = parts
        self._path = path
        self._found: dict[str, Place] | None = None

    def _places(self) -> dict[str, Place]:
        if self._found is None:
            four = iter(json.loads(self._parts))
            self._found = {
                name: Place(self._path, line, column, field)
                for name, line, column, field in zip(four, four, four, four, strict=True)
            }
        return self._found

    def __getitem__(self, name: str) -> Place:
        return self._places()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._places())

    def __len__(self) -> int:
        return len(self._places())
