"""A sitting in one command: each loaf of its own size, what they share right to the gram, what holds for several said
once."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from formulary import open_folder
from formulary.batch.size import Size
from tests.cli.conftest import BASE, Run
from tests.schemas import read_schema
from trials import open_bench
from trials.record.starting import Loaf

HARD = BASE.replace("name: Harbour base", "name: Quay").replace("olive-oil: 53", "olive-oil: 33\n  shea-butter: 20")


@pytest.fixture
def quay(home: Path) -> Path:
    (home / "recipes/quay.yaml").write_text(HARD, encoding="utf-8")
    return home


def grams_by_material(tree: dict[str, object]) -> dict[str, float]:
    """All that a sitting's JSON says to weigh, wherever it stands."""
    found: dict[str, float] = {}
    shared = [line for vessel in ("pot", "jug") if tree[vessel] for line in tree[vessel]["lines"]]  # type: ignore[index]
    for line in [*shared, *(line for own in tree["own"] for line in own)]:  # type: ignore[attr-defined]
        found[line["material"]] = found.get(line["material"], 0.0) + line["grams"]
    return found


@pytest.mark.usefixtures("quay")
def test_each_loaf_has_its_own_size_whatever_it_is_said_by(formulary: Run) -> None:
    loaves = [
        "harbour-base",
        "--oils",
        "1000g",
        "quay",
        "--mould",
        "25 x 8 x 7 cm",
        "quay",
        "--bars",
        "6",
        "--bar",
        "90g",
    ]
    ran = formulary("batch", *loaves, "--json")
    assert ran.status == 0
    batches = json.loads(ran.out)["batches"]
    alone = [
        ["harbour-base", "--oils", "1000g"],
        ["quay", "--mould", "25 x 8 x 7 cm"],
        ["quay", "--bars", "6", "--bar", "90g"],
    ]
    assert batches == [json.loads(formulary("batch", *each, "--json").out) for each in alone]
    assert (
        formulary("batch", "harbour-base", "quay", "quay", *loaves[1:3], *loaves[4:6], *loaves[7:], "--json").out
        == ran.out
    )


@pytest.mark.usefixtures("quay")
def test_the_shared_pot_and_jug_are_right_to_the_gram_when_sizes_differ(formulary: Run) -> None:
    ran = formulary(
        "batch", "harbour-base", "quay", "quay", "--oils", "1kg", "--oils", "333.3g", "--oils", "90g", "--json"
    )
    tree = json.loads(ran.out)
    wanted: dict[str, float] = {}
    for batch in tree["batches"]:
        for line in (*batch["oils"], *batch["lye"]):
            wanted[line["material"]] = wanted.get(line["material"], 0.0) + line["grams"]
        wanted["water"] = wanted.get("water", 0.0) + batch["water"]["weigh_grams"]
    assert grams_by_material(tree) == pytest.approx(wanted, abs=1e-6)
    lye = tree["jug"]
    (alkali_g,) = [line["grams"] for line in lye["lines"] if line["material"] == "sodium-hydroxide"]
    for batch, of_jug in zip(tree["batches"], lye["each_grams"], strict=True):
        assert of_jug * alkali_g / lye["total_grams"] == pytest.approx(batch["lye"][0]["grams"], abs=1e-6)


@pytest.mark.usefixtures("quay")
def test_what_is_printed_of_a_sitting_adds_up(formulary: Run) -> None:
    text = formulary("batch", "harbour-base", "quay", "--oils", "777g", "--oils", "333.3g").out
    jug = text[text.index("One jug") : text.index("One pot")]
    water, lye, together = (float(number) for number in re.findall(r"^  \S.*?\s([0-9.]+)", jug, re.MULTILINE))
    assert water + lye == pytest.approx(together)
    assert water == int(water)
    poured = [float(number) for number in re.findall(r"of the lye in the one jug +([0-9.]+)", text)]
    stays = float(match.group(1)) if (match := re.search(r"([0-9.]+) g stay in the jug", jug)) else 0.0
    assert sum(poured) + stays == pytest.approx(together)
    melted = [float(number) for number in re.findall(r"of the melted oils in the one pot +([0-9.]+)", text)]
    pot = text[text.index("One pot") : text.index("Loaf 1")]
    assert sum(melted) == pytest.approx(float(re.search(r"together +([0-9.]+)", pot).group(1)))  # type: ignore[union-attr]
    for loaf, oils_g in (("Loaf 1", 777), ("Loaf 2", 333)):
        part = text[text.index(loaf) :].partition("Superfat")[0]
        assert f"{oils_g} g of oils" in part
        in_pot = re.findall(r"^    \S.*?\s([0-9.]+)", part[part.index("In the pot") :], re.MULTILINE)
        assert sum(map(float, in_pot)) == pytest.approx(oils_g)


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["harbour-base", "quay", "quay", "--oils", "1kg", "--oils", "900g"], "3 recipes and 2 sizes"),
        (["harbour-base", "quay", "--oils", "1kg", "--oils", "900g", "--mould", "tall"], "2 recipes and 3 sizes"),
        (["harbour-base", "--oils", "1kg", "--oils", "900g"], "1 recipe and 2 sizes"),
        (["harbour-base", "quay", "quay", *["--bars", "6"] * 3, *["--bar", "90g"] * 2], "3 times and --bar twice"),
        (["harbour-base", "quay"], "a batch needs one size"),
    ],
)
@pytest.mark.usefixtures("quay")
def test_a_wrong_number_of_sizes_is_refused_with_what_to_write(formulary: Run, arguments: list[str], what: str) -> None:
    ran = formulary("batch", *arguments)
    assert ran.status == 2
    assert what in ran.err
    assert "do: " in ran.err
    assert ("--oils 1000g, --total 1500g" in ran.err) == ("a batch needs" in what)
    assert not ran.out


