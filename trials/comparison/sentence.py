"""What one would say aloud about a comparison."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.quantity import format_number, format_plain_number
from trials.comparison.compared import DONE, Column, ComparedFactor, ComparedOutcome, ComparedTrials
from trials.comparison.rebatched import is_rebatched
from trials.outcomes.outcome import Outcome
from trials.pours.contrast import Contrast
from trials.pours.noise import RepeatNoise
from trials.pours.sentences import (
    capital,
    count,
    difference_unit,
    noise_basis,
    noise_size,
    places,
    say_first,
    say_list,
    say_move,
    say_value,
)

_FEW = 3  # differences that are named in the sentence


def comparison_sentence(comparison: ComparedTrials) -> str:
    """One or two sentences: what differed, what that did, and whether it is more than noise."""
    columns = comparison.columns
    if not columns:
        return "There is nothing to compare."
    if len(columns) == 1:
        return _alone(comparison)
    if comparison.controls:
        control, scented, contrasts = comparison.controls[0]
        did = _what_it_did(contrasts, comparison, (control, scented))
        start = f"Beside its own unscented portion, {scented.label} {did}"
        rest = "" if len(columns) == 2 else f" Over all, {_what_differed(comparison)}."
        return f"{start}.{rest}"
    if len(columns) == 2:
        second = columns[1].label
        return (
            f"{capital(_two(comparison))}, and {second} {_what_it_did(comparison.contrasts[0], comparison, columns)}."
        )
    if comparison.are_repeats:
        return f"{capital(_repeats(comparison))}. {_range(comparison)}"
    return f"{capital(_what_differed(comparison))}. {_range(comparison)}"


def _alone(comparison: ComparedTrials) -> str:
    return f"{comparison.columns[0].label} stands alone: name a second trial to compare it with."


def _repeats(comparison: ComparedTrials) -> str:
    """`these three pours repeat one another, but for small differences in room and lye temperature`."""
    columns = len(comparison.columns)
    start = f"these {'two' if columns == 2 else count(columns, 'pour')} repeat one another"
    if not comparison.factors:
        return f"{start}: nothing that is recorded differed"
    names = [factor.factor for factor in comparison.factors]
    return f"{start}, but for what always differs a little: {say_first(names, 2 * _FEW)}"


def _two(comparison: ComparedTrials) -> str:
    differing = comparison.factors
    if not differing:
        return "these two were made alike, as far as anything is recorded"
    if comparison.are_repeats:
        return _repeats(comparison)
    if len(differing) == 1:
        return f"these two differ in one thing, {say_factor(differing[0])}"
    if _is_oil_swap(differing) and len(differing) == 2:
        risen = max(differing, key=_rise)
        by = format_number(_rise(risen), risen.places)
        return f"these two differ in one thing, {by} % {_names(differing)[0]}"
    named = _names(differing)
    if len(named) <= _FEW:
        return f"these two poured alike but for {count(len(named), 'thing')}, {say_list(named)}"
    return f"these two differ in {count(len(named), 'thing')}, {say_list(named[:_FEW])} the most unusual of them"


def _is_oil_swap(differing: Sequence[ComparedFactor]) -> bool:
    """Whether of two columns one oil rose by what another fell, which is one thing."""
    oils = [factor for factor in differing if factor.kind == "oil"]
    if len(oils) != 2 or len(oils[0].values) != 2:
        return False
    return min(map(_rise, oils)) < 0 < max(map(_rise, oils))


def _names(differing: Sequence[ComparedFactor]) -> list[str]:
    """What differed, by name; an oil with the one that it took the place of."""
    if not _is_oil_swap(differing):
        return [factor.factor for factor in differing]
    oils = [factor for factor in differing if factor.kind == "oil"]
    swap = f"{max(oils, key=_rise).factor} for {min(oils, key=_rise).factor}"
    return [swap if factor is oils[0] else factor.factor for factor in differing if factor is not oils[1]]


def _rise(factor: ComparedFactor) -> float:
    first, last = factor.values[0], factor.values[-1]
    return last - first if isinstance(first, float) and isinstance(last, float) else 0.0


def say_factor(factor: ComparedFactor) -> str:
    """A factor with its values: `clove bud oil (0 and 1.2 % of oils)`."""
    shown = [say_fact(factor, value) for value in dict.fromkeys(factor.values)]
    return f"{factor.factor} ({say_list(shown)}{f' {factor.unit_words}' if factor.unit_words else ''})"


def say_fact(factor: ComparedFactor, value: float | str | None) -> str:
    """One value of a factor as it stands in a table."""
    if value is None:
        return "-"
    if isinstance(value, str):
        return value
    if factor.unit == DONE:
        return "yes" if value else "no"
    return format_plain_number(factor.told(value), factor.places)


def _what_differed(comparison: ComparedTrials) -> str:
    differing = comparison.factors
    if not differing:
        return "these were made alike, as far as anything is recorded"
    if len(differing) <= _FEW:
        return f"{count(len(differing), 'thing')} differed: {say_list([factor.factor for factor in differing])}"
    names = say_list([factor.factor for factor in differing[:_FEW]])
    return f"{count(len(differing), 'thing')} differed, {names} the most unusual of them"


def _trials(columns: Sequence[Column]) -> set[str]:
    return {pour.trial.id for column in columns for pour in column.pours}


def _what_it_did(contrasts: Sequence[Contrast], comparison: ComparedTrials, columns: Sequence[Column]) -> str:
    """`thickened 4.3 min sooner; repeats here differ by about 0.9 min (5 repeats in 5 loaves), so that is ...`."""
    if not contrasts:
        # What is written of a whole batter is said of every portion of it, and sets none of them apart.
        of_each = "of both" if len(_trials(columns)) > 1 else "of each portion by itself"
        return f"cannot be held against the other yet: no outcome was measured {of_each}"
    chosen = headline(contrasts)
    if _is_nothing(chosen):
        return f"did the same: no difference in {say_list([contrast.label for contrast in contrasts[:_FEW]], 'or')}"
    move = say_contrast(chosen)
    if chosen.label in comparison.came_after:
        move += ", on which nothing that differed can have acted"
    shown = next((item for item in comparison.outcomes if item.label == chosen.label), None)
    if shown is None or shown.noise is None or chosen.chance is None:
        return move
    noise = say_noise(shown)
    if chosen.are_repeats_too_few:
        few = "of which there are too few to say whether that is more than noise"
        return f"{move}; {noise}, {'so only repeats can show whether that is more' if shown.noise.is_assumed else few}"
    if chosen.would_be_beyond_noise and comparison.are_repeats and not shown.noise.is_scant:
        return f"{move}; {noise}, so that is more than they mostly do"
    if chosen.would_be_beyond_noise:
        return f"{move}; {noise}, {_more_than_noise(chosen, shown.noise)}"
    if chosen.at_least:
        return f"{move}; {noise}, so the limit alone does not show that it is more than noise"
    return f"{move}; {noise}, so that may well be noise"


def _more_than_noise(contrast: Contrast, noise: RepeatNoise) -> str:
    """That a difference is more than noise, and what there is against saying so."""
    if noise.is_assumed:
        return "so that would be more than noise, which only repeats can show"
    if noise.is_scant:
        return "so that would be more than noise, but so few repeats are no ground to say so"
    spread = max(contrast.before.spread or 0.0, contrast.after.spread or 0.0)
    if abs(contrast.change) >= spread:
        return "so that is more than noise"
    outcome = contrast.outcome
    own = f"{format_number(outcome.told_apart(spread), places(outcome))} {difference_unit(outcome)}".strip()
    return f"so that is more than noise, though the readings of one side spread by {own} themselves"


def say_contrast(contrast: Contrast) -> str:
    """`thickened 4.3 min sooner`, `went from no to yes for cracked`."""
    outcome = contrast.outcome
    if outcome.scale.is_ordinal:
        return f"had {contrast.label} {say_value(outcome, contrast.after)}, not {say_value(outcome, contrast.before)}"
    return say_move(outcome, contrast.label, contrast.change, at_least=contrast.at_least)


def say_briefly(contrast: Contrast) -> str:
    """`thickened 4.3 min sooner (may be noise)`: a difference where there is no room to tell of repeats."""
    said = say_contrast(contrast)
    if contrast.chance is None or _is_nothing(contrast) or contrast.would_be_beyond_noise:
        return said
    return f"{said} ({'too few repeats to say more' if contrast.are_repeats_too_few else 'may be noise'})"


def _is_nothing(contrast: Contrast) -> bool:
    outcome: Outcome = contrast.outcome
    if outcome.scale.is_ordinal:
        return contrast.change == 0
    return outcome.told_apart(abs(contrast.change)) < 0.5 * 10.0 ** -places(outcome)


def headline(contrasts: Sequence[Contrast]) -> Contrast:
    """The contrast worth saying first: one beyond the noise, working time before others; else the clearest.

    contrasts: the clearest first, at least one. What has no line of its own, such as the bare masses, is said
    first only where there is nothing else.
    """
    told = [contrast for contrast in contrasts if contrast.tells] or list(contrasts)
    beyond = [contrast for contrast in told if contrast.would_be_beyond_noise]
    moved = [contrast for contrast in told if not _is_nothing(contrast)]
    for group in (beyond, moved, told):
        if group:
            return next((contrast for contrast in group if contrast.outcome.name == "working time"), group[0])
    raise ValueError("no contrasts")


def say_noise(outcome: ComparedOutcome) -> str:
    """`repeats here differ by about 0.9 min (5 repeats in 5 loaves)`, or that this is assumed."""
    noise = outcome.noise
    if noise is None:
        return "how much repeats differ is not known"
    size = noise_size(outcome.outcome, noise, outcome.level)
    if noise.is_assumed:
        return f"no two repeats were measured yet, which are taken to differ by about {size}"
    return f"repeats here differ by about {size} ({noise_basis(outcome.outcome, noise)})"


def _range(comparison: ComparedTrials) -> str:
    """`Working time runs from 4.7 (m3hd) to 9.0 min (k7wq); known only as a limit: x3fp later than 9.0; repeats ...`"""
    shown = _most_measured(comparison)
    if shown is None:
        return "No outcome was measured of two of them."
    known = [
        (value, column) for value, column in zip(shown.values, comparison.columns, strict=True) if value is not None
    ]
    limits = [(value, column) for value, column in known if value.bound in ("above", "below")]
    seen = sorted((item for item in known if item not in limits), key=lambda item: item[0].figure or 0.0)
    outcome = shown.outcome
    beside = say_first([f"{column.label} {say_value(outcome, value)}" for value, column in limits], _FEW)
    if not seen:
        return f"Of {shown.label} only limits are known{f', {outcome.told_unit}' if outcome.unit else ''}: {beside}."
    (low, low_column), (high, high_column) = seen[0], seen[-1]
    least, most = say_value(outcome, low), f"{say_value(outcome, high)} {outcome.told_unit}".rstrip()
    if len(seen) == 1:
        text = f"{capital(shown.label)} was {most} ({high_column.label})"
    elif least != say_value(outcome, high):
        text = f"{capital(shown.label)} runs from {least} ({low_column.label}) to {most} ({high_column.label})"
    else:
        text = f"{capital(shown.label)} was {most} wherever it was measured"
    text += f"; known only as a limit: {beside}" if beside else ""
    return f"{text}; {say_noise(shown)}." if shown.noise is not None else f"{text}."


def _most_measured(comparison: ComparedTrials) -> ComparedOutcome | None:
    """The working time where several columns have one, else the outcome that most columns have; none told by limits
    alone, which run from nowhere to nowhere.
    """

    def known(item: ComparedOutcome) -> int:
        return sum(value is not None for value in item.values)

    several = [item for item in comparison.outcomes if comparison.is_told(item) and known(item) > 1]
    return max(several, key=lambda item: (item.outcome.name == "working time", known(item)), default=None)


def column_note(column: Column) -> str:
    """What a column is: the recipe, the version, when it was poured, or how many pours it stands for."""
    trial = column.trial
    days = sorted({pour.trial.made for pour in column.pours})
    when = f"{days[0]}" if len(days) == 1 else f"{days[0]} to {days[-1]}"
    of = "" if len(column.pours) == 1 else f", {len(column.pours)} pours"
    rebatched = ", before it was rebatched" if is_rebatched(column) else ""
    return f"{trial.recipe} {trial.version[:8]}, {when}{of}{rebatched}"
