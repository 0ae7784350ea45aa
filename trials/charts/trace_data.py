"""What a trace chart shows, as plain data: how the batter of each portion thickened over minutes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TraceMark:
    """A stage that was reached. minutes: since lye in; low, high: between which it was, where it was only about."""

    stage: str
    minutes: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TraceRow:
    """One portion of one trial. marks: in the order of thickening. scent_in, poured: in minutes since lye in.

    is_open: whether it was poured while it could still be poured, so that being too thick for it lies later.
    has_seized: whether it turned solid in the pot, at a time that nobody noted.
    """

    trial: str
    label: str
    marks: tuple[TraceMark, ...]
    scent_in: float | None
    poured: float | None
    is_open: bool
    has_seized: bool = False

    @property
    def end(self) -> float:
        """The last minute that anything is known of."""
        known = [mark.high for mark in self.marks]
        known += [moment for moment in (self.scent_in, self.poured) if moment is not None]
        return max(known, default=0.0)


@dataclass(frozen=True, slots=True)
class TraceData:
    """Portions under one another, those of one trial together. untimed: what was noted without its time, in words.

    nothing: why there is nothing to draw, None where there is.
    """

    title: str
    rows: tuple[TraceRow, ...]
    untimed: tuple[str, ...] = ()
    without_events: tuple[str, ...] = ()
    nothing: str | None = None
