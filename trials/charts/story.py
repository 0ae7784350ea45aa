"""A story to draw: versions in the order of their first pours, and every pour's outcome."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from formulary.read_only import ReadOnly
from formulary.recipes.model import Recipe
from trials.answer.answer import Answer
from trials.answer.chance_words import percent
from trials.answer.sentence import cause_words
from trials.charts.drawn import Drawn
from trials.charts.story_data import (
    SCENTED,
    UNSCENTED,
    WHOLE,
    StoryBand,
    StoryCause,
    StoryData,
    StoryPoint,
    StoryVersion,
)
from trials.factors.factors import Factor
from trials.factors.steps import TENTH
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.seizing import how_seized
from trials.pours.even_scale import from_scale, to_scale
from trials.pours.pour_book import PourBook, scent_percent, short_names
from trials.pours.seen import LeftOut, Seen, find_seen, left_out_labels
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.charts.figure import Chart

# What a maker puts in, or does from some pour on; conditions and blending differ from pour to pour instead.
_CHANGE = frozenset({"oil", "water", "superfat", "alkali"})  # never wholly absent
_BY_VERSION = frozenset({"held back", "addition", "scent"}) | _CHANGE
_COME_IN = _BY_VERSION | {"lot", "vessel"}  # the last two between versions, which stand in another order here


@dataclass(frozen=True, slots=True, repr=False)
class Story(Drawn, StoryData):
    """A story that draws itself."""

    def draw(self, **options: Any) -> Chart:
        """The story as a chart, with `savefig` for SVG, PNG or PDF."""
        from trials.charts.story_drawing import draw

        return draw(self, **options)


def find_story(
    trials: Sequence[Trial],
    outcome: Outcome,
    age_days: Decimal | None = None,
    *,
    title: str = "",
    explanation: Answer | None = None,
    names: Mapping[str, str] = ReadOnly({}),
) -> Story:
    """The story of some trials on one outcome.

    trials: of one recipe, or of a recipe and its variants. explanation: of the same outcome, whose likely causes are
    marked where they came in. names: what recipes that were renamed are called today.
    """
    if age_days is None and outcome.ages_days:
        age_days = outcome.ages_days[0]
    book = PourBook(trials)
    versions = _versions(book.trials, names)
    number = {(version.recipe, version.short_id): version.number for version in versions}
    ordered = sorted(book.trials, key=lambda trial: (number[trial.recipe, trial.version[:8]], trial.made, trial.id))
    slots = tuple((number[trial.recipe, trial.version[:8]], trial.id) for trial in ordered)
    slot_of = {trial_id: slot for slot, (_, trial_id) in enumerate(slots)}
    seen, left_out = find_seen(book, outcome, age_days)
    points = _points(seen, slot_of, slots, book)
    label = outcome_label(outcome, age_days)
    short = short_names([trial.id for trial in book.trials])
    nothing = None if points else f"{label} was not recorded"
    return Story(
        title=title or label,
        label=label,
        unit=outcome.told_unit,
        grades=("no", "yes") if outcome.scale is Scale.YES_NO else outcome.grades,
        versions=versions,
        slots=slots,
        points=tuple(_told(point, outcome) for point in points),
        bands=_bands(points, outcome),
        causes=() if explanation is None else _causes(explanation, slots),
        without_value=left_out_labels(left_out, short),
        seized=_seized(left_out, book.trials, short),
        nothing=nothing,
    )


def _seized(left_out: Sequence[LeftOut], trials: Sequence[Trial], names: Mapping[str, str]) -> tuple[str, ...]:
    """Of what has no value, such as no time, what seized: `k7wq seized, lost`."""
    by_id = {trial.id: trial for trial in trials}
    told = [(item, how_seized(by_id[item.trial], item.portion)) for item in left_out if item.trial in by_id]
    return tuple(f"{left_out_labels([item], names)[0]} {seized}" for item, seized in told if seized)


def _versions(trials: Sequence[Trial], names: Mapping[str, str]) -> tuple[StoryVersion, ...]:
    """Versions in the order in which they were first poured, each with what changed in words."""
    by_version: dict[tuple[str, str], list[Trial]] = {}
    for trial in trials:
        by_version.setdefault((trial.recipe, trial.version), []).append(trial)
    known = {version: group[0].plan.recipe for (_, version), group in by_version.items()}
    in_order = sorted(by_version.items(), key=lambda item: (item[1][0].made, _depth(item[0][1], known)))
    latest: dict[str, Trial] = {}
    found: list[StoryVersion] = []
    for (recipe, version), group in in_order:
        first = group[0]
        base = first.plan.recipe.based_on
        today = names.get(recipe, recipe)
        before = latest.get(today)
        if before is not None:
            words = _changed(before, first) or "nothing that goes into the pot changed"
            if before.recipe != recipe:
                words = f"{before.recipe} by another name; {words}"
        elif base is not None and base.version in known:
            words = _recipe_changed(known[base.version], first.plan.recipe, first.told_in)
            words = f"from {base.recipe}: {words or 'nothing changed'}"
        elif base is not None:
            words = _beside_the_parent(base.recipe, first.plan.recipe, known.values(), first.told_in)
        else:
            words = "as it was first poured"
        latest[today] = first
        day = first.made.isoformat()
        found.append(StoryVersion(len(found) + 1, recipe, version[:8], day, words, len(group)))
    return tuple(found)


def _beside_the_parent(parent: str, recipe: Recipe, known: Iterable[Recipe], told_in: str) -> str:
    """What a variant changed, told against another version of its parent, since its own base was not poured here."""
    poured = [other for other in known if other.slug == parent or parent in other.formerly]
    if not poured:
        return f"branched from {parent}"
    said = _recipe_changed(poured[-1], recipe, told_in) or "nothing changed"
    return f"branched from {poured[-1].slug}; beside it: {said}"


def _changed(before: Trial, after: Trial) -> str:
    """What changed between the recipes of two trials, in words; empty where nothing did."""
    return _recipe_changed(before.plan.recipe, after.plan.recipe, after.told_in)


def _recipe_changed(before: Recipe, after: Recipe, told_in: str) -> str:
    """What changed between two recipes, in words; empty where nothing did."""
    from formulary.changes.compare import compare_recipes
    from formulary.changes.sentence import recipe_clauses

    return "; ".join(recipe_clauses(compare_recipes(before, after), told_in))


def _depth(version: str, known: Mapping[str, Recipe]) -> int:
    """How many branchings lie between a version and one that was branched from nothing here: parents come first."""
    depth = 0
    while (base := known[version].based_on) is not None and base.version in known and depth < len(known):
        version, depth = base.version, depth + 1
    return depth


def _points(
    seen: Sequence[Seen], slot_of: dict[str, int], slots: Sequence[tuple[int, str]], book: PourBook
) -> tuple[StoryPoint, ...]:
    by_trial: dict[str, list[Seen]] = {}
    for item in seen:
        by_trial.setdefault(item.pour.trial.id, []).append(item)
    points: list[StoryPoint] = []
    for trial_id, items in by_trial.items():
        slot = slot_of[trial_id]
        for place, item in enumerate(items):
            value = item.value
            if value.figure is None:
                continue
            beside = 0.0 if len(items) == 1 else 2.0 * place / (len(items) - 1) - 1.0
            points.append(
                StoryPoint(
                    trial_id,
                    slot,
                    slots[slot][0],
                    _portion(item),
                    beside,
                    value.figure,
                    value.bound,
                    value.low if value.bound == "between" else None,
                    value.high if value.bound == "between" else None,
                    book.repeat_group(item.pour),
                    bool(item.pour.trial.as_made),
                    item.pour.portion or "",
                )
            )
    return tuple(sorted(points, key=lambda point: (point.slot, point.beside)))


def _told(point: StoryPoint, outcome: Outcome) -> StoryPoint:
    """A point at the height at which it is drawn, in the unit that people are told its values in."""
    low, high = (None if end is None else outcome.told(end) for end in (point.low, point.high))
    return replace(point, value=outcome.told(point.value), low=low, high=high)


def _portion(item: Seen) -> str:
    if item.pour.portion is None:
        return WHOLE
    return SCENTED if scent_percent(item.pour) > 0 else UNSCENTED


def _bands(points: Sequence[StoryPoint], outcome: Outcome) -> tuple[StoryBand, ...]:
    """One band for each group of repeats within a version that has two exact values or more."""
    if outcome.scale in (Scale.GRADED, Scale.YES_NO, Scale.COLOUR):
        return ()
    groups: dict[tuple[int, str, int], list[float]] = {}
    for point in points:
        if point.bound == "exact":
            value = to_scale(point.value, outcome.scale)
            groups.setdefault((point.version, point.portion, point.repeats), []).append(value)
    bands: list[StoryBand] = []
    for (version, portion, group), values in sorted(groups.items()):
        if len(values) < 2:
            continue
        mean = sum(values) / len(values)
        sd = (sum((value - mean) ** 2 for value in values) / (len(values) - 1)) ** 0.5
        low, high = (outcome.told(from_scale(end, outcome.scale)) for end in (mean - sd, mean + sd))
        bands.append(StoryBand(version, portion, low, high, len(values), group))
    return tuple(bands)


def _causes(explanation: Answer, slots: Sequence[tuple[int, str]]) -> tuple[StoryCause, ...]:
    """Likely causes, each at the first pour that had it."""
    causes: list[StoryCause] = []
    for cause in explanation.causes:
        if not cause.is_likely:
            continue
        said = f"{cause_words(cause)} ({percent(cause.probability)})"
        factor = explanation.factor(cause.factors[0])
        if factor.kind not in _COME_IN:
            causes.append(StoryCause(f"{said} varied from pour to pour", None, None))
            continue
        first, from_the_start = _first_with(explanation, factor)
        if first is None:
            continue
        words = "was there from the start" if from_the_start else "changed" if factor.kind in _CHANGE else "came in"
        if factor.kind in _BY_VERSION:
            slot = next((slot for slot, (_, trial_id) in enumerate(slots) if trial_id == first.id), None)
            if slot is not None:
                causes.append(StoryCause(f"{said} {words}", slots[slot][0], slot))
            continue
        places = _in_each_version(explanation, factor, slots)
        words += "" if from_the_start else f" on {first.made}"
        if places:
            causes.append(StoryCause(f"{said} {words}", None, places[0], tuple(places[1:])))
    return tuple(causes)


def _in_each_version(explanation: Answer, factor: Factor, slots: Sequence[tuple[int, str]]) -> list[int]:
    """For each version the first place along the chart at which a pour had it."""
    column = explanation.table.column(factor.name)
    having = {
        item.pour.trial.id
        for item, value in zip(explanation.seen, column, strict=True)
        if value is not None and value > TENTH * factor.step
    }
    first: dict[int, int] = {}
    for slot, (version, trial_id) in enumerate(slots):
        if trial_id in having:
            first.setdefault(version, slot)
    return list(first.values())


def _first_with(explanation: Answer, factor: Factor) -> tuple[Trial | None, bool]:
    """The first pour by date that had it, which for what is never wholly absent is the first that differed from those
    before it; and whether that is the first of all.
    """
    column = explanation.table.column(factor.name)
    known = [
        (item.pour.trial, value) for item, value in zip(explanation.seen, column, strict=True) if value is not None
    ]
    known.sort(key=lambda pair: (pair[0].made, pair[0].id))
    if not known:
        return None, False
    absent = known[0][1] if factor.kind in _CHANGE else 0.0
    first = next((trial for trial, value in known if abs(value - absent) > TENTH * factor.step), None)
    return first, first is not None and first.id == known[0][0].id
