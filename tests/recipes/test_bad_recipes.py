"""A fault in a recipe is told with its place, what was found and what to write instead; all faults together."""

from __future__ import annotations

import re

import pytest

from formulary.finding import Finding
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import check_name, parse_recipe

MATERIALS = read_builtin_register()
LINES = """\
format: 1
name: Harbour base
oils:
  olive-oil: 45
  coconut-oil: 25
  rice-bran-oil: 22
  castor-oil: {percent: 8, at: trace}
lye:
  alkali: sodium-hydroxide
  superfat: 5
water:
  lye_concentration: 33
additions:
  - {material: rose-clay, rate: 2 % of oils, at: oils}
scent:
  - {material: clove-bud-oil, rate: 1.2 % of oils}
portions:
  - {name: plain, share: 50, gets: {clove-bud-oil: 0}}
  - {name: clove, share: 50, gets: {clove-bud-oil: 100}}
process: {lye_temperature: 38 °C, cover: insulated, cure: 5 weeks}
notes: free text
"""


def found(text: str) -> tuple[Finding, ...]:
    recipe, findings = parse_recipe(text, "harbour-base", "recipes/harbour-base.yaml", materials=MATERIALS)
    assert (recipe is None) == bool(findings)
    return findings


def test_a_value_that_touches_its_colon_between_braces_is_told_to_have_a_space() -> None:
    text = LINES.replace("water:\n  lye_concentration: 33", "water: {lye_concentration:33}")
    told = {finding.code: finding.do for finding in found(text)}
    assert told["unknown-key"] == "put a space behind the colon: `lye_concentration: 33`"


def test_the_recipe_that_these_tests_break_is_sound() -> None:
    assert found(LINES) == ()


