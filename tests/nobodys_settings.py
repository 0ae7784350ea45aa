"""Tests run away from the settings of whoever runs them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


def leave_own_settings(monkeypatch: pytest.MonkeyPatch, home: Path) -> None:
    """Another home, and nothing that the environment says of git or of the terminal."""
    for name in list(os.environ):
        if name.startswith("GIT_") or name in ("XDG_CONFIG_HOME", "NO_COLOR", "COLUMNS"):
            monkeypatch.delenv(name)
    monkeypatch.setenv("HOME", str(home))
