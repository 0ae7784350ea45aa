"""Which run would tell most about what did it: expected information over the leading explanations.

The hypotheses are the leading models, with everything that cannot be told apart split: groups into their members, and
products with the same column into their pairs. For a run the outcome is foretold under each (normal, own mean and
spread); the gain is the information, in bits, that the outcome is expected to give about which hypothesis is true:

    I = H(sum of p f) - sum of p H(f)

A watching limit turns the part of every f beyond it into one lump. Information gain and the criterion MD of Meyer,
Steinberg and Box (Technometrics 38(4), 1996, 303-332) choose alike; this one speaks in bits and knows about limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from formulary.errors import InputError
from trials.explain.aliases import find_groups
from trials.explain.latent import to_working_scale
from trials.explain.normal import FloatArray, normal_chance
from trials.explain.problem import Problem
from trials.explain.result import Effect, EngineAnswer

SIMPLER = 0.1  # bits that a run with fewer changes may lack and still be preferred
_MOST = 200  # hypotheses that are kept
_KEPT = 0.995  # of the probability
_TO_THE_END = 1.645  # standard deviations from the middle to the end of an interval that holds 90 %


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one hypothesis expects of a run, on the working scale.

    causes: the columns that it holds responsible; empty: nothing. middle, spread: mean and standard deviation.
    """

    causes: tuple[tuple[str, ...], ...]
    probability: float
    middle: float
    spread: float

    @property
    def outcome(self) -> Effect:
        """What is expected, with the interval that holds it with 90 %."""
        reach = _TO_THE_END * self.spread
        return Effect(self.middle, self.middle - reach, self.middle + reach)