@pytest.mark.parametrize(
    ("before", "after", "code", "line", "column", "what", "do"),
    [
        # the total
        ("olive-oil: 45", "olive-oil: 44.5", "oils-total", 7, 25, "99.5 %, not 100", "raise an oil by 0.5 %"),
        ("olive-oil: 45", "olive-oil: 46", "oils-total", 7, 25, "101 %, not 100", "lower an oil by 1 %"),
        ("olive-oil: 45", "olive-oil: 44.99", "oils-total", 7, 25, "99.99 %", "castor-oil: 8.01"),
        ("olive-oil: 45", "olive-oil: -45", "out-of-bounds", 4, 14, "outside 0 to 100", "correct it"),
        ("olive-oil: 45", "olive-oil: 450", "out-of-bounds", 4, 14, "outside 0 to 100", "--from-weights"),
        ("olive-oil: 45", "olive-oil: 450 g", "bad-value", 4, 14, "is a weight", "--from-weights"),
        ("olive-oil: 45", "olive-oil: 1.5 lb", "bad-value", 4, 14, "is a weight", "--from-weights"),
        ("olive-oil: 45", "olive-oil: nan", "bad-value", 4, 14, "not a number", "plain digits"),
        ("olive-oil: 45", "olive-oil: 45,0", "bad-value", 4, 14, "not a number", "45.0"),
        ("olive-oil: 45", "olive-oil:", "empty-value", 4, 13, "no percentage", "write one"),
        ("percent: 8", "percent: 8 g", "bad-value", 7, 25, "not a number", "plain digits"),
        # names
        ("  olive-oil", "  olive_oil", "bad-name", 4, 3, "not a material's name", "hyphens"),
        ("  olive-oil", "  olve-oil", "unknown-material", 4, 3, "olve-oil", "did you mean olive-oil"),
        ("sodium-hydroxide", "caustic", "unknown-material", 9, 11, "caustic", "formulary materials add caustic"),
        ("rose-clay", "rose clay", "bad-name", 14, 16, "rose clay", "hyphens"),
        # keys
        ("  coconut-oil", "  olive-oil", "duplicate-key", 5, 3, "twice; the first is on line 4", "keep one"),
        ("notes:", "purpose: face", "not-a-choice", 21, 10, "skin, household", "write one of"),
        ("notes:", "note:", "unknown-key", 21, 1, "`note` is not a key", "did you mean notes"),
        ("superfat:", "super_fat:", "unknown-key", 10, 3, "super_fat", "did you mean superfat"),
        ("name: Harbour base\n", "", "missing-key", 1, 1, "`name` is missing", "add a line"),
        ("  superfat: 5\n", "", "missing-key", 9, 3, "`superfat` is missing", "add a line such as `superfat: 5`"),
        ("format: 1", "format: 2", "format-newer", 1, 9, "newer formulary", "newer version"),
        ("format: 1", "format: 0", "format-unknown", 1, 9, "no format 0", "format: 1"),
        ("format: 1", "format: one", "bad-value", 1, 9, "not a number", "plain digits"),
        # lye and water
        ("superfat: 5", "superfat: 60", "out-of-bounds", 10, 13, "outside -100 to 50", "from -100 to 50"),
        ("superfat: 5", "superfat: 0.05", "fraction", 10, 13, "looks like a fraction", "write 5"),
        ("superfat: 5", "superfat: 5 g", "bad-value", 10, 13, "not a number", "plain digits"),
        ("lye_concentration: 33", "lye_concentration: 0.33", "fraction", 12, 22, "looks like a fraction", "write 33"),
        ("lye_concentration: 33", "lye_concentration: 95", "out-of-bounds", 12, 22, "outside 1 to 70", "1 to 70"),
        ("lye_concentration: 33", "water_to_lye: 2 to 1", "bad-value", 12, 17, "not a number", "plain digits"),
        ("lye_concentration: 33", "ratio: 2", "water-rule", 12, 3, "none", "keep exactly one"),
        ("33\n", "33\n  water_to_lye: 2\n", "water-rule", 12, 3, "lye_concentration and water_to_lye", "exactly one"),
        # rates
        ("rate: 2 % of oils", "rate: 2 %", "bad-value", 14, 33, "does not say of what", "8 % of oils"),
        ("rate: 2 % of oils", "rate: 2", "bad-value", 14, 33, "not a rate", "8 % of oils"),
        ("rate: 2 % of oils", "rate: -2 % of oils", "bad-value", 14, 33, "below zero", "0 or more"),
        ("rate: 2 % of oils", "rate: 200 % of oils", "out-of-bounds", 14, 33, "more than all", "0 to 100"),
        ("rate: 2 % of oils", "rate: 2 cm per kg oils", "bad-value", 14, 33, "not a unit for a rate", "8 % of oils"),
        ("1.2 % of oils}", "1 tsp per kg oils}", "volume-refused", 16, 37, "by volume", "weigh it"),
        ("at: oils}", "at: noon}", "not-a-choice", 14, 50, "noon", "lye water, oils, trace, top"),
        (", at: oils}", "}", "missing-key", 14, 5, "`at` is missing", "at: trace"),
        ("at: oils}\n", "at: oils}\n  - {material: rose-clay, rate: 1 % of oils, at: oils}\n",
         "duplicate-line", 15, 16, "twice", "one line"),
        # portions
        ("share: 50, gets: {clove-bud-oil: 0}", "share: 40, gets: {clove-bud-oil: 0}",
         "portions-total", 18, 3, "90 %, not 100", "total 100"),
        ("clove-bud-oil: 100", "clove-bud-oil: 90", "portions-gets", 19, 52, "90 %", "each portion"),
        ("gets: {clove-bud-oil: 0}", "gets: {clove-oil: 0}", "unknown-line", 18, 37, "clove-oil", "did you mean"),
        ("gets: {clove-bud-oil: 100}", "gets: {mica: 100}", "unknown-line", 19, 37, "mica",
         "lines that can be divided: clove-bud-oil"),
        ("gets: {clove-bud-oil: 100}", "gets: [clove-bud-oil]", "wrong-shape", 19, 36, "which lines",
         "gets: {clove-bud-oil: 100}"),
        ("clove-bud-oil: 100", "clove-bud-oil: all", "bad-value", 19, 52, "'all' is no percentage",
         "how much of all the clove-bud-oil goes in here"),
        ("clove-bud-oil: 100", "clove-bud-oil: '99,5'", "bad-value", 19, 52, "no percentage", "99.5"),
        ("clove-bud-oil: 100", "clove-bud-oil: 101", "out-of-bounds", 19, 52, "101 %", "clove-bud-oil: 100"),
        ("name: plain", "name: clove", "duplicate-line", 19, None, "two portions", "rename"),
        # By that name the checks know the batter that is not divided, and would pass the portion over.
        ("name: plain", "name: whole", "reserved-name", 18, 12, "cannot be called `whole`", "another name"),
        ("share: 50, gets: {clove-bud-oil: 0}", "share: 0, gets: {clove-bud-oil: 0}",
         "out-of-bounds", 18, 26, "more than nothing", "larger"),
        # process
        ("38 °C", "38", "bad-value", 20, 28, "no unit", "38 °C"),
        ("38 °C", "38 g", "bad-value", 20, 28, "mass, not a temperature", "38 °C"),
        ("insulated", "blanket", "not-a-choice", 20, 42, "blanket", "open, covered, insulated"),
        # shapes
        ("notes: free text", "notes: [a, b]", "wrong-shape", 21, 8, "several values", "one value"),
        ("oils:\n  olive-oil: 45\n", "oils: [olive-oil]\nx:\n  olive-oil: 45\n",
         "wrong-shape", 3, 7, "block", "name: value"),
        ("scent:\n  - {material: clove-bud-oil, rate: 1.2 % of oils}", "scent: clove",
         "wrong-shape", 15, 8, "list", "- "),
        ("lye:\n  alkali: sodium-hydroxide\n  superfat: 5", "lye: 5", "wrong-shape", 8, 6, "block", "key: value"),
    ],
)  # fmt: skip
def test_each_fault_is_told_where_it_stands_with_what_to_write(
    before: str, after: str, code: str, line: int, column: int | None, what: str, do: str
) -> None:
    assert before in LINES
    findings = found(LINES.replace(before, after, 1))
    matching = [finding for finding in findings if finding.code == code]
    assert matching, [str(finding) for finding in findings]
    finding = matching[0]
    assert finding.place.path == "recipes/harbour-base.yaml"
    assert finding.place.line == line
    assert column is None or finding.place.column == column
    assert what in finding.what
    assert do in finding.do


