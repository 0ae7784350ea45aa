"""How much an outcome differs between repeats, when nothing that is recorded differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt
from statistics import median

from trials.outcomes.outcome import Outcome, Scale
from trials.pours.even_scale import noise_in_unit, to_scale
from trials.pours.pour_book import PourBook
from trials.pours.seen import Seen
from trials.pours.student_t import chance_of_more

# Worth so many repeats, where there are none: repeats of a time differ by a fifth of it, of a share that is read by eye
# by ten points, of anything else by a tenth of its usual value (common practice, no source).
_ASSUMED_DEGREES = 4
_ASSUMED_LOG = 0.2
_ASSUMED_POINTS = 10.0
_ASSUMED_PART = 0.1
# Repeats below which a difference is not called more than noise (common practice, no source).
_FEWEST = 3
_ODD = 9.0  # times the variance that is left without one repeat: a third of the noise
_LUCK = 0.01  # less than this, that any of the repeats lies as far from the others by luck, is no luck
_COARSER = (100, 50, 20, 10, 5, 2)  # times an outcome's step: what people round to
_SAME = 1e-9  # what sums of floats leave of no difference
_IN_19_OF_20 = 1.96  # standard deviations to either side of the normal's middle that hold 19 of 20 (Student's t too)


@dataclass(frozen=True, slots=True)
class RepeatNoise:
    """The standard deviation of one pour among its repeats.

    sd: on the even scale of the outcome (log for times). degrees: of freedom that it rests on. repeats: pours that
    have a repeat among the trials; loaves: the trials that these are of, since portions of one loaf share its luck.
    is_assumed: whether there are none, so that it is a usual value. read_to: a step coarser than the outcome's own, in
    its unit, that all was read to, where repeats differ by no more than that makes; else 0. rounding: how far apart two
    pours may read then that did the same. mostly_by: id of the one trial without which repeats would differ by less
    than a third of it; empty where there is none. usual_sd: of the others, where that one lies so far from them that it
    is not luck; else `sd`. read_alike: whether every repeat read the same, so that it is only what their readings leave
    open.
    """

    sd: float
    scale: Scale
    degrees: int
    repeats: int
    loaves: int
    is_assumed: bool
    read_to: float = 0.0
    rounding: float = 0.0
    mostly_by: str = ""
    usual_sd: float = 0.0
    read_alike: bool = False

    def in_unit(self, level: float) -> float:
        """In the outcome's own unit, for values about `level`."""
        return noise_in_unit(self.sd, self.scale, level)

    def chance(self, before: float, after: float, n_before: int = 1, n_after: int = 1) -> float:
        """How likely repeats alone would differ by as much as these two values, each the mean of so many pours."""
        if self._may_read_alike(before, after):
            return 1.0
        apart = abs(to_scale(after, self.scale) - to_scale(before, self.scale))
        error = self.sd * sqrt(1.0 / n_before + 1.0 / n_after)
        if error <= 0:
            return 0.0 if apart > 0 else 1.0
        return chance_of_more(apart / error, self.degrees)

    def is_within(self, before: float, after: float, n_before: int = 1, n_after: int = 1) -> bool:
        """Whether two values lie no further apart than 19 of 20 repeats would, were the noise exactly as it is told.

        Few repeats leave open that it is larger: what lies further apart than this, and not so far that `chance` is
        small, is neither shown to be noise nor to be more.
        """
        if self._may_read_alike(before, after):
            return True
        apart = abs(to_scale(after, self.scale) - to_scale(before, self.scale))
        return apart <= _IN_19_OF_20 * self.sd * sqrt(1.0 / n_before + 1.0 / n_after)

    def _may_read_alike(self, before: float, after: float) -> bool:
        return 0 < abs(after - before) <= self.rounding * (1 + 1e-9)

    @property
    def is_scant(self) -> bool:
        """Whether it rests on too little for anything to be called more than noise by it alone."""
        return self.is_assumed or min(self.repeats, self.loaves) < _FEWEST

    @property
    def basis(self) -> str:
        """What it rests on: `8 repeats in 5 loaves`."""
        return f"{self.repeats} repeats in {self.loaves} loaves"


