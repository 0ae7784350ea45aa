"""What differed between pours and may have caused a difference in an outcome, as columns of plain numbers.

A column is (value - baseline) / step. The baseline is what the commonest version has; a step is what a maker would
call one change (`steps`). Only what moves by more than a tenth of its step is a factor.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from formulary.materials.plain_name import material_words
from formulary.temperature import CELSIUS, told_apart, told_unit, told_value
from trials.factors.displacement import find_displacements
from trials.factors.portion_facts import STAGE_WORDS, Aspect, Fact, LotShares, Pour
from trials.factors.steps import TENTH, TOLD_STEPS, Step

_RECORDED_ENOUGH = 2 / 3  # of the pours: with less, the rest would be guesswork


@dataclass(frozen=True, slots=True)
class Factor:
    """One thing that varied.

    name: unique among the factors, as people say it ("clove bud oil", "hemp seed oil for olive oil"). kind: as in
    `Aspect`. unit: of its values. step: how much counts as one change. baseline: the value that columns start from.
    words: what one step of it is, for "each ... shortens" ("1 % of oils"; "lot CB-2 instead of CB-1").
    aspects: the facts that it is made of. told_in: what its values are told in to people where they are temperatures.
    """

    name: str
    unit: str
    kind: str
    step: float
    baseline: float
    words: str
    aspects: tuple[Aspect, ...] = ()
    told_in: str = CELSIUS

    @property
    def told_unit(self) -> str:
        """The unit that people are told its values in."""
        return told_unit(self.unit, self.told_in)

    def told(self, value: float) -> float:
        """A value in the unit that people are told it in."""
        return told_value(value, self.unit, self.told_in)

    @property
    def told_words(self) -> str:
        """What the step is that people are told effects of: `5 °C`, `10 °F`."""
        return self.words if self.told_unit == self.unit else TOLD_STEPS[self.told_unit].text

    @property
    def told_steps(self) -> float:
        """How many of its steps are in the one that people are told effects of."""
        if self.told_unit == self.unit:
            return 1.0
        return TOLD_STEPS[self.told_unit].size / told_apart(self.step, self.unit, self.told_in)

    def to_json(self) -> dict[str, object]:
        return {
            "name": self.name,
            "unit": self.unit,
            "kind": self.kind,
            "step": self.step,
            "baseline": self.baseline,
            "words": self.words,
        }


@dataclass(frozen=True, slots=True)
class SetAside:
    """A factor that was recorded too seldom to be used."""

    name: str
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class FactorTable:
    """The factors over the pours.

    values: shape (pours, factors), in each factor's unit; None where it was not recorded.
    remarks: what was filled in or taken from the plan, in sentences.
    """

    pours: tuple[Pour, ...]
    factors: tuple[Factor, ...]
    values: tuple[tuple[float | None, ...], ...]
    set_aside: tuple[SetAside, ...] = ()
    remarks: tuple[str, ...] = ()

    def factor(self, name: str) -> Factor:
        """The factor of that name."""
        return next(factor for factor in self.factors if factor.name == name)

    def column(self, name: str) -> tuple[float | None, ...]:
        """One factor's values, a pour each, in its unit."""
        number = [factor.name for factor in self.factors].index(name)
        return tuple(row[number] for row in self.values)

    def steps(self) -> list[list[float]]:
        """Shape (pours, factors): (value - baseline) / step; within a tenth of a step of the baseline is 0.

        A pour without a value stands at the mean of the others, where it says nothing about that factor.
        """
        columns: list[list[float]] = []
        for number, factor in enumerate(self.factors):
            known = [row[number] for row in self.values]
            recorded = [value for value in known if value is not None]
            mean = sum(recorded) / len(recorded)
            moved = [((mean if value is None else value) - factor.baseline) / factor.step for value in known]
            columns.append([0.0 if abs(step) <= TENTH else round(step, 6) for step in moved])
        return [list(row) for row in zip(*columns, strict=True)] if columns else [[] for _ in self.pours]


