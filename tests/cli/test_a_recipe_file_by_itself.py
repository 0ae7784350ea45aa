"""A recipe's file that came by mail is weighed out, checked and compared anywhere, and says by whose values."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from formulary import RecipeFiles, open_folder, work_out_batch
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe
from tests.cli.conftest import BASE, Run
from trials.bench import open_bench

SENT = "From a friend (1).yaml"


@pytest.fixture
def mail(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that is no formulary and not under git, with a recipe's file in it."""
    folder = tmp_path / "mail"
    folder.mkdir()
    (folder / SENT).write_text(BASE, encoding="utf-8")
    monkeypatch.chdir(folder)
    return folder


def test_it_is_weighed_out_by_built_in_materials_and_usual_settings_and_says_so(mail: Path, formulary: Run) -> None:
    ran = formulary("batch", f"./{SENT}", "--oils", "1000g")
    assert (ran.status, ran.err) == (0, "")
    assert "outside of any formulary, by built-in values of its materials" in " ".join(ran.out.split())
    assert "Goggles" in ran.out
    told = json.loads(formulary("batch", str(mail / SENT), "--oils", "1000g", "--json").out)
    recipe, _ = parse_recipe(BASE, "harbour-base")
    assert recipe is not None
    itself = work_out_batch(recipe, read_builtin_register(), oil_mass_g=1000.0)
    assert [line["grams"] for line in told["lye"]] == [line.grams for line in itself.lye]
    assert told["water"]["weigh_grams"] == itself.water.weigh_grams
    assert told["findings"][0]["code"] == "recipe-file"
    assert told["findings"][0]["severity"] == "warn"
    assert list(mail.iterdir()) == [mail / SENT]


@pytest.mark.usefixtures("mail")
@pytest.mark.parametrize("command", ["show", "blend", "ingredients", "cost", "check", "diff", "batch"])
def test_every_command_that_only_looks_reads_it_and_says_by_whose_values(formulary: Run, command: str) -> None:
    more = {"diff": [SENT], "batch": ["--oils", "1000g", "--weighed", "olive-oil 560 g"]}.get(command, [])
    ran = formulary(command, SENT, *more)
    assert ran.status == 0
    assert "outside of any formulary" in " ".join(f"{ran.out} {ran.err}".split())
    json.loads(formulary(command, SENT, *more, "--json").out)


def test_two_files_are_one_sitting_and_can_be_compared(mail: Path, formulary: Run) -> None:
    (mail / "milder.yml").write_text(BASE.replace("superfat: 5", "superfat: 8"), encoding="utf-8")
    assert formulary("batch", SENT, "milder.yml", "--oils", "500g").status == 0
    differed = json.loads(formulary("diff", SENT, "milder.yml", "--json").out)
    assert [differed["superfat"][side]["nominal"] for side in ("before", "after")] == [5, 8]
    assert differed["findings"]["appeared"] == []


