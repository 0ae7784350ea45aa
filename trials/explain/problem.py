"""The question put to the engine: what varied in each trial, and what was seen of one outcome.

Plain arrays, nothing of soap. A row is one portion of one trial; a column is one factor, coded as
(value - base) / step, so that 1 means "one step that a maker would call a change".
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias, cast, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from formulary.errors import InputError
from trials.explain.normal import FloatArray

Scale: TypeAlias = Literal["measured", "log", "graded", "yes-no", "count", "percent"]
IntArray: TypeAlias = NDArray[np.int64]


_MOST = 1e12  # beyond it sums of squares lose their digits


def _refuse(what: str, do: str) -> InputError:
    return InputError.of("explain-input", what, do)


@dataclass(frozen=True, slots=True)
class Noise:
    """How much repeats of one recipe differ: the prior on the noise of a whole pour, what a batch shares included.

    sd: its standard deviation on the scale that is worked on (for `log`: in log units; for `count`: of twice the square
        root; for the graded scales it is 1 by definition and this is not used).
    observations: how many observations that knowledge is worth (0 = nothing is known).
    """

    sd: float
    observations: float = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """One outcome over all trials that can speak about it. Build it with `Problem.of`, which checks it.

    names: one name a column.
    x: shape (rows, columns), (value - base) / step.
    lower, upper: shape (rows,), in the outcome's own unit: equal where a value was read, `upper` infinite where the
        wait was given up (right-censored), `lower` minus infinite (`log`: 0) where it had happened before the
        first look, else the two looks between which it happened. Grades are whole numbers, yes/no is 1/0.
    scale: measured (the value itself), log (times and other positive values), graded, yes-no, count, percent
        (0 and 100 are taken as "at or beyond").
    prior: shape (columns,), how likely a column is a cause beside the others; 1 unless there is a reason.
    batch: rows of one batch share its luck; sitting: so do, more weakly, batches of one sitting; when: time of the
        trial on any scale, to allow for a slow drift. All optional.
    noise: what is known about repeatability; None: assumed wide.
    """

    names: tuple[str, ...]
    x: FloatArray
    lower: FloatArray
    upper: FloatArray
    scale: Scale
    prior: FloatArray
    batch: IntArray | None = None
    sitting: IntArray | None = None
    when: FloatArray | None = None
    noise: Noise | None = None

    @classmethod
    def of(
        cls,
        names: Sequence[str],
        x: ArrayLike,
        lower: ArrayLike,
        upper: ArrayLike | None = None,
        *,
        scale: str = "measured",
        prior: ArrayLike | None = None,
        batch: Sequence[object] | NDArray[np.generic] | None = None,
        sitting: Sequence[object] | NDArray[np.generic] | None = None,
        when: ArrayLike | None = None,
        noise: Noise | None = None,
    ) -> Problem:
        """A checked problem; `upper` defaults to `lower` (all values exact). Raises InputError on what
        cannot be meant.
        """
        low = np.array(lower, dtype=float, ndmin=1)
        high = low.copy() if upper is None else np.array(upper, dtype=float, ndmin=1)
        rows, columns = len(low), len(names)
        matrix = np.array(x, dtype=float).reshape(rows, columns) if columns == 0 else np.array(x, dtype=float)
        if matrix.size == 0 and matrix.shape != (rows, columns):
            matrix = matrix.reshape(rows, columns)
        weight = np.ones(columns) if prior is None else np.array(prior, dtype=float)
        time = None if when is None else np.array(when, dtype=float)
        _check_shapes(names, matrix, low, high, weight, time)
        for label in (batch, sitting):
            if label is not None and len(label) != rows:
                raise _refuse(f"{len(label)} batch labels for {rows} rows", "give one label a row")
        if scale not in get_args(Scale):
            raise _refuse(f"the scale {scale!r} is unknown", f"use one of {', '.join(get_args(Scale))}")
        if noise is not None and not (0 < noise.sd <= _MOST and noise.observations >= 0):
            raise _refuse("the noise must be a positive number", "leave it out when nothing is known about repeats")
        known = None if noise is None else Noise(float(noise.sd), float(noise.observations))
        _check_bounds(low, high, cast(Scale, scale))
        return cls(
            tuple(names),
            matrix,
            low,
            high,
            cast(Scale, scale),
            weight,
            _codes(batch),
            _codes(sitting),
            time,
            known,
        )

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return len(self.lower)

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Which rows are a value rather than a bound or an interval."""
        return np.asarray(self.lower == self.upper)

    def canonical(self) -> tuple[Problem, IntArray, IntArray]:
        """The same problem in an order of its own, with the row and column order: files may come in any order."""
        columns = np.array(sorted(range(len(self.names)), key=lambda j: self.names[j]), dtype=np.int64)
        matrix = self.x[:, columns]
        centred = np.round(matrix - np.median(matrix, axis=0), 9) if self.rows else matrix
        keys = [*(centred[:, j] for j in reversed(range(centred.shape[1]))), self.upper, self.lower]
        if self.when is not None:
            keys.insert(0, self.when)
        rank = np.lexsort(keys)
        if self.batch is not None:
            rank = rank[np.lexsort([rank.argsort()[rank], _signature(self.batch, rank)[rank]])]
        rows = np.asarray(rank, dtype=np.int64)

        def take(label: IntArray | None) -> IntArray | None:
            return None if label is None else _in_order_of_appearance(label[rows])

        return (
            Problem(
                tuple(self.names[j] for j in columns),
                matrix[rows],
                self.lower[rows],
                self.upper[rows],
                self.scale,
                self.prior[columns],
                take(self.batch),
                take(self.sitting),
                None if self.when is None else self.when[rows],
                self.noise,
            ),
            rows,
            columns,
        )

    def seed(self) -> int:
        """A number that depends only on what is asked: a digest of the inputs to nine figures."""
        digest = hashlib.sha256()
        parts: list[FloatArray | IntArray | None] = [self.x, self.lower, self.upper, self.prior]
        parts += [self.batch, self.sitting, self.when]
        for part in parts:
            if part is None:
                digest.update(b"none")
                continue
            text = "|".join(f"{round(value, 9) + 0.0:.9g}" for value in np.asarray(part, dtype=float).ravel())
            digest.update(f"{np.shape(part)}:{text};".encode())
        digest.update(f"{self.scale}{self.noise}".encode())
        return int.from_bytes(digest.digest()[:8], "big")