def find_factors(pours: Sequence[Pour]) -> FactorTable:
    """Everything that varied between the pours by more than a tenth of its step."""
    usual = _commonest_version(pours)
    found: list[tuple[Factor, tuple[float | None, ...]]] = []
    aspects = sorted({aspect for pour in pours for aspect in pour.facts}, key=lambda aspect: aspect.place)
    twice = _at_two_stages(aspects)
    found += find_oil_factors(pours, usual)
    for aspect in aspects:
        if aspect.kind == "oil":
            continue
        facts = [pour.fact(aspect) for pour in pours]
        if any(isinstance(fact, (str, LotShares)) for fact in facts):
            found += _instead_factors(aspect, facts)
        else:
            numbers = tuple(fact if isinstance(fact, float) else None for fact in facts)
            found += _number_factor(aspect, numbers, usual, name=_name(aspect, twice), told_in=pours[0].trial.told_in)
    kept = [(factor, values) for factor, values in found if _varies(values, factor.step)]
    enough = [item for item in kept if _share_recorded(item[1]) >= _RECORDED_ENOUGH]
    # A condition of a few pours that is alike in them may have been another in the rest: nobody can tell.
    aside = tuple(
        SetAside(factor.name, f"recorded in {_recorded(values)} of {len(pours)} only")
        for factor, values in found
        if _share_recorded(values) < _RECORDED_ENOUGH and (factor.kind == "condition" or _varies(values, factor.step))
    )
    return FactorTable(
        tuple(pours),
        tuple(factor for factor, _ in enough),
        tuple(zip(*(values for _, values in enough), strict=True)) if enough else tuple(() for _ in pours),
        aside,
        _remarks(pours, enough),
    )


def place_pour(table: FactorTable, pour: Pour, *, as_done: bool = False) -> dict[str, float]:
    """Where another pour would stand among the factors of a table, by name, in each factor's unit.

    What it says nothing of stands at the usual value, and so do its lots, moulds, conditions and the like, as of a pour
    that is still to come; as_done: these stand where they were.
    """
    values: dict[str, float] = {}
    for number, factor in enumerate(table.factors):
        aspect = factor.aspects[0]
        fact = pour.fact(aspect)
        if factor.kind == "oil":  # a displacement: less what the commonest version has, which any row tells
            first = table.values[0][number] or 0.0
            usual = _number(table.pours[0].fact(aspect)) - first
            values[factor.name] = _number(fact) - usual
        elif isinstance(fact, float) and (as_done or factor.kind not in ("condition", "blending", "handling")):
            values[factor.name] = fact
        elif isinstance(fact, (str, LotShares)) and as_done:
            values[factor.name] = _share(fact, instead_of(factor)[0])
        else:
            values[factor.name] = factor.baseline
    return values


def find_oil_factors(pours: Sequence[Pour], usual: Sequence[int]) -> list[tuple[Factor, tuple[float | None, ...]]]:
    """Oils as displacements, since their percentages total 100: `hemp seed oil for olive oil`."""
    aspects = sorted({aspect for pour in pours for aspect in pour.facts if aspect.kind == "oil"})
    moves: dict[str, list[float]] = {}
    for aspect in aspects:
        values = [_number(pour.fact(aspect)) for pour in pours]
        base = _mode([values[row] for row in usual])
        moves[aspect.subject] = [round(value - base, 6) for value in values]
    step = aspects[0].step_of if aspects else Step(1.0, "")
    found: list[tuple[Factor, tuple[float | None, ...]]] = []
    by_name = {aspect.subject: aspect for aspect in aspects}
    for displacement in find_displacements(moves, within=TENTH * step.size):
        name = material_words(displacement.rises)
        parts = [by_name[displacement.rises]]
        if displacement.falls is not None:
            name += f" for {material_words(displacement.falls)}"
            parts.append(by_name[displacement.falls])
        factor = Factor(name, step.unit, "oil", step.size, 0.0, step.text, tuple(parts))
        found.append((factor, tuple(displacement.moves)))
    return found


def _number_factor(
    aspect: Aspect, values: tuple[float | None, ...], usual: Sequence[int], *, name: str, told_in: str
) -> list[tuple[Factor, tuple[float | None, ...]]]:
    recorded = [value for value in values if value is not None]
    if not recorded:
        return []
    at_usual = [value for row in usual if (value := values[row]) is not None]
    if aspect.kind in ("blending", "condition", "handling", "size") and aspect.step != "done":
        baseline = float(median(recorded))
    else:
        baseline = _mode(at_usual or recorded)
    step = aspect.step_of
    words = f"{name} or not" if aspect.step == "done" else step.text
    factor = Factor(name, step.unit, aspect.kind, step.size, baseline, words, (aspect,), told_in)
    return [(factor, values)]


