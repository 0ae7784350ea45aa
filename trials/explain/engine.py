"""Weighs every small set of causes against "nothing here did it", and says how sure one can be.

    z = a + sum over the model's terms of b x + small effects of everything + batch + sitting + drift + e
    b / s with density b^2 N(b; 0, g^2), a flat, e ~ N(0, s^2), a whole batch may be botched

The model is that of Box and Meyer (1986, Technometrics 28(1), 11-18; 1993, J. Quality Technology 25(2),
94-105), widened by bounds instead of values, shared luck, botched batches, effects that are not next to
nothing (`Prior.apart`), small effects of every change and what repeats tell about the noise; without these it is
theirs. Where nothing is hidden the sums are exact; else the hidden parts are drawn (`sampler`).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from threadpoolctl import ThreadpoolController

from trials.explain.aliases import find_groups
from trials.explain.answer import make_answer
from trials.explain.latent import GRADED, centred, make_latent, working_noise
from trials.explain.models import make_terms
from trials.explain.prior import Prior
from trials.explain.problem import Problem
from trials.explain.result import EngineAnswer, NoAnswer, Why
from trials.explain.setting import make_setting
from trials.explain.sums import NoisePrior
from trials.explain.weighing import Effort, weigh


def explain(problem: Problem, prior: Prior | None = None, effort: Effort | None = None) -> EngineAnswer | NoAnswer:
    """What did it: the probability of every candidate and of nothing, effects with 90 % intervals.

    The same problem gives the same answer, in whatever order its rows and columns come. Returns a NoAnswer
    with a plain reason where there is nothing to compare.
    """
    why = _unanswerable(problem)
    if why is not None:
        return NoAnswer(why, problem.rows)
    prior = prior or Prior()
    asked, rows, columns = problem.canonical()
    groups, representing = find_groups(asked.x)
    if not groups:
        return NoAnswer("nothing-varies", problem.rows)
    weight = np.array([asked.prior[list(group.members)].sum() for group in groups])
    latent, middle = centred(make_latent(asked))
    known = working_noise(asked, latent)
    noise = NoisePrior(known.observations / 2, known.observations * known.sd**2 / 2, asked.scale in GRADED)
    setting = make_setting(latent, asked.batch, asked.sitting, asked.when, prior, noise, representing)
    terms = make_terms(representing, weight, latent.start, setting.batch, prior)
    with _numerical_libraries().limit(limits=1):
        weighed = weigh(setting, terms, prior, effort or Effort(), np.random.default_rng(asked.seed()))
    return make_answer(
        asked, groups, representing, setting, weighed, rows=rows, columns=columns, prior_sd=known.sd, middle=middle
    )


@cache
def _numerical_libraries() -> ThreadpoolController:
    """Those loaded by now; matrices as small as ours take longer the more threads share them."""
    return ThreadpoolController()


_DUST = 1e-9  # differences that are smaller beside the values come from arithmetic, not from soap
_TOO_FEW: tuple[Why, Why, Why] = ("no-rows", "one-row", "two-rows")


def _unanswerable(problem: Problem) -> Why | None:
    is_all_censored = bool(np.isposinf(problem.upper).all() or np.isneginf(problem.lower).all())
    if problem.rows == 2 and is_all_censored:
        return "all-censored"
    if problem.rows < 3:
        return _TOO_FEW[problem.rows]
    if not problem.names:
        return "no-factors"
    if is_all_censored:
        return "all-censored"
    if problem.exact.all() and np.ptp(problem.lower) <= _DUST * np.abs(problem.lower).max():
        return "all-equal"
    if len(np.unique(problem.lower)) == 1 and len(np.unique(problem.upper)) == 1:
        return "all-equal"
    return None
