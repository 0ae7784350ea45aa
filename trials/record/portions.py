"""How a batter was really divided, written into a trial's file: shares and names change, what happened stays."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TypeVar

from formulary.document.edit import CannotEdit, DocumentEdit, Value
from formulary.document.parse import parse_document
from formulary.document.tree import Block, Listing, Node, Scalar
from formulary.document.tree import Entry as Field
from formulary.document.write import Inline
from formulary.errors import InputError
from formulary.given import Figure, each_weighed
from formulary.quantity import format_decimal
from trials.trial.entry import Entry, parse_share
from trials.trial.model import AsMade, Handling, Observation, Trial, TrialPortion

_SAID = re.compile(r"(?P<name>\S+) (?P<share>[\d.,]+ ?%?)(?: instead of (?P<planned>\S+))?")
_NAMING = ("as_made", "after_pour", "observations")  # what names the portion that it is of
_Named = TypeVar("_Named", AsMade, Handling, Observation)
_HOW = 'say each portion and its percent, "plain 60" "clove 40"; "swirl 40 instead of clove" gives it another name'


def portions_entry(
    trial: Trial, said: str | Iterable[str] | Mapping[str, Figure], *, by_eye: Figure | None = None
) -> Entry:
    """How the batter was divided: "plain 60" and "clove 40", or "swirl 40 instead of clove"; nothing: it stayed whole.

    said: ["plain 60", "clove 40"], or {"plain": 60, "clove": 40}.
    by_eye: give or take so many percent of the batter, of each share; each stays as exact as it was unless given.
    Raises InputError for what cannot be read, and where something that happened to a portion would be lost.
    """
    give_or_take = None if by_eye is None else parse_share(by_eye)
    wanted = [_parse_said(" ".join(text.split()), give_or_take) for text in each_weighed(said)]
    there = _match([(one.name, one.planned_name) for one in trial.portions], wanted)
    _demand_nothing_lost(trial, [one for number, one in enumerate(trial.portions) if number not in there])
    if give_or_take is None:
        wanted = [_as_exact(one, trial, number) for one, number in zip(wanted, there, strict=True)]
    words = [_words(name, share, give) for name, share, give in map(_parts, wanted)]
    was = [_words(one.name, one.share, one.by_eye) for one in trial.portions]
    told = f"portions {', '.join(words)}" if words else "the batter stayed whole"
    remark = f"was {', '.join(was)}" if was else ""
    return Entry(trial.id, "portions", wanted, told, remark=remark)


def _parse_said(text: str, by_eye: Decimal | None) -> dict[str, Value]:
    match = _SAID.fullmatch(text)
    if match is None:
        raise InputError.of("bad-portion", f"{text[:60]!r} does not say a portion and its share", _HOW)
    share = Inline(percent=parse_share(match.group("share")), by_eye=by_eye or Decimal(0))
    tree: dict[str, Value] = {"name": match.group("name"), "share": share}
    if match.group("planned"):
        tree["instead_of"] = match.group("planned")
    return tree


def _parts(wanted: Mapping[str, Value]) -> tuple[str, Decimal, Decimal]:
    share = wanted["share"]
    assert isinstance(share, Mapping)
    return str(wanted["name"]), Decimal(str(share["percent"])), Decimal(str(share["by_eye"]))


def _words(name: str, share: Decimal, by_eye: Decimal) -> str:
    give_or_take = f" (give or take {format_decimal(by_eye)})" if by_eye else ""
    return f"{name} {format_decimal(share)} %{give_or_take}"


def _as_exact(wanted: Mapping[str, Value], trial: Trial, number: int | None) -> dict[str, Value]:
    """A share that is as exact as the one that it corrects, where nothing is said of that."""
    share = wanted["share"]
    if number is None or not isinstance(share, Mapping):
        return dict(wanted)
    return {**wanted, "share": Inline({**share, "by_eye": trial.portions[number].by_eye})}


def _match(there: Sequence[tuple[str, str]], wanted: Sequence[Mapping[str, Value]]) -> list[int | None]:
    """Which of the portions that stand there each wanted one is, so that what happened to it stays with it.

    there: name and planned name of each. The one of its name, else the one that stands for the same planned portion.
    """
    names = [name for name, _ in there]
    found: list[int | None] = []
    for one in wanted:
        same = names.index(str(one["name"])) if one["name"] in names else None
        found.append(None if same in found else same)
    for position, one in enumerate(wanted):
        if found[position] is None:
            meant = str(one.get("instead_of") or one["name"])
            alike = [number for number, pair in enumerate(there) if meant in pair and number not in found]
            found[position] = next(iter(alike), None)
    return found


def _demand_nothing_lost(trial: Trial, others: Sequence[TrialPortion]) -> None:
    """Refuse to drop a portion that something happened to, or is recorded of."""
    named = {entry.portion for entry in trial.as_made} | {step.portion for step in trial.after_pour}
    named |= {seen.portion for seen in trial.observations}
    lost = [each for each in others if each.events or each.gets or each.mould or each.name in named]
    if lost:
        names = ", ".join(portion.name for portion in lost)
        what = f"what is recorded of {names} would be lost"
        do = f'say what took its place, "NAME SHARE instead of {lost[0].planned_name}", or move it in trial.yaml'
        raise InputError.of("portion-lost", what, do)


def find_renames(portions: Sequence[TrialPortion], wanted: Sequence[Mapping[str, Value]]) -> dict[str, str]:
    """Old name -> new name of the portions that are called otherwise from now on."""
    return _renames([(one.name, one.planned_name) for one in portions], wanted)


def _renames(there: Sequence[tuple[str, str]], wanted: Sequence[Mapping[str, Value]]) -> dict[str, str]:
    matched = zip(wanted, _match(there, wanted), strict=True)
    pairs = [(there[number][0], str(one["name"])) for one, number in matched if number is not None]
    return {before: after for before, after in pairs if before != after}


def rename_portions(trial: Trial, renames: Mapping[str, str]) -> Trial:
    """The trial with all that names a portion naming it as it is called now."""

    def renamed(each: _Named) -> _Named:
        return replace(each, portion=renames.get(each.portion or "", each.portion))

    return replace(
        trial,
        as_made=tuple(map(renamed, trial.as_made)),
        after_pour=tuple(map(renamed, trial.after_pour)),
        observations=tuple(map(renamed, trial.observations)),
    )


def _rename_in_lists(text: str, renames: Mapping[str, str], path: str | None) -> str:
    """The text with every entry that names a portion naming it as it is called now."""
    root = parse_root(text, path)
    edit = DocumentEdit(text)
    for section in _NAMING:
        parent = root.find(section)
        for item in parent.value.items if parent is not None and isinstance(parent.value, Listing) else ():
            called = item.find("portion") if isinstance(item, Block) else None
            if isinstance(item, Block) and called is not None and isinstance(called.value, Scalar):
                name = called.value.text
                if name in renames:
                    edit.set_text(called.value, renames[name], flow=item.flow)
    return edit.result()


def write_portions(text: str, wanted: Sequence[Mapping[str, Value]], path: str | None = None) -> str:
    """The text of a trial's file with its portions as they really were.

    Raises CannotEdit where the file's layout does not let them be changed safely.
    """
    root = parse_root(text, path)
    parent = root.find("portions")
    if not wanted:
        return text if parent is None else _changed(text, lambda edit: edit.change_block(root, drop=["portions"]))
    if parent is None:
        after = root.find("events") or root.entries[-1]
        return _changed(text, lambda edit: edit.insert_section(after, "portions", list(wanted)))
    if isinstance(parent.value, Scalar):
        return _changed(text, lambda edit: edit.fill_empty(parent, list(wanted)))
    _, items = _items(text, path)
    names = [(_text_of(item, "name"), _text_of(item, "instead_of")) for item in items]
    there = _match(names, wanted)
    text = _rename_in_lists(text, _renames(names, wanted), path)
    # Those that stand there keep their places while the text is changed; what is new comes behind them.
    for one, number in zip(wanted, there, strict=True):
        if number is not None:
            text = _change_portion(text, one, number, path)
    new = [one for one, number in zip(wanted, there, strict=True) if number is None]
    drop = [number for number in range(len(items)) if number not in there]
    return _change_items(_change_items(text, path, add=new), path, drop=drop)


def _change_items(
    text: str, path: str | None, *, add: Sequence[Mapping[str, Value]] = (), drop: Sequence[int] = ()
) -> str:
    if not add and not drop:
        return text
    parent, _ = _items(text, path)
    return _changed(text, lambda edit: edit.change_listing(parent, add=[dict(one) for one in add], drop=drop))


def _changed(text: str, change: Callable[[DocumentEdit], None]) -> str:
    edit = DocumentEdit(text)
    change(edit)
    return edit.result()


def _change_portion(text: str, wanted: Mapping[str, Value], number: int, path: str | None) -> str:
    there = _block(text, number, path)
    edit = DocumentEdit(text)
    name, planned = str(wanted["name"]), wanted.get("instead_of")
    called, share, instead = (there.find(key) for key in ("name", "share", "instead_of"))
    added: dict[str, Value] = {}
    dropped: list[str] = []
    if called is not None and isinstance(called.value, Scalar) and called.value.text != name:
        edit.set_text(called.value, name, flow=there.flow)
    if share is None:
        added["share"] = wanted["share"]
    else:
        edit.replace_node(share.value, wanted["share"])
    if planned and instead is None:
        added["instead_of"] = planned
    elif planned and instead is not None and isinstance(instead.value, Scalar):
        edit.set_text(instead.value, str(planned), flow=there.flow)
    elif instead is not None and isinstance(instead.value, Scalar) and instead.value.text == name:
        dropped.append("instead_of")  # it has its planned name again
    text = edit.result()
    if not added and not dropped:
        return text
    block = _block(text, number, path)
    return _changed(text, lambda edit: edit.change_block(block, add=added, drop=dropped))


def _block(text: str, number: int, path: str | None) -> Block:
    item = _items(text, path)[1][number]
    if not isinstance(item, Block):
        raise CannotEdit("a portion is not a block")
    return item


def _items(text: str, path: str | None) -> tuple[Field, Sequence[Node]]:
    parent = parse_root(text, path).find("portions")
    if parent is None or not isinstance(parent.value, Listing):
        raise CannotEdit("`portions` is not a list")
    return parent, parent.value.items


def _text_of(item: Node, key: str) -> str:
    found = item.find(key) if isinstance(item, Block) else None
    return found.value.text if found is not None and isinstance(found.value, Scalar) else ""


def parse_root(text: str, path: str | None) -> Block:
    """The tree of a trial's file that is to be changed. Raises InputError for one that cannot be read."""
    root, findings = parse_document(text, path)
    if root is None:
        raise InputError(findings)
    return root
