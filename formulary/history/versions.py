"""The versions of the recipes in a folder: found by every way that a person names them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, has_errors, in_file_order
from formulary.given import as_name
from formulary.identity import SHORTEST_PREFIX, blob_id, is_full_id, is_id_prefix
from formulary.names import SLUG, suggest
from formulary.recipes.read import parse_recipe, read_formerly
from formulary.recipes.version import Version

if TYPE_CHECKING:
    from pathlib import Path

    from formulary.history.lineage import SavedVersion
    from formulary.history.lives import Lives
    from formulary.materials.model import Material
    from formulary.store.saved import Saved
    from formulary.store.store import Store

_MOST_NAMED = 12
_NUMBER = re.compile(r"[0-9]{1,3}")  # of a save; four digits are the beginning of an id


def list_recipes(names: Iterable[str], most: int = _MOST_NAMED) -> str:
    """Which recipes there are, for whoever named one that is not: "recipes here: a, b and 3 more"."""
    known = sorted(names)
    more = f" and {len(known) - most} more" if len(known) > most else ""
    return f"recipes here: {', '.join(known[:most]) or 'none yet'}{more}"


class Versions:
    """Finds versions of recipes: working files, saves, lasting names.

    read_materials: the register as it is now, and what is wrong with the maker's own material files. cache: a folder
    for what was read of many versions, to read it sooner the next time.
    """

    def __init__(
        self,
        store: Store,
        read_materials: Callable[[], tuple[Mapping[str, Material], tuple[Finding, ...]]],
        cache: Path | None = None,
    ) -> None:
        self._store = store
        self._cache = cache
        self._read_materials = read_materials

    def recipes(self) -> tuple[str, ...]:
        """The names of all recipes in the folder, in order."""
        paths = self._store.working_paths("recipes/")
        return tuple(sorted(slug_of(path) for path in paths if path.endswith(".yaml") and path.count("/") == 1))

    def find(self, reference: str) -> Version:
        """The version that a person names.

        reference: `name` is the working file; `name@latest` the last save; `name@4c1d` an id's beginning; `name@3` the
        third save (for reading only); `name@shop-2026` a lasting name or a git revision. Four to 40 hexadecimal digits
        are only ever an id (all 40 may be a commit's).
        Raises InputError with the nearest names when there is none or more than one, and with every fault of the
        file when it cannot be read.
        """
        reference = as_name(reference)
        slug, at, version = reference.partition("@")
        _demand_name(slug, reference, self.recipes)
        if not at:
            return self.working(slug)
        if version == "latest":
            saves = self._numbered(slug)
            if not saves:
                raise _no_version(slug, reference, saves)
            return self.read_save(slug, saves[-1])
        return self._saved(slug, version, reference)

    def working(self, slug: str) -> Version:
        """The recipe's file as it is now. Raises InputError when there is none, or with every fault of it."""
        path = f"recipes/{slug}.yaml"
        if path not in (there := self._store.working_paths("recipes/")):
            do = suggest(slug, self.recipes(), list_recipes(self.recipes()))
            renamed = self.now_called(slug)
            if self._store.tip_blob(path) is not None:
                do = f"its file is gone; bring it back with: formulary restore {slug}@latest"
            elif renamed is not None:
                do = f"it is called {renamed} now"
            elif slug in self._store.names():
                do = f"that is a lasting name of a saved version; write it behind its recipe: RECIPE@{slug}"
            elif beside := [each for each in there if would_be_read_at(each) == path]:
                do = f"{beside[0]} is passed over; call it {path}"
            raise InputError.of("no-recipe", f"there is no recipe {slug!r} here", do)
        data = self._store.read_working(path)
        is_saved = self._store.tip_blob(path) == blob_id(data)
        version = self.parse(data, slug, path, is_saved=is_saved)
        return version if is_saved else replace(version, label="not saved yet")

    def parse(self, data: bytes, slug: str, path: str, *, is_saved: bool) -> Version:
        """A version from its file's bytes. Raises InputError with every fault."""
        register, broken = self._read_materials()
        recipe, findings = parse_recipe(data, slug, path, materials=register)
        if recipe is None or has_errors(findings):
            unknown = any(finding.code == "unknown-material" for finding in findings)
            raise InputError(in_file_order([*findings, *(broken if unknown else ())]))
        # The file's text is what was saved, byte for byte; parse_recipe has made sure that it is UTF-8.
        return Version(recipe=recipe, text=data.decode("utf-8"), is_saved=is_saved)

    def history(self, slug: str) -> tuple[SavedVersion, ...]:
        """Every save of a recipe, oldest first, through its earlier names. Raises InputError for an unknown name.

        For looking at: what is weighed out, branched or restored is found with `find`, which asks git alone.
        """
        from formulary.history.kept import reading_versions
        from formulary.history.lineage import number_saves

        saves, returns = self._saves(slug)
        ids = {save.blob for save in saves if save.blob}
        with reading_versions(ids, self._store.read_blobs, self._cache) as read:
            return tuple(number_saves(saves, slug, read, cut=self._store.cut, returns=returns))

    def _numbered(self, slug: str) -> tuple[SavedVersion, ...]:
        """As `history`, with nothing read of any version."""
        from formulary.history.lineage import number_saves

        saves, returns = self._saves(slug)
        return tuple(number_saves(saves, slug, lambda *_: None, cut=self._store.cut, returns=returns))

    def _saves(self, slug: str) -> tuple[tuple[Saved, ...], frozenset[str]]:
        """The saves of a recipe, and those commits of them in which it came back."""
        _demand_name(slug, slug, self.recipes)
        lives = self.lives()
        firsts = [life.saves[0].blob for life in lives.under(slug)]
        for blob, text in self._store.read_blobs(blob for blob in firsts if blob).items():
            lives.know(blob, text)
        saves, returns = lives.saves_and_returns(slug)
        if not saves and slug not in self.recipes():
            do = suggest(slug, self.recipes(), list_recipes(self.recipes()))
            renamed = self.now_called(slug)
            if renamed is not None:
                do = f"it is called {renamed} now"
            raise InputError.of("no-recipe", f"there is no recipe {slug!r} here", do)
        return saves, returns

    def read_save(self, slug: str, save: SavedVersion) -> Version:
        """The version that one save of a recipe's history holds, from git. Raises InputError with every fault of it."""
        from formulary.history.kept import reading_versions
        from formulary.history.lineage import read_numbered

        with reading_versions([save.id], self._store.read_blobs, None) as read:
            version, findings = read_numbered(
                save.id, slug, save.path, save.number, read, is_cut_short=save.is_cut_short
            )
        if version is None:
            raise InputError(findings)
        return version

    def histories(self) -> dict[str, tuple[SavedVersion, ...]]:
        """The history of every recipe in the folder, by name: as `history` gives it, read in one go."""
        from formulary.history.kept import reading_versions
        from formulary.history.lineage import number_saves

        recipes = self.recipes()
        lives = self.lives()
        lives.read_all()
        saves = {slug: lives.saves_and_returns(slug) for slug in recipes}
        ids = {save.blob for of_recipe, _ in saves.values() for save in of_recipe if save.blob}
        cut = self._store.cut
        with reading_versions(ids, self._store.read_blobs, self._cache) as read:
            return {
                slug: tuple(number_saves(of_recipe, slug, read, cut=cut, returns=returns))
                for slug, (of_recipe, returns) in saves.items()
            }

    def lives(self) -> Lives:
        """Whose the saves under each name are, as everything stands now."""
        from formulary.history.lives import Lives

        return Lives(self._store, frozenset(self.recipes()), self._stated_formerly)

    def _stated_formerly(self, slug: str) -> tuple[str, ...]:
        """Earlier names, from the file as it is, as it was saved last, or as it was before it was deleted."""
        path = f"recipes/{slug}.yaml"
        if path in self._store.working_paths("recipes/"):
            try:
                data = self._store.read_working(path)
            except InputError:  # a link, or the like, says nothing of its own
                data = b""
            names = read_formerly(data) if b"formerly" in data else ()
            if names or blob_id(data) == self._store.tip_blob(path):
                return names
        blob = self._store.tip_blob(path)
        if blob is None:
            blob = next((save.blob for save in self._store.history([path]) if save.blob is not None), None)
        text = self._store.read_blobs([blob]).get(blob) if blob is not None else None
        return read_formerly(text) if text is not None else ()

    def now_called(self, slug: str) -> str | None:
        """The recipe that has this as an earlier name, when no recipe has it now."""
        if slug in self.recipes():
            return None
        lives = self.lives()
        under = lives.under(slug)
        owner = lives.owner(under[-1]) if under else next(iter(lives.claimers(slug)), slug)
        return owner if owner != slug else None

    def _saved(self, slug: str, wanted: str, reference: str) -> Version:
        saves = self._numbered(slug)
        named = _named_by(wanted, saves)
        if len(named) > 1:
            ids = ", ".join(save.id[:12] for save in named)
            raise InputError.of("ambiguous-version", f"{reference} fits {ids}", "type more digits of the id")
        if named:
            return self.read_save(slug, named[0])
        # Never a tag or a branch that happens to look like an id or a number: it would show something else without a
        # word. All digits of an id may be a commit's.
        may_be_revision = is_full_id(wanted) or not (is_id_prefix(wanted) or _NUMBER.fullmatch(wanted))
        version = self._at_revision(slug, wanted, saves) if may_be_revision else None
        if version is None:
            raise _no_version(slug, reference, saves)
        return version

    def _at_revision(self, slug: str, revision: str, saves: tuple[SavedVersion, ...]) -> Version | None:
        """The recipe as it stood at a lasting name or a git revision, under one of its names; None where it did not."""
        commit = self._store.resolve_revision(revision)
        if commit is None:
            return None
        for name in dict.fromkeys((slug, *(life.name for life in self.lives().of_recipe(slug)))):
            blob = self._store.blob_at(commit, f"recipes/{name}.yaml")
            known = [save for save in saves if save.id == blob]
            if known:
                return self.read_save(slug, known[0])
            data = None if blob is None else self._store.read_blobs([blob]).get(blob)
            if data is not None:
                return self.parse(data, slug, f"recipes/{name}.yaml", is_saved=True)
        return None


def _named_by(wanted: str, saves: tuple[SavedVersion, ...]) -> list[SavedVersion]:
    """The saves that a number, or the beginning of an id, is of: one of each content."""
    if _NUMBER.fullmatch(wanted):
        return [save for save in saves if save.number == int(wanted)]
    if is_id_prefix(wanted):
        return list({save.id: save for save in saves if save.id.startswith(wanted)}.values())
    return []


def slug_of(path: str) -> str:
    """The name in a file's path: recipes/harbour-base.yaml -> harbour-base."""
    return path.rsplit("/", 1)[-1].removesuffix(".yaml")


def is_recipe_file(reference: str) -> bool:
    """Whether a person means a recipe's file by its path, rather than a recipe of the formulary by its name."""
    return reference.lower().endswith((".yaml", ".yml"))


def would_be_read_at(path: str) -> str | None:
    """Where a file is read that its ending or place may keep from it: recipes/old/bar.yml -> recipes/bar.yaml."""
    folder, name = path.split("/", 1)[0], path.rsplit("/", 1)[-1]
    return f"{folder}/{name.rpartition('.')[0]}.yaml" if is_recipe_file(name) else None


def split_portion(text: str) -> tuple[str, str | None]:
    """What a person named, and which portion of it: `midwinter-clove:plain`."""
    name, colon, portion = text.rpartition(":")
    if is_recipe_file(text) or not (colon and name and SLUG.fullmatch(portion)):
        return text, None
    return name, portion


def demand_whole(reference: str) -> None:
    """Raises InputError where a person named one portion, and what is wanted is all of a recipe or of a trial."""
    name, portion = split_portion(reference)
    if portion is not None:
        what = f"{reference[:60]!r} is one portion, and a whole recipe or trial is needed here"
        do = f"name the whole: {name[:60]}; diff, compare and ingredients take one portion by itself"
        raise InputError.of("portion-not-taken", what, do)


def _demand_name(slug: str, reference: str, recipes: Callable[[], tuple[str, ...]]) -> None:
    demand_whole(reference)
    if is_recipe_file(reference):
        what = f"{reference[-60:]} is a file, and a recipe of the formulary is needed here"
        do = "name one without its folder and ending; show, batch, check, diff, blend, ingredients and cost read a file"
        raise InputError.of("recipe-file", what, do)
    if not SLUG.fullmatch(slug):
        what = f"{reference[:60]!r} does not name a recipe"
        names = recipes()
        renamed = f"rename recipes/{slug}.yaml to lower-case words joined by hyphens" if slug in names else ""
        do = (
            renamed
            or suggest(slug, names, "")
            or f"write a recipe's name, small and with hyphens, or name@version; {list_recipes(names)}"
        )
        raise InputError.of("bad-name", what, do)


def _no_version(slug: str, reference: str, saves: tuple[SavedVersion, ...]) -> InputError:
    what = f"there is no version {reference!r}"
    if not saves:
        do = f"{slug} was never saved; save it with `formulary save {slug} -m WHY`"
        return InputError.of("no-version", what, do)
    ids = list(dict.fromkeys(save.id for save in reversed(saves)))  # a content that was saved twice has one
    known = ", ".join(f"{slug}@{each[:8]}" for each in reversed(ids[:4]))
    shortest = f" (an id needs {SHORTEST_PREFIX} digits or more)"
    return InputError.of("no-version", what, f"versions of it: {known}{shortest}")
