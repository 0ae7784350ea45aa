"""Commands that read leave the folder as it was, git's own files among it."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import BASE, Run
from tests.cli.test_bad_input import all_files


def test_no_reading_command_changes_a_file(home: Path, formulary: Run) -> None:
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    assert formulary("branch", "harbour-base", "winter-bar", "--set", "superfat=6").status == 0
    assert formulary("save", "-m", "winter").status == 0
    (home / "recipes/harbour-base.yaml").write_text(BASE + "notes: not saved\n", encoding="utf-8")
    code = next(home.glob("trials/*/*")).name[-4:]
    before = all_files(home)
    for arguments in (
        ["check"],
        ["show", "harbour-base@latest"],
        ["batch", "harbour-base", "--total", "1500 g"],
        ["history", "harbour-base"],
        ["diff", "harbour-base@latest", "harbour-base"],
        ["diff", "harbour-base", code],
        ["update", "winter-bar"],
        ["send-back", "winter-bar", "all"],
        ["trial", "list"],
        ["trial", "show", code],
        ["compare", code],
        ["explain", "working time"],
        ["materials", "show", "olive-oil"],
        ["outcomes"],
        ["status"],
        ["due"],
        ["table"],
    ):
        ran = formulary(*arguments)
        assert ran.status == 0, (arguments, ran.err)
        assert all_files(home) == before, arguments
