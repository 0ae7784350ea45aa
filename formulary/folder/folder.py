"""Opens a formulary: its files, and everything that is done with them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, Place, error
from formulary.given import Figure, as_name, each_of, each_weighed, is_mapping
from formulary.recipes.read import check_name
from formulary.recipes.version import Version, recipe_named, version_named
from formulary.settings import SETTINGS_FILE
from formulary.whole_file import write_new
from formulary.workshop.formulary_workshop import FormularyWorkshop

if TYPE_CHECKING:
    from datetime import datetime

    from formulary.changes.changes import Changes
    from formulary.folder.doctor import Ailment
    from formulary.folder.saving import CheckFiles, PreparedSave, SaveReport
    from formulary.folder.status import Status
    from formulary.materials.model import Material
    from formulary.recipes.tweaks import Tweak
    from formulary.variants.send_back_text import SendBack
    from formulary.variants.update_text import Update
    from formulary.workshop.history_text import HistoryEntry


def open_folder(root: Path | str, *, cache: Path | str | None = None) -> Folder:
    """The formulary in a folder, ready to read, work out and save.

    cache: the person's folder for what programs can work out again, outside the formulary; what is read of many
    versions is kept there, to be read sooner the next time. Nothing is kept without it.
    Raises InputError when the folder holds no formulary, StorageError when it is not under git or not readable.
    """
    path = Path(root).absolute()
    if not (path / SETTINGS_FILE).is_file():
        what = f"{root} is no formulary: it has no {SETTINGS_FILE}"
        raise InputError.of("not-a-formulary", what, "make one with `formulary init DIR`, or go to the folder of yours")
    from formulary.store.store import open_store

    kept = None if cache is None else Path(cache)
    if kept is not None and kept.resolve().is_relative_to(path.resolve()):
        kept = None  # nothing that reads changes anything in a formulary
    return Folder(path, open_store(path), kept)


_EXAMPLE = '{"price": "7.20 per kg"}'


def _pairs(values: Mapping[str, object] | None, example: str) -> tuple[str, ...]:
    """What is given of several keys, as it is typed: `key=value`. Raises InputError for what says nothing of a key."""
    if values is None:
        return ()
    if not is_mapping(values):
        raise InputError.of("bad-value", f"{values!r:.40} says nothing of a key", f"write such as {example}")
    return tuple(f"{key}={value}" for key, value in values.items())


class Folder(FormularyWorkshop):
    """A formulary in its folder, to work out, check, branch and save, to go back in, and to keep in order."""

    def __repr__(self) -> str:
        return f"<Folder {self.root}>"

    def __enter__(self) -> Folder:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the formulary; a `with` block does it by itself."""
        self.store.close()

    # -- branching and saving --------------------------------------------------------------------

    def branch(self, reference: Version | str, slug: str, *tweaks: Tweak, name: str | None = None) -> Version:
        """A variant of a saved version with its tweaks, not written yet; `write` or `save` it.

        Raises InputError for a name that is taken or unusable, an unsaved parent, or tweaks that do not fit; with all
        findings together.
        """
        version = reference if isinstance(reference, Version) else self.find_version(reference)
        faults: list[Finding] = []
        try:
            self._demand_free(slug)
        except InputError as fault:
            faults += fault.findings
        try:
            variant = version.branch(slug, *tweaks, register=self.register, name=name)
        except InputError as fault:
            told = {finding.code for finding in faults}
            faults += [finding for finding in fault.findings if finding.code not in told]
            raise InputError([*faults, *self.faults_beside(fault.findings)]) from None
        if faults:
            raise InputError(faults)
        return variant

    def compose(
        self,
        slug: str,
        weights: str | Iterable[str] | Mapping[str, Figure],
        *,
        name: str | None = None,
        superfat: Figure | None = None,
        lye_concentration: Figure | None = None,
        lye: str | None = None,
        water: str | None = None,
    ) -> Version:
        """A new recipe from weights, in percentages that total exactly 100; not written yet.

        weights: ["olive-oil 450 g", "coconut-oil 250 g"], or {"olive-oil": "450 g", ...}.
        superfat, lye_concentration: percent, 5 and 33 unless given; or lye and water: what was weighed of sodium
        hydroxide and of water ("4.4 oz") for these oils, from which they are worked out.
        Raises InputError for a name that is taken, an oil that is not known, a weight that is none, or where a figure
        and the weight that decides it are both given.
        """
        from formulary.batch.from_weights import figures_from_weights, percentages_from_weights
        from formulary.recipes.compose import compose_recipe, parse_weights

        self._demand_free(slug)
        oils = [oil for oil, material in self.register.items() if material.kind.is_fat]
        weighed = parse_weights(each_weighed(weights), oils)
        percents = percentages_from_weights(weighed)
        if lye is not None or water is not None:
            stated = (superfat, lye_concentration)
            superfat, lye_concentration = figures_from_weights(weighed, lye, water, stated, self.register)
        return compose_recipe(slug, percents, name=name, superfat=superfat, lye_concentration=lye_concentration)

    def _demand_free(self, slug: str) -> None:
        fault = check_name(slug)
        if fault is not None:
            raise InputError([fault])
        if slug in self.recipes() or f"recipes/{slug}.yaml" in self.store.tip_blobs("recipes/"):
            raise InputError.of("name-taken", f"there is a recipe {slug!r} already", "choose another name")

    def write(self, version: Version) -> Path:
        """Write a new variant to its file, which must not exist. Raises InputError, StorageError."""
        path = self.root / "recipes" / f"{version.slug}.yaml"
        try:
            write_new(path, version.text.encode("utf-8"), named=f"recipes/{path.name}")
        except FileExistsError:
            raise InputError.of("name-taken", f"recipes/{path.name} exists already", "choose another name") from None
        return path

    def save(self, version: Version | str, *, why: str) -> Version:
        """Save one version, writing its file when it is new, or a recipe's file as it is; returns it as saved.

        why: the reason, which the history keeps. Raises InputError where its file holds something else than the
        version, and as `save_changed`.
        """
        slug = recipe_named(version)
        path = f"recipes/{slug}.yaml"
        if isinstance(version, Version):
            if path not in self.store.working_paths("recipes/"):
                self.write(version)
            elif self.store.read_working(path) != version.text.encode("utf-8"):
                raise self._differs(version, path)
        self.save_changed([slug], why=why)
        return self.find_version(slug)

    def _differs(self, version: Version, path: str) -> InputError:
        """That the file of a version to be saved holds something else, and in what."""
        from formulary.folder.saving import describe_difference

        held, text = self.store.read_working(path), version.text.encode("utf-8")
        said = describe_difference(self, path, text, held)
        differs = f", against it: {said[:1].lower()}{said[1:]}" if said is not None else ", and cannot be read as meant"
        what = f"{path} holds something else than this version{differs.rstrip('.')}"
        do = f"save the file as it is with save_changed([{version.slug!r}], why=...), or give this another name"
        return InputError([error("file-differs", what, do, Place(path))])

    def prepare_save(self, names: str | Iterable[str] = (), *, check: CheckFiles | None = None) -> PreparedSave:
        """What `save_changed` would record, with the change and a proposed reason in words; nothing is saved.

        `save_prepared` saves it. Raises InputError as `save_changed`.
        """
        from formulary.folder.saving import prepare_save

        return prepare_save(self, each_of(names), check=check)

    def save_prepared(self, prepared: PreparedSave, *, why: str, now: datetime | None = None) -> SaveReport:
        """One commit of what was prepared, as it was then. Raises ChangedError when others saved some of it since."""
        from formulary.folder.saving import save_prepared

        return save_prepared(self, prepared, why=why, now=now)

    def changed_paths(self) -> tuple[str, ...]:
        """The formulary's files that differ from the last save, new and deleted ones among them."""
        from formulary.folder.saving import find_changed_paths

        return find_changed_paths(self)

    def save_changed(
        self,
        names: str | Iterable[str] = (),
        *,
        why: str,
        now: datetime | None = None,
        check: CheckFiles | None = None,
    ) -> SaveReport:
        """One commit of what changed, with the change in words in its message; `names` limits it to those recipes.

        now: when it is saved; the present unless given. check: finds what is wrong in trials' files, which this layer
        does not read: `Bench.check_files`.
        Raises InputError when nothing changed, or when a file to be saved cannot be read as meant (nothing is saved).
        """
        from formulary.folder.saving import save_changed

        return save_changed(self, each_of(names), why=why, now=now, check=check)

    def unsaved_change(self, version: Version) -> Changes | None:
        """What saving a version would change in its recipe as last saved; None where nothing can be held against it."""
        from formulary.folder.saving import find_unsaved_change

        return find_unsaved_change(self, version)

    # -- bringing a base's later saves into a variant ---------------------------------------------

    def find_update(self, variant: Version | str, *, settle: Mapping[str, str] | None = None) -> Update:
        """What the base's later saves would make of a variant; nothing is written, `apply_update` does that.

        settle: field, or `all`, -> `mine`, `base`, or for the oils `both`. Raises InputError, StopError.
        """
        from formulary.variants.updating import find_update

        _pairs(settle, '{"oils": "mine"}')
        return find_update(self, recipe_named(variant), settle=settle)

    def apply_update(self, update: Update) -> Update:
        """Write an update into the variant's file, unsaved. Raises ChangedError over changes that were not saved."""
        from formulary.variants.updating import apply_update

        return apply_update(self, update)

    # -- sending what proved better back to the base ----------------------------------------------

    def find_send_back(self, variant: Version | str, *fields: str) -> SendBack:
        """What a variant has otherwise than its base, and what the base becomes when fields of it are sent back.

        fields: `lye.superfat`, `oils`, or `all` but its name and notes; without any it is only shown what can be sent.
        Nothing is written, `apply_send_back` does that. Raises InputError, StopError.
        """
        from formulary.variants.sending_back import find_send_back

        return find_send_back(self, version_named(variant), *each_of(fields))

    def apply_send_back(self, found: SendBack) -> SendBack:
        """Write what is sent into the base's file, unsaved. Raises ChangedError over changes that were not saved."""
        from formulary.variants.sending_back import apply_send_back

        return apply_send_back(self, found)

    # -- how it stands, and going back ------------------------------------------------------------

    def status(self, *, check: CheckFiles | None = None) -> Status:
        """What is not saved yet, in words, and what is gravely wrong. check: of trials' files, `Bench.check_files`."""
        from formulary.folder.status import find_status

        return find_status(self, check=check)

    def describe_history(self, slug: Version | str) -> tuple[HistoryEntry, ...]:
        """Every save of a recipe, newest first, with what each changed. Raises InputError for an unknown name."""
        from formulary.workshop.history_text import describe_history

        return describe_history(self, recipe_named(slug))

    def restore(self, reference: Version | str, *, why: str | None = None, discard: bool = False) -> Version:
        """Bring a version of a recipe (`name@version`) back as a new save; a deleted recipe comes back too.

        discard: throw away changes that were not saved. Raises InputError, ChangedError; `Bench.restore` is for trials.
        """
        from formulary.folder.returning import restore_version

        return restore_version(self, version_named(reference), why=why, discard=discard)

    def undo(self) -> SaveReport:
        """Undo the last save that still stands, as a new save; again goes one step further back.

        Raises InputError when there is nothing to undo, ChangedError over changes that were not saved.
        """
        from formulary.folder.returning import undo_last_save

        return undo_last_save(self)

    def redo(self) -> SaveReport:
        """Bring back, as a new save, what the last undo took away. Raises InputError, ChangedError as `undo`."""
        from formulary.folder.returning import redo_last_undo

        return redo_last_undo(self)

    def name_version(self, reference: Version | str, name: str) -> Version:
        """Give a saved version a lasting name, such as shop-2026; `recipe@shop-2026` finds it from then on.

        Raises InputError for a version that is not saved, and a name that is taken or cannot be one.
        """
        from formulary.folder.returning import name_version

        return name_version(self, version_named(reference), as_name(name))

    def rename(self, before: Version | str, after: str, *, name: str | None = None) -> Version:
        """Give a recipe another name, as a new save; its history and its trials stay with it.

        name: what people call it. Raises InputError for a name that is taken or unusable, ChangedError as `undo`.
        """
        from formulary.folder.returning import rename_recipe

        return rename_recipe(self, recipe_named(before), after, name=name)

    def examine(
        self,
        *,
        imported_from: tuple[str, ...] = (),
        check_trials: Callable[[], Iterable[Finding]] | None = None,
    ) -> tuple[Ailment, ...]:
        """What ails the folder, its repository and the installation; `mend` of each puts right what safely can be.

        imported_from, check_trials: as in `formulary.folder.doctor.examine_folder`; `Bench.check` looks at trials.
        """
        from formulary.folder.doctor import examine_folder

        return examine_folder(self, imported_from=imported_from, check_trials=check_trials)

    # -- the maker's own materials ----------------------------------------------------------------

    def add_material(
        self, slug: str, values: Mapping[str, object] | None = None, *, kind: str | None = None, name: str | None = None
    ) -> Material:
        """Write `materials/<slug>.yaml` for a material of the maker's own, not saved yet; returns it as it is read.

        values: key -> what stands behind it in the file: {"saponification_value": 191, "density": "0.92 g/ml"}; a
        key within braces is `limit.percent_of_product`. kind: that of the built-in material unless given.
        Raises InputError for a name that is taken, a kind that is none, or a value that cannot stand there.
        """
        from formulary.folder.material_files import parse_values, write_new_material

        told = parse_values(_pairs(values, _EXAMPLE))
        write_new_material(self, slug, name=name, kind=kind, values=told)
        return self.register[slug]

    def add_lot(self, slug: str, lot: str, values: Mapping[str, object] | None = None) -> Material:
        """Add a lot to a material's file, not saved yet; returns the material as it is read.

        values: received, opened, best_before, price, and what the lot's certificate states; as in `add_material`.
        Raises InputError for an unknown material, a lot that is known already, or a value that cannot stand there.
        """
        from formulary.folder.material_files import parse_values, write_lot

        write_lot(self, slug, lot, parse_values(_pairs(values, _EXAMPLE)))
        return self.register[slug]
