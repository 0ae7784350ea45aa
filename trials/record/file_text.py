"""Writing entries into the text of a trial's file: only the lines that are asked for, comments kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from formulary.document.edit import CannotEdit, DocumentEdit, Value
from formulary.document.tree import Block, Listing, Node, Scalar
from formulary.document.tree import Entry as Field
from formulary.document.write import Inline
from formulary.errors import InputError
from formulary.finding import Place, error
from formulary.names import suggest
from formulary.quantity import Kind, NotAQuantity, parse_quantity
from trials.record.portions import parse_root, write_portions
from trials.trial.elapsed import parse_elapsed
from trials.trial.entry import Entry as RecordEntry

_LISTS = ("events", "after_pour", "observations", "as_made")
_BLOCKS = ("lots", "conditions", "bars")


def write_entries(text: str, entries: Iterable[RecordEntry], path: str | None = None) -> str:
    """The text of a trial's file with entries written into it; events find their place in time.

    Raises InputError when the text cannot be read, or its layout cannot be changed safely; its finding says what to
    write by hand.
    """
    for entry in entries:
        try:
            text = _write(text, entry, path)
        except CannotEdit as problem:
            what = f"the file's layout does not let `{entry.section}` be changed safely: {problem}"
            raise InputError([error("cannot-edit", what, f"write it by hand: {entry.said}", Place(path))]) from None
    return text


def _write(text: str, entry: RecordEntry, path: str | None) -> str:
    if entry.section in _LISTS and entry.removes:
        return _remove_earlier(text, entry, path)
    if entry.section in _LISTS:
        replaced = _replace_earlier(text, entry, path) if entry.replaces else None
        return replaced if replaced is not None else _add_item(text, entry, path)
    if entry.section == "portions":
        assert isinstance(entry.value, Sequence)
        return write_portions(text, [each for each in entry.value if isinstance(each, Mapping)], path)
    root = parse_root(text, path)
    edit = DocumentEdit(text)
    if entry.section in _BLOCKS:
        assert entry.key is not None
        _set_key(edit, root, entry.section, entry.key, entry.value)
    elif entry.section == "notes":
        _add_note(edit, root, str(entry.value))
    elif entry.section == "release":
        _add_decision(edit, root, entry.value)
    else:
        _set_section(edit, root, entry.section, entry.value)
    return edit.result()


def _block_for(root: Block, entry: RecordEntry) -> Block:
    """The block whose list the entry joins: the file, or one portion's."""
    if entry.section != "events" or entry.portion is None:
        return root
    portions = root.find("portions")
    names: list[str] = []
    if portions is not None and isinstance(portions.value, Listing):
        for item in portions.value.items:
            name = item.find("name") if isinstance(item, Block) else None
            if not isinstance(item, Block) or name is None:
                continue
            if _text(name.value) == entry.portion:
                return item
            names.append(_text(name.value) or "")
    do = suggest(entry.portion, names, f"portions here: {', '.join(names) or 'none, the batter stayed whole'}")
    raise InputError([error("unknown-portion", f"no portion is called {entry.portion[:40]!r}", do)])


def _find_earlier(root: Block, entry: RecordEntry) -> tuple[Field | None, list[int]]:
    """The list that the entry joins, and which of its items say the same by what it replaces."""
    parent = _block_for(root, entry).find(entry.section)
    if parent is None or not isinstance(parent.value, Listing) or not isinstance(entry.value, Mapping):
        return None, []
    wanted = {key: entry.value.get(key) for key in entry.replaces}
    return parent, [
        number
        for number, item in enumerate(parent.value.items)
        if isinstance(item, Block) and all(_is_same(item.find(key), value) for key, value in wanted.items())
    ]


def _remove_earlier(text: str, entry: RecordEntry, path: str | None) -> str:
    """The text without the earlier entry that says the same."""
    parent, same = _find_earlier(parse_root(text, path), entry)
    if parent is None or not same:
        raise CannotEdit("what is to be taken back is not found in it")
    edit = DocumentEdit(text)
    edit.change_listing(parent, drop=same)
    return edit.result()


def _replace_earlier(text: str, entry: RecordEntry, path: str | None) -> str | None:
    """The text with the entry in the place of the earlier one that says the same; None when there is none."""
    parent, same = _find_earlier(parse_root(text, path), entry)
    if parent is None or not same or not isinstance(parent.value, Listing):
        return None
    items = parent.value.items
    edit = DocumentEdit(text)
    only = items[same[0]]
    in_time = _item_seconds(only) == _seconds_of(entry)
    if len(same) == 1 and isinstance(only, Block) and only.flow and in_time:
        edit.replace_node(only, entry.value)  # on its own line, so that a comment beside it stays
        return edit.result()
    edit.change_listing(parent, drop=same)
    return _add_item(edit.result(), entry, path)


