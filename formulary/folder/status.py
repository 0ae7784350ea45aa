"""How a formulary stands: what is not saved yet, in words, and what the checks find."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from threading import Thread
from typing import TYPE_CHECKING, TypeVar

from formulary.finding import Finding, Place, Severity, warn
from formulary.folder.saving import (
    ONLY_LAYOUT,
    CheckFiles,
    check_trial_files,
    describe_difference,
    describe_size,
    find_changed_paths,
    is_read,
)
from formulary.folder.sound import is_known_sound, is_worth_knowing, keep_sound
from formulary.settings import SETTINGS_FILE
from formulary.shown_as_text import ShownAsText
from formulary.text_table import paragraph

if TYPE_CHECKING:
    from formulary.workshop.formulary_workshop import FormularyWorkshop

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class UnsavedFile:
    """A file that differs from the last save: how ("new", "changed", "deleted") and, for a recipe, in what.

    size_bytes: of a photo or the like, which a save keeps for good and nothing here reads.
    """

    path: str
    how: str
    sentence: str | None = None
    size_bytes: int | None = None

    def to_json(self) -> dict[str, object]:
        return {"path": self.path, "how": self.how, "sentence": self.sentence, "size_bytes": self.size_bytes}


@dataclass(frozen=True, slots=True, repr=False)
class Status(ShownAsText):
    """Files that are not saved, what git is in the middle of, and the errors and stops that stand in the folder.

    may_save: whether nothing stands in the way of a save in how git stands.
    """

    unsaved: tuple[UnsavedFile, ...]
    findings: tuple[Finding, ...]
    may_save: bool = True

    def to_json(self) -> dict[str, object]:
        return {
            "unsaved": [file.to_json() for file in self.unsaved],
            "may_save": self.may_save,
            "findings": [finding.to_json() for finding in self.findings],
        }

    def __str__(self) -> str:
        return "\n".join([self.render(), *(str(finding) for finding in self.findings)])

    def render(self, *, width: int = 80) -> str:
        """What is not saved as text; the findings say themselves."""
        lines: list[str] = []
        if not self.unsaved:
            # Of a merge that was settled to one's own lines nothing differs, and yet it is not in the history.
            lines.append("Everything is saved." if self.may_save else "No file differs from the last save.")
        for file in self.unsaved:
            size = "" if file.size_bytes is None else f"  ({describe_size(file.size_bytes)})"
            lines.append(f"{file.how:<8} {file.path}{size}")
            if file.sentence:
                lines += paragraph(file.sentence, width=width, indent=9)
        if self.unsaved and self.may_save:
            lines.append("Save with: formulary save -m WHY")
        return "\n".join(lines)


def find_status(folder: FormularyWorkshop, *, check: CheckFiles | None = None) -> Status:
    """What is not saved and what is wrong, as the folder is now; what was read of it before is forgotten.

    check: finds what is wrong in changed files that are not the formulary's own (trials): `Bench.check_files`.
    """
    folder.refresh()
    commit = folder.store.tip
    cache = folder.cache if is_worth_knowing(len(folder.recipes())) else None
    is_sound = is_known_sound(cache, commit)
    find_changed = _begin(lambda: find_changed_paths(folder))  # git looks at the files while the recipes are checked
    found = [] if is_sound else list(folder.check())
    changed = find_changed()
    if is_sound and (changed or folder.store.tip != commit):  # another program saved since
        found = list(folder.check())
    tip = folder.store.tip_blobs("") if changed else {}
    working = set(folder.store.working_paths("")) if changed else set()
    unsaved = []
    for path in changed:
        how = "new" if path not in tip else "changed" if path in working else "deleted"
        size = None if how == "deleted" or is_read(path) else folder.store.working_size(path)
        sentence = _sentence(folder, path, tip.get(path)) if how == "changed" else None
        unsaved.append(UnsavedFile(path, how, sentence, size))
    large = [fault for path in changed if path in working for fault in folder.store.check_size(path)]
    found += [*large, *check_trial_files(check, changed)]
    grave = [finding for finding in found if finding.severity in (Severity.ERROR, Severity.STOP)]
    # Looked at once more: what was checked must be what the commit holds, also when somebody is editing meanwhile.
    is_found_sound = not (changed or grave or is_sound)
    if cache is not None and is_found_sound and not find_changed_paths(folder) and folder.store.tip == commit:
        keep_sound(cache, commit)
    under_way = folder.store.check_branch()
    half_done = (cut_short(),) if folder.store.has_interrupted_save else ()
    return Status(tuple(unsaved), (*under_way, *half_done, *grave), may_save=not under_way)


def cut_short() -> Finding:
    """That a save did not come to its end."""
    what = "a save was cut short, or is under way in another program; nothing of it is lost"
    do = "the next save brings it to its end, and so does `formulary doctor --mend`"
    return warn("save-interrupted", what, do, Place(".git"))


def _begin(work: Callable[[], _T]) -> Callable[[], _T]:
    """Begins work that mostly waits for other programs; the function that comes back waits for what it gives."""
    given: list[_T] = []
    faults: list[BaseException] = []

    def run() -> None:
        try:
            given.append(work())
        except BaseException as fault:
            faults.append(fault)

    thread = Thread(target=run, daemon=True)
    thread.start()

    def finish() -> _T:
        thread.join()
        if faults:
            raise faults[0]
        return given[0]

    return finish


def _sentence(folder: FormularyWorkshop, path: str, saved: str | None) -> str | None:
    if saved is None:
        return None
    if path == SETTINGS_FILE or path.startswith("materials/"):
        return _free_form_sentence(folder.store.read_blobs([saved]).get(saved, b""), folder.store.read_working(path))
    if not path.startswith("recipes/"):
        return None
    before = folder.store.read_blobs([saved]).get(saved, b"")
    return describe_difference(folder, path, before, folder.store.read_working(path))


def _free_form_sentence(saved: bytes, working: bytes) -> str | None:
    from formulary.changes.free_form import compare_free_form, describe_free_form
    from formulary.document.parse import parse_document, plain

    before, after = (parse_document(data)[0] for data in (saved, working))
    if before is None or after is None:
        return None
    return describe_free_form(compare_free_form(plain(before), plain(after))) or ONLY_LAYOUT
