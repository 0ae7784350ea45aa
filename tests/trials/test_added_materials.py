"""What is kept of a material beyond the plan reads back as it was, or is not written."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from trials.added import Added, parse_added, render_added

REGISTER = read_builtin_register()


@given(st.lists(st.sampled_from(sorted(REGISTER)), min_size=1, max_size=4, unique=True))
def test_what_is_kept_reads_back_the_same(names: list[str]) -> None:
    kept = Added({name: REGISTER[name] for name in names})
    assert parse_added(render_added(kept)) == (kept, ())


def test_what_would_not_read_back_is_refused() -> None:
    odd = replace(REGISTER["honey"], water_percent=float("nan"))
    with pytest.raises(InputError, match="would not read back"):
        render_added(Added({"honey": odd}))
