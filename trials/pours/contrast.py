"""Two pours set against each other on one outcome: how far apart they are, and whether that is beyond the noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isinf, isnan

from trials.outcomes.outcome import Outcome, Scale
from trials.outcomes.value import OutcomeValue
from trials.pours.noise import RepeatNoise


@dataclass(frozen=True, slots=True)
class Contrast:
    """What a second pour did beside a first.

    change: in the outcome's unit, second less first; the least that it can be where one of them is only a limit.
    at_least: whether it may be larger. chance: that repeats alone would differ as much, None where noise is unknown.
    noise_doubt: why nothing is called more than noise, or less; None where the repeats are enough to say.
    is_within_noise: whether it is no more than repeats were seen, or are taken, to differ; None where noise is unknown.
    tells: whether its outcome is worth a line of its own where it is compared, and so may be said first.
    """

    outcome: Outcome
    label: str
    before: OutcomeValue
    after: OutcomeValue
    change: float
    at_least: bool
    chance: float | None
    noise_doubt: str | None = None
    is_within_noise: bool | None = None
    tells: bool = True

    @property
    def rank(self) -> tuple[bool, float, str]:
        """For sorting: the least likely by chance first, what has no line of its own last."""
        return not self.tells, 1.0 if self.chance is None else self.chance, self.label

    @property
    def is_beyond_noise(self) -> bool | None:
        """Whether it is more than repeats would show in 19 of 20 cases; None where there are too few to say."""
        return None if self.noise_doubt is not None else self.would_be_beyond_noise

    @property
    def would_be_beyond_noise(self) -> bool | None:
        """The same by the noise as it is known or assumed, however little that rests on; None without one, and where
        a difference beyond what repeats showed may still be noise, since they are so few.
        """
        if self.chance is None or self.are_repeats_too_few:
            return None
        return self.chance < 0.05

    @property
    def are_repeats_too_few(self) -> bool:
        """Whether it is more than repeats showed, and there are too few of them to say that it is more than noise."""
        return self.chance is not None and self.chance >= 0.05 and self.is_within_noise is False

    def to_json(self) -> dict[str, object]:
        return {
            "outcome": self.label,
            "unit": self.outcome.unit,
            "before": self.before.to_json(),
            "after": self.after.to_json(),
            "change": self.change,
            "at_least": self.at_least,
            "chance": self.chance,
            "beyond_noise": self.is_beyond_noise,
            "noise_doubt": self.noise_doubt,
        }


def find_contrast(
    outcome: Outcome,
    label: str,
    before: OutcomeValue,
    after: OutcomeValue,
    noise: RepeatNoise | None,
    *,
    pours: tuple[int, int] = (1, 1),
    tells: bool = True,
) -> Contrast | None:
    """The contrast of two values, or None where their limits overlap and so say nothing of which is greater.

    label: the outcome with its age. pours: how many pours each value is the mean of (readings of one bar are none).
    tells: whether the outcome is worth a line of its own there.
    """
    if outcome.scale is Scale.COLOUR:
        return None
    (low, high), (after_low, after_high) = before.bounds, after.bounds
    if after_low >= high:
        change, ends = after_low - high, (high, after_low)
    elif after_high <= low:
        change, ends = after_high - low, (low, after_high)
    else:
        return None
    if isinf(change) or isnan(change):
        return None
    exact = low == high and after_low == after_high
    found = Contrast(outcome, label, before, after, change, not exact, None, _doubt(noise), tells=tells)
    if noise is None:
        return found
    found = replace(found, chance=noise.chance(*ends, *pours), is_within_noise=noise.is_within(*ends, *pours))
    return replace(found, noise_doubt=_too_few(noise)) if found.are_repeats_too_few and not found.noise_doubt else found


def _doubt(noise: RepeatNoise | None) -> str | None:
    if noise is None:
        return "how much repeats differ is not known of such an outcome"
    if noise.is_assumed:
        return "no two repeats were measured: how much they differ is assumed"
    return _too_few(noise) if noise.is_scant else None


def _too_few(noise: RepeatNoise) -> str:
    return f"there are only {noise.basis}"
