"""Weighs every small set of causes against "nothing here did it", and says how sure one can be.

    z = a + sum over the model's terms of b x + batch + sitting + drift + e
    b ~ N(0, g^2 s^2), a flat, e ~ N(0, s^2), a whole batch may be botched

The model is that of Box and Meyer (1986, Technometrics 28(1), 11-18; 1993, J. Quality Technology 25(2),
94-105), widened by bounds instead of values, shared luck, botched batches and what repeats tell about the
noise; without these it is theirs. Where nothing is hidden the sums are exact; else the hidden parts are drawn
(`sampler`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from trials.explain.aliases import AliasGroup, find_groups, find_near_aliases
from trials.explain.latent import GRADED, make_latent, working_noise
from trials.explain.models import Models, Terms, compact, list_models, make_terms
from trials.explain.normal import FloatArray
from trials.explain.posterior import Posterior
from trials.explain.prior import BOTCHED, Prior
from trials.explain.problem import IntArray, Problem
from trials.explain.result import (
    SUSPECTED,
    Candidate,
    Effect,
    Explanation,
    NoAnswer,
    NoiseFound,
    Suspects,
    Together,
    Why,
    interval,
)
from trials.explain.sampler import Record, run_chains, start_state
from trials.explain.setting import Setting, make_setting
from trials.explain.sums import NoisePrior


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is drawn. chains x sweeps draws are kept; the defaults give a standard error of about one
    percent.
    """

    chains: int = 24
    burn: int = 10
    sweeps: int = 20
    draws: int = 4
    screen_chains: int = 4
    screen_burn: int = 6
    screen_sweeps: int = 8
    screen_pairs: int = 4000
    most_pairs: int = 800
    most_triples: int = 800
    thrift: float = 2e-5


def explain(problem: Problem, prior: Prior | None = None, effort: Effort | None = None) -> Explanation | NoAnswer:
    """What did it: the probability of every candidate and of nothing, effects with 90 % intervals, and the
    rest.

    The same problem gives the same answer, in whatever order its rows and columns come. Returns a NoAnswer
    with a plain reason where there is nothing to compare.
    """
    why = _unanswerable(problem)
    if why is not None:
        return NoAnswer(why, problem.rows)
    prior, effort = prior or Prior(), effort or Effort()
    asked, rows, columns = problem.canonical()
    groups, representing = find_groups(asked.x)
    if not groups:
        return NoAnswer("nothing-varies", problem.rows)
    weight = np.array([asked.prior[list(group.members)].sum() for group in groups])
    latent = make_latent(asked)
    terms = make_terms(representing, weight, latent.start, product_weight=prior.product_weight)
    known = working_noise(asked, latent)
    noise = NoisePrior(known.observations / 2, known.observations * known.sd**2 / 2, asked.scale in GRADED)
    setting = make_setting(latent, asked.batch, asked.sitting, asked.when, prior, noise)
    generator = np.random.default_rng(asked.seed())
    terms, models, record, single_out = _weigh(setting, terms, prior, effort, generator)
    return _answer(asked, groups, representing, terms, models, record, single_out, setting, rows, columns, known.sd)


_TOO_FEW: tuple[Why, Why, Why] = ("no-rows", "one-row", "two-rows")


def _unanswerable(problem: Problem) -> Why | None:
    if problem.rows < 3:
        return _TOO_FEW[problem.rows]
    if not problem.names:
        return "no-factors"
    if np.isposinf(problem.upper).all() or np.isneginf(problem.lower).all():
        return "all-censored"
    if problem.exact.all() and np.ptp(problem.lower) == 0:
        return "all-equal"
    if len(np.unique(problem.lower)) == 1 and len(np.unique(problem.upper)) == 1:
        return "all-equal"
    return None