def _seconds_of(entry: RecordEntry) -> Decimal | None:
    """When an event or a handling was, in seconds; None for entries that have no time, or an unknown one."""
    at = entry.value.get("at") if isinstance(entry.value, Mapping) else None
    timed = entry.section in ("events", "after_pour")
    return _seconds(at) if timed and isinstance(at, str) else None


def _is_same(entry: Field | None, value: Value | None) -> bool:
    """Whether a key of an item says what the new entry says, amounts compared as amounts."""
    found = None if entry is None else _text(entry.value)
    if found is None or value is None:
        return found is None and value is None
    said = str(value)
    if found == said:
        return True
    try:
        one, other = parse_quantity(found, Kind.DURATION), parse_quantity(said, Kind.DURATION)
    except NotAQuantity:
        return False
    return one.to("s") == other.to("s")


def _add_item(text: str, entry: RecordEntry, path: str | None) -> str:
    root = parse_root(text, path)
    block = _block_for(root, entry)
    parent = block.find(entry.section)
    edit = DocumentEdit(text)
    if parent is None:
        if block.flow or block is not root:
            edit.change_block(block, add={entry.section: [entry.value]})
        else:
            edit.insert_section(block.entries[-1], entry.section, [entry.value])
    elif isinstance(parent.value, Scalar):
        edit.fill_empty(parent, [entry.value])
    elif isinstance(parent.value, Listing):
        if not parent.value.items and block.flow:
            edit.replace_node(parent.value, [entry.value])
        else:
            edit.insert_item(parent, _index(parent.value, entry), entry.value)
    else:
        raise CannotEdit(f"`{entry.section}` is not a list")
    return edit.result()


def _index(listing: Listing, entry: RecordEntry) -> int:
    """Where in the list the entry belongs: behind everything that was not later."""
    count = len(listing.items)
    moment = _seconds_of(entry)
    if moment is None:
        return count
    index = count
    while index:
        item = listing.items[index - 1]
        found = item.find("at") if isinstance(item, Block) else None
        before = None if found is None else _seconds(_text(found.value) or "")
        if before is not None and before <= moment:
            break
        index -= 1
    # Only entries of unknown time stand before it: they keep their place at the head of the list.
    if index == 0 and not any(_item_seconds(item) is not None for item in listing.items):
        return count
    return index


def _item_seconds(item: Node) -> Decimal | None:
    found = item.find("at") if isinstance(item, Block) else None
    return None if found is None else _seconds(_text(found.value) or "")


def _seconds(text: str) -> Decimal | None:
    try:
        return parse_elapsed(text).middle_s
    except NotAQuantity:
        return None


def _text(node: Node) -> str | None:
    return node.text if isinstance(node, Scalar) else None


def _set_key(edit: DocumentEdit, root: Block, section: str, key: str, value: Value) -> None:
    parent = root.find(section)
    if parent is None:
        edit.insert_section(root.entries[-1], section, {key: value})
        return
    if isinstance(parent.value, Scalar):
        edit.fill_empty(parent, {key: value})
        return
    if not isinstance(parent.value, Block):
        raise CannotEdit(f"`{section}` is not a block")
    entry = parent.value.find(key)
    if entry is None:
        edit.change_block(parent.value, add={key: value})
    elif isinstance(entry.value, Scalar) and entry.value.is_empty:
        if parent.value.flow:
            raise CannotEdit(f"`{key}` stands empty inside braces")
        edit.fill_empty(entry, value)
    else:
        edit.replace_node(entry.value, value)


def _set_section(edit: DocumentEdit, root: Block, section: str, value: Value) -> None:
    parent = root.find(section)
    if parent is None:
        edit.insert_section(root.entries[-1], section, value)
    elif isinstance(parent.value, Scalar) and parent.value.is_empty:
        edit.fill_empty(parent, value)
    elif isinstance(parent.value, Scalar) and isinstance(value, str):
        edit.replace_node(parent.value, value)
    else:
        edit.change_block(root, drop=[section], add={section: value})


def _add_decision(edit: DocumentEdit, root: Block, decision: Value) -> None:
    """Put a decision behind those that are there: one is a block, several are a list."""
    parent = root.find("release")
    if parent is None or not isinstance(parent.value, (Block, Listing)) or not isinstance(decision, Mapping):
        _set_section(edit, root, "release", decision)
    elif isinstance(parent.value, Listing):
        edit.insert_item(parent, len(parent.value.items), Inline(decision))
    else:
        edit.list_block(parent, Inline(decision))


def _add_note(edit: DocumentEdit, root: Block, note: str) -> None:
    parent = root.find("notes")
    if parent is None:
        edit.insert_section(root.entries[-1], "notes", note)
    elif not isinstance(parent.value, Scalar):
        raise CannotEdit("`notes` is not a text")
    elif parent.value.is_empty:
        edit.fill_empty(parent, note)
    else:
        before = parent.value.text.rstrip("\n")
        edit.change_block(root, drop=["notes"], add={"notes": f"{before}\n{note}"})
