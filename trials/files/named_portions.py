"""Portions of trials as a person names them: `k7wq:plain`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from formulary.changes.compared_side import demand_portion
from formulary.history.versions import split_portion

if TYPE_CHECKING:
    from trials.files.trial_files import TrialFiles
    from trials.trial.model import Trial


def find_named_portions(
    bench: TrialFiles, named: Iterable[Trial | str]
) -> tuple[tuple[Trial, ...], dict[str, frozenset[str]]]:
    """The trials that are meant, each once; and of those that are named by portions alone, which.

    Raises InputError for a name that fits no trial or several, and for a portion that the trial does not have.
    """
    found: dict[str, Trial] = {}
    portions: dict[str, set[str]] = {}
    whole: set[str] = set()
    for each in named:
        name, portion = split_portion(each) if isinstance(each, str) else (each, None)
        trial = bench.find_trial(name) if isinstance(name, str) else name
        found[trial.id] = trial
        if portion is not None:
            demand_portion(portion, tuple(part.name for part in trial.portions), trial.id)
        if portion is None or not trial.is_divided:
            whole.add(trial.id)
        else:
            portions.setdefault(trial.id, set()).add(portion)
    return tuple(found.values()), {
        trial_id: frozenset(names) for trial_id, names in portions.items() if trial_id not in whole
    }
