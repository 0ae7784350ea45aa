"""The JSON Schemas that are shipped, and a file as an editor that checks it by one sees it."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from ruamel.yaml import YAML


def read_schema(name: str) -> Any:
    """The schema of a file or of what a command prints, in whichever package it stands."""
    places = [files(package) / "schemas" / f"{name}.schema.json" for package in ("formulary", "trials")]
    (place,) = [place for place in places if place.is_file()]
    return json.loads(place.read_text(encoding="utf-8"))


def read_as_editor(text: str) -> Any:
    """A file as an editor's YAML 1.2 reader sees it, as plain data with dates as text."""
    return json.loads(json.dumps(YAML(typ="safe", pure=True).load(text.removeprefix("\ufeff")), default=str))