def test_fractions_for_percentages_are_recognised_by_their_total() -> None:
    text = LINES.replace("45", "0.45").replace("25", "0.25").replace("22", "0.22")
    (finding,) = found(text.replace("percent: 8", "percent: 0.08"))
    assert finding.code == "oils-total"
    assert "fractions" in finding.what
    assert finding.do == "multiply each by 100"


def test_three_thirds_are_told_how_to_total_100() -> None:
    text = "format: 1\nname: x\noils: {olive-oil: 33.33, coconut-oil: 33.33, castor-oil: 33.33}\n"
    findings = found(text + "lye: {alkali: sodium-hydroxide, superfat: 5}\nwater: {lye_concentration: 33}\n")
    assert "castor-oil: 33.34" in findings[0].do


def test_two_alkalis_need_a_basis_and_shares_of_100() -> None:
    pair = "{by: mass, sodium-hydroxide: 95, potassium-hydroxide: 5}"
    assert found(LINES.replace("alkali: sodium-hydroxide", f"alkali: {pair}")) == ()
    for wrong, code in [("by: mass, ", "missing-key"), (": 95", "alkali-total"), ("by: mass", "not-a-choice")]:
        broken = {"missing-key": "", "alkali-total": ": 90", "not-a-choice": "by: weight"}[code]
        findings = found(LINES.replace("alkali: sodium-hydroxide", f"alkali: {pair.replace(wrong, broken)}"))
        assert code in [finding.code for finding in findings]


def test_two_alkalis_without_a_basis_are_told_which_there_are() -> None:
    pair = "{sodium-hydroxide: 95, potassium-hydroxide: 5}"
    (finding,) = found(LINES.replace("alkali: sodium-hydroxide", f"alkali: {pair}"))
    assert "by mass or by moles" in finding.what
    assert "`by: mass`" in finding.do
    assert "`by: moles`" in finding.do


@pytest.mark.parametrize("key", ["format", "oils", "lye", "water"])
def test_the_line_that_is_told_for_one_that_is_missing_can_stand_there(key: str) -> None:
    lines = [
        "format: 1",
        "name: B",
        "oils: {olive-oil: 60, palm-oil: 40}",
        "lye: {alkali: sodium-hydroxide, superfat: 4}",
        "water: {water_to_lye: 2}",
    ]
    left = [line for line in lines if not line.startswith(f"{key}:")]
    (finding,) = found("\n".join(left))
    assert (finding.code, len(left)) == ("missing-key", 4)
    (line,) = re.findall(r"`(.+)`", finding.do)
    assert found("\n".join([*left, line])) == ()


