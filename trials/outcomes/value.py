"""One value of an outcome, exact or known only as a limit; or why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf


@dataclass(frozen=True, slots=True)
class OutcomeValue:
    """One value of an outcome, in the outcome's unit.

    value: the figure; None where only a limit is known. For grades it is the step (0 the first), for yes / no 1 or 0.
    bound: "exact", "above" (later than, more than `low`), "below" (`high`), or "between" the two.
    n: readings it rests on. spread: their standard deviation, None for one. portion: None for the whole trial.
    is_interpolated: whether it was read between two ages.
    """

    value: float | None
    bound: str = "exact"
    low: float | None = None
    high: float | None = None
    n: int = 1
    spread: float | None = None
    portion: str | None = None
    is_interpolated: bool = False

    @property
    def bounds(self) -> tuple[float, float]:
        """From and to, in the outcome's unit; the same where the value is exact, infinite where it is open."""
        if self.bound == "exact" and self.value is not None:
            return self.value, self.value
        return -inf if self.low is None else self.low, inf if self.high is None else self.high

    @property
    def figure(self) -> float | None:
        """Where it stands among others, in the outcome's unit: at its value, or at its limit where there is none."""
        return next((figure for figure in (self.value, self.low, self.high) if figure is not None), None)

    def to_json(self) -> dict[str, object]:
        return {
            "value": self.value,
            "bound": self.bound,
            "low": self.low,
            "high": self.high,
            "n": self.n,
            "spread": self.spread,
            "portion": self.portion,
            "is_interpolated": self.is_interpolated,
        }


@dataclass(frozen=True, slots=True)
class Missing:
    """Why a trial, or one portion of it, has no value of an outcome."""

    why: str
    portion: str | None = None


def from_interval(low: float | None, high: float | None, *, portion: str | None, n: int = 1) -> OutcomeValue:
    """A value known only to lie from `low` to `high`; None is no limit on that side."""
    if low is not None and high is not None:
        if low == high:
            return OutcomeValue(low, n=n, portion=portion)
        return OutcomeValue((low + high) / 2.0, "between", low, high, n=n, portion=portion)
    if low is not None:
        return OutcomeValue(None, "above", low, None, n=n, portion=portion)
    return OutcomeValue(None, "below", None, high, n=n, portion=portion)
