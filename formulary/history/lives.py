"""Whose the saves under a name are: a name can be given up by a rename, and later be another recipe's.

What counts is what git holds. The saves under a name fall into lives, from a first save to a deletion. A life that
ended in the very save in which another recipe began, as one that was called so formerly, went on as that recipe (unless
the rename was undone). Any other goes on when the name comes back. The last of a name belongs to the recipe of that
name, or, when there is none, to the one that states the name in `formerly`; of several (a file was copied with its
`formerly`) to the one whose own life began first.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from heapq import merge
from typing import TYPE_CHECKING

from formulary.recipes.read import read_formerly

if TYPE_CHECKING:
    from formulary.store.saved import Saved
    from formulary.store.store import Store


@dataclass(frozen=True, slots=True)
class Life:
    """The saves under one name from the first to a deletion; `ended`: the commit that deleted, None while it lasts."""

    name: str
    number: int  # from 0, the oldest
    saves: tuple[Saved, ...]  # oldest first
    ended: str | None

    @property
    def began(self) -> str:
        """The commit of the first save."""
        return self.saves[0].commit


class Lives:
    """The lives of the names in a formulary as its history stands; read when first asked for, then kept.

    live: the recipes whose files there are. read_stated: the earlier names that a recipe's file states.
    """

    def __init__(self, store: Store, live: Collection[str], read_stated: Callable[[str], tuple[str, ...]]) -> None:
        self._store = store
        self._live = live
        self._read_stated = read_stated
        self._lives: dict[str, tuple[Life, ...]] = {}
        self._claimers: dict[str, tuple[str, ...]] = {}
        self._texts: dict[str, bytes] = {}
        self._changes: dict[str, Mapping[str, tuple[str | None, str | None]]] = {}  # commit -> what it changed
        self._ends: set[str | None] | None = None  # of all lives, when the whole history was read

    def of_recipe(self, slug: str) -> tuple[Life, ...]:
        """The lives whose saves are this recipe's, the earlier of two that follow one another first."""
        wanted = list(dict.fromkeys((slug, *self._read_stated(slug))))
        found: list[Life] = []
        for name in wanted:  # grows while it is walked
            for life in self.under(name):
                wanted += [each for each in self._first_formerly(life) if each not in wanted]
                if self.owner(life) == slug:
                    found.append(life)
        return tuple(_in_succession(found))

    def saves(self, slug: str) -> tuple[Saved, ...]:
        """The saves of a recipe under all its names, oldest first, without deletions."""
        return self.saves_and_returns(slug)[0]

    def saves_and_returns(self, slug: str) -> tuple[tuple[Saved, ...], frozenset[str]]:
        """The same, and the commits of them in which the recipe came back that had been deleted.

        A rename, or its undoing, is no return.
        """
        lives = self.of_recipe(slug)
        saves = tuple(merge(*(life.saves for life in lives), key=lambda save: save.when))
        return saves, frozenset(life.began for life in lives[1:] if not self._takes_a_name_away(life.began))

    def _takes_a_name_away(self, commit: str) -> bool:
        changes = self._changes_of(commit).items()
        return any(after is None and path.startswith("recipes/") for path, (_, after) in changes)

    def _changes_of(self, commit: str) -> Mapping[str, tuple[str | None, str | None]]:
        if commit not in self._changes:
            self._changes[commit] = self._store.changes_of(commit)
        return self._changes[commit]

    def know(self, blob: str | None, text: bytes) -> None:
        """Takes note of a saved text that was read already."""
        if blob is not None:
            self._texts[blob] = text

    def read_all(self) -> None:
        """Reads the whole history in one go, for asking of many recipes."""
        saves: dict[str, list[Saved]] = {}
        for save in reversed(self._store.history()):
            if save.path.startswith("recipes/") and save.path.endswith(".yaml") and save.path.count("/") == 1:
                saves.setdefault(_slug_of(save.path), []).append(save)
        self._lives = {name: tuple(_split(name, of_name)) for name, of_name in saves.items()}
        self._ends = {life.ended for lives in self._lives.values() for life in lives}

    def under(self, name: str) -> tuple[Life, ...]:
        """The lives that a name had, oldest first."""
        if name not in self._lives and self._ends is not None:
            return ()
        if name not in self._lives:
            self._lives[name] = tuple(_split(name, reversed(self._store.history([f"recipes/{name}.yaml"]))))
        return self._lives[name]

    def owner(self, life: Life) -> str:
        """The recipe whose saves these are, or were when it is deleted."""
        passed = {life}
        while (later := self._went_on(life)) is not None and later not in passed:
            passed.add(later)
            life = later
        if self._is_live(life.name):
            return life.name
        return next(iter(self.claimers(life.name)), life.name)

    def _went_on(self, life: Life) -> Life | None:
        """The life, under this name or another, that continues one which ended."""
        if life.ended is None:
            return None
        lives = self.under(life.name)
        for path, (before, after) in sorted(self._changes_of(life.ended).items()):
            if before is None and after is not None and path.startswith("recipes/") and path.count("/") == 1:
                name = _slug_of(path)
                begun = next((each for each in self.under(name) if each.began == life.ended), None)
                if begun is None or life.name not in self._read(after):
                    continue
                ends = {each.ended for each in self.under(name)[begun.number :]}
                back = [each for each in lives if each.began in ends]
                if all(name in self._first_formerly(each) for each in back):  # else the rename was undone
                    return begun
        return next(iter(lives[life.number + 1 :]), None)

    def other_owner(self, slug: str, name: str) -> str | None:
        """The recipe that has the saves under a name which `slug` states as an earlier one; None where it has them."""
        lives = self.under(name)
        if any(self.owner(life) == slug for life in lives):
            return None
        if self._is_live(name):
            return name
        owner = self.owner(lives[-1]) if lives else next(iter(self.claimers(name)), slug)
        return owner if owner != slug else None

    def claimers(self, name: str) -> tuple[str, ...]:
        """The recipes that state this earlier name, the one at the head whose own life began first."""
        if name not in self._claimers:
            found = [slug for slug in self._live if slug != name and name in self._read_stated(slug)]
            self._claimers[name] = tuple(sorted(found, key=self._age) if len(found) > 1 else found)
        return self._claimers[name]

    def _age(self, slug: str) -> tuple[bool, datetime, str]:
        lives = self.under(slug)
        is_saved = bool(lives) and lives[-1].ended is None
        return not is_saved, lives[-1].saves[0].when if is_saved else datetime.min.replace(tzinfo=UTC), slug

    def _is_live(self, name: str) -> bool:
        lives = self.under(name)
        return name in self._live or (bool(lives) and lives[-1].ended is None)

    def _first_formerly(self, life: Life) -> tuple[str, ...]:
        # Only what ended in the save in which this life began can have gone on as it.
        return () if self._ends is not None and life.began not in self._ends else self._read(life.saves[0].blob or "")

    def _read(self, blob: str) -> tuple[str, ...]:
        if blob not in self._texts:
            self._texts[blob] = self._store.read_blobs([blob]).get(blob, b"")
        text = self._texts[blob]
        return read_formerly(text) if b"formerly" in text else ()


def _slug_of(path: str) -> str:
    return path.rsplit("/", 1)[-1].removesuffix(".yaml")


def _in_succession(lives: list[Life]) -> Iterator[Life]:
    left = lives[::-1]
    left.sort(key=lambda life: (life.saves[0].when, life.number))
    while left:
        # What ended in the save in which another began came before it, even within one second of the clock.
        ends = {life.ended for life in left}
        first = next((life for life in left if life.began not in ends), left[0])
        left.remove(first)
        yield first


def _split(name: str, saves: Iterable[Saved]) -> Iterator[Life]:
    here: list[Saved] = []
    number = 0
    for save in saves:
        if save.blob is not None:
            here.append(save)
        elif here:
            yield Life(name, number, tuple(here), save.commit)
            here, number = [], number + 1
    if here:
        yield Life(name, number, tuple(here), None)
