"""explain, compare and chart on the demonstration, and on formularies that have too little to tell."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from cli.main import run
from tests.cli.conftest import Ran, Run
from tests.cli.test_terminal import COLOUR, on_a_terminal
from tests.pages.reading import demand_self_contained, text_of

EXPLAIN_PROMISED = (
    "outcome unit scale trials_used trials_left_out noise enough_evidence probability_of_nothing causes suspects"
)
COMPARE_PROMISED = "trials factors outcomes hidden"


@pytest.fixture(scope="module")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ran]:
    """The demonstration's folder, as `formulary demo DIR` builds it, and what it said."""
    import contextlib
    import io

    root = tmp_path_factory.mktemp("demo") / "harbour"
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(["demo", str(root)])
    return root, Ran(status, out.getvalue(), err.getvalue())


@pytest.fixture
def harbour(demonstration: tuple[Path, Ran], monkeypatch: pytest.MonkeyPatch) -> Path:
    root, _ = demonstration
    monkeypatch.chdir(root)
    return root


def test_the_demonstration_does_the_weekly_jobs_and_says_how(demonstration: tuple[Path, Ran]) -> None:
    root, ran = demonstration
    assert (ran.status, ran.err) == (0, "")
    for command in ("branch", "diff", "batch", "save", "compare", "explain", "check"):
        assert f"$ formulary {command}" in ran.out
    assert "invented" in ran.out
    assert len(list(root.glob("trials/*/*/trial.yaml"))) >= 18
    assert max(len(line) for line in ran.out.splitlines()) <= 80


def test_a_report_says_what_explain_says_and_draws_it(formulary: Run, harbour: Path, tmp_path: Path) -> None:
    target = tmp_path / "story.html"
    ran = formulary("report", "harbour-base", "--outcome", "working time", "-o", str(target))
    assert (ran.status, ran.err) == (0, "")
    page = demand_self_contained(target.read_text(encoding="utf-8"))
    said = text_of(page)
    told = json.loads(formulary("explain", "working time", "--within", "harbour-base", "--json").out)
    assert told["sentence"] in said
    assert told["to_tell_them_apart"] is None or told["to_tell_them_apart"] in said
    assert all(path.name[-4:] in said for path in harbour.glob("trials/*/*"))
    assert len(list(page.iter("img"))) == 1


@pytest.mark.usefixtures("harbour")
def test_explain_names_the_planted_cause_and_how_sure_it_is(formulary: Run) -> None:
    ran = formulary("explain", "working time")
    assert (ran.status, ran.err) == (0, "")
    assert "clove bud oil" in ran.out.splitlines()[0].lower()
    tree = json.loads(formulary("explain", "working time", "--json").out)
    assert set(EXPLAIN_PROMISED.split()) <= set(tree)
    best = max(tree["causes"], key=lambda cause: cause["probability"])
    assert {"factors", "probability", "effect", "low", "high", "per", "for", "against"} <= set(best)
    assert best["factors"] == ["clove bud oil"]
    assert best["low"] <= best["effect"] <= best["high"] < 0


@pytest.mark.usefixtures("harbour")
def test_explain_within_a_recipe_uses_only_its_trials_and_those_of_its_variants(formulary: Run) -> None:
    every = json.loads(formulary("explain", "working time", "--json").out)
    some = json.loads(formulary("explain", "working time", "--within", "midwinter-oat", "--json").out)
    assert 0 < some["trials_used"] < every["trials_used"]


