"""What is wrong with a formulary's folder and its installation, and mending what can safely be mended."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from formulary.document.parse import uses_c_parser
from formulary.errors import FormularyError, StorageError
from formulary.finding import Finding, Place, count_findings, error, errors, note, warn
from formulary.folder.status import cut_short
from formulary.identity import blob_id
from formulary.shown_as_text import ShownAsText

if TYPE_CHECKING:
    from formulary.workshop.formulary_workshop import FormularyWorkshop

ATTRIBUTES_FILE = ".gitattributes"


@dataclass(frozen=True, slots=True, repr=False)
class Ailment(ShownAsText):
    """One thing found; `mend` puts it right and says what it did, None where a person must.

    `mend` raises StorageError when it cannot, and then nothing is changed.
    """

    finding: Finding
    mend: Callable[[], str] | None = None

    def __str__(self) -> str:
        return str(self.finding)


def examine_folder(
    folder: FormularyWorkshop,
    *,
    imported_from: tuple[str, ...] = (),
    check_trials: Callable[[], Iterable[Finding]] | None = None,
) -> tuple[Ailment, ...]:
    """Everything that ails a formulary: its repository, half-done saves, attributes, index, files, parser, packages.

    imported_from: the folders that the packages formulary, trials and cli were loaded from; they must be siblings.
    check_trials: finds what is wrong in trials' files, which this layer does not read: `Bench.check`.
    Raises StorageError when git cannot be run.
    """
    store = folder.store
    ailments = [Ailment(finding) for finding in store.examine(deep=True)]
    has_index = store.tip is None or store.has_index
    if not has_index:  # before a save that was cut short is brought to its end, which enters its files there
        what = "git's own list of files (the index) is missing or damaged; nothing that was saved is lost"
        do = "write it anew from the last save, or plain git cannot work"
        ailments.append(Ailment(warn("index-damaged", what, do, Place(".git/index")), lambda: _refresh_index(folder)))
    if store.has_interrupted_save:
        ailments.append(Ailment(cut_short(), lambda: _finish(folder)))
    if store.is_untidy:
        what = "many small objects make reading slow"
        finding = note("git-untidy", what, "pack the repository; nothing is thrown away", Place(".git"))
        ailments.append(Ailment(finding, lambda: _tidy(folder)))
    ailments += _check_attributes(folder)
    stale = store.stale_paths() if has_index else ()
    if stale:
        what = f"git's own list of files (the index) is behind for {', '.join(stale[:3])}"
        finding = warn("index-stale", what, "refresh it, or plain git would show wrong changes", Place(".git/index"))
        ailments.append(Ailment(finding, lambda: _refresh_index(folder)))
    ailments += _check_files(folder, check_trials)
    if not uses_c_parser():
        do = "install ruamel.yaml.clib into the same environment; files read the same without it"
        ailments.append(Ailment(note("parser-slow", "the quick YAML parser is not installed", do)))
    if len(set(imported_from)) > 1:
        what = f"the packages were loaded from different places: {', '.join(sorted(set(imported_from)))}"
        do = "install soap-formulary into an environment of its own"
        ailments.append(Ailment(warn("packages-mixed", what, do)))
    return tuple(ailments)


def _check_files(folder: FormularyWorkshop, check_trials: Callable[[], Iterable[Finding]] | None) -> list[Ailment]:
    """How many errors there are in the files, and in which; `check` tells each."""
    findings: list[Finding] = []
    for check in (folder.check, check_trials):
        try:
            findings += check() if check is not None else ()
        except FormularyError as fault:  # damage that git or the disk stands for, which is told with its code above
            findings += fault.findings
    grave = errors(findings)
    if not grave:
        return []
    paths = list(dict.fromkeys(finding.place.path for finding in grave if finding.place.path is not None))
    named = f" in {', '.join(paths[:3])}{' and more' if len(paths) > 3 else ''}" if paths else ""
    what = f"{count_findings(grave)}{named}"
    return [Ailment(error("files-faulty", what, "see each with: formulary check", Place(paths[0] if paths else None)))]


def _check_attributes(folder: FormularyWorkshop) -> list[Ailment]:
    from formulary.store.store import ATTRIBUTES

    path = folder.root / ATTRIBUTES_FILE
    try:
        text = path.read_text(encoding="utf-8") if path.is_file() else ""
    except (OSError, UnicodeDecodeError):
        text = ""
    if ATTRIBUTES.strip() in text:
        return []
    what = "git is not told to leave the line ends of YAML files alone"
    finding = warn("attributes-missing", what, f"add the line `{ATTRIBUTES.strip()}`", Place(ATTRIBUTES_FILE))

    def mend() -> str:
        data = (text + ("" if not text or text.endswith("\n") else "\n") + ATTRIBUTES).encode("utf-8")
        saved = folder.store.tip_blobs("").get(ATTRIBUTES_FILE)
        held = blob_id(text.encode("utf-8")) if text else None
        folder.store.save(
            {ATTRIBUTES_FILE: data},
            message="Leave the line ends of YAML files alone",
            read_from=folder.store.tip,
            expected={ATTRIBUTES_FILE: saved},
            write_working=True,
            working_read={ATTRIBUTES_FILE: held},
        )
        return "the line is added and saved"

    return [Ailment(finding, mend)]


def _finish(folder: FormularyWorkshop) -> str:
    folder.store.finish_interrupted()
    folder.refresh()
    return "the save is brought to its end"


def _tidy(folder: FormularyWorkshop) -> str:
    return "the repository is packed" if folder.store.tidy() else "another process is packing it already"


def _refresh_index(folder: FormularyWorkshop) -> str:
    problems = folder.store.refresh_index()
    if problems:
        raise StorageError(problems)
    return "the index is refreshed"
