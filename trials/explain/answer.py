"""Puts an answer together from the weighed models and the drawn effects."""

from __future__ import annotations

import numpy as np

from trials.explain.aliases import AliasGroup, find_near_aliases
from trials.explain.normal import FloatArray
from trials.explain.posterior import Posterior
from trials.explain.prior import BOTCHED
from trials.explain.problem import IntArray, Problem
from trials.explain.result import (
    SUSPECTED,
    Candidate,
    Effect,
    Explanation,
    NoiseFound,
    Suspects,
    Together,
    interval,
)
from trials.explain.setting import Setting
from trials.explain.weighing import Weighed


def make_answer(
    asked: Problem,
    groups: tuple[AliasGroup, ...],
    representing: FloatArray,
    setting: Setting,
    weighed: Weighed,
    *,
    rows: IntArray,
    columns: IntArray,
    prior_sd: float,
    middle: float,
) -> Explanation:
    """The answer in the order in which the problem was given.

    asked: the problem in canonical order; rows, columns: the places that its rows and columns had in the problem given.
    groups, representing: its alias groups and their columns. prior_sd: the noise that was assumed. middle: what was
    taken off all values before they were weighed.
    """
    terms, models, causes, record = weighed.terms, weighed.models, weighed.causes, weighed.record
    chance = record.chance
    per_group = chance @ causes
    order = np.argsort(-per_group, kind="stable").astype(np.int64)
    number = {int(g): k for k, g in enumerate(order)}
    effects, sds = np.concatenate(record.effects), np.concatenate(record.sds)
    term_effects = _find_effects(effects, weighed)
    per_term = models.per_term(chance, terms.count)
    candidates = []
    for g in order:
        found = term_effects[int(g)]
        scales = groups[g].scales
        names = [asked.names[m] for m in groups[g].members]
        in_file_order = sorted(range(len(names)), key=lambda k: int(columns[groups[g].members[k]]))
        candidates.append(
            Candidate(
                tuple(names[k] for k in in_file_order),
                float(min(per_group[g], 1.0)),
                float(min(per_term[g], 1.0)),
                None if found is None else tuple(found.scaled(1.0 / scales[k]) for k in in_file_order),
                tuple((number[pair[0]], number[pair[1]]) for pair in terms.owners[g][1:]),
            )
        )
    together = []
    for term, owners in enumerate(terms.owners):
        if len(owners[0]) == 2 and per_term[term] > 0.01:
            pairs = [tuple(sorted(number[g] for g in owner)) for owner in owners]
            stretch = float(np.prod([groups[g].scales[0] for g in owners[0]]))
            found = term_effects[term]
            together.append(
                Together(
                    pairs[0][0],
                    pairs[0][1],
                    float(per_term[term]),
                    None if found is None else found.scaled(1.0 / stretch),
                    tuple((pair[0], pair[1]) for pair in pairs[1:]),
                )
            )
    kinds = record.kinds / record.kinds.sum(axis=1, keepdims=True)
    variances = np.array([v for _, v in setting.prior.noise_kinds])
    botched = kinds[:, variances >= BOTCHED].sum(axis=1)
    back = np.empty_like(rows)
    back[rows] = np.arange(len(rows))
    draws = record.sweeps * len(record.models)
    posterior = Posterior(
        terms,
        models,
        chance,
        causes,
        effects,
        sds,
        middle + record.values / draws,
        (kinds @ (1.0 / variances))[setting.batch],
        setting.batch,
        record.share / draws,
        record.spread / draws * (np.sqrt(3.0) if setting.prior.apart else 1.0),
        order,
        back,
    )
    return Explanation(
        asked.scale,
        asked.rows,
        tuple(candidates),
        tuple(sorted(together, key=lambda pair: (-pair.probability, pair.first, pair.second))),
        float(chance[0]),
        NoiseFound(interval(sds), asked.noise is not None, prior_sd),
        tuple(float(b) for b in botched[setting.batch][back]),
        interval(middle + np.concatenate(record.levels)),
        _suspects(causes, chance, number),
        _shortlist(causes, chance, order),
        find_near_aliases(representing[:, order]),
        record.error(causes),
        posterior,
    )


def _find_effects(effects: FloatArray, weighed: Weighed) -> list[Effect | None]:
    """The effect of every term given that it is a cause: drawn on purpose for the leading ones, else as met."""
    found: list[Effect | None] = []
    place = {int(term): k for k, term in enumerate(weighed.leading)}
    for term in range(effects.shape[1]):
        if term in place:
            drawn = np.concatenate([part[0][:, place[term]] for part in weighed.record.singled])
            weight = np.concatenate([part[1][:, place[term]] for part in weighed.record.singled])
            found.append(interval(drawn, weight) if weight.sum() > 1e-9 else None)
            continue
        drawn = effects[:, term]
        drawn = drawn[drawn != 0]
        found.append(interval(drawn) if len(drawn) >= 20 else None)
    return found


def _suspects(causes: FloatArray, chance: FloatArray, number: dict[int, int]) -> Suspects | None:
    if 1.0 - chance[0] < SUSPECTED:
        return None
    left = chance.copy()
    left[0] = 0.0
    chosen: list[int] = []
    covered = 0.0
    while covered < SUSPECTED and len(chosen) < causes.shape[1]:
        gain = left @ causes
        best = int(np.argmax(gain))
        chosen.append(number[best])
        covered += float(gain[best])
        left *= 1.0 - causes[:, best]
    return Suspects(tuple(chosen), min(covered, 1.0))


def _shortlist(causes: FloatArray, chance: FloatArray, order: IntArray) -> tuple[int, ...]:
    outside = np.ones(causes.shape[1], dtype=bool)
    for k in range(len(order) + 1):
        inside = (1.0 - causes[:, outside]).prod(axis=1)
        if chance @ inside >= SUSPECTED:
            return tuple(range(k))
        if k < len(order):
            outside[order[k]] = False
    return tuple(range(len(order)))