@dataclass(frozen=True, slots=True)
class NextRun:
    """What a run would tell. run: its place in the candidates given. bits: expected information.

    outlooks: what every hypothesis that was weighed expects of it, likeliest first; their probabilities add up to 1.
    """

    run: int
    bits: float
    outlooks: tuple[Outlook, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Hypothesis:
    causes: tuple[tuple[int, ...], ...]  # columns of the problem, two where they act together
    probability: float


def find_next_runs(
    problem: Problem,
    answer: EngineAnswer,
    candidates: ArrayLike,
    *,
    changes: Sequence[int] | None = None,
    limit: float | None = None,
    most: int = 3,
) -> tuple[NextRun, ...]:
    """The candidates that would tell most, best first.

    problem, answer: what was asked and what `explain` answered. candidates: shape (runs, columns), coded as
    `problem.x`. changes: how many things each candidate changes; of two within a tenth of a bit the one with
    fewer is preferred. limit: when watching would stop, in the outcome's own unit. most: how many to return.
    """
    found = foretell_runs(problem, answer, candidates, limit=limit)
    count = [1] * len(found) if changes is None else list(changes)
    worth = [each.bits - SIMPLER * (count[each.run] - 1) for each in found]
    best = sorted(found, key=lambda each: (-round(worth[each.run], 9), count[each.run], each.run))
    return tuple(best[:most])


def foretell_runs(
    problem: Problem, answer: EngineAnswer, candidates: ArrayLike, *, limit: float | None = None
) -> tuple[NextRun, ...]:
    """What each of the candidates would tell, in their order; everything as in `find_next_runs`."""
    runs = np.array(candidates, dtype=float).reshape(-1, len(problem.names))
    if not np.isfinite(runs).all():
        raise InputError.of("explain-input", "a candidate run is not a finite number", "leave it out")
    hypotheses = _list_hypotheses(problem, answer)
    chance = np.array([h.probability for h in hypotheses])
    mean, spread = _foretell(problem, answer, hypotheses, runs)
    end = None if limit is None else float(to_working_scale(np.array([limit]), problem.scale)[0])
    bits = expected_bits(mean, spread, chance, end)
    told = [(tuple(tuple(problem.names[c] for c in cause) for cause in h.causes), h.probability) for h in hypotheses]
    return tuple(
        NextRun(
            k,
            float(bits[k]),
            tuple(Outlook(*told[i], float(mean[i, k]), float(spread[i, k])) for i in range(len(told))),
        )
        for k in range(len(runs))
    )


def expected_bits(mean: FloatArray, spread: FloatArray, chance: FloatArray, limit: float | None = None) -> FloatArray:
    """Bits that each run's outcome is expected to give; mean, spread: shape (hypotheses, runs)."""
    weight = chance[:, None]
    found = np.zeros(mean.shape[1])
    for k in range(mean.shape[1]):
        m, s = mean[:, k : k + 1], spread[:, k : k + 1]
        low, high = float((m - 5 * s).min()), float((m + 5 * s).max())
        if limit is not None:
            high = min(high, limit)
            beyond = normal_chance((m - limit) / s)
            mixed = max(float((weight * beyond).sum()), 1e-300)
            found[k] += float((weight * beyond * np.log2(np.maximum(beyond, 1e-300) / mixed)).sum())
        if high <= low:
            continue
        at = np.linspace(low, high, 400)[None]
        density = np.exp(-0.5 * ((at - m) / s) ** 2) / (s * np.sqrt(2 * np.pi))
        mixture = np.maximum((weight * density).sum(axis=0), 1e-300)
        gain = weight * density * np.log2(np.maximum(density, 1e-300) / mixture)
        found[k] += float(gain.sum() * (at[0, 1] - at[0, 0]))
    return np.maximum(found, 0.0)


def _list_hypotheses(problem: Problem, answer: EngineAnswer) -> list[_Hypothesis]:
    """The leading models, split into what looks the same, likeliest first; their probabilities add up to 1."""
    asked, _, columns = problem.canonical()
    groups, _ = find_groups(asked.x)
    posterior = answer.posterior
    found: list[_Hypothesis] = []
    covered = 0.0
    models = posterior.models.padded(-1)
    for m in np.argsort(-posterior.chance, kind="stable"):
        choices = []
        for term in models[m]:
            if term >= 0:
                meant = posterior.terms.meant(term)
                choices.append([c for owner in meant for c in product(*(groups[g].members for g in owner))])
        splits = list(product(*choices))
        for split in splits:
            causes = tuple(tuple(int(columns[c]) for c in cause) for cause in split)
            found.append(_Hypothesis(causes, float(posterior.chance[m]) / len(splits)))
        covered += float(posterior.chance[m])
        if covered > _KEPT or len(found) >= _MOST:
            break
    total = sum(h.probability for h in found)
    return sorted(
        (_Hypothesis(h.causes, h.probability / total) for h in found), key=lambda h: (-h.probability, h.causes)
    )


def _foretell(
    problem: Problem, answer: EngineAnswer, hypotheses: list[_Hypothesis], runs: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of each run under each hypothesis, shape (hypotheses, runs), working scale."""
    posterior = answer.posterior
    values = posterior.values[posterior.rows]
    precise = np.linalg.inv(posterior.covariance()[np.ix_(posterior.rows, posterior.rows)])
    variance = float(np.mean(posterior.sds**2))
    mean, spread = np.empty((len(hypotheses), len(runs))), np.empty((len(hypotheses), len(runs)))
    for i, hypothesis in enumerate(hypotheses):
        made = np.column_stack(
            [np.ones(problem.rows), *(problem.x[:, list(cause)].prod(axis=1) for cause in hypothesis.causes)]
        )
        ahead = np.column_stack(
            [np.ones(len(runs)), *(runs[:, list(cause)].prod(axis=1) for cause in hypothesis.causes)]
        )
        ridge = np.diag([0.0] + [posterior.spread**-2] * len(hypothesis.causes))
        inner = np.linalg.inv(made.T @ precise @ made + ridge)
        mean[i] = ahead @ (inner @ (made.T @ (precise @ values)))
        own = 1.0 + np.einsum("ij,jk,ik->i", ahead, inner, ahead)
        spread[i] = np.sqrt(variance * own)
    return mean, spread
