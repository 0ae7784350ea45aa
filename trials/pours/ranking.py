"""Pours in the order of one outcome, the best first, with which of them cannot be told from the best."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from formulary.data_table import Cell, Table, TableColumn
from formulary.quantity import format_decimal, format_number
from formulary.read_only import ReadOnly
from formulary.shown_as_text import ShownAsText
from formulary.text_table import Row, render_rows
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.value import OutcomeValue
from trials.pours.contrast import find_contrast
from trials.pours.noise import RepeatNoise, find_noise
from trials.pours.pour_book import PourBook, short_names
from trials.pours.seen import LeftOut, find_seen, left_out_labels
from trials.pours.sentences import count, noise_basis, noise_size, places, say_first, say_value, unit_label, wrap_words
from trials.trial.model import Trial

_MOST_NAMED = 6


@dataclass(frozen=True, slots=True, eq=False)
class RankedPour:
    """One pour. portion: None for the whole batter. may_be_best: whether it is the best, or cannot be told from it."""

    trial: Trial
    portion: str | None
    value: OutcomeValue
    may_be_best: bool

    def to_json(self) -> dict[str, object]:
        return {
            "trial": self.trial.id,
            "recipe": self.trial.recipe,
            "version": self.trial.version,
            "made": self.trial.made.isoformat(),
            **self.value.to_json(),
            "portion": self.portion,
            "may_be_best": self.may_be_best,
        }


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Ranking(ShownAsText):
    """Pours in the order of an outcome. label: it with its age. pours: the best first; where neither way is better, the
    lowest. noise: of repeats. level: of the best, about which the noise is told. left_out: what says nothing of it.
    called: what recipes that were renamed are called today.
    """

    outcome: Outcome
    label: str
    pours: tuple[RankedPour, ...]
    noise: RepeatNoise | None
    level: float
    left_out: tuple[LeftOut, ...]
    called: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))

    def today(self, recipe: str) -> str:
        """What a recipe is called today."""
        return self.called.get(recipe, recipe)

    def to_json(self) -> dict[str, object]:
        return {
            "sentence": ranking_sentence(self),
            "outcome": self.label,
            "unit": self.outcome.unit,
            "better": self.outcome.direction,
            "pours": [pour.to_json() for pour in self.pours],
            "left_out": [item.to_json() for item in self.left_out],
        }

    def to_table(self) -> Table:
        """The same as a table for other programs: a figure unrounded, a limit or a grade in words."""
        columns = (
            TableColumn(name="trial", title="trial", kind="string", is_required=True),
            TableColumn(name="portion", title="portion", kind="string"),
            TableColumn(name="recipe", title="recipe", kind="string", is_required=True),
            TableColumn(name="version", title="version", kind="string", is_required=True),
            TableColumn(name="made", title="made", kind="date", is_required=True),
            TableColumn(name="value", title=self.label, kind="string", unit=self.outcome.unit, is_required=True),
            TableColumn(name="may_be_best", title="may be the best", kind="string", is_required=True),
        )
        return Table(columns, tuple(self._row(pour) for pour in self.pours), key=("trial", "portion"))

    def _row(self, pour: RankedPour) -> tuple[Cell, ...]:
        trial, value = pour.trial, pour.value
        is_figure = value.bound == "exact" and not self.outcome.scale.is_ordinal
        cell = value.value if is_figure else say_value(self.outcome.as_kept, value)
        best = "yes" if pour.may_be_best else "no"
        return trial.id, pour.portion, trial.recipe, trial.version, trial.made.isoformat(), cell, best

    def __str__(self) -> str:
        return render_ranking(self)


def find_ranking(
    trials: Sequence[Trial],
    outcome: Outcome,
    age_days: Decimal | None = None,
    *,
    among: Sequence[Trial] = (),
    called: Mapping[str, str] = ReadOnly({}),
) -> Ranking:
    """The pours of some trials in the order of an outcome at an age, the best first.

    A limit stands where it lies: what was poured before it thickened may be better than it shows. By a test for safety
    no pour is the best: it is one test of several, each of which can speak against the loaf. among: further trials
    of the formulary, which only tell how much repeats differ. called: what recipes that were renamed are called today.
    Raises nothing; without a value there are no pours.
    """
    if age_days is None and outcome.ages_days:
        age_days = outcome.ages_days[0]
    label = outcome_label(outcome, age_days)
    book = PourBook((*trials, *among))
    wanted = {trial.id for trial in trials}
    everything, missing = find_seen(book, outcome, age_days)
    left_out = tuple(item for item in missing if item.trial in wanted)
    if outcome.scale is Scale.COLOUR:  # has no order of its own
        return Ranking(outcome, label, (), None, 0.0, left_out, called)
    noise = find_noise(everything, outcome, book)
    upward = outcome.direction == "higher"
    can_be_best = outcome.direction != "neither" and not outcome.is_safety_test
    seen = sorted(
        (item for item in everything if item.pour.trial.id in wanted),
        key=lambda item: (-_place(item.value) if upward else _place(item.value), item.value.bound == "exact"),
    )
    pours = tuple(
        RankedPour(
            item.pour.trial,
            item.pour.portion,
            item.value,
            can_be_best and not _is_worse(outcome, label, seen[0].value, item.value, noise),
        )
        for item in seen
    )
    return Ranking(outcome, label, pours, noise, _place(seen[0].value) if seen else 0.0, left_out, called)


def _place(value: OutcomeValue) -> float:
    return value.figure or 0.0


def _is_worse(outcome: Outcome, label: str, best: OutcomeValue, other: OutcomeValue, noise: RepeatNoise | None) -> bool:
    """Whether a value is worse than the best by more than repeats differ; of grades, whether it is another."""
    contrast = find_contrast(outcome, label, best, other, noise)
    if contrast is None:  # their limits overlap
        return False
    if contrast.chance is None:
        return contrast.change != 0
    return contrast.would_be_beyond_noise is True and contrast.change != 0


def ranking_sentence(ranking: Ranking) -> str:
    """Which way is better, which pour is the best, and how many may be as good."""
    label, outcome = ranking.label, ranking.outcome
    if outcome.scale is Scale.COLOUR:
        return "A colour has no order of its own; ask for `colour change`."
    if not ranking.pours:
        return f"No pour shows {label}."
    if outcome.direction == "neither":
        return f"By {label}, of which neither way is better, the lowest first."
    if outcome.is_safety_test:
        text = f"By {label} ({_better(outcome)}), of the pours that were tested at that age. A test for safety makes no"
        return f"{text} pour the best, and the last counts: `formulary trial show` tells whether a loaf is fit to sell."
    best, as_good = ranking.pours[0], [pour for pour in ranking.pours[1:] if pour.may_be_best]
    by = f"By {label} ({_better(outcome)})"
    named = f"{_name(ranking, best)} of {best.trial.recipe}"
    value = f"{say_value(outcome, best.value)} {outcome.told_unit}".strip()
    if outcome.scale.is_ordinal and as_good:
        return f"{by} {count(len(as_good) + 1, 'pour')} are the best, with {value}."
    text = f"{by} the best is {named}, {value}"
    if outcome.scale.is_ordinal or ranking.noise is None:
        return f"{text}."
    if as_good:
        text += f"; {count(len(as_good), 'other')} may be as good"
    size = noise_size(outcome, ranking.noise, ranking.level)
    if ranking.noise.is_assumed:
        return f"{text}. No two repeats were measured: they are taken to differ by about {size}, which is a guess."
    return f"{text}. Repeats differ by about {size} ({noise_basis(ranking.outcome, ranking.noise)})."


def better_variant(ranking: Ranking) -> Trial | None:
    """The best pour where it is of a variant whose base was poured, too, and surely less good in every pour."""
    best = [pour.trial for pour in ranking.pours if pour.may_be_best]
    if len({ranking.today(trial.recipe) for trial in best}) != 1:
        return None
    based_on = best[0].plan.recipe.based_on
    base = None if based_on is None else ranking.today(based_on.recipe)
    are_poured = any(ranking.today(pour.trial.recipe) == base for pour in ranking.pours)
    return best[0] if are_poured else None


def _found_at_other_ages(outcome: Outcome, pour: RankedPour) -> str:
    """Of a test for safety, what was found at other ages and is worse: "; present at 60 d"."""
    if not outcome.is_safety_test or pour.value.value is None:
        return ""
    return "".join(
        f"; {reading.text} at {format_decimal(seen.age_days.normalize())} d"
        f"{f' ({seen.portion})' if seen.portion else ''}"
        for seen in pour.trial.observations
        if seen.outcome == outcome.name and (pour.portion is None or seen.portion in (None, pour.portion))
        for reading in seen.readings
        if reading.value is not None and reading.value > pour.value.value
    )


def _better(outcome: Outcome) -> str:
    if outcome.scale is Scale.YES_NO:
        return "yes is better" if outcome.direction == "higher" else "no is better"
    if outcome.scale is Scale.GRADED and outcome.grades:
        return f"{outcome.grades[-1] if outcome.direction == 'higher' else outcome.grades[0]} is best"
    return f"{outcome.direction} is better"


def _name(ranking: Ranking, pour: RankedPour) -> str:
    return f"{_names(ranking)[pour.trial.id]} {pour.portion or ''}".rstrip()


def _names(ranking: Ranking) -> dict[str, str]:
    ids = [*(pour.trial.id for pour in ranking.pours), *(item.trial for item in ranking.left_out)]
    return short_names(list(dict.fromkeys(ids)))


def render_ranking(ranking: Ranking, width: int = 80) -> str:
    """The ranking as text of at most `width` columns."""
    lines = wrap_words(ranking_sentence(ranking), width)
    if ranking.pours:
        marked = any(pour.may_be_best for pour in ranking.pours)
        heading = unit_label(ranking.label, ranking.outcome.told_unit)
        rows = [Row(heading, ("", "made"))]
        for pour in ranking.pours:
            value = say_value(ranking.outcome, pour.value)
            if pour.value.n > 1 and pour.value.spread is not None:
                spread = format_number(ranking.outcome.told_apart(pour.value.spread), places(ranking.outcome))
                value = f"{value} ± {spread} n {pour.value.n}"
            sign = "* " if pour.may_be_best else "  " if marked else ""
            soap = f"{pour.trial.recipe} {pour.trial.version[:8]}{_found_at_other_ages(ranking.outcome, pour)}"
            rows.append(Row(f"{sign}{_name(ranking, pour)}", (value, pour.trial.made.isoformat()), note=soap))
        lines += ["", *render_rows(rows, width=width)]
        if marked and not ranking.outcome.scale.is_ordinal:
            lines += [
                "",
                *wrap_words("* the best, or not shown to be worse, by what is known of repeats", width, indent=2),
            ]
    better = better_variant(ranking)
    if better is not None and better.plan.recipe.based_on is not None:
        name, base = (ranking.today(each) for each in (better.recipe, better.plan.recipe.based_on.recipe))
        said = f"No pour of {base} is as good. What {name} has otherwise goes back to it with: formulary"
        lines += ["", *wrap_words(f"{said} send-back {name}@{better.version[:8]}", width, indent=2)]
    if ranking.left_out:
        labels = left_out_labels(ranking.left_out, _names(ranking))
        lines += ["", *wrap_words(f"Without it: {say_first(labels, _MOST_NAMED)}.", width, indent=2)]
    return "\n".join(lines)
