"""Any bytes give findings with a place, never an exception, and never a tree that means something else."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formulary.document.parse import MAX_BYTES, MAX_DEPTH, MAX_SCALAR, parse_document
from formulary.recipes.read import parse_recipe
from formulary.settings import parse_settings

RECIPE = """\
format: 1
name: Harbour base
oils: {olive-oil: 60, coconut-oil: 40}
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
"""


@pytest.mark.parametrize(
    ("data", "code", "line"),
    [
        (b"", "file-empty", 1),
        (b"# only a comment\n", "file-empty", 1),
        (b"~\n", "file-empty", 1),
        (b"just words\n", "file-shape", 1),
        (b"- a\n- b\n", "file-shape", 1),
        (b"a: 1\nb: caf\xe9\n", "file-not-utf8", 2),
        (b"\xff\xfea\x00:\x00", "file-not-utf8", 1),
        (b"a: 1\nb: \x00\n", "yaml-character", 2),
        (b"a: 1\nb: \x1b[2J\n", "yaml-character", 2),
        ("a: 1\nb: x\u2028y\n".encode(), "yaml-character", 2),
        ("a: 1\nb: '\u0085'\n".encode(), "yaml-character", 2),
        (b"a: 1\na: 2\n", "duplicate-key", 2),
        (b"a: {x: 1, x: 2}\n", "duplicate-key", 1),
        (b"a:\n\tb: 1\n", "yaml-tab", 2),
        (b"a: 1\t# c\n", "yaml-tab", 1),
        (b"a: &x 1\n", "yaml-anchor", 1),
        (b"a: 1\nb: *x\n", "yaml-alias", 2),
        (b"a: &x [1]\nb: *x\n", "yaml-anchor", 1),
        (b"a: !!python/object/apply:os.system [ls]\n", "yaml-tag", 1),
        (b"a: !thing b\n", "yaml-tag", 1),
        (b"a: !!str 1\n", "yaml-tag", 1),
        (b"<<: {a: 1}\n", "yaml-merge-key", 1),
        (b"%YAML 1.1\n---\na: no\n", "yaml-directive", 1),
        (b"\n# c\n%TAG ! tag:x,2000:\n---\na: 1\n", "yaml-directive", 3),
        (b"a: 1\n---\nb: 2\n", "yaml-documents", 2),
        (b"[a]: 1\n", "yaml-key", 1),
        (b"a: 1\n~: 2\n", "yaml-key", 2),
        (b"? {a: b}\n: 1\n", "yaml-key", 1),
        (b"a: [1, 2\n", "yaml-syntax", 2),
        (b"a: 'x\n", "yaml-syntax", 2),
        (b"a: b: c\n", "yaml-syntax", 1),
        (b"a: @x\n", "yaml-syntax", 1),
        (b"a:\n  - b\n c\n", "yaml-syntax", 3),
        (b"a: " + b"[" * (MAX_DEPTH + 1) + b"]" * (MAX_DEPTH + 1), "yaml-depth", 1),
        (b"a: " + b"{a: " * 50_000, "yaml-depth", 1),
        (b"a: " + b"x" * (MAX_SCALAR + 1), "yaml-scalar", 1),
        (b"a: 1\n" * (MAX_BYTES // 5 + 1), "file-too-large", None),
    ],
)
def test_each_trick_is_refused_by_name_where_it_stands(data: bytes, code: str, line: int | None) -> None:
    root, findings = parse_document(data, "recipes/x.yaml")
    assert root is None
    assert findings[0].code == code
    assert findings[0].place.path == "recipes/x.yaml"
    assert findings[0].place.line == line
    assert findings[0].what
    assert findings[0].do


@pytest.mark.parametrize(
    ("text", "line", "column", "do"),
    [
        ("conditions:\n  room:61F\n  cover: open\n", 2, 3, "write `room: 61F`"),
        ("oils:\n  olive-oil: 75\n  coconut-oil:25\n\nlye: {superfat: 5}\n", 3, 3, "write `coconut-oil: 25`"),
        ("events:\n  - at:4:10\n    what: poured\n", 2, 5, "write `at: 4:10`"),
        ("a: 1\nname:Bar  # mine\nb: 2\n", 2, 1, "write `name: Bar  # mine`"),
    ],
)
def test_a_value_that_touches_its_colon_is_told_where_it_stands(text: str, line: int, column: int, do: str) -> None:
    root, (finding,) = parse_document(text.encode(), "x.yaml")
    assert root is None
    assert (finding.code, finding.place.line, finding.place.column) == ("yaml-syntax", line, column)
    assert finding.do == do


def test_an_address_or_a_time_near_a_fault_is_no_key() -> None:
    _, (finding,) = parse_document(b"see https://x.example: [1\n  10:30\n", "x.yaml")
    assert "no space" not in finding.what


def test_an_alias_bomb_is_refused_before_it_is_walked() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]
    root, findings = parse_document("\n".join(lines))
    assert root is None
    assert [finding.code for finding in findings] == ["yaml-anchor"]


def test_deep_nesting_up_to_the_bound_is_read() -> None:
    depth = MAX_DEPTH - 1
    root, findings = parse_document("a: " + "[" * depth + "]" * depth)
    assert findings == ()
    assert root is not None


@given(st.binary(max_size=200))
@example(b"\xed\xa0\x80: 1")
@example(b"format: \xc3\xa9")
def test_any_bytes_give_a_tree_or_findings(data: bytes) -> None:
    for read in (parse_document, lambda data: parse_recipe(data, "x"), lambda data: parse_settings(data)):
        result, findings = read(data)
        assert result is not None or findings


@given(st.text(max_size=300))
@example("\ud800: 1")
def test_any_text_gives_a_tree_or_findings(text: str) -> None:
    result, findings = parse_recipe(text, "x")
    assert result is not None or findings


@given(st.integers(0, len(RECIPE) - 1), st.integers(1, 12), st.text(max_size=12))
def test_a_recipe_with_any_stretch_replaced_gives_a_recipe_or_findings(start: int, length: int, new: str) -> None:
    text = RECIPE[:start] + new + RECIPE[start + length :]
    recipe, findings = parse_recipe(text, "x", "recipes/x.yaml")
    assert recipe is not None or findings
    for finding in findings:
        assert finding.place.path == "recipes/x.yaml"
        assert finding.do
