"""What a cure chart shows, as plain data: mass loss and hardness of trials at the ages they were measured."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CurePoint:
    """One age of one series. value: where it is drawn, in the outcome's unit. spread: one standard deviation, None for
    one reading. bound: "exact" | "above" | "below" | "between"; low, high: the ends of a "between".
    """

    age_days: float
    value: float
    n: int
    spread: float | None
    bound: str = "exact"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class CureSeries:
    """One portion of one trial, or the whole of it: its points by age. number: the same in every panel."""

    number: int
    label: str
    points: tuple[CurePoint, ...]


@dataclass(frozen=True, slots=True)
class CurePanel:
    """One outcome against days."""

    label: str
    unit: str
    series: tuple[CureSeries, ...]


@dataclass(frozen=True, slots=True)
class CureData:
    """A cure. labels: of the series, by number. without_value: labels of trials of which nothing was measured.

    nothing: why there is nothing to draw, None where there is.
    """

    title: str
    labels: tuple[str, ...]
    panels: tuple[CurePanel, ...]
    without_value: tuple[str, ...] = ()
    nothing: str | None = None
