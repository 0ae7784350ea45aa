"""New material files and new lots: what is written reads back, and nothing else in a file changes."""

from __future__ import annotations

import re
from datetime import date

import pytest

from formulary.errors import InputError
from formulary.materials.model import Material, MaterialKind, ValueRange
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.materials.write import add_lot, render_new_material

BUILTIN = read_builtin_register()
TEXTS = {"inci", "group", "alkali", "allergens", "origin", "carrier"}


def parsed(text: str) -> Material:
    material, findings = parse_material(text, "materials/thing.yaml", "thing")
    assert material is not None, [str(finding) for finding in findings]
    assert findings == ()
    return material


def hints(text: str) -> list[str]:
    """The lines of a new file that wait to be filled in, without their #."""
    return [line[2:] for line in text.splitlines() if re.match(r"# [a-z_]+:", line)]


def filled_in(text: str, lines: list[str]) -> str:
    return "\n".join([*(line for line in text.splitlines() if not line.startswith("#")), *lines]) + "\n"


@pytest.mark.parametrize("kind", MaterialKind)
def test_a_new_file_reads_and_a_line_that_nobody_filled_in_is_told(kind: MaterialKind) -> None:
    values = {"alkali": "potassium-hydroxide"} if kind is MaterialKind.ALKALI else {}
    text = render_new_material("thing", "A thing", kind, values)
    material = parsed(text)
    assert (material.name, material.kind) == ("A thing", kind)
    assert len(hints(text)) > 3
    for line in hints(text):
        key, _, rest = line.partition(":")
        assert rest.lstrip().startswith("#"), line  # no value of whatever material stands there to be taken over
        _, findings = parse_material(filled_in(text, [line]), "materials/thing.yaml", "thing")
        assert ("empty-value", key) in [(fault.code, fault.place.field) for fault in findings]


@pytest.mark.parametrize("slug", sorted(read_builtin_register()))
def test_taking_over_what_stands_in_the_comments_of_a_builtin_changes_nothing(slug: str) -> None:
    builtin = read_builtin_register()[slug]
    text = render_new_material(slug, builtin.name, builtin.kind, builtin=builtin)
    known = [line for line in hints(text) if "as it is built in" in line]
    material, findings = parse_material(filled_in(text, known), f"materials/{slug}.yaml", slug)
    assert material is not None, [str(finding) for finding in findings]
    assert findings == ()
    taken = read_builtin_register().combined_with([material])[slug]
    for attribute in {name.removeprefix("reference_") for name in material.stated}:
        before, after = getattr(builtin, attribute), getattr(taken, attribute)
        if attribute == "assay_percent":
            before, after = before.working, after.working
        if isinstance(before, ValueRange):
            before, after = ((value.low, value.working, value.high) for value in (before, after))
        assert after == (pytest.approx(before, abs=0.0051) if attribute not in TEXTS else before), attribute
    assert len(material.stated - {"name"}) >= len(known) - 1


def test_a_builtin_oil_has_its_own_values_in_its_file_and_no_other_oils() -> None:
    text = render_new_material("shea-butter", "Shea butter", MaterialKind.OIL, builtin=BUILTIN["shea-butter"])
    assert "OLEA EUROPAEA" not in text
    assert BUILTIN["shea-butter"].inci in text


def test_what_is_of_another_kind_than_the_builtin_takes_nothing_of_it() -> None:
    text = render_new_material("olive-oil", "Olive", MaterialKind.ADDITIVE, builtin=BUILTIN["olive-oil"])
    assert "stays as it is built in" not in text
    assert "as it is built in" not in "".join(hints(text))


def test_what_is_known_is_stated_and_no_hint_any_more() -> None:
    limit = {"percent_of_product": "2.9", "certificate": "2026-02-11", "edition": "51"}
    text = render_new_material(
        "thing", "Lavender: 40/42", MaterialKind.FRAGRANCE, {"limit": limit, "price": "9 per 10 ml"}
    )
    material = parsed(text)
    assert material.name == "Lavender: 40/42"
    assert material.limit is not None
    assert (material.limit.percent_of_product, material.limit.edition) == (2.9, "51")
    assert "# limit:" not in text
    assert "# contains" in text


def test_a_name_over_two_lines_stays_in_its_comment() -> None:
    assert parsed(render_new_material("thing", "two\nlines", MaterialKind.OIL)).name == "two\nlines"


def test_a_file_over_a_builtin_says_so() -> None:
    text = render_new_material("olive-oil", "Olive", MaterialKind.OIL, builtin=BUILTIN["olive-oil"])
    assert "stays as it is built in" in text


@pytest.mark.parametrize("values", [{"density": "0.92"}, {"colour": "green"}, {"saponification_value": "0.134"}])
def test_a_value_that_cannot_stand_is_refused_with_its_findings(values: dict[str, str]) -> None:
    with pytest.raises(InputError) as caught:
        render_new_material("thing", "Oil", MaterialKind.OIL, values)
    assert caught.value.findings


OIL = "format: 1  # mine\nname:   Oil\nkind: oil\n# the end\n"


@pytest.mark.parametrize(
    "before",
    [
        OIL,
        OIL.rstrip("\n"),
        OIL.replace("\n", "\r\n"),
        OIL + "lots:\n",
        OIL + "lots: {}\n",
        OIL + 'lots:\n  "A": {received: 2026-01-02}   # first\nprice: 9 per kg\n',
        OIL + 'lots: {"A": {received: 2026-01-02}}\n',
    ],
)
def test_a_lot_is_added_and_nothing_else_changes(before: str) -> None:
    after = add_lot(before, "thing", "00123", {"received": "2026-08-02", "best_before": "2028-02", "price": "8 per kg"})
    lot = parsed(after).lots["00123"]
    assert (lot.received, lot.best_before) == (date(2026, 8, 2), date(2028, 2, 29))
    assert str(lot.overrides["price"]) == "8 per 1 kg"
    kept = [line for line in before.splitlines() if not line.startswith("lots")]
    assert [line for line in after.splitlines() if line in kept] == kept
    more = add_lot(after, "thing", "1e5", {"saponification_value": "188.4"})
    assert set(parsed(more).lots) >= {"00123", "1e5"}


def test_the_first_lot_stands_below_the_hints() -> None:
    text = add_lot(render_new_material("thing", "A thing", MaterialKind.OIL), "thing", "1.10", {"price": "8 per kg"})
    assert text.splitlines()[-2:] == ["lots:", '  "1.10": {price: 8 per kg}']


def test_a_lot_that_is_known_or_cannot_be_is_refused() -> None:
    text = OIL + 'lots:\n  "A": {received: 2026-01-02}\n'
    with pytest.raises(InputError, match="known already"):
        add_lot(text, "thing", "A", {})
    with pytest.raises(InputError, match="not a date"):
        add_lot(text, "thing", "B", {"received": "yesterday"})
    with pytest.raises(InputError):
        add_lot("a: [", "thing", "B", {})