def _weigh(
    setting: Setting, terms: Terms, prior: Prior, effort: Effort, generator: np.random.Generator
) -> tuple[Terms, Models, Record, IntArray]:
    """Screen all models of up to two terms, keep those that matter with their triples, weigh these."""
    nothing_hidden = (
        not len(setting.latent.open_rows)
        and not setting.shares
        and setting.nuisance.shape[1] == 1
        and len(prior.noise_kinds) == 1
    )
    if nothing_hidden:
        effort = replace(effort, screen_chains=1, screen_burn=0, screen_sweeps=1, thrift=0.0)
    state = start_state(setting, effort.screen_chains)

    def screen(models: Models, burn: int, sweeps: int) -> FloatArray:
        record = run_chains(
            setting, terms, models, state, generator, burn=burn, sweeps=sweeps, all_spreads=nothing_hidden
        )
        return np.asarray(record.models / record.models.sum())

    models = list_models(terms, prior.causes[:3])
    chance = screen(models, effort.screen_burn // 2, max(effort.screen_sweeps // 4, 1))
    if len(models.blocks) > 2:
        if len(models.blocks[2]) > effort.screen_pairs:
            models = list_models(terms, prior.causes[:3], _best(models, chance, effort.screen_pairs, 0.0))
            chance = screen(models, effort.screen_burn, effort.screen_sweeps)
        elif not nothing_hidden:
            chance = screen(models, effort.screen_burn, effort.screen_sweeps)
        pairs = _best(models, chance, effort.most_pairs, effort.thrift)
        if len(prior.causes) > 3 and terms.count > 2:
            triples = _grow_triples(terms, models, chance, effort.most_triples)
            models = list_models(terms, prior.causes, pairs, triples)
            if not nothing_hidden:
                chance = screen(models, 1, 3)
                models = list_models(
                    terms, prior.causes, pairs, _best(models, chance, effort.most_triples, effort.thrift)
                )
        else:
            models = list_models(terms, prior.causes, pairs)
    if nothing_hidden:
        state = start_state(setting, 400)
        leading = _leading_terms(terms, models, chance_of(setting, terms, models, generator))
        record = run_chains(
            setting,
            terms,
            models,
            state,
            generator,
            burn=0,
            sweeps=1,
            draws=4,
            single_out=leading,
            all_spreads=True,
        )
        return terms, models, record, leading
    chance = screen(models, 1, 3)
    terms, models, chance = compact(terms, models, chance, effort.thrift)
    state = state.repeated(effort.chains)
    run_chains(setting, terms, models, state, generator, burn=effort.burn, sweeps=0)
    leading = _leading_terms(terms, models, chance)
    record = run_chains(
        setting,
        terms,
        models,
        state,
        generator,
        burn=0,
        sweeps=effort.sweeps,
        draws=effort.draws,
        single_out=leading,
    )
    return terms, models, record, leading


def chance_of(setting: Setting, terms: Terms, models: Models, generator: np.random.Generator) -> FloatArray:
    """The exact chances where nothing is hidden."""
    state = start_state(setting, 1)
    record = run_chains(setting, terms, models, state, generator, burn=0, sweeps=1, all_spreads=True)
    return record.models


def _best(models: Models, chance: FloatArray, most: int, thrift: float) -> IntArray:
    """The models of the largest size that carry more than `thrift`, at most `most` of them."""
    block = models.blocks[-1]
    own = chance[-len(block) :] if len(block) else chance[:0]
    ranked = np.argsort(-own, kind="stable")[:most]
    ranked = ranked[own[ranked] > thrift] if thrift > 0 else ranked
    return block[np.sort(ranked)]


def _grow_triples(terms: Terms, models: Models, chance: FloatArray, most: int) -> IntArray:
    """Triples among the leading terms, and leading pairs with one more leading term."""
    pairs = models.blocks[2]
    own = chance[-len(pairs) :]
    leading = np.argsort(-_per_term(models, chance, terms.count), kind="stable")
    found = {tuple(sorted(int(t) for t in three)): None for three in combinations(leading[:10], 3)}
    for pair in np.argsort(-own, kind="stable")[:40]:
        for third in leading[:40]:
            members = tuple(sorted({int(pairs[pair, 0]), int(pairs[pair, 1]), int(third)}))
            if len(members) == 3 and len(found) < most:
                found[members] = None
    return np.array(sorted(found), dtype=np.int64).reshape(-1, 3)


def _leading_terms(terms: Terms, models: Models, chance: FloatArray) -> IntArray:
    """Terms worth an interval of their own: the leading ones."""
    share = _per_term(models, chance, terms.count)
    return np.sort(np.argsort(-share, kind="stable")[:12]).astype(np.int64)


def _answer(
    asked: Problem,
    groups: tuple[AliasGroup, ...],
    representing: FloatArray,
    terms: Terms,
    models: Models,
    record: Record,
    single_out: IntArray,
    setting: Setting,
    rows: IntArray,
    columns: IntArray,
    prior_sd: float,
) -> Explanation:
    chance = record.models / record.models.sum()
    per_group = chance @ models.causes
    order = np.argsort(-per_group, kind="stable").astype(np.int64)
    number = {int(g): k for k, g in enumerate(order)}
    effects, sds = np.concatenate(record.effects), np.concatenate(record.sds)
    term_effects = _term_effects(effects, record, single_out)
    per_term = _per_term(models, chance, terms.count)
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
    chains = record.chain_causes / record.sweeps
    error = float(np.sqrt((chains.var(axis=0, ddof=1) / len(chains)).max())) if len(chains) > 1 else 0.0
    posterior = Posterior(
        terms,
        models,
        chance,
        effects,
        sds,
        record.values / (record.sweeps * len(chains)),
        (kinds @ (1.0 / variances))[setting.batch],
        setting.batch,
        float(np.median(setting.prior.batch_shares)) if setting.shares else 0.0,
        record.spread / (record.sweeps * len(chains)),
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
        interval(np.concatenate(record.levels)),
        _suspects(models, chance, number),
        _shortlist(models, chance, order),
        find_near_aliases(representing[:, order]),
        error,
        posterior,
    )


def _per_term(models: Models, chance: FloatArray, count: int) -> FloatArray:
    total = np.zeros(count)
    offset = 0
    for block in models.blocks:
        for k in range(block.shape[1]):
            np.add.at(total, block[:, k], chance[offset : offset + len(block)])
        offset += len(block)
    return total


def _term_effects(effects: FloatArray, record: Record, single_out: IntArray) -> list[Effect | None]:
    """The effect of every term given that it is a cause: from the singled-out draws, else from those at
    hand.
    """
    found: list[Effect | None] = []
    singled = {int(term): k for k, term in enumerate(single_out)} if record.singled else {}
    for term in range(effects.shape[1]):
        if term in singled:
            drawn = np.concatenate([part[0][:, singled[term]] for part in record.singled])
            weight = np.concatenate([part[1][:, singled[term]] for part in record.singled])
            found.append(interval(drawn, weight) if weight.sum() > 1e-9 else None)
            continue
        drawn = effects[:, term]
        drawn = drawn[drawn != 0]
        found.append(interval(drawn) if len(drawn) >= 20 else None)
    return found


def _suspects(models: Models, chance: FloatArray, number: dict[int, int]) -> Suspects | None:
    if 1.0 - chance[0] < SUSPECTED:
        return None
    left = chance.copy()
    left[0] = 0.0
    chosen: list[int] = []
    covered = 0.0
    while covered < SUSPECTED and len(chosen) < models.causes.shape[1]:
        gain = left @ models.causes
        best = int(np.argmax(gain))
        chosen.append(number[best])
        covered += float(gain[best])
        left *= 1.0 - models.causes[:, best]
    return Suspects(tuple(chosen), min(covered, 1.0))


def _shortlist(models: Models, chance: FloatArray, order: IntArray) -> tuple[int, ...]:
    outside = np.ones(models.causes.shape[1], dtype=bool)
    for k in range(len(order) + 1):
        inside = (1.0 - models.causes[:, outside]).prod(axis=1)
        if chance @ inside >= SUSPECTED:
            return tuple(range(k))
        if k < len(order):
            outside[order[k]] = False
    return tuple(range(len(order)))