@pytest.mark.usefixtures("home")
def test_with_no_trials_the_answer_is_that_nobody_can_know(formulary: Run) -> None:
    for _ in range(2):
        ran = formulary("explain", "working time")
        assert (ran.status, ran.err) == (0, "")
        tree = json.loads(formulary("explain", "working time", "--json").out)
        assert tree["enough_evidence"] is False
        assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    ("arguments", "code", "word"),
    [
        (["explain", "workin time"], "unknown-outcome", "working time"),
        (["explain", "working time at 28 d"], "outcome-age", "working time"),
        (["explain", "working time", "--within", "harbour-bass"], "no-recipe", "harbour-base"),
        (["chart", "story", "harbour-bass"], "no-recipe", "harbour-base"),
        (["chart", "story", "harbour-base", "--outcome", "hardnes"], "unknown-outcome", "hardness"),
        (["chart", "effects", "working time", "-o", "effects.jpg"], "chart-ending", "effects.svg"),
        (["chart", "effects", "working time", "--width", "20"], "usage", "80"),
    ],
)
def test_a_wrong_question_is_told_with_what_to_ask_instead(
    arguments: list[str], code: str, word: str, formulary: Run
) -> None:
    ran = formulary(*arguments)
    assert (ran.status, ran.out) == (2, "")
    assert f"[{code}]" in ran.err
    assert word in ran.err


@pytest.mark.usefixtures("harbour")
@pytest.mark.parametrize(
    ("arguments", "ending", "magic"),
    [
        (["story", "harbour-base"], "svg", b"<?xml"),
        (["story", "midwinter-oat", "--width", "80"], "pdf", b"%PDF-"),
        (["effects", "working time"], "png", b"\x89PNG\r\n"),
    ],
)
def test_a_chart_is_the_kind_of_file_that_its_name_says(
    arguments: list[str], ending: str, magic: bytes, formulary: Run, tmp_path: Path
) -> None:
    target = tmp_path / f"a drawing.{ending}"
    ran = formulary("chart", *arguments, "-o", str(target))
    assert (ran.status, ran.err) == (0, "")
    assert str(target) in ran.out
    assert target.read_bytes().startswith(magic)


@pytest.mark.usefixtures("harbour")
def test_a_chart_that_cannot_be_written_is_told(formulary: Run, tmp_path: Path) -> None:
    ran = formulary("chart", "effects", "working time", "-o", str(tmp_path / "nowhere" / "a.svg"))
    assert ran.status == 3
    assert "[not-written]" in ran.err


@pytest.mark.parametrize(
    "arguments",
    [
        ["explain", "working time"],
        ["explain", "hardness at 28 d", "--all"],
        ["trial", "list"],
        ["history", "midwinter-clove"],
        ["check"],
    ],
    ids=" ".join,
)
def test_no_line_is_longer_than_an_80_column_terminal(arguments: list[str], harbour: Path) -> None:
    status, shown = on_a_terminal(arguments, harbour)
    assert status == 0
    for line in COLOUR.sub("", shown).split("\r")[-1].splitlines():
        assert len(line) <= 80, line


def test_compare_fits_a_terminal_and_keeps_its_keys(harbour: Path, formulary: Run) -> None:
    codes = [path.name[-4:] for path in sorted(harbour.glob("trials/*/*"))][:4]
    for chosen in (codes[:2], codes):
        _, shown = on_a_terminal(["compare", *chosen], harbour)
        for line in COLOUR.sub("", shown).split("\r")[-1].splitlines():
            assert len(line) <= 80, line
    tree = json.loads(formulary("compare", *codes, "--json").out)
    assert set(COMPARE_PROMISED.split()) <= set(tree)
    columns = len(tree["trials"])
    for factor in tree["factors"]:
        assert {"factor", "unit", "values"} <= set(factor)
        assert len(factor["values"]) == columns
    for outcome in tree["outcomes"]:
        assert {"outcome", "unit", "values", "noise"} <= set(outcome)
        for value in outcome["values"]:
            assert {"value", "bound", "n", "spread", "portion"} <= set(value)


