"""The pours of some trials: their facts, which of them repeat one another, and what they are called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trials.as_made.unknown_weights import why_nothing_compares
from trials.factors.portion_facts import Pour, find_facts
from trials.pours.repeats import find_repeats
from trials.trial.model import Trial


class PourBook:
    """The facts of every pour of some trials, each worked out once, and which of them repeat one another."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        unique = {trial.id: trial for trial in trials}
        self.trials = tuple(sorted(unique.values(), key=lambda trial: (trial.made, trial.id)))
        self._known: dict[tuple[str, str | None], Pour] = {}
        self._groups: dict[tuple[str, str | None], int] = {}

    def pour(self, trial: Trial, portion: str | None) -> Pour:
        """The facts of one portion, or of the whole batter (None)."""
        key = trial.id, portion
        if key not in self._known:
            self._known[key] = find_facts(trial, portion)
        return self._known[key]

    def pours(self, trial: Trial) -> tuple[Pour, ...]:
        """One pour a portion; the whole batter when it was not divided."""
        return tuple(self.pour(trial, part.name if trial.is_divided else None) for part in trial.parts())

    def all_pours(self) -> tuple[Pour, ...]:
        """Every portion of every trial, by date; those of which no formula is known are passed over."""
        wanted = [(trial, part.name if trial.is_divided else None) for trial in self.trials for part in trial.parts()]
        return tuple(self.pour(trial, portion) for trial, portion in wanted if not why_nothing_compares(trial, portion))

    def repeat_group(self, pour: Pour) -> int:
        """A number that only pours share that repeat one another."""
        if not self._groups:
            pours = list(self.all_pours())
            divided = [trial for trial in self.trials if trial.is_divided]
            pours += [self.pour(trial, None) for trial in divided if not why_nothing_compares(trial)]
            for number, group in enumerate(find_repeats(pours)):
                for row in group:
                    self._groups[pours[row].trial.id, pours[row].portion] = number
        return self._groups[pour.trial.id, pour.portion]


def scent_percent(pour: Pour) -> float:
    """All scent in a pour, in percent of its oils."""
    return sum(value for aspect, value in pour.facts.items() if aspect.kind == "scent" and isinstance(value, float))


def short_names(ids: Sequence[str]) -> dict[str, str]:
    """The shortest ending of each id that tells it from the others: `k7wq`."""
    endings = {name: name.rpartition("-")[2] for name in ids}
    taken = list(endings.values())
    return {name: ending if taken.count(ending) == 1 else name for name, ending in endings.items()}


def loaf_names(trials: Sequence[Trial]) -> tuple[str, dict[str, str]]:
    """The one recipe that trials were poured from, empty where there are several, and what each is called by id.

    As bars on a shelf are labelled by their recipe, it stands in each name where it is not the same for all.
    """
    names = short_names([trial.id for trial in trials])
    recipes = {trial.recipe for trial in trials}
    if len(recipes) == 1:
        return recipes.pop(), names
    return "", {
        trial.id: names[trial.id] if names[trial.id] == trial.id else f"{trial.recipe} {names[trial.id]}"
        for trial in trials
    }


def pours_label(pours: Sequence[Pour], names: Mapping[str, str]) -> str:
    """What repeats are called together: `k7wq +2`, `k7wq clove`. names: trial id -> short name."""
    label = names[pours[0].trial.id]
    if len(pours) > 1:
        label += f" +{len(pours) - 1}"
    return label if pours[0].portion is None else f"{label} {pours[0].portion}"