def test_a_stop_is_a_stop_there_too(mail: Path, formulary: Run) -> None:
    (mail / "harsh.yaml").write_text(BASE.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    ran = formulary("batch", "harsh.yaml", "--oils", "1000g", "--json")
    assert ran.status == 1
    assert {line["grams"] for line in json.loads(ran.out)["lye"]} == {None}
    checked = formulary("check", "harsh.yaml")
    assert checked.status == 1
    assert "harsh.yaml:7:43: stop: " in checked.out


def test_a_material_of_the_sender_is_never_guessed(mail: Path, formulary: Run) -> None:
    (mail / SENT).write_text(BASE.replace("rice-bran-oil", "friends-oil"), encoding="utf-8")
    for command in (["batch", SENT, "--oils", "1000g"], ["show", SENT], ["check", SENT]):
        ran = formulary(*command)
        assert ran.status == 2
        said = f"{ran.out} {ran.err}"
        assert f"{SENT}:6:3: error: no material is called 'friends-oil'" in said
        assert "only built-in materials are known" in said
        assert "1000 g" not in ran.out


@pytest.mark.usefixtures("mail")
@pytest.mark.parametrize(
    ("command", "status", "said"),
    [
        (["batch", "no-such.yaml", "--oils", "1g"], 2, "there is no file no-such.yaml"),
        (["batch", SENT, "harbour-base", "--oils", "1g"], 2, "no formulary"),
        (["batch", "harbour-base", "--oils", "1g"], 2, "or name a recipe's file by its path"),
        (["trial", "start", SENT, "--oils", "1000g"], 2, "no formulary"),
        (["check"], 2, "no formulary"),
    ],
    ids=lambda part: " ".join(part) if isinstance(part, list) else None,
)
def test_what_cannot_be_done_without_a_formulary_says_so(
    formulary: Run, command: list[str], status: int, said: str
) -> None:
    ran = formulary(*command)
    assert (ran.status, ran.out) == (status, "")
    assert said in ran.err


@pytest.mark.parametrize(
    "content", [b"\xff\xfe\x00", b"", b"- [", b"a: 1\n" * 100_000], ids=["binary", "empty", "cut", "long"]
)
def test_a_file_that_is_no_recipe_is_refused_with_its_name(mail: Path, formulary: Run, content: bytes) -> None:
    (mail / "odd.yaml").write_bytes(content)
    ran = formulary("batch", "odd.yaml", "--oils", "1000g")
    assert (ran.status, ran.out) == (2, "")
    assert "odd.yaml" in ran.err


def test_a_folder_of_that_name_is_no_file(mail: Path, formulary: Run) -> None:
    (mail / "folder.yaml").mkdir()
    told = formulary("batch", "folder.yaml", "--oils", "1000g").err
    assert "there is no file folder.yaml" in told
    assert "did you mean folder.yaml" not in told


def test_in_a_formulary_its_own_materials_count_and_it_is_told_apart(
    home: Path, formulary: Run, tmp_path: Path
) -> None:
    sent = tmp_path / SENT
    sent.write_text(BASE, encoding="utf-8")
    (home / "materials").mkdir(exist_ok=True)
    weak = "format: 1\nname: Sodium hydroxide\nkind: alkali\nassay: 96\n"
    (home / "materials/sodium-hydroxide.yaml").write_text(weak, encoding="utf-8")
    told = json.loads(formulary("batch", str(sent), "--oils", "1000g", "--json").out)
    assert told["lye"][0]["assay_percent"] == 96
    assert [finding["severity"] for finding in told["findings"] if finding["code"] == "recipe-file"] == ["note"]
    assert "is no recipe of this formulary" in formulary("batch", str(sent), "--oils", "1000g").out


@pytest.mark.parametrize("path", ["recipes/harbour-base.yaml", "./recipes/harbour-base.yaml"])
def test_a_path_of_the_formularys_own_recipes_is_that_recipe(home: Path, formulary: Run, path: str) -> None:
    for written in (path, str(home / path)):
        told = json.loads(formulary("batch", written, "--oils", "1000g", "--json").out)
        named = json.loads(formulary("batch", "harbour-base", "--oils", "1000g", "--json").out)
        assert told == named
        assert formulary("check", written).out == formulary("check", "harbour-base").out


def test_a_file_that_is_named_is_the_one_that_is_read_whatever_else_its_name_could_mean(
    home: Path, formulary: Run
) -> None:
    copy = home / "recipes/harbour-base@latest.yaml"
    copy.write_text(BASE.replace("superfat: 5", "superfat: 9"), encoding="utf-8")
    told = json.loads(formulary("batch", str(copy), "--oils", "1000g", "--json").out)
    assert told["superfat"]["nominal"] == 9


@pytest.mark.usefixtures("home")
def test_checking_an_earlier_version_says_what_is_checked(formulary: Run) -> None:
    ran = formulary("check", "harbour-base@latest")
    assert ran.status == 2
    assert "is an earlier version" in ran.err
    assert "name the recipe alone: harbour-base" in ran.err


def test_nothing_is_kept_of_a_recipe_that_is_in_no_history(home: Path, formulary: Run, tmp_path: Path) -> None:
    sent = tmp_path / "sent.yaml"
    sent.write_text(BASE, encoding="utf-8")
    for command in (
        ["trial", "start", str(sent), "--oils", "1000g"],
        ["branch", str(sent), "winter"],
        ["restore", f"{sent}@1"],
        ["name", str(sent), "shop"],
        ["ready-by", "2027-03-01", str(sent), "--bars", "10"],
    ):
        ran = formulary(*command)
        assert ran.status == 2, command
    assert "without its folder and ending" in formulary("branch", str(sent), "winter").err
    with open_folder(home) as folder:
        version = folder.find_recipe(str(sent))
        for refused in (lambda: version.branch("winter"), lambda: open_bench(folder).start(version, oils="1000 g")):
            with pytest.raises(Exception, match="is no recipe of a formulary"):
                refused()
        assert folder.changed_paths() == ()
        assert folder.batch(str(sent), oils="1000 g").lye == folder.batch("harbour-base", oils="1000 g").lye


def test_check_of_one_recipe_tells_what_check_of_all_tells_of_it(home: Path, formulary: Run) -> None:
    (home / "recipes/harsh.yaml").write_text(BASE.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    (home / "recipes/broken.yaml").write_text(BASE.replace("superfat: 5", "superfat: lots"), encoding="utf-8")
    everything = json.loads(formulary("check", "--json").out)["findings"]
    for name, status in (("harbour-base", 0), ("harsh", 1), ("broken", 2)):
        ran = formulary("check", name, "--json")
        told = json.loads(ran.out)
        assert ran.status == status
        assert told["findings"] == [each for each in everything if each["where"]["path"] == f"recipes/{name}.yaml"]
        assert told["recipes"] == [name]
    assert formulary("check", "harbour-bas").status == 2


def test_the_library_does_it_in_a_line(mail: Path) -> None:
    batch = RecipeFiles().batch(str(mail / SENT), mould="25 x 8 x 7 cm")
    assert batch.findings[0].code == "recipe-file"
    assert not batch.is_stopped
