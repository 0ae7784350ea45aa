"""Puts an answer together from the weighed models and the drawn effects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trials.explain.aliases import AliasGroup, find_near_aliases
from trials.explain.models import Owner, Terms
from trials.explain.normal import FloatArray
from trials.explain.posterior import Posterior
from trials.explain.prior import BOTCHED
from trials.explain.problem import IntArray, Problem
from trials.explain.result import (
    SUSPECTED,
    Candidate,
    Effect,
    EngineAnswer,
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
) -> EngineAnswer:
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
    per_term = models.per_term(chance, terms.count)
    parts = _Parts(groups, terms, _find_effects(effects, weighed), per_group, per_term, number)
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
    return EngineAnswer(
        asked.scale,
        asked.rows,
        tuple(parts.candidate(int(g), asked.names, columns) for g in order),
        parts.together(),
        float(chance[0]),
        NoiseFound(interval(sds), asked.noise is not None, prior_sd),
        tuple(float(b) for b in botched[setting.batch][back]),
        interval(middle + np.concatenate(record.levels)),
        _suspects(causes, chance, number),
        find_near_aliases(representing[:, order]),
        record.error(causes),
        posterior,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """What candidates are put together from, by group or by term. number: of a group among the candidates."""

    groups: tuple[AliasGroup, ...]
    terms: Terms
    effects: list[Effect | None]
    per_group: FloatArray
    per_term: FloatArray
    number: dict[int, int]

    def candidate(self, group: int, names: Sequence[str], columns: IntArray) -> Candidate:
        """A group under the names of its columns, which stand as in the problem given."""
        members, scales = self.groups[group].members, self.groups[group].scales
        in_file_order = sorted(range(len(members)), key=lambda k: int(columns[members[k]]))
        found = self.effects[group]
        return Candidate(
            tuple(names[members[k]] for k in in_file_order),
            float(min(self.per_group[group], 1.0)),
            float(min(self.per_term[group], 1.0)),
            None if found is None else tuple(found.scaled(1.0 / scales[k]) for k in in_file_order),
            tuple((self.number[pair[0]], self.number[pair[1]]) for pair in self.terms.owners[group][1:]),
        )

    def together(self) -> tuple[Together, ...]:
        """The pairs that act only together, likeliest first."""
        found = [
            self._pair(term, owners)
            for term, owners in enumerate(self.terms.owners)
            if len(owners[0]) == 2 and self.per_term[term] > 0.01
        ]
        return tuple(sorted(found, key=lambda pair: (-pair.probability, pair.first, pair.second)))

    def _pair(self, term: int, owners: tuple[Owner, ...]) -> Together:
        pairs = [tuple(sorted(self.number[g] for g in owner)) for owner in owners]
        stretch = float(np.prod([self.groups[g].scales[0] for g in owners[0]]))
        found = self.effects[term]
        return Together(
            pairs[0][0],
            pairs[0][1],
            float(self.per_term[term]),
            None if found is None else found.scaled(1.0 / stretch),
            tuple((pair[0], pair[1]) for pair in pairs[1:]),
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
