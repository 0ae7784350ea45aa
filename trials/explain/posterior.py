"""The raw material of an answer: probabilities of models, drawn effects, and the values as they were completed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.explain.models import Models, Terms
from trials.explain.normal import FloatArray
from trials.explain.problem import IntArray

_NOTICEABLE = 0.5  # standard deviations of the noise, by which a change moves a row at least


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Everything that further questions need. Terms and groups are in the engine's own order.

    order: candidate number -> group number. rows: the caller's row -> the engine's row. chance: shape
    (models,). effects: shape (draws, terms), zero where a term is no cause in that draw; sds: shape (draws,).
    values: the rows' mean values on the working scale. share: the part of the variance of a pour that its batch shares;
    sds are of the whole, and spread, root mean square of effects beforehand, beside it: drawn with a large share, a
    row's own part is small, so that the mean of one would not go with the mean of the other. weight: each row's mean of
    1 / variance beside an ordinary row.
    """

    terms: Terms
    models: Models
    chance: FloatArray
    causes: FloatArray
    effects: FloatArray
    sds: FloatArray
    values: FloatArray
    weight: FloatArray
    batch: IntArray
    share: float
    spread: float
    order: IntArray
    rows: IntArray

    def covariance(self) -> FloatArray:
        """Of the rows in the engine's order, given all effects, beside the variance of an ordinary pour."""
        same = self.batch[:, None] == self.batch[None, :]
        return np.asarray((1.0 - self.share) * np.diag(1.0 / self.weight) + self.share * same)

    def main_reason(self, row: int, against: int) -> tuple[list[tuple[int, float]], float]:
        """Chance of each changed candidate to have moved `row` most against another row, and of none noticeably."""
        groups = self.causes.shape[1]
        here, there = self.rows[row], self.rows[against]
        moved = self.terms.columns[here] - self.terms.columns[there]
        changed = [g for g in range(groups) if abs(moved[g]) > 1e-9]
        contribution = np.zeros((len(self.sds), groups))
        for term in range(self.terms.count):
            if abs(moved[term]) < 1e-12:
                continue
            part = self.effects[:, term] * moved[term]
            for g in self.terms.groups(term) & set(changed):
                contribution[:, g] += part
        size = np.abs(contribution)
        own = 1.0 - self.share if self.batch[here] == self.batch[there] else 1.0  # rows of a batch have its luck alike
        size[size <= _NOTICEABLE * np.sqrt(own) * self.sds[:, None]] = 0.0
        nothing = size.max(axis=1, initial=0.0) <= 0
        tied = (size >= size.max(axis=1, keepdims=True, initial=0.0) - 1e-12) & ~nothing[:, None]
        credit = (tied / np.maximum(tied.sum(axis=1, keepdims=True), 1)).mean(axis=0)
        number = {int(g): k for k, g in enumerate(self.order)}
        return [(number[g], float(credit[g])) for g in changed], float(nothing.mean())

    def row_support(self, candidate: int) -> FloatArray:
        """For each of the caller's rows the log odds that it adds for a candidate, beside the same answer without it.

        Each row is foretold from all others by the best model with the candidate, and by that model less its terms.
        """
        group = int(self.order[candidate])
        held = self.causes[:, group] >= 0.5
        if not held.any():
            return np.zeros(len(self.rows))
        best = int(np.flatnonzero(held)[np.argmax(self.chance[held])])
        members = [int(t) for t in self.models.padded(-1)[best] if t >= 0]
        others = [t for t in members if group not in self.terms.groups(t)]
        return np.asarray((self._foretold(members) - self._foretold(others))[self.rows])

    def _foretold(self, members: list[int]) -> FloatArray:
        """Log density of each row given all the others (leave one out), for one model."""
        rows = len(self.values)
        design = np.column_stack([np.ones(rows), self.terms.columns[:, members]])
        ridge = np.diag([1e-9] + [self.spread**-2] * len(members))
        spread = self.covariance() + design @ np.linalg.solve(ridge, design.T)
        precise = np.linalg.inv(spread)
        left = precise @ (self.values - self.values.mean()) / np.diag(precise)
        variance = float(np.mean(self.sds)) ** 2 / np.diag(precise)
        return np.asarray(-0.5 * np.log(variance) - 0.5 * left**2 / variance)