def _check_shapes(
    names: Sequence[str],
    x: FloatArray,
    low: FloatArray,
    high: FloatArray,
    prior: FloatArray,
    when: FloatArray | None,
) -> None:
    rows, columns = len(low), len(names)
    if x.shape != (rows, columns) or high.shape != low.shape or prior.shape != (columns,):
        raise _refuse(
            f"{rows} rows and {columns} names do not fit a table of shape {x.shape}",
            "give one row a trial, one name a column",
        )
    if when is not None and when.shape != (rows,):
        raise _refuse("times must be one a row", "give one time a row")
    if len(set(names)) != columns:
        raise _refuse("two columns have the same name", "name each factor once")
    for table in (x, prior, *(() if when is None else (when,))):
        if not np.isfinite(table).all():
            raise _refuse(
                "a factor, a prior or a time is not a finite number",
                "leave out rows whose factors are unknown",
            )
    if (prior <= 0).any():
        raise _refuse("a prior weight is not positive", "leave out the column instead")
    if np.isnan(low).any() or np.isnan(high).any():
        raise _refuse("an outcome is not a number", "leave out the rows without an observation")


def _check_bounds(low: FloatArray, high: FloatArray, scale: Scale) -> None:
    if (np.abs(np.concatenate([low, high])[np.isfinite(np.concatenate([low, high]))]) > _MOST).any():
        raise _refuse("an outcome is larger than anything that is measured", "give it in a larger unit")
    if (low > high).any():
        raise _refuse("a lower bound is above its upper bound", "give lower <= upper in every row")
    if (np.isneginf(low) & np.isposinf(high)).any() or np.isposinf(low).any() or np.isneginf(high).any():
        raise _refuse("a row says nothing about the outcome", "leave out the rows without an observation")
    finite = np.concatenate([low[np.isfinite(low)], high[np.isfinite(high)]])
    if scale == "log" and ((low < 0).any() or (high <= 0).any()):
        raise _refuse("a time or ratio is not above zero", "use the measured scale for values that may be zero or less")
    if scale in ("graded", "yes-no", "count") and not (finite == np.round(finite)).all():
        raise _refuse("a grade or count is not a whole number", "use the measured scale")
    if scale == "yes-no" and not np.isin(finite, (0.0, 1.0)).all():
        raise _refuse("yes/no must be 1 or 0", "use the graded scale for more than two grades")
    if scale == "count" and (finite < 0).any():
        raise _refuse("a count is below zero", "give counts of zero or more")
    if scale == "percent" and ((finite < 0).any() or (finite > 100).any()):
        raise _refuse("a percentage is outside 0 to 100", "give percentages from 0 to 100")


def _codes(labels: Sequence[object] | NDArray[np.generic] | None) -> IntArray | None:
    return None if labels is None else np.unique(np.array(list(labels)), return_inverse=True)[1].astype(np.int64)


def _in_order_of_appearance(labels: IntArray) -> IntArray:
    _, first, codes = np.unique(labels, return_index=True, return_inverse=True)
    order = np.empty(len(first), dtype=np.int64)
    order[np.argsort(first)] = np.arange(len(first))
    return order[codes]


def _signature(batch: IntArray, rank: NDArray[np.int64]) -> IntArray:
    """For each row the place of its batch among all batches, whatever the labels are."""
    place = np.empty(len(rank), dtype=np.int64)
    place[rank] = np.arange(len(rank))
    members = {int(b): tuple(sorted(place[batch == b].tolist())) for b in np.unique(batch)}
    order = {b: k for k, b in enumerate(sorted(members, key=lambda b: members[b]))}
    return np.array([order[int(b)] for b in batch], dtype=np.int64)