def test_the_json_of_a_sitting_follows_its_schema_also_while_a_loaf_is_stopped(formulary: Run, quay: Path) -> None:
    schema = read_schema("sitting")
    (quay / "recipes/strong.yaml").write_text(HARD.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    stronger = HARD.replace("lye_concentration: 33", "lye_concentration: 36")
    (quay / "recipes/stronger.yaml").write_text(stronger, encoding="utf-8")
    for recipes, status in (
        (["quay", "harbour-base"], 0),
        (["quay", "stronger"], 0),
        (["quay", "strong", "strong"], 1),
    ):
        ran = formulary("batch", *recipes, "--oils", "500g", "--json")
        assert ran.status == status
        jsonschema.validate(json.loads(ran.out), schema)
    told = formulary("batch", "quay", "strong", "strong", "--oils", "500g")
    assert told.status == 1
    assert told.out.count("[superfat-negative]") == 1
    assert "In the pot" not in told.out


@pytest.mark.usefixtures("quay")
def test_two_loaves_of_one_recipe_are_told_apart_and_what_holds_for_both_is_said_once(formulary: Run) -> None:
    text = formulary("batch", "quay", "quay", "--oils", "500g").out
    assert "Loaf 1: Quay" in text
    assert "Loaf 2: Quay" in text
    assert text.count("[assay-unknown]") == 1
    assert "both loaves: the assay" in text
    three = formulary("batch", "harbour-base", "quay", "harbour-base", *["--oils", "500g"]).out
    assert "Harbour base (loaves 1 and 3), Quay" in " ".join(three.split())


def test_a_warning_for_some_loaves_names_them(formulary: Run, quay: Path) -> None:
    scented = HARD + "scent:\n  - {material: peppermint-oil, rate: 1 % of oils}\n"
    (quay / "recipes/mint.yaml").write_text(scented, encoding="utf-8")
    text = " ".join(formulary("batch", "mint", "quay", "mint", "--oils", "500g").out.split())
    assert text.count("[scent-limit-unknown]") == 1
    assert "loaves 1 and 3: no limit is known for peppermint-oil" in text


def test_a_jug_too_small_for_all_loaves_together_is_warned_of(formulary: Run, quay: Path) -> None:
    settings = quay / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8") + "vessels: {jug: 1 l}\n", encoding="utf-8")
    assert "jug-small" not in formulary("batch", "quay", "--oils", "1000g").out
    assert "[jug-small]" in formulary("batch", "quay", "harbour-base", "--oils", "1000g").out
    tree = json.loads(formulary("batch", "quay", "harbour-base", "--oils", "1000g", "--json").out)
    assert [finding["code"] for finding in tree["findings"]] == ["jug-small"]


@pytest.mark.usefixtures("quay")
def test_a_lot_counts_in_the_loaves_that_hold_its_material_and_is_refused_when_none_does(formulary: Run) -> None:
    lot = ["--set", "saponification_value=170"]
    assert formulary("materials", "lot", "shea-butter", "SB-1", *lot).status == 0
    plain = json.loads(formulary("batch", "harbour-base", "quay", "--oils", "1kg", "--json").out)
    ran = formulary("batch", "harbour-base", "quay", "--oils", "1kg", "--lot", "shea-butter=SB-1", "--json")
    assert ran.status == 0
    tree = json.loads(ran.out)
    assert tree["batches"][0] == plain["batches"][0]
    assert tree["batches"][1]["lye"][0]["grams"] < plain["batches"][1]["lye"][0]["grams"]
    assert formulary("batch", "harbour-base", "quay", "--oils", "1kg", "--lot", "cocoa-butter=X").status == 2


# -- trials of a sitting --------------------------------------------------------------------------------


def trials(formulary: Run) -> list[dict[str, object]]:
    return json.loads(formulary("trial", "list", "--json").out)["trials"]  # type: ignore[no-any-return]


def shown(formulary: Run, trial: object) -> dict[str, Any]:
    return json.loads(formulary("trial", "show", str(trial), "--json").out)  # type: ignore[no-any-return]


def saves(home: Path) -> int:
    return int(subprocess.run(["git", "rev-list", "--count", "HEAD"], cwd=home, capture_output=True, text=True).stdout)


LOAVES = ("harbour-base", "--oils", "1000g", "quay", "--bars", "6", "--bar", "90g", "quay", "--mould-size", "1200 ml")


def test_the_trials_of_a_sitting_are_started_by_the_words_of_its_batch_in_one_save(formulary: Run, quay: Path) -> None:
    before = saves(quay)
    ran = formulary("trial", "start", *LOAVES, "--room", "19C", "--who", "Orla", "--lot", "olive-oil=OL-7")
    assert (ran.status, ran.err) == (0, "")
    assert saves(quay) == before + 1
    weights = formulary("batch", *LOAVES, "--lot", "olive-oil=OL-7").out.replace(" (not saved yet)", "")
    assert weights.strip() in ran.out.replace(" (not saved yet)", "")
    started = [shown(formulary, row["trial"]) for row in trials(formulary)]
    assert sorted(each["recipe"] for each in started) == ["harbour-base", "quay", "quay"]
    assert len({each["sitting"] for each in started}) == 1
    assert {each["conditions"]["room_c"] for each in started} == {19.0}
    assert {each["who"] for each in started} == {"Orla"}
    planned = json.loads(formulary("batch", *LOAVES, "--json").out)["batches"]
    wanted = sorted(sum(line["grams"] for line in batch["lye"]) for batch in planned)
    frozen = [[line["grams"] for line in each["planned"] if line["role"] == "alkali"] for each in started]
    assert sorted(sum(grams) for grams in frozen) == pytest.approx(wanted)
    assert all("OL-7" in json.dumps(each["lots"]) for each in started)
    one = str(trials(formulary)[0]["trial"])
    assert "3 loaves of the sitting" in formulary("trial", "event", one, "lye in", "--whole-sitting").out


def test_of_a_sitting_with_a_loaf_that_is_stopped_no_trial_is_started(formulary: Run, quay: Path) -> None:
    (quay / "recipes/none.yaml").write_text(HARD.replace("superfat: 5", "superfat: -1"), encoding="utf-8")
    before = saves(quay)
    for loaves in (("harbour-base", "none"), ("none", "harbour-base", "none")):
        ran = formulary("trial", "start", *loaves, "--oils", "500g")
        assert (ran.status, ran.out) == (1, "")
        assert "superfat-negative" in ran.err
    assert (saves(quay), trials(formulary)) == (before, [])


@pytest.mark.usefixtures("quay")
def test_each_loaf_of_a_sitting_has_its_own_mould_or_all_have_one(formulary: Run) -> None:
    pair = ("trial", "start", "harbour-base", "quay")
    moulds = ("--mould", "25 x 8 x 7 cm", "--mould", "1200 ml")
    assert formulary(*pair, *moulds).status == 0
    told = {row["recipe"]: shown(formulary, row["trial"]) for row in trials(formulary)}
    assert {slug: each["conditions"]["mould"] for slug, each in told.items()} == {
        "harbour-base": "25 x 8 x 7 cm",
        "quay": "1200 ml",
    }
    assert told["quay"]["size"] == {"mould": "1200 ml"}
    ran = formulary(*pair, *moulds, "--mould", "tall")
    assert (ran.status, "say --mould once for all" in ran.err) == (2, True)


@pytest.mark.usefixtures("quay")
def test_a_trial_that_joins_the_sitting_of_its_day_is_told_with_whom(formulary: Run) -> None:
    first = formulary("trial", "start", "harbour-base", "--oils", "500g")
    assert "In the sitting" not in first.out
    code = str(trials(formulary)[0]["trial"])[-4:]
    assert f"as {code}: --whole-sitting" in " ".join(formulary("trial", "start", "quay", "--oils", "500g").out.split())
    apart = formulary("trial", "start", "quay", "--oils", "500g", "--sitting", "evening")
    assert "In the sitting" not in apart.out


def test_the_library_starts_a_sitting_as_the_command_does(quay: Path) -> None:
    with open_folder(quay) as folder:
        bench = open_bench(folder)
        loaves = [
            Loaf(folder.find_version(slug), Size(oils="500 g"), mould)
            for slug, mould in (("quay", "tall"), ("quay", None))
        ]
        one, other = bench.start_sitting(loaves, conditions={"room": "19C"})
    assert one.sitting == other.sitting
    assert [str(each.conditions.room_c) for each in (one, other)] == ["19", "19"]
    assert (one.conditions.mould, other.conditions.mould) == ("tall", None)
