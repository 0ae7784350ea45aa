"""Sending any changes of any variant back to any base, written in any layout, obeys its laws."""

from __future__ import annotations

import re
from pathlib import Path

from hypothesis import event, given, settings
from hypothesis import strategies as st

from formulary import Folder, InputError, SendBack, StopError
from formulary.changes.decision import MergeOutcome
from formulary.folder.returning import restore_version
from formulary.recipes.model import Recipe, comparable
from formulary.variants.send_back_text import Standing
from formulary.variants.sending_back import apply_send_back, find_send_back
from formulary.variants.updating import apply_update, find_update
from formulary.workshop.parent import OWN
from tests.laws.seasons import PHASES, save, seasons, set_up
from tests.recipes.test_editing_keeps_the_file import comment_lines

Season = tuple[Recipe, str, Recipe, str, Recipe, str]


def parts_of(recipe: Recipe) -> dict[str, object]:
    """Every single thing that a recipe says of what is made, by its name."""
    parts: dict[str, object] = {
        part: comparable(recipe)[part] for part in ("name", "purpose", "oils", "water", "notes")
    }
    parts["portions"] = comparable(recipe)["portions"]
    parts["lye.superfat"] = recipe.lye.superfat
    parts["lye.alkali"] = (dict(recipe.lye.alkalis), recipe.lye.by)
    parts |= {f"process.{name}": value for name, value in recipe.process.items()}
    for section, lines in (("additions", recipe.additions), ("scent", recipe.scent)):
        for line in lines:
            for attribute in ("rate", "water", "prepared"):
                parts[f"{section}.{line.material} at {line.at}.{attribute}"] = getattr(line, attribute, None)
    return parts


def is_of(part: str, field: str) -> bool:
    """Whether a field is that part, all that is said of its material, or the only line of it."""
    return part == field or part.startswith(f"{field} at ") or re.sub(r" at [a-z ]+\.", ".", part) == field


def send(folder: Folder, variant: str, fields: list[str]) -> SendBack | str:
    """What is sent; or the code of what that is refused for, where that is a matter of the file or of both sides."""
    try:
        return find_send_back(folder, variant, *fields)
    except (InputError, StopError) as refusal:
        (code,) = {finding.code for finding in refusal.findings}
        event(f"refused: {code}")
        return code


@settings(max_examples=20, phases=PHASES)
@given(season=seasons(), data=st.data())
def test_sending_fields_back_obeys_its_laws(folder: Folder, season: Season, data: st.DataObject) -> None:
    slug = set_up(folder, season)
    base = slug.replace("variant", "base")
    files = {name: folder.root / f"recipes/{name}.yaml" for name in (slug, base)}
    path, before = files[base], {name: file.read_bytes() for name, file in files.items()}
    standing, variant = folder.find_version(base).recipe, folder.find_version(slug).recipe

    # Sending nothing changes nothing, and is no news.
    listed = find_send_back(folder, slug)
    assert listed.is_empty
    assert listed.changes is None
    apply_send_back(folder, listed)
    assert path.read_bytes() == before[base]
    offered = {each.field: each for each in listed.variant_changes}
    assert bool(offered.keys() - OWN) == (formula(season[0]) != formula(variant))
    if not offered:
        return

    chosen = data.draw(st.lists(st.sampled_from(sorted(offered)), min_size=1, max_size=4, unique=True))
    chosen = [*chosen, *(more for each in chosen for more in offered[each].needs)]
    sent = send(folder, slug, chosen)
    if isinstance(sent, str):
        assert sent in ("changed-by-both", "edit-by-hand")
        assert {name: file.read_bytes() for name, file in files.items()} == before
        return
    assert all(offered[each].standing is not Standing.BOTH for each in chosen)
    event(f"empty: {sent.is_empty}")
    assert path.read_bytes() == before[base]  # finding it changed nothing
    apply_send_back(folder, sent)

    # The base has the variant's in each field that was sent, and its own in every other.
    read = folder.find_version(base).recipe
    after, own, theirs = parts_of(read), parts_of(standing), parts_of(variant)
    for part in {*after, *own, *theirs}:
        side = theirs if any(is_of(part, field) for field in chosen) else own
        assert after.get(part) == side.get(part), part
    assert (read.slug, read.formerly, read.based_on, read.conflicts) == (base, standing.formerly, None, ())

    # What no line of the file had to go for is there still: remarks, byte order mark, line ends.
    written = path.read_bytes()
    moved = {field.partition(".")[0] for field in chosen}
    if not moved & {"oils", "additions", "scent", "portions", "process", "notes"}:
        assert comment_lines(written.decode()) == comment_lines(before[base].decode())
        assert written.count(b"# remark") == before[base].count(b"# remark")
    assert written.startswith(b"\xef\xbb\xbf") == before[base].startswith(b"\xef\xbb\xbf")
    assert (b"\r\n" in written) == (b"\r\n" in before[base])
    assert files[slug].read_bytes() == before[slug]

    # It can be taken back, sending twice is sending once, and so it is after a save.
    send_again(folder, slug, chosen, path, written)
    if written != before[base]:
        restore_version(folder, f"{base}@latest", discard=True)
    assert path.read_bytes() == before[base]
    apply_send_back(folder, find_send_back(folder, slug, *chosen))
    save(folder, base, written.decode())
    send_again(folder, slug, chosen, path, written)


def send_again(folder: Folder, slug: str, chosen: list[str], path: Path, written: bytes) -> None:
    again = find_send_back(folder, slug, *chosen)
    assert again.is_empty
    assert {each.standing for each in again.variant_changes if each.field in chosen} == {Standing.THERE}
    apply_send_back(folder, again)
    assert path.read_bytes() == written


def formula(recipe: Recipe) -> dict[str, object]:
    return {part: value for part, value in comparable(recipe).items() if part not in (*OWN, "based_on", "formerly")}


@settings(max_examples=10, phases=PHASES)
@given(season=seasons(), is_moved=st.booleans(), word=st.sampled_from(["mine", "base"]))
def test_sending_all_back_and_then_updating_changes_nothing(
    folder: Folder, season: Season, is_moved: bool, word: str
) -> None:
    slug = set_up(folder, season if is_moved else (*season[:4], *season[:2]))
    base = slug.replace("variant", "base")
    try:
        update = find_update(folder, slug)
        update = find_update(folder, slug, settle={each.field: word for each in update.conflicts})
    except InputError as refusal:
        event(f"no update: {[finding.code for finding in refusal.findings]}")
        return
    apply_update(folder, update)
    save(folder, slug, update.after.text)
    sent = send(folder, slug, ["all"])
    if isinstance(sent, str):
        assert sent == "edit-by-hand"
        return
    apply_send_back(folder, sent)
    variant = folder.find_version(slug).recipe
    assert formula(folder.find_version(base).recipe) == formula(variant)
    save(folder, base, sent.after.text)
    after = find_update(folder, slug)
    assert after.changes is None
    assert {each.outcome for each in after.decisions} <= {MergeOutcome.ALIKE, MergeOutcome.KEPT}
    apply_update(folder, after)
    assert formula(folder.find_version(slug).recipe) == formula(variant)
    save(folder, slug, after.after.text)
    assert find_send_back(folder, slug, "all").sent == ()
