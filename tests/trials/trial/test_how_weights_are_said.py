"""A weight on a record is said in digits that a scale shows, whatever unit it was weighed in."""

from __future__ import annotations

from decimal import Decimal

import pytest

from trials.trial.model import AsMade
from trials.trial.words import weighed_words


@pytest.mark.parametrize(
    ("grams", "give_or_take", "said"),
    [
        # 4.2 oz of 28.349523125 g
        ("119.0679971250", "0", " 119.07 g"),
        ("283", "0", " 283 g"),
        ("0.004", "0", " 0.004 g"),
        ("0", "0", " 0 g"),
        ("119.0679971250", "5.95339985625", " 113.11 to 125.02 g"),
    ],
)
def test_a_weight_is_said_as_fine_as_a_scale_shows_it(grams: str, give_or_take: str, said: str) -> None:
    entry = AsMade("sodium-hydroxide", weighed_g=Decimal(grams), give_or_take_g=Decimal(give_or_take))
    assert weighed_words(entry) == said
