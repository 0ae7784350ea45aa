"""What a newcomer types in their own way is told back as it is written here; what a command did, it says."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from formulary.store import index
from tests.cli.conftest import BASE, Run


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("weight", "told"),
    [
        ("olive oil 405 g", 'write "olive-oil 405 g"'),
        ("Olive Oil 405 g", 'write "olive-oil 405 g"'),
        ("shea 100 g", "did you mean shea-butter"),
        ("castor 100 g", "did you mean castor-oil"),
        ("olive-oil 1 lb 2 oz", "use one unit"),
    ],
)
def test_a_weight_in_a_persons_own_words_is_told_as_it_is_written(weight: str, told: str, formulary: Run) -> None:
    ran = formulary("new", "mine", "--from-weights", weight)
    assert ran.status == 2
    assert told in ran.err
    assert not Path("recipes/mine.yaml").exists()


@pytest.mark.usefixtures("home")
def test_a_scent_named_as_an_oil_is_not_taken_for_an_oil_of_the_same_ending(formulary: Run) -> None:
    ran = formulary("new", "mine", "--from-weights", "lavender-oil 100 g")
    assert ran.status == 2
    assert "linseed" not in ran.err


@pytest.mark.usefixtures("home")
def test_an_oil_named_twice_is_said_to_be_added_up(formulary: Run) -> None:
    weights = [
        item
        for text in ("olive-oil 300 g", "coconut-oil 200 g", "olive-oil 100 g")
        for item in ("--from-weights", text)
    ]
    ran = formulary("new", "mine", *weights, "--superfat", "6 %", "--lye-concentration", "33 %")
    assert ran.status == 0, ran.err
    assert "olive-oil was given more than once: its weights are added up." in ran.out
    assert "superfat: 6}" in Path("recipes/mine.yaml").read_text(encoding="utf-8")


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("tweak", "told"),
    [
        (("--swap", "10% olive oil:rice bran oil"), '"10% olive-oil:rice-bran-oil"'),
        (("--swap", "all Olive Oil : Castor Oil"), '"all olive-oil:castor-oil"'),
        (("--add", "rose clay 2 % of oils at oils"), '"rose-clay 2 % of oils at oils"'),
    ],
)
def test_a_tweak_with_spaces_in_a_name_is_told_with_hyphens(tweak: tuple[str, str], told: str, formulary: Run) -> None:
    ran = formulary("branch", "harbour-base", "other", *tweak)
    assert ran.status == 2
    assert told in ran.err


def test_an_alkali_by_its_formula_is_told_by_its_name(home: Path, formulary: Run) -> None:
    file = home / "recipes/harbour-base.yaml"
    file.write_text(
        file.read_text(encoding="utf-8").replace("alkali: sodium-hydroxide", "alkali: NaOH"), encoding="utf-8"
    )
    ran = formulary("show", "harbour-base")
    assert ran.status == 2
    assert "hyphens: sodium-hydroxide" in ran.err


def test_a_limit_is_taken_as_it_stands_on_a_certificate(home: Path, formulary: Run) -> None:
    typed = {
        "one": ("--limit", "3.2"),
        "two": ("--limit", "3.2 %"),
        "three": ("--set", "limit=3.2 %"),
        "four": ("--set", 'limit={percent_of_product: 3.2, certificate: 2026-02-11, edition: "51"}'),
        "five": ("--set", "limit.percent_of_product=3.2"),
    }
    for name, words in typed.items():
        ran = formulary("materials", "add", f"violet-{name}", "--kind", "fragrance", *words)
        assert ran.status == 0, ran.err
        shown = json.loads(formulary("materials", "show", f"violet-{name}", "--json").out)
        assert shown["limit_percent"] == 3.2
    ran = formulary("materials", "add", "violet", "--kind", "fragrance", "--set", "contains={eugenol: 82 %}")
    assert ran.status == 0, ran.err
    wrong = formulary("materials", "add", "rose", "--kind", "fragrance", "--set", "limit=many")
    assert wrong.status == 2
    assert ".yaml:" not in wrong.err  # a file that was never written has no lines
    assert not (home / "materials/rose.yaml").exists()


def test_a_save_that_only_deleted_offers_no_batch_of_what_is_gone(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").unlink()
    ran = formulary("save", "-m", "no longer made")
    assert ran.status == 0, ran.err
    assert "formulary batch harbour-base" not in ran.out
    assert "formulary history harbour-base" in ran.out
    assert formulary("history", "harbour-base").status == 0


def test_a_lock_that_git_left_is_told_and_no_mending_is_claimed_while_it_stays(
    home: Path, formulary: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(index, "_PATIENCE_S", 0.05)
    lock = home / ".git/index.lock"
    lock.touch()
    assert "index.lock" in formulary("doctor").out
    os.utime(lock, (1_000_000_000, 1_000_000_000))
    file = home / "recipes/harbour-base.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    saved = formulary("save", "-m", "milder")
    assert saved.status == 0
    assert "index.lock" in saved.err
    ran = formulary("doctor", "--mend", "--yes")
    assert (ran.status, "the index is refreshed" in ran.out) == (3, False)
    lock.unlink()
    assert "mended: the index is refreshed" in formulary("doctor", "--mend", "--yes").out
    assert formulary("doctor").out == "Nothing is wrong with the folder or the installation.\n"


@pytest.mark.usefixtures("home")
def test_the_note_on_an_unknown_assay_names_a_command_that_settles_it(formulary: Run) -> None:
    def found() -> list[dict[str, str]]:
        batch = json.loads(formulary("batch", "harbour-base", "--oils", "1000g", "--json").out)
        return [one for one in batch["findings"] if one["code"] == "assay-unknown"]

    (told,) = found()
    command = told["do"].partition(",")[0].split()
    assert command[:3] == ["formulary", "materials", "add"]
    ran = formulary(*command[1:])
    assert ran.status == 0, ran.err
    assert found() == []


@pytest.mark.usefixtures("home")
def test_a_scent_without_an_inci_name_stands_as_parfum_and_says_so(formulary: Run) -> None:
    formulary(
        "materials", "add", "violet", "--kind", "fragrance", "--called", "Violet, from the perfumer", "--limit", "3"
    )
    formulary("branch", "harbour-base", "violet-bar", "--add", "violet 1 % of oils at trace")
    ran = formulary("ingredients", "violet-bar")
    assert ran.status == 0, ran.err
    assert "PARFUM" in ran.out
    assert "stands as PARFUM" in " ".join(f"{ran.out} {ran.err}".split())
    assert "VIOLET" not in ran.out


@pytest.mark.usefixtures("home")
def test_a_table_prints_json_with_its_schema(formulary: Run) -> None:
    formulary("trial", "start", "harbour-base", "--oils", "1000g")
    made = json.loads(formulary("table", "--json").out)
    names = [field["name"] for field in made["schema"]["fields"]]
    assert len(made["rows"]) == 1
    assert list(made["rows"][0]) == names


@pytest.mark.usefixtures("home")
def test_a_branch_with_several_mistakes_is_told_all_of_them_and_none_that_another_makes(formulary: Run) -> None:
    ran = formulary(
        *("branch", "harbour-base", "harbour-base", "--swap", "60% olive-oil:hemp-seed-oil", "--add", "honey 2%"),
        *("--add", "lavendar-oil 1 % of oils", "--set", "honey.rate=3 % of oils", "--set", "superfat=700"),
    )
    assert ran.status == 2
    for told in (
        "a recipe 'harbour-base' already",
        "60 % is more than that",
        "'2%' does not say of what",
        "did you mean lavender-oil",
        "700 is outside",
    ):
        assert told in ran.err
    assert "honey is not in this recipe" not in ran.err  # it would be, were its own line read
    assert formulary("branch", "harbour-base", "other", "--add", "honey 2%").status == 2
    assert not Path("recipes/other.yaml").exists()


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("words", "told", "never"),
    [
        (("branch", "harbour-base", "x", "--set", "superfat=0.5"), "write 50 if it is a part of 1, or `0.5 %`", "d:1"),
        (
            ("branch", "harbour-base", "x", "--add", "olive-oil 5 % of oils"),
            '--swap "5% coconut-oil:olive-oil"',
            "olive-oil:olive-oil",
        ),
        (
            ("batch", "harbour-base", "--oils", "1000g", "--weighed", "olive oil 520 g"),
            'write "olive-oil 520 g"',
            "is not an amount",
        ),
        (
            ("batch", "harbour-base", "--oils", "1000g", "--weighed", "water 270 ml"),
            "write a mass, such as 1000 g",
            "write 1000 g",
        ),
    ],
)
def test_a_hint_shows_how_it_is_written_and_orders_nothing_else(
    words: tuple[str, ...], told: str, never: str, formulary: Run
) -> None:
    ran = formulary(*words)
    assert ran.status == 2
    assert told in " ".join(ran.err.split())
    assert never not in ran.err


def test_a_word_for_a_percentage_is_told_what_is_measured(formulary: Run, home: Path) -> None:
    formulary("trial", "start", "harbour-base", "--oils", "1000g")
    code = next(home.glob("trials/*/*")).name[-4:]
    ran = formulary("trial", "observe", code, "gel", "full", "--age", "1d")
    assert ran.status == 2
    assert "'full' is no percentage" in ran.err
    assert "gel 60 %" in ran.err


def test_check_says_once_what_holds_of_many_and_the_stop_first_and_hides_nothing_from_programs(
    formulary: Run, home: Path
) -> None:
    scent = "scent:\n  - {material: lavender-oil, rate: 1 % of oils, at: trace}\n"
    for name in ("a-bar", "b-bar", "c-bar"):
        (home / f"recipes/{name}.yaml").write_text(BASE + scent, encoding="utf-8")
    (home / "recipes/z-bar.yaml").write_text(BASE.replace("superfat: 5", "superfat: -1"), encoding="utf-8")
    ran = formulary("check")
    assert ran.status == 1
    assert ran.out.count("no limit is known for lavender-oil") == 1
    assert "the same: b-bar, c-bar" in ran.out
    assert "recipes/z-bar.yaml" in ran.out.splitlines()[1]
    listed = json.loads(formulary("check", "--json").out)["findings"]
    of_scent = [each["where"]["path"] for each in listed if each["code"] == "scent-limit-unknown"]
    assert of_scent == ["recipes/a-bar.yaml", "recipes/b-bar.yaml", "recipes/c-bar.yaml"]


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize("name", ["First bar", "First-Bar", "first_bar", "FIRST BAR"])
@pytest.mark.parametrize("command", ["show", "history", "check"])
def test_the_title_of_a_recipe_leads_to_its_name(command: str, name: str, formulary: Run) -> None:
    ran = formulary(command, name)
    assert ran.status == 2
    assert "did you mean first-bar?" in ran.err


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize("size", ["2 pounds", "900 gr"])
def test_a_unit_that_is_not_known_is_told_with_those_that_are(size: str, formulary: Run) -> None:
    ran = formulary("batch", "first-bar", "--oils", size)
    assert ran.status == 2
    assert "write one of g, kg, mg, oz, lb, such as 1000 g" in ran.err


@pytest.mark.usefixtures("home")
def test_an_old_notebooks_lye_and_water_become_the_superfat_and_strength_of_a_new_recipe(formulary: Run) -> None:
    # 135.45 g of sodium hydroxide for 1000 g of olive oil, as tests/batch/test_percentages_from_weights.py reckons
    ran = formulary("new", "old", "--from-weights", "olive-oil 1000 g", "--lye", "128.68 g", "--water", "257.4 g")
    assert ran.status == 0, ran.err
    text = Path("recipes/old.yaml").read_text(encoding="utf-8")
    assert "superfat: 5.0" in text
    assert "lye_concentration: 33.3" in text
    assert formulary("new", "two", "--from-weights", "olive-oil 1000 g", "--lye", "1 oz", "--superfat", "5").status == 2


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize("option", ["--superfat", "--lye-concentration"])
@pytest.mark.parametrize("beside", [(), ("--lye", "128 g"), ("--water", "257 g")], ids=str)
def test_a_figure_of_nothing_is_not_taken_for_one_that_was_not_given(
    option: str, beside: tuple[str, ...], formulary: Run
) -> None:
    ran = formulary("new", "old", "--from-weights", "olive-oil 1000 g", *beside, option, "")
    assert ran.status == 2
    assert not Path("recipes/old.yaml").exists()


def test_an_earlier_name_leads_to_the_history_under_the_new_one(formulary: Run, home: Path) -> None:
    (home / "recipes/try-one.yaml").write_text(BASE, encoding="utf-8")
    assert formulary("save", "try-one", "-m", "a try").status == 0
    assert formulary("rename", "try-one", "lasting-bar").status == 0
    for command in ("show", "history"):
        assert "it is called lasting-bar now" in formulary(command, "try-one").err


def test_a_file_by_another_ending_is_said_to_be_passed_over(formulary: Run, home: Path) -> None:
    (home / "recipes/spring.yml").write_text(BASE, encoding="utf-8")
    (home / "recipes/old").mkdir()
    (home / "recipes/old/autumn.yaml").write_text(BASE, encoding="utf-8")
    (home / "materials").mkdir(exist_ok=True)
    (home / "materials/quay-scent.yml").write_text("format: 1\n", encoding="utf-8")
    (home / "materials/certificate.pdf").write_bytes(b"%PDF")
    (home / "recipes/pour.jpg").write_bytes(b"")
    told = json.loads(formulary("check", "--json").out)["findings"]
    assert {
        (each["code"], each["severity"], each["where"]["path"]) for each in told if "passed over" in each["what"]
    } == {
        ("not-a-recipe", "warn", "recipes/spring.yml"),
        ("not-a-recipe", "warn", "recipes/old/autumn.yaml"),
        ("not-a-recipe", "note", "recipes/pour.jpg"),
        ("not-a-material", "warn", "materials/quay-scent.yml"),
    }
    for name, path in (("spring", "recipes/spring.yml"), ("autumn", "recipes/old/autumn.yaml")):
        assert f"{path} is passed over; call it recipes/{name}.yaml" in formulary("show", name).err
    for name in ("summer", "pour"):
        assert "passed over" not in formulary("show", name).err


def test_a_copy_that_is_passed_over_is_not_to_take_the_place_of_the_file_that_counts(
    formulary: Run, home: Path
) -> None:
    (home / "recipes/old").mkdir()
    for name in ("spring.yaml", "old/spring.yaml"):
        (home / "recipes" / name).write_text(BASE, encoding="utf-8")
    told = json.loads(formulary("check", "--json").out)["findings"]
    (copy,) = (each for each in told if each["code"] == "not-a-recipe")
    assert copy["where"]["path"] == "recipes/old/spring.yaml"
    assert copy["do"].startswith("leave it if recipes/spring.yaml is what counts")


def test_a_recipe_whose_file_has_a_name_that_none_can_have_is_to_be_renamed(formulary: Run, home: Path) -> None:
    (home / "recipes/quay (copy).yaml").write_text(BASE, encoding="utf-8")
    told = formulary("show", "quay (copy)").err
    assert "rename recipes/quay (copy).yaml" in told
    assert "did you mean" not in told


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("extra clove-bud-oil 20 g", "extra clove-bud-oil 20 g at trace"),
        ("extra clove bud oil 20 g", "extra clove-bud-oil 20 g at trace"),
        ("extra Clove bud oil ~20 g at oils", "extra clove-bud-oil ~20 g at oils"),
    ],
)
@pytest.mark.usefixtures("home")
def test_what_went_in_besides_is_written_as_it_is_told_to_be(formulary: Run, said: str, meant: str) -> None:
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g")
    trial = ran.out.split("\nTrial ")[1].split(" ")[0]
    refused = formulary("trial", "as-made", trial, said)
    assert refused.status == 2
    assert f'write "{meant}"' in " ".join(refused.err.split())
    assert formulary("trial", "as-made", trial, meant).status == 0


@pytest.mark.parametrize("command", ["show", "batch", "history", "ingredients", "trial start", "ready-by 2040-01-01"])
def test_who_names_no_recipe_is_told_which_there_are(
    formulary: Run, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    for number in range(20):
        (home / f"recipes/bar-{number:02}.yaml").write_text(BASE, encoding="utf-8")
    for arguments in (command.split(), ["--folder", str(home), *command.split()]):
        ran = formulary(*arguments)
        assert (ran.status, ran.out) == (2, "")
        assert all(f"bar-{number:02}" in ran.err for number in range(20))
    monkeypatch.chdir(tmp_path)
    assert "missing argument 'RECIPE" in formulary(*command.split()).err
