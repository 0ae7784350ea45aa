"""The files of a formulary, read: its settings, materials, recipes and their saved versions.

With `versions.py`, the only place that joins the git store to recipes and materials.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeAlias, TypeVar, cast

from formulary.errors import InputError
from formulary.finding import Finding, errors, has_errors
from formulary.given import as_name
from formulary.history.versions import Versions, slug_of
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version, recipe_named
from formulary.settings import SETTINGS_FILE, Settings, parse_settings

if TYPE_CHECKING:
    from formulary.history.lineage import SavedVersion
    from formulary.history.lives import Lives
    from formulary.materials.model import Material
    from formulary.store.store import Store
    from formulary.store.working import Looks

_Made = TypeVar("_Made")
SettingsRead: TypeAlias = tuple[Settings, tuple[Finding, ...]]
# The register, and path -> what is wrong in that file: of one reading, so that a faulty file is never passed over.
MaterialsRead: TypeAlias = tuple[Register, Mapping[str, tuple[Finding, ...]]]
# What a file holds; or what is wrong with one that is none of this folder's own, such as a link.
Content: TypeAlias = bytes | tuple[Finding, ...]


class _Reading(NamedTuple):
    """What some files held, how they looked then (None where that proves nothing), and what was made of them."""

    looks: Looks | None
    files: Mapping[str, Content]
    made: object


class FormularyFiles:
    """What stands in a formulary's files: settings, register, recipes and their saved versions.

    They are as they are when they are asked for: a file is read again when it, or the branch, was changed since,
    by an editor or another program too. What stayed is not read twice.
    """

    def __init__(self, root: Path, store: Store, cache: Path | None = None) -> None:
        self.root = root
        self.store = store
        self.cache = cache
        self._readings: dict[str, _Reading] = {}
        self._kept: tuple[SettingsRead, MaterialsRead] | None = None

    def refresh(self) -> None:
        """Read every file again when it is next asked for, though nothing looks changed."""
        self.store.refresh()
        self._readings.clear()

    def _content(self, path: str) -> Content:
        try:
            return self.store.read_working(path)
        except InputError as fault:
            return fault.findings

    def _as_it_stands(self, paths: tuple[str, ...], make: Callable[[Mapping[str, Content]], _Made]) -> _Made:
        """What `make` makes of some files, anew when one of them holds something else by now."""
        looks = self.store.working_looks(paths)
        held = self._readings.get(make.__name__)
        if held is None or looks is None or held.looks != looks:
            files = {path: self._content(path) for path in paths}
            made = make(files) if held is None or held.files != files else held.made
            held = self._readings[make.__name__] = _Reading(looks, files, made)
        return cast("_Made", held.made)

    # -- settings and materials ------------------------------------------------------------------

    @contextmanager
    def looking_once(self) -> Iterator[None]:
        """Within it settings and materials count as they are at its beginning: for one answer of many versions."""
        before, self._kept = self._kept, (self._settings_read, self._materials_read)
        try:
            yield
        finally:
            self._kept = before

    @property
    def _settings_read(self) -> SettingsRead:
        return self._kept[0] if self._kept else self._as_it_stands((SETTINGS_FILE,), _parse_settings)

    @property
    def settings(self) -> Settings:
        """The formulary's settings. Raises InputError when `formulary.yaml` cannot be read as meant."""
        settings, findings = self._settings_read
        if has_errors(findings):
            raise InputError(findings)
        return settings

    @property
    def _materials_read(self) -> MaterialsRead:
        return self._kept[1] if self._kept else self._as_it_stands(self.paths("materials"), _parse_materials)

    @property
    def register(self) -> Register:
        """All materials: the built-in ones, overridden by the maker's own files that can be read."""
        return self._materials_read[0]

    @property
    def material_findings(self) -> Mapping[str, tuple[Finding, ...]]:
        """What is wrong in the maker's own material files: path -> findings."""
        return self._materials_read[1]

    @property
    def unread_materials(self) -> Mapping[str, tuple[Finding, ...]]:
        """Material -> the errors for which the maker's own file of it cannot be read, so that none of it counts."""
        return {slug_of(path): found for path, of_file in self.material_findings.items() if (found := errors(of_file))}

    def faults_beside(self, findings: Iterable[Finding]) -> tuple[Finding, ...]:
        """What is wrong in the files of materials, where one of the findings is that a material is not known: that it
        cannot be read may be why."""
        if all(finding.code != "unknown-material" for finding in findings):
            return ()
        return tuple(chain.from_iterable(self.unread_materials.values()))

    def find_material(self, name: str) -> Material:
        """A material of the register.

        Raises InputError, with the nearest, for a name that none has, and with every fault of the maker's own file of
        it: the built-in values are not what that says.
        """
        (register, faults), wanted = self._materials_read, as_name(name)
        of_file = errors(faults.get(f"materials/{wanted}.yaml", ()))
        if of_file:
            raise InputError(of_file)
        found = register.find(wanted)
        if found is None:
            near = register.nearest(wanted)
            do = f"did you mean {' or '.join(near)}?" if near else f"add it: formulary materials add {wanted}"
            raise InputError.of("unknown-material", f"no material is called {wanted[:40]!r}", do)
        return found

    def paths(self, part: str) -> tuple[str, ...]:
        """The YAML files of `materials` or of `recipes`, in order."""
        return tuple(
            path for path in self.store.working_paths(f"{part}/") if path.endswith(".yaml") and path.count("/") == 1
        )

    # -- recipes and versions --------------------------------------------------------------------

    @cached_property
    def _versions(self) -> Versions:
        return Versions(self.store, self._read_materials, self.cache)

    def _versions_now(self) -> Versions:
        self.store.refresh()
        return self._versions

    def _read_materials(self) -> tuple[Register, tuple[Finding, ...]]:
        register, faults = self._materials_read
        return register, tuple(fault for of_file in faults.values() for fault in of_file)

    def recipes(self) -> tuple[str, ...]:
        """The names of all recipes in the folder, in order."""
        return self._versions.recipes()

    def read_recipe(
        self, slug: str, *, materials: Collection[str] | None = None
    ) -> tuple[Recipe | None, tuple[Finding, ...]]:
        """A recipe as its file stands, and every fault in it; no recipe when any is an error.

        materials: the names that the register knows; None leaves them unchecked.
        """
        path = f"recipes/{slug}.yaml"
        held = self._content(path)
        return (None, held) if isinstance(held, tuple) else parse_recipe(held, slug, path, materials=materials)

    def find_version(self, reference: str) -> Version:
        """The version that a person names.

        reference: `name` is the working file; `name@latest` the last save; `name@4c1d` an id's beginning; `name@3` the
        third save (for reading only); `name@shop-2026` a lasting name or a git revision. Four to 40 hexadecimal digits
        are only ever an id (all 40 may be a commit's).
        Raises InputError with the nearest names when there is none or more than one, and with every fault of the
        file when it cannot be read.
        """
        return self._versions_now().find(reference)

    def lives(self) -> Lives:
        """Whose the saves under each name are."""
        return self._versions_now().lives()

    def now_called(self, slug: str) -> str | None:
        """The recipe that has this as an earlier name, when no recipe has it now."""
        return self._versions_now().now_called(slug)

    def history(self, slug: Version | str) -> tuple[SavedVersion, ...]:
        """Every save of a recipe, oldest first, through its earlier names. Raises InputError for an unknown name."""
        return self._versions_now().history(recipe_named(slug))

    def read_save(self, slug: str, save: SavedVersion) -> Version:
        """The version that one save of a recipe's history holds, from git. Raises InputError with every fault of it."""
        return self._versions.read_save(slug, save)

    def histories(self) -> dict[str, tuple[SavedVersion, ...]]:
        """The history of every recipe in the folder, by name: as `history` gives it, read in one go."""
        return self._versions_now().histories()


def _parse_settings(files: Mapping[str, Content]) -> SettingsRead:
    held = files[SETTINGS_FILE]
    return (Settings(), held) if isinstance(held, tuple) else parse_settings(held, SETTINGS_FILE)


def _parse_materials(files: Mapping[str, Content]) -> MaterialsRead:
    own = {}
    faults: dict[str, tuple[Finding, ...]] = {}
    for path, held in files.items():
        from formulary.materials.read import parse_material

        if isinstance(held, tuple):
            faults[path] = held
            continue
        slug = slug_of(path)
        material, findings = parse_material(held, path, slug)
        if material is not None and not has_errors(findings):
            own[slug] = material
        if findings:
            faults[path] = findings
    return read_builtin_register().combined_with(own.values()), faults
