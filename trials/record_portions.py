"""How a batter was really divided, written into a trial's file: shares and names change, what happened stays."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal

from formulary.document import Block, Listing, Node, Scalar, parse_document
from formulary.document import Entry as Field
from formulary.document_edit import CannotEdit, DocumentEdit, Value
from formulary.document_write import Inline
from formulary.errors import InputError
from formulary.quantity import NotAQuantity, format_decimal, parse_percent
from trials.entry import Entry
from trials.model import Trial, TrialPortion

_SAID = re.compile(r"(?P<name>\S+) (?P<share>[\d.,]+ ?%?)(?: instead of (?P<planned>\S+))?")
_HOW = 'say each portion and its percent, "plain 60" "clove 40"; "swirl 40 instead of clove" gives it another name'


def portions_entry(trial: Trial, said: Sequence[str], *, by_eye: str | None = None) -> Entry:
    """How the batter was divided: "plain 60" and "clove 40", or "swirl 40 instead of clove"; nothing: it stayed whole.

    by_eye: give or take so many percent of the batter, of each share. Raises InputError for what cannot be read, and
    where something that happened to a portion would be lost.
    """
    give_or_take = None if by_eye is None else _percent(by_eye)
    wanted = [_parse_said(" ".join(text.split()), give_or_take) for text in said]
    _demand_nothing_lost(trial, wanted)
    words = [_words(name, share, give) for name, share, give in map(_parts, wanted)]
    was = [_words(one.name, one.share, one.by_eye) for one in trial.portions]
    told = f"portions {', '.join(words)}" if words else "the batter stayed whole"
    remark = f"was {', '.join(was)}" if was else ""
    return Entry(trial.id, "portions", wanted, told, remark=remark)


def _parse_said(text: str, by_eye: Decimal | None) -> dict[str, Value]:
    match = _SAID.fullmatch(text)
    if match is None:
        raise InputError.of("bad-portion", f"{text[:60]!r} does not say a portion and its share", _HOW)
    share = Inline(percent=_percent(match.group("share")), by_eye=by_eye or Decimal(0))
    tree: dict[str, Value] = {"name": match.group("name"), "share": share}
    if match.group("planned"):
        tree["instead_of"] = match.group("planned")
    return tree


def _percent(text: str) -> Decimal:
    try:
        return parse_percent(text)
    except NotAQuantity as problem:
        raise InputError.of("bad-share", problem.what, problem.do) from None


def _parts(wanted: Mapping[str, Value]) -> tuple[str, Decimal, Decimal]:
    share = wanted["share"]
    assert isinstance(share, Mapping)
    return str(wanted["name"]), Decimal(str(share["percent"])), Decimal(str(share["by_eye"]))


def _words(name: str, share: Decimal, by_eye: Decimal) -> str:
    give_or_take = f" (give or take {format_decimal(by_eye)})" if by_eye else ""
    return f"{name} {format_decimal(share)} %{give_or_take}"


def _demand_nothing_lost(trial: Trial, wanted: Sequence[Mapping[str, Value]]) -> None:
    kept = {str(one.get("instead_of") or one["name"]) for one in wanted} | {str(one["name"]) for one in wanted}
    lost: list[TrialPortion] = [
        portion
        for portion in trial.portions
        if not {portion.name, portion.planned_name} & kept and (portion.events or portion.gets or portion.mould)
    ]
    if lost:
        names = ", ".join(portion.name for portion in lost)
        what = f"what is recorded of {names} would be lost"
        do = f'say what took its place, "NAME SHARE instead of {lost[0].planned_name}", or move it in trial.yaml'
        raise InputError.of("portion-lost", what, do)


def write_portions(text: str, wanted: Sequence[Mapping[str, Value]], path: str | None = None) -> str:
    """The text of a trial's file with its portions as they really were.

    Raises CannotEdit where the file's layout does not let them be changed safely.
    """
    root = _parse(text, path)
    parent = root.find("portions")
    if not wanted:
        return text if parent is None else _changed(text, lambda edit: edit.change_block(root, drop=["portions"]))
    if parent is None:
        after = root.find("events") or root.entries[-1]
        return _changed(text, lambda edit: edit.insert_section(after, "portions", list(wanted)))
    if isinstance(parent.value, Scalar):
        return _changed(text, lambda edit: edit.fill_empty(parent, list(wanted)))
    for one in wanted:
        text = _write_portion(text, one, path)
    return _drop_others(text, [str(one["name"]) for one in wanted], path)


def _changed(text: str, change: Callable[[DocumentEdit], None]) -> str:
    edit = DocumentEdit(text)
    change(edit)
    return edit.result()


def _write_portion(text: str, wanted: Mapping[str, Value], path: str | None) -> str:
    parent, items = _items(text, path)
    name, planned = str(wanted["name"]), wanted.get("instead_of")
    there = _named(items, name) or (_named(items, str(planned)) if planned else None)
    if there is None:
        return _changed(text, lambda edit: edit.change_listing(parent, add=[dict(wanted)]))
    edit = DocumentEdit(text)
    called, share, instead = (there.find(key) for key in ("name", "share", "instead_of"))
    added: dict[str, Value] = {}
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
    text = edit.result()
    if not added:
        return text
    there = _named(_items(text, path)[1], name)
    if there is None:
        raise CannotEdit("a portion is not found again")
    block = there
    return _changed(text, lambda edit: edit.change_block(block, add=added))


def _drop_others(text: str, names: Sequence[str], path: str | None) -> str:
    parent, items = _items(text, path)
    others = [number for number, item in enumerate(items) if _name(item) not in names]
    if not others:
        return text
    return _changed(text, lambda edit: edit.change_listing(parent, drop=others))


def _items(text: str, path: str | None) -> tuple[Field, Sequence[Node]]:
    parent = _parse(text, path).find("portions")
    if parent is None or not isinstance(parent.value, Listing):
        raise CannotEdit("`portions` is not a list")
    return parent, parent.value.items


def _named(items: Sequence[Node], name: str) -> Block | None:
    return next((item for item in items if isinstance(item, Block) and _name(item) == name), None)


def _name(item: Node) -> str | None:
    found = item.find("name") if isinstance(item, Block) else None
    return found.value.text if found is not None and isinstance(found.value, Scalar) else None


def _parse(text: str, path: str | None) -> Block:
    root, findings = parse_document(text, path)
    if root is None:
        raise InputError(findings)
    return root