def _instead_factors(aspect: Aspect, facts: Sequence[Fact]) -> list[tuple[Factor, tuple[float | None, ...]]]:
    """One column for each lot, mould or cover that was used instead of the commonest one."""
    used: Counter[str] = Counter()
    for fact in facts:
        for word in _words(fact):
            used[word] += 1
    if len(used) < 2:
        return []
    commonest = min(used, key=lambda word: (-used[word], word))
    subject = material_words(aspect.subject)
    found: list[tuple[Factor, tuple[float | None, ...]]] = []
    for word in sorted(used):
        if word == commonest:
            continue
        values = tuple(None if fact is None else _share(fact, word) for fact in facts)
        if aspect.kind == "lot":
            name, words = f"lot {word} of {subject}", f"lot {word} instead of {commonest}"
        else:
            name, words = f"{subject} {word}", f"{word} instead of {commonest}"
        found.append((Factor(name, "", aspect.kind, 1.0, 0.0, words, (aspect,)), values))
    return found


def instead_of(factor: Factor) -> tuple[str, str]:
    """Of a lot, a mould or a cover that is one: what it is, and what is commonest, in whose place it was used."""
    words = factor.words.removeprefix("lot ") if factor.kind == "lot" else factor.words
    taken, _, commonest = words.rpartition(" instead of ")
    return taken, commonest


def _words(fact: Fact) -> tuple[str, ...]:
    if isinstance(fact, LotShares):
        return tuple(lot for lot, _ in fact.shares)
    return (fact,) if isinstance(fact, str) else ()


def _share(fact: Fact, word: str) -> float:
    if isinstance(fact, LotShares):
        return fact.share(word)
    return float(fact == word)


def _number(fact: Fact) -> float:
    return fact if isinstance(fact, float) else 0.0


def _name(aspect: Aspect, twice: frozenset[tuple[str, str]]) -> str:
    words = material_words(aspect.subject)
    if aspect.kind == "held back":
        return f"{words} held back"
    if (aspect.kind, aspect.subject) in twice:
        return f"{words} {STAGE_WORDS.get(aspect.stage, aspect.stage)}"
    return words


def name_aspects(aspects: Iterable[Aspect]) -> dict[Aspect, str]:
    """What each aspect is called among others: with its stage where the same material went in at two."""
    listed = list(aspects)
    twice = _at_two_stages(listed)
    return {aspect: _name(aspect, twice) for aspect in listed}


def say_aspect(aspect: Aspect, names: Mapping[Aspect, str]) -> str:
    """What an aspect is called where its values stand beside it: `lot of clove bud oil`."""
    return f"lot of {names[aspect]}" if aspect.kind == "lot" else names[aspect]


def _at_two_stages(aspects: Iterable[Aspect]) -> frozenset[tuple[str, str]]:
    seen = Counter((aspect.kind, aspect.subject) for aspect in aspects)
    return frozenset(key for key, count in seen.items() if count > 1)


def _commonest_version(pours: Sequence[Pour]) -> list[int]:
    """The rows of the version that most trials came from, the earliest among equals."""
    trials = {pour.trial.id: pour.trial for pour in pours}.values()
    counts = Counter(trial.version for trial in trials)
    first = {version: min((t.made, t.id) for t in trials if t.version == version) for version in counts}
    if not counts:
        return []
    version = min(counts, key=lambda version: (-counts[version], first[version]))
    return [row for row, pour in enumerate(pours) if pour.trial.version == version]


def _mode(values: Sequence[float]) -> float:
    """The commonest value, the smallest among equals."""
    counts = Counter(values)
    return min(counts, key=lambda value: (-counts[value], value)) if counts else 0.0


def _varies(values: Sequence[float | None], step: float) -> bool:
    known = [value for value in values if value is not None]
    return bool(known) and max(known) - min(known) > TENTH * step * (1 + 1e-9)


def _recorded(values: Sequence[float | None]) -> int:
    return sum(value is not None for value in values)


def _share_recorded(values: Sequence[float | None]) -> float:
    return _recorded(values) / len(values) if values else 0.0


def _remarks(pours: Sequence[Pour], kept: Sequence[tuple[Factor, tuple[float | None, ...]]]) -> tuple[str, ...]:
    said: list[str] = []
    for factor, values in kept:
        silent = len(values) - _recorded(values)
        if silent:
            said.append(f"{factor.name}: not recorded in {silent} of {len(values)}, which count as average there")
        planned = sum(any(aspect in pour.as_planned for aspect in factor.aspects) for pour in pours)
        if planned:
            said.append(f"{factor.name}: as planned, not measured, in {planned} of {len(values)}")
    return tuple(said)
