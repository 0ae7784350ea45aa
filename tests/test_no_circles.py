"""No two files, and no two packages, import each other, not by a detour, in a function, or for type checking alone."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

import pytest

from tests.test_layers import FILES, module_of


def find_ring(sources: Mapping[str, str], part_of: Callable[[str], str] = str) -> str | None:
    """The first ring of imports among these modules (name -> text), as `a -> b -> a`; None where there is none.

    part_of: what a module counts as part of, so that a ring is one among these parts.
    """
    graph: dict[str, dict[str, None]] = {}
    for module, text in sources.items():
        own = part_of(module)
        leans_on = graph.setdefault(own, {})
        leans_on.update((part, None) for part in sorted(map(part_of, _imported(text, sources))) if part != own)
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as found:
        return " -> ".join(reversed(found.args[1]))  # told from what is imported to what imports it
    return None


def _imported(text: str, known: Mapping[str, str]) -> Iterator[str]:
    """Every module among the known ones that a text imports, wherever in it that stands."""
    tree = ast.parse(text)
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield from [name for name in (f"{node.module}.{alias.name}", str(node.module)) if name in known][:1]
    if "import_module" in text:  # whoever imports by name names it in a string
        strings = (node.value for node in ast.walk(tree) if isinstance(node, ast.Constant))
        yield from (text for text in strings if isinstance(text, str) and text in known)


def test_no_file_imports_one_that_imports_it_back() -> None:
    ring = find_ring({module_of(path): path.read_text(encoding="utf-8") for path in FILES})
    assert ring is None, f"{ring}: let the lower one do without the upper one, or take what both need out of them"


def package_of(module: str) -> str:
    """`trials.files` of `trials.files.within`; a file that stands in no package below the topmost is its own."""
    return ".".join(module.split(".")[:2])


def test_no_package_imports_one_that_imports_it_back() -> None:
    ring = find_ring({module_of(path): path.read_text(encoding="utf-8") for path in FILES}, package_of)
    assert ring is None, f"{ring}: these are one package, or what both need belongs below them"


def test_packages_close_a_ring_where_their_files_close_none() -> None:
    sources = {"shop.shelf.top": "from shop.box import lid", "shop.box.lid": "", "shop.box": "import shop.shelf.board"}
    sources |= {"shop.shelf.board": "", "shop.shelf": ""}
    assert find_ring(sources) is None
    assert find_ring(sources, package_of) in (
        "shop.box -> shop.shelf -> shop.box",
        "shop.shelf -> shop.box -> shop.shelf",
    )


@pytest.mark.parametrize(
    "back",
    [
        "from shop import shelf",
        "from shop.shelf import Shelf",
        "import shop.shelf",
        "def later():\n    from shop.shelf import Shelf",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from shop.shelf import Shelf",
        "from importlib import import_module\nimport_module('shop.shelf')",
    ],
)
def test_every_way_of_importing_closes_a_ring(back: str) -> None:
    sources = {"shop": "", "shop.shelf": "from shop.box import Box", "shop.box": "from shop import lid"}
    assert find_ring(sources | {"shop.lid": ""}) is None
    ring = find_ring(sources | {"shop.lid": back})
    assert ring is not None
    arrows = set(pairwise(ring.split(" -> ")))
    assert arrows == {("shop.shelf", "shop.box"), ("shop.box", "shop.lid"), ("shop.lid", "shop.shelf")}