def find_noise(seen: Sequence[Seen], outcome: Outcome, book: PourBook) -> RepeatNoise | None:
    """The repeat-to-repeat noise of an outcome, pooled over all groups of repeats with exact values.

    Where nothing was repeated it is a usual value, and says so. None for grades, yes / no and colours.
    """
    if outcome.scale in (Scale.GRADED, Scale.YES_NO, Scale.COLOUR):
        return None
    exact = [item for item in seen if item.value.bound == "exact" and item.value.value is not None]
    groups: dict[int, list[Seen]] = {}
    for item in exact:
        groups.setdefault(book.repeat_group(item.pour), []).append(item)
    of_repeats = [group for group in groups.values() if len(group) > 1]
    repeated = [
        [(to_scale(item.value.value or 0.0, outcome.scale), item.pour.trial.id) for item in group]
        for group in of_repeats
    ]
    squares = sum(_squares([value for value, _ in group]) for group in repeated)
    degrees, repeats = sum(len(group) - 1 for group in repeated), sum(map(len, repeated))
    loaves = {trial for group in repeated for _, trial in group}
    level = median(item.value.value or 0.0 for item in exact) if exact else 0.0
    if not degrees:
        assumed = _assumed(outcome, level)
        return RepeatNoise(assumed, outcome.scale, _ASSUMED_DEGREES, 0, 0, True, usual_sd=assumed)
    read_to, ends = _read_to(outcome, exact), 2 if outcome.from_events else 1  # both ends are read off the clock
    seen_sd, least_sd = sqrt(squares / degrees), _resolution(outcome, level, read_to * sqrt(ends))
    readings_sd = max(least_sd, _reading_error(outcome, [item for group in of_repeats for item in group]))
    sd = max(seen_sd, readings_sd)
    noise = RepeatNoise(sd, outcome.scale, degrees, repeats, len(loaves), False, read_alike=seen_sd < _SAME)
    odd, usual_sd = _mostly_by(repeated, squares, degrees, readings_sd)
    noise = replace(noise, mostly_by=odd, usual_sd=usual_sd or sd)
    if read_to > float(outcome.step) and seen_sd < least_sd:
        noise = replace(noise, read_to=read_to, rounding=ends * read_to)
    return noise


def _squares(values: Sequence[float]) -> float:
    mean = sum(values) / len(values)
    return sum((value - mean) ** 2 for value in values)


def _mostly_by(
    repeated: Sequence[Sequence[tuple[float, str]]], squares: float, degrees: int, least_sd: float
) -> tuple[str, float | None]:
    """The trial that makes most of the noise, where others tell what is usual; of two, the one further from all.

    With the noise of the others where it lies further from them than luck brings any of them (Student's t, one for each
    repeat), None else. least_sd: what their readings leave open, however alike they read.
    """
    usual = median(value for group in repeated for value, _ in group)
    for group in repeated if degrees > 1 else ():
        values = [value for value, _ in group]
        odd = max(range(len(group)), key=lambda place: abs(values[place] - usual))
        rest = values[:odd] + values[odd + 1 :]
        left = squares - _squares(values) + _squares(rest)
        left_sd = max(sqrt(max(left, 0.0) / (degrees - 1)), least_sd)
        apart = sqrt(max(squares - left, 0.0)) / left_sd
        is_luck = sum(map(len, repeated)) * chance_of_more(apart, degrees - 1) >= _LUCK
        if _ODD * left / (degrees - 1) < squares / degrees and not (is_luck and degrees <= _FEWEST):
            return group[odd][1], None if is_luck else left_sd
    return "", None


def _resolution(outcome: Outcome, level: float, read_to: float) -> float:
    """The noise of rounding alone: repeats that read the same still differ by less than the step they are read to."""
    rounding = read_to / sqrt(12.0)
    return rounding / max(abs(level), float(outcome.step)) if outcome.scale is Scale.LOG_TIME else rounding


def _reading_error(outcome: Outcome, repeats: Sequence[Seen]) -> float:
    """How unsure the value of one repeat is by its own readings, pooled: repeats that agree better do so by luck."""
    if outcome.scale is Scale.LOG_TIME:
        return 0.0
    known = [item.value for item in repeats if item.value.spread is not None and item.value.n > 1]
    degrees = sum(value.n - 1 for value in known)
    squares = sum((value.n - 1) * (value.spread or 0.0) ** 2 / value.n for value in known)
    return sqrt(squares / degrees) if degrees else 0.0


def _read_to(outcome: Outcome, exact: Sequence[Seen]) -> float:
    """The step that all values were read to: the outcome's own, or a coarser one that every one of them is a multiple
    of, such as whole minutes. Two different times tell that; of what is read off a scale two may be round by chance.
    """
    step = float(outcome.step)
    figures = {item.value.value for item in exact if item.value.value is not None and not item.value.is_interpolated}
    if len(figures) < (2 if outcome.from_events else 3) or outcome.scale is Scale.COUNT:
        return step
    coarser = (step * times for times in _COARSER if all(_is_multiple(figure, step * times) for figure in figures))
    return next(coarser, step)


def _is_multiple(figure: float, step: float) -> bool:
    return abs(figure / step - round(figure / step)) < 1e-6


def _assumed(outcome: Outcome, level: float) -> float:
    if outcome.scale is Scale.LOG_TIME:
        return _ASSUMED_LOG
    if outcome.scale is Scale.COUNT:
        return 1.0
    if outcome.scale is Scale.PERCENT and outcome.step >= 1:  # a share that is read by eye, and not weighed
        return _ASSUMED_POINTS
    return max(_ASSUMED_PART * abs(level), float(outcome.step))
