"""A material's file that cannot be read is told wherever its material is looked up, and passes for no other."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Run
from tests.schemas import read_schema

BROKEN = "format: 1\nname: {name}\nkind: oil\nsaponification_value: many\n"


def write_broken(home: Path, slug: str) -> None:
    (home / "materials").mkdir(exist_ok=True)
    (home / "materials" / f"{slug}.yaml").write_text(BROKEN.format(name=slug), encoding="utf-8")


@pytest.mark.parametrize("slug", ["olive-oil", "harbour-oil"], ids=["over a built-in one", "of the maker's own"])
@pytest.mark.parametrize(
    "words", [("show",), ("show", "--json"), ("lot",)], ids=["shown", "shown to a program", "given a lot"]
)
def test_what_its_file_does_not_say_is_not_shown_as_the_material(
    formulary: Run, home: Path, slug: str, words: tuple[str, ...]
) -> None:
    write_broken(home, slug)
    command, *options = words
    ran = formulary("materials", command, slug, *(["L-1"] if command == "lot" else []), *options)
    assert (ran.status, ran.out) == (2, "")
    assert f"materials/{slug}.yaml:4:23: error: " in ran.err
    assert "no material is called" not in ran.err


def test_where_a_lot_went_is_not_all_while_a_material_that_may_have_it_cannot_be_read(
    formulary: Run, home: Path
) -> None:
    write_broken(home, "harbour-oil")
    unknown = formulary("materials", "where", "L-9")
    assert (unknown.status, unknown.out) == (2, "")
    assert "no material and no trial that could be read has a lot 'L-9'" in unknown.err
    assert "materials/harbour-oil.yaml:4:23: error: " in unknown.err
    assert formulary("materials", "lot", "olive-oil", "L-9").status == 0
    known = formulary("materials", "where", "L-9")
    assert known.status == 2
    assert "1 material could not be read and may have it too" in " ".join(known.out.split())
    told = json.loads(formulary("materials", "where", "L-9", "--json").out)
    jsonschema.validate(told, read_schema("materials-where"))
    assert [finding["where"]["path"] for finding in told["unread"]] == ["materials/harbour-oil.yaml"]


def test_the_list_of_all_materials_tells_the_files_that_it_could_not_read(formulary: Run, home: Path) -> None:
    sound = json.loads(formulary("materials", "--json").out)
    assert sound["unread"] == []
    write_broken(home, "olive-oil")
    write_broken(home, "harbour-oil")
    listed, as_json = formulary("materials"), formulary("materials", "--json")
    assert (listed.status, as_json.status) == (0, 0)
    for slug in ("olive-oil", "harbour-oil"):
        assert f"materials/{slug}.yaml:4:23: error: " in listed.err
    told = json.loads(as_json.out)
    jsonschema.validate(told, read_schema("materials"))
    assert {finding["where"]["path"] for finding in told["unread"]} == {
        "materials/harbour-oil.yaml",
        "materials/olive-oil.yaml",
    }
    assert told["materials"] == sound["materials"]
