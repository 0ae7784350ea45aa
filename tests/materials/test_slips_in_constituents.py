"""A constituent whose name reads like one with a limit is asked about; one that is known, or meant, is not."""

from __future__ import annotations

import pytest

from formulary.chemistry.constituents import CONSTITUENT_LIMITS, PHENOLS
from formulary.finding import Severity
from formulary.materials.constituent_names import find_slips
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN

SINGLED_OUT = (*(name for limit in CONSTITUENT_LIMITS for name in limit.names), *PHENOLS)
# Names of constituents of essential oils that are their own (general chemistry of perfumery, from memory); among them
# are those of Annex III of Regulation (EC) No 1223/2009 that read most like one that is looked for.
OTHERS = (
    "alpha-pinene amyl_cinnamal anethole anise_alcohol benzaldehyde benzyl_alcohol benzyl_benzoate camphor"
    " carveol carvone caryophyllene cinnamal cinnamyl_alcohol citral citronellol citronellyl_acetate coumarin"
    " cymene 1,8-cineole"
    " dihydrocarvone estragole ethyl_cinnamate eugenyl_acetate farnesol fenchone geranial geraniol geranyl_acetate"
    " hydroxycitronellal isoeugenyl_acetate isomenthone limonene linalool linalyl_acetate menthol menthone"
    " methyl_isoeugenol methyl_salicylate myrcene neral nerol pulegone safrole sabinene terpinene terpineol thujone"
    " thymyl_methyl_ether lavender_extracts"
)


def slips(contains: str, limits: str = "") -> list[tuple[str, str]]:
    given = [[name.replace("_", " ") for name in text.split()] for text in (contains, limits)]
    return [tuple(slip) for slip in find_slips(*given)]  # type: ignore[misc]


@pytest.mark.parametrize("name", SINGLED_OUT)
def test_a_letter_too_many_too_few_or_another_is_asked_about(name: str) -> None:
    for place in range(1, len(name)):
        left_out = name[:place] + name[place + 1 :]
        twice = name[:place] + name[place] + name[place:]
        other = name[:place] + "x" + name[place + 1 :]
        for written in {left_out, twice, other} - {name}:
            found = list(find_slips([written], []))
            assert [slip.written for slip in found] == [written], written
            assert found[0].meant in SINGLED_OUT


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("eugenole", "eugenol"),
        ("methyleugenol", "methyl eugenol"),
        ("methyl-eugenol", "methyl eugenol"),
        ("oakmoss", "oakmoss extracts"),
        ("oakmoss_absolute", "oakmoss extracts"),
        ("tree_moss_extract", "treemoss extracts"),
    ],
)
def test_what_is_written_otherwise_is_asked_about(written: str, meant: str) -> None:
    assert slips(written) == [(written.replace("_", " "), meant)]


def test_what_is_known_or_a_name_of_its_own_is_not_doubted() -> None:
    assert slips(OTHERS) == []
    assert list(find_slips(SINGLED_OUT, [])) == []


def test_a_limit_of_the_maker_is_looked_for_by_its_name_too() -> None:
    assert slips("linalol", "linalool") == [("linalol", "linalool")]
    assert slips("eugenol", "eugenole") == [("eugenole", "eugenol")]
    assert slips("eugenole", "eugenole") == []  # meant: it has its own limit
    assert slips("geraniol geranial", "geraniol") == []


def test_no_built_in_material_is_doubted() -> None:
    for material in read_builtin_register().values():
        assert list(find_slips(material.contains, material.limits)) == []


def test_it_is_told_of_the_file_of_a_lot_and_where_it_is_weighed() -> None:
    head = "format: 1\nname: Invented scent\nkind: fragrance\ninci: PARFUM\n"
    for more, line in (
        ("contains: {eugenole: 82}\n", 5),
        ('lots:\n  "A1":\n    contains: {eugenole: 82}\n', 7),
        ('limits: {linalool: 2}\nlots:\n  "A1":\n    contains: {linalol: 82}\n', 8),
    ):
        material, findings = parse_material(head + more, "materials/one.yaml", "one")
        assert material is not None
        (doubt,) = [finding for finding in findings if finding.code == "constituent-doubted"]
        assert (doubt.severity, doubt.place.line) == (Severity.WARN, line)
    recipe = PLAIN + "scent:\n  - {material: one, rate: 1 % of oils, at: trace}\n"
    materials = {"one": head + "water: 0 %\nlimit: {percent_of_product: 3}\ncontains: {methyleugenol: 2}\n"}
    weighed = [each for each in Kitchen(recipe, materials=materials).find() if each.code == "constituent-doubted"]
    assert any("is it methyl eugenol" in each.what and each.place.field != "contains" for each in weighed)
