"""Who may import whom, and who owns which library: every file is parsed and held to it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1]
FILES = sorted(path for part in ("formulary", "trials", "cli") for path in (SOURCE / part).rglob("*.py"))

# Lowest first; a file may import its own layer and those before it. The longest name that fits a module decides.
LAYERS = (
    (
        "formulary.errors",
        "formulary.finding",
        "formulary.given",
        "formulary.quantity",
        "formulary.temperature",
        "formulary.read_only",
        "formulary.shown_as_text",
        "formulary.rate",
        "formulary.identity",
        "formulary.names",
    ),
    (
        "formulary.text_table",
        "formulary.data_table",
        "formulary.data_table_formats",
        "formulary.whole_file",
    ),
    ("formulary.document",),
    ("formulary.settings",),
    ("formulary.chemistry",),
    ("formulary.materials",),
    ("formulary.recipes",),
    ("formulary.batch",),
    ("formulary.changes",),
    ("formulary.history",),
    ("formulary.workshop",),
    ("formulary.variants",),
    ("formulary.folder",),
    ("formulary",),
    ("trials.trial", "trials.explain"),
    ("trials.as_made",),
    ("trials.outcomes",),
    ("trials.read", "trials.factors"),
    ("trials.pours",),
    ("trials.checks", "trials.answer"),
    ("trials.due", "trials.comparison", "trials.charts", "trials.next_trial"),
    ("trials.files", "trials.trial_text"),
    ("trials.record", "trials.lots", "trials.pages"),
    ("trials",),
    ("cli",),
)
STORE_MAY_IMPORT = ("formulary.errors", "formulary.finding", "formulary.identity", "formulary.store")
# library -> the modules that alone may import it
OWNERS = {
    "git": r"formulary\.store(\..*)?",
    "gitdb": r"formulary\.store(\..*)?",
    "subprocess": r"formulary\.store(\..*)?",
    "ruamel": r"formulary\.document\.parse",
    "_ruamel_yaml": r"formulary\.document\.parse",
    "matplotlib": r"trials\.charts(\..*)?",
    "click": r"cli(\..*)?",
    "numpy": r"trials\.(explain|charts)(\..*)?",
    "deepdiff": r"formulary\.changes(\..*)?",
    "filelock": r"formulary\.store(\..*)?",
    "threadpoolctl": r"trials\.explain(\..*)?",
}
HEAVY = ("git", "deepdiff", "matplotlib")


def module_of(path: Path) -> str:
    parts = path.relative_to(SOURCE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def layer_of(module: str) -> int | None:
    best: tuple[int, int] | None = None
    for number, names in enumerate(LAYERS):
        for name in names:
            fits = module == name or module.startswith(f"{name}.")
            if fits and (best is None or len(name) > best[0]):
                best = (len(name), number)
    return None if best is None else best[1]


def imports_of(path: Path, *, top_only: bool = False) -> Iterator[str]:
    """Every module that a file imports; those for type checking alone are left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    nodes = tree.body if top_only else ast.walk(tree)
    for node in nodes:
        if id(node) in for_types:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            assert node.module is not None
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names if _is_module(node.module, alias.name))


def _is_module(package: str, name: str) -> bool:
    place = SOURCE.joinpath(*package.split("."), name)
    return place.with_suffix(".py").is_file() or (place / "__init__.py").is_file()


def ours(modules: Iterator[str]) -> Iterator[str]:
    return (module for module in modules if module.split(".")[0] in ("formulary", "trials", "cli"))


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_a_file_imports_only_its_own_layer_and_those_below(path: Path) -> None:
    module = module_of(path)
    if module.startswith("formulary.store") or module == "formulary":
        return  # the store has a rule of its own; the package's door looks its names up when asked
    own = layer_of(module)
    assert own is not None
    for imported in ours(imports_of(path)):
        if imported.startswith("formulary.store"):
            assert own >= LAYERS.index(("formulary.history",)), f"{module} imports {imported}"
            continue
        layer = layer_of(imported)
        assert layer is not None
        assert layer <= own, f"{module} imports {imported}, which stands above it"


@pytest.mark.parametrize("path", [path for path in FILES if "store" in path.relative_to(SOURCE).parts], ids=module_of)
def test_the_store_sees_bytes_and_never_a_recipe(path: Path) -> None:
    for imported in ours(imports_of(path)):
        assert imported.startswith(STORE_MAY_IMPORT), f"{module_of(path)} imports {imported}"


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_each_library_is_imported_by_its_owner_alone(path: Path) -> None:
    module = module_of(path)
    for imported in imports_of(path):
        owner = OWNERS.get(imported.split(".")[0])
        assert owner is None or re.fullmatch(owner, module), f"{module} imports {imported}"


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_heavy_libraries_are_imported_where_they_are_used(path: Path) -> None:
    module = module_of(path)
    if module.startswith("trials.charts"):
        return
    for imported in imports_of(path, top_only=True):
        assert imported.split(".")[0] not in HEAVY, f"{module} imports {imported} on top"


@pytest.mark.parametrize("path", [path for path in FILES if "cli" not in path.relative_to(SOURCE).parts], ids=module_of)
def test_only_the_command_line_prints_exits_or_reads_the_environment(path: Path) -> None:
    module = module_of(path)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("print", "input", "exit", "quit"), f"{module}:{node.lineno}"
        if isinstance(node, ast.Attribute):
            text = ast.unparse(node)
            assert text not in ("sys.exit", "sys.stdout", "sys.stderr", "sys.stdin", "sys.argv"), (
                f"{module}:{node.lineno}: {text}"
            )
            if not module.startswith("formulary.store"):
                assert text not in ("os.environ", "os.getenv", "os._exit"), f"{module}:{node.lineno}: {text}"


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_no_file_is_named_for_what_it_is_not(path: Path) -> None:
    assert not {"utils", "helpers", "misc", "core", "base", "manager"} & set(module_of(path).split("."))


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_a_file_holds_one_idea(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 600, "split it, or say here why not"
