"""What a story shows, as plain data: versions in the order of their first pours, and every pour's outcome."""

from __future__ import annotations

from dataclasses import dataclass

from trials.pours.pour_book import short_names

WHOLE, UNSCENTED, SCENTED = "whole batter", "unscented portion", "scented portion"


@dataclass(frozen=True, slots=True)
class StoryVersion:
    """One version. number: from 1 in the order of first pouring. words: what changed against the one before it."""

    number: int
    recipe: str
    short_id: str
    first_poured: str
    words: str
    pours: int


@dataclass(frozen=True, slots=True)
class StoryPoint:
    """One pour. slot: its place along the chart, one a trial, from 0. portion: WHOLE, UNSCENTED or SCENTED.

    beside: where it stands among the portions of its trial, from -1 to 1. value: the height at which it is drawn. part:
    the portion's own name, empty for the whole batter.
    bound: "exact" | "above" | "below" | "between"; low, high: the ends of a "between". repeats: a number that only
    pours share that repeat one another as they were made. is_otherwise: whether it was made otherwise than planned.
    """

    trial: str
    slot: int
    version: int
    portion: str
    beside: float
    value: float
    bound: str
    low: float | None = None
    high: float | None = None
    repeats: int = -1
    is_otherwise: bool = False
    part: str = ""


@dataclass(frozen=True, slots=True)
class StoryBand:
    """So many pours of one version that repeat one another: their mean less and plus one standard deviation.

    repeats: as of its points.
    """

    version: int
    portion: str
    low: float
    high: float
    n: int
    repeats: int = -1


@dataclass(frozen=True, slots=True)
class StoryCause:
    """A likely cause and where it came in. words: all that is said of it.

    slot: the place along the chart of the first pour that had it; version: of that pour, where it came with a version.
    again: for what comes between versions, such as a lot, the first pour that had it in each other version. slot is
    None for what varied from pour to pour, such as a temperature, and so came in nowhere.
    """

    words: str
    version: int | None
    slot: int | None
    again: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class StoryData:
    """A story. title: what it tells. label, unit, grades: of the outcome. slots: (version, trial id), one a slot.

    without_value: what trials and portions of which nothing is known are called. seized: of these, what turned solid in
    the pot and how: `k7wq seized, lost`. nothing: why there is nothing to draw,
    None where there is.
    """

    title: str
    label: str
    unit: str
    grades: tuple[str, ...]
    versions: tuple[StoryVersion, ...]
    slots: tuple[tuple[int, str], ...]
    points: tuple[StoryPoint, ...]
    bands: tuple[StoryBand, ...]
    causes: tuple[StoryCause, ...]
    without_value: tuple[str, ...]
    seized: tuple[str, ...]
    nothing: str | None = None


def trial_names(story: StoryData) -> dict[str, str]:
    """Short names of the trials in a story."""
    return short_names([trial_id for _, trial_id in story.slots])