def test_the_demonstration_finds_a_free_name_and_refuses_a_taken_one(
    harbour: Path, formulary: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cli.start import _free_place

    ran = formulary("demo", str(harbour))
    assert ran.status == 3
    assert "[folder-taken]" in ran.err
    monkeypatch.chdir(tmp_path)
    assert _free_place() == "harbour-soap"
    (tmp_path / "harbour-soap").mkdir()
    assert _free_place() == "harbour-soap-2"


def test_explain_tells_what_moved_one_trial(harbour: Path, formulary: Run) -> None:
    clove = next(harbour.glob("trials/*/*-midwinter-clove-*")).name
    tree = json.loads(formulary("explain", "working time", "--trial", clove, "--json").out)
    assert tree["moved"]["chances"][0]["factors"] == ["clove bud oil"]
    assert formulary("explain", "working time", "--trial", "9999").status == 2


@pytest.mark.usefixtures("harbour")
def test_next_proposes_pours_that_tell_twins_apart_and_says_what_each_result_means(formulary: Run) -> None:
    ran = formulary("next", "peak temperature")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith("1  Pour ")
    assert " did it (" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    tree = json.loads(formulary("next", "peak temperature", "--json").out)
    assert tree["why_none"] is None
    assert 1 <= len(tree["proposed"]) <= 3
    assert {"words", "start", "tweaks", "bits", "expected", "findings"} <= set(tree["proposed"][0])


def test_next_writes_its_first_proposal_as_a_variant_that_checks(harbour: Path, formulary: Run) -> None:
    ran = formulary("next", "peak temperature", "--write", "one-of-the-two")
    assert (ran.status, ran.err) == (0, "")
    path = harbour / "recipes" / "one-of-the-two.yaml"
    try:
        assert "based_on" in path.read_text(encoding="utf-8")
        assert formulary("batch", "one-of-the-two", "--oils", "500g").status == 0
        assert formulary("next", "peak temperature", "--write", "one-of-the-two").status == 2
    finally:
        path.unlink()


def test_a_chart_with_nothing_to_draw_is_no_file_and_says_what_to_record(home: Path, formulary: Run) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    code = json.loads(formulary("trial", "list", "--json").out)["trials"][0]["trial"][-4:]
    for arguments in (("cure", code), ("trace", code), ("story", "harbour-base")):
        ran = formulary("chart", *arguments, "-o", "drawn.svg")
        assert (ran.status, ran.out) == (2, ""), arguments
        assert "[nothing-to-draw]" in ran.err
        assert "do: " in ran.err
        assert not (home / "drawn.svg").exists()
    weighed = formulary("chart", "effects", "working time", "-o", "drawn.svg")
    assert "nothing to weigh in it yet" in weighed.out


@pytest.mark.usefixtures("harbour")
@pytest.mark.parametrize("kind", ["cure", "trace"])
def test_trials_are_drawn_thickening_and_curing(kind: str, formulary: Run, tmp_path: Path) -> None:
    listed = json.loads(formulary("trial", "list", "--json").out)["trials"]
    codes = [one["trial"].rsplit("-", 1)[-1] for one in listed[:3]]
    target = tmp_path / "drawn.svg"
    ran = formulary("chart", kind, *codes, "-o", str(target))
    assert (ran.status, ran.err) == (0, "")
    assert target.read_bytes().startswith(b"<?xml")
    wrong = formulary("chart", kind, "zzzzz", "-o", str(tmp_path / "none.svg"))
    assert wrong.status == 2
    assert not (tmp_path / "none.svg").exists()
    assert formulary("chart", kind).status == 2


@pytest.mark.usefixtures("harbour")
def test_an_outcome_of_several_words_needs_no_quotes(formulary: Run, tmp_path: Path) -> None:
    for command in (("explain",), ("next",), ("outcomes",)):
        with_quotes = formulary(*command, "working time")
        assert with_quotes.status == 0
        assert formulary(*command, "working", "time").out == with_quotes.out
    drawn = formulary("chart", "effects", "working", "time", "-o", str(tmp_path / "why.svg"))
    assert (drawn.status, (tmp_path / "why.svg").exists()) == (0, True)
    for words in ((), ("",), ("wrking", "time")):
        assert formulary("explain", *words).status == 2
