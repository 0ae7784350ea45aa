"""Every example in the docstrings of the chemistry runs and gives what it says."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import formulary.chemistry

MODULES = [name for _, name, _ in pkgutil.iter_modules(formulary.chemistry.__path__, "formulary.chemistry.")]


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name: str) -> None:
    module = importlib.import_module(name)
    failed, tried = doctest.testmod(module)
    assert tried > 0
    assert failed == 0
