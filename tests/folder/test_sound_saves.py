"""A save that was found sound is not checked again, and whatever could have changed that means that it is."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from formulary import Finding, Folder, init_folder, open_folder
from formulary.folder import sound
from formulary.folder.status import Status, find_status

FIRST = "recipes/first-bar.yaml"
USUAL = sound.MOST_CHECKED_ANEW


@pytest.fixture
def root(tmp_path: Path) -> Path:
    init_folder(tmp_path / "soap").close()
    return tmp_path / "soap"


@pytest.fixture(autouse=True)
def _few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound, "MOST_CHECKED_ANEW", 0)


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """One entry for each time that everything is checked."""
    made: list[str] = []
    check = Folder.check
    monkeypatch.setattr(Folder, "check", lambda folder: made.append("checked") or check(folder))
    return made


def status(root: Path, cache: Path | None) -> Status:
    with open_folder(root, cache=cache) as folder:
        return find_status(folder)


def edit(root: Path, before: str, after: str) -> None:
    text = (root / FIRST).read_text(encoding="utf-8")
    assert before in text
    (root / FIRST).write_text(text.replace(before, after), encoding="utf-8")


def save(root: Path) -> None:
    with open_folder(root) as folder:
        folder.save_changed(why="try")


def test_a_sound_save_is_checked_once(root: Path, tmp_path: Path, checks: list[str]) -> None:
    plain = status(root, None)
    assert [status(root, tmp_path / "cache") for _ in range(3)] == [plain] * 3
    assert len(checks) == 2


def test_what_is_not_saved_is_checked(root: Path, tmp_path: Path, checks: list[str]) -> None:
    status(root, tmp_path / "cache")
    edit(root, "olive-oil: 60", "olive-oil: 50")
    found = status(root, tmp_path / "cache")
    assert [finding.code for finding in found.findings] == ["oils-total"]
    assert found == status(root, None)
    assert len(checks) == 3


def test_a_save_with_a_stop_is_told_every_time(root: Path, tmp_path: Path) -> None:
    edit(root, "superfat: 5", "superfat: -3")
    save(root)
    for _ in range(3):
        found = status(root, tmp_path / "cache")
        assert found.unsaved == ()
        assert {finding.severity.value for finding in found.findings} == {"stop"}


def test_a_new_save_is_checked_anew(root: Path, tmp_path: Path, checks: list[str]) -> None:
    status(root, tmp_path / "cache")
    edit(root, "superfat: 5", "superfat: 6")
    save(root)
    status(root, tmp_path / "cache")
    status(root, tmp_path / "cache")
    assert len(checks) == 2


def test_a_save_is_not_called_sound_for_one_that_another_program_made_meanwhile(
    root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edit(root, "superfat: 5", "superfat: -3")
    save(root)
    with open_folder(root) as folder:
        with_a_stop = folder.store.tip
    check = Folder.check

    def save_another(folder: Folder) -> tuple[Finding, ...]:
        edit(root, "superfat: -3", "superfat: 5")
        save(root)
        return check(folder)

    def at_once(work: Callable[[], tuple[str, ...]]) -> Callable[[], tuple[str, ...]]:
        made = work()
        return lambda: made

    monkeypatch.setattr(Folder, "check", save_another)
    monkeypatch.setattr("formulary.folder.status._begin", at_once)  # git has looked before the other program saves
    status(root, tmp_path / "cache")
    assert not sound.is_known_sound(tmp_path / "cache", with_a_stop)


def test_a_stop_is_told_of_a_save_that_another_program_makes_after_a_sound_one(
    root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    status(root, tmp_path / "cache")

    def save_another(cache: Path | None, commit: str | None) -> bool:
        edit(root, "superfat: 5", "superfat: -3")
        save(root)
        return sound.is_known_sound(cache, commit)

    monkeypatch.setattr("formulary.folder.status.is_known_sound", save_another)
    assert {finding.severity.value for finding in status(root, tmp_path / "cache").findings} == {"stop"}


def test_another_edition_of_the_program_checks_anew(
    root: Path, tmp_path: Path, checks: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    status(root, tmp_path / "cache")
    monkeypatch.setattr(sound, "program_edition", lambda: "another")
    status(root, tmp_path / "cache")
    assert len(checks) == 2


def test_the_edition_changes_with_a_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert (sound._PROGRAM / "batch" / "common_practice.csv").is_file()  # the whole program, not a part of it
    (tmp_path / "data").mkdir()
    monkeypatch.setattr(sound, "_PROGRAM", tmp_path)
    editions = []
    for text in ("a,1\n", "a,2\n"):
        (tmp_path / "data/values.csv").write_text(text)
        editions.append(sound.program_edition())
    assert len(set(editions)) == 2


def test_damage_of_what_is_kept_means_that_it_is_checked(root: Path, tmp_path: Path) -> None:
    edit(root, "superfat: 5", "superfat: -3")
    save(root)
    with open_folder(root) as folder:
        commit = folder.store.tip
    assert commit is not None
    for other in ("0" * 40, commit[::-1]):  # a commit that is not this one
        sound.keep_sound(tmp_path / "cache", other)
    (file,) = (tmp_path / "cache").iterdir()
    whole = file.read_bytes()
    seeded = random.Random(7)
    for _ in range(20):
        data = bytearray(whole)
        data[seeded.randrange(len(data))] ^= 1 << seeded.randrange(8)
        file.write_bytes(data)
        assert status(root, tmp_path / "cache").findings


def test_a_stop_is_told_whatever_is_kept_of_its_save(
    root: Path, tmp_path: Path, checks: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sound, "MOST_CHECKED_ANEW", USUAL)
    edit(root, "superfat: 5", "superfat: -9")
    save(root)
    with open_folder(root) as folder:
        sound.keep_sound(tmp_path / "cache", folder.store.tip)  # a deliberate hand, or a program that is mistaken
    for number in range(1, 4):
        found = status(root, tmp_path / "cache")
        assert "lye-excess" in {finding.code for finding in found.findings}
        assert len(checks) == number
