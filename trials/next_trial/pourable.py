"""Whether a batter leaves the time to pour it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import TYPE_CHECKING

from trials.answer.chance_words import percent
from trials.outcomes.faults import least_pourable
from trials.outcomes.outcome import Outcome
from trials.pours.even_scale import to_scale
from trials.pours.sentences import amount, say_list

if TYPE_CHECKING:
    from trials.explain.next_run import Outlook

_MAY_WELL = 0.3  # the chance of less than that from which on it is warned of


def chance_too_quick(outcome: Outcome, outlooks: Sequence[Outlook]) -> float:
    """How likely a batter sets before it is poured, 0 to 1, over what every explanation expects of it."""
    least = least_pourable(outcome)
    if least is None or not outlooks:
        return 0.0
    end = to_scale(least, outcome.scale)
    normal = NormalDist()
    below = sum(item.probability * normal.cdf((end - item.middle) / item.spread) for item in outlooks)
    return below / sum(item.probability for item in outlooks)


def warn_too_quick(outcome: Outcome, chances: Mapping[str | None, float], seen: str | None = None) -> str | None:
    """What to say of a pour of which something may well set before it is poured; None where there is likely time.

    chances: portion -> how likely it does; of an undivided batter under None. seen: how many pours with the same things
    in them did, in words; then it is said however unlikely it is.
    """
    do = "make a small batch, with the mould at hand, and stir by hand once the scent is in"
    quick = {portion: chance for portion, chance in chances.items() if chance >= _MAY_WELL}
    least = least_pourable(outcome)
    if least is None or not quick:
        return None if seen is None else f"{seen} left no time to pour, so that it may set in the pot: {do}"
    names = [portion for portion in quick if portion is not None]
    of = f" of the {say_list(names)} portion{'s' if len(names) > 1 else ''}" if names else ""
    chance = max(quick.values())
    is_under = "is likely under" if chance > 0.5 else "may well be under"
    as_it_was = "" if seen is None else f", as in {seen}"
    said = f"{outcome.name}{of} {is_under} {amount(outcome, least)} ({percent(chance)}){as_it_was}"
    return f"{said}, so that it sets in the pot: {do}"