def test_all_faults_of_a_file_are_told_at_once() -> None:
    text = LINES.replace("superfat: 5", "superfat: five").replace("38 °C", "38").replace("notes:", "note:")
    findings = found(text.replace("rose-clay", "rose-cly").replace("percent: 8", "percent: 9"))
    assert {finding.code for finding in findings} == {"oils-total", "bad-value", "unknown-material", "unknown-key"}
    assert len(findings) == 5


def test_a_finding_prints_so_that_an_editor_can_jump_to_it() -> None:
    (finding,) = found(LINES.replace("rice-bran-oil: 22", "rice-bran-oil: 20.5"))
    assert str(finding) == (
        "recipes/harbour-base.yaml:7:25: error: the oils total 98.5 %, not 100 %  [oils-total]\n"
        "    oils, castor-oil: 8\n"
        "    do: raise an oil by 1.5 %"
    )


def test_without_a_register_names_are_not_checked() -> None:
    recipe, findings = parse_recipe(LINES.replace("rose-clay", "moon-dust"), "harbour-base")
    assert findings == ()
    assert recipe is not None


def test_every_line_of_a_recipe_knows_where_it_stands() -> None:
    recipe, _ = parse_recipe(LINES, "harbour-base", "recipes/harbour-base.yaml")
    assert recipe is not None
    lines = LINES.splitlines()
    for parts, text in [
        (("oils", "olive-oil"), "45"),
        (("lye", "superfat"), "5"),
        (("water", "lye_concentration"), "33"),
        (("additions", "rose-clay", "oils"), "2 % of oils"),
        (("scent", "clove-bud-oil", "trace"), "1.2 % of oils"),
        (("process", "cover"), "insulated"),
        (("portions", "clove"), "50"),
    ]:
        place = recipe.place(*parts)
        assert place.line is not None
        assert place.column is not None
        assert lines[place.line - 1][place.column - 1 :].startswith(text)


@pytest.mark.parametrize("name", ["a/b", "..", "-x", "x-", "A", "a b", "", "a--b", "é", "x" * 61, ".git", "con.yaml"])
def test_a_name_that_no_file_should_have_is_refused(name: str) -> None:
    finding = check_name(name)
    assert finding is not None
    assert finding.code == "bad-name"


@pytest.mark.parametrize("name", ["a", "midwinter-clove", "bar-2", "7-herbs"])
def test_plain_names_are_fine(name: str) -> None:
    assert check_name(name) is None


def test_several_faults_in_portions_are_each_told_where_they_stand() -> None:
    text = LINES.replace("gets: {clove-bud-oil: 0}", "gets: {mica: 20}").replace("{clove-bud-oil: 100}", "{clay: all}")
    assert [(finding.code, finding.place.line, finding.place.field) for finding in found(text)] == [
        ("unknown-line", 18, "portions, plain, gets, mica"),
        ("unknown-line", 19, "portions, clove, gets, clay"),
    ]


def test_a_line_that_goes_in_before_the_batter_is_divided_is_not_offered() -> None:
    for wrong in ("rose-clays", "something"):
        (finding,) = found(LINES.replace("gets: {clove-bud-oil: 0}", f"gets: {{clove-bud-oil: 0, {wrong}: 0}}"))
        assert "rose-clay" not in finding.do


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [
        ("rate: 1.2 % of oils", "rate: 1.2", "bad-value"),
        ("rate: 1.2 % of oils", "rate: 1 tsp per kg oils", "volume-refused"),
        ("material: clove-bud-oil", "material: Clove bud oil", "bad-name"),
        ("clove-bud-oil", "clove-budd-oil", "unknown-material"),
    ],
)
def test_a_line_with_a_fault_is_told_once_and_not_for_each_portion_that_gets_some(
    before: str, after: str, code: str
) -> None:
    assert [finding.code for finding in found(LINES.replace(before, after))] == [code]


def test_a_portion_that_is_called_in_plain_words_is_told_how_that_is_written() -> None:
    (finding,) = found(LINES.replace("name: clove", "name: Clove half"))
    assert finding.do == "write lower-case words joined by hyphens: clove-half"
