"""Which models are weighed: all small ones are screened, those that matter are kept and weighed well."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from trials.explain.models import Models, Terms, compact, find_causes, list_models
from trials.explain.normal import FloatArray
from trials.explain.prior import Prior
from trials.explain.problem import IntArray
from trials.explain.sampler import Record, run_chains
from trials.explain.setting import Setting
from trials.explain.state import start_state


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is drawn; the defaults leave a standard error of at most one percent in most answers.

    chains, burn, sweeps: parallel chains, sweeps thrown away and kept; draws: effects drawn at each kept sweep. While
    the standard error of any probability is above `error`, as many sweeps are added, up to `most_sweeps` in all.
    screen_*: the same for choosing which models to keep: at most `most_pairs` and `most_triples` of those that carry
    more than `thrift`; the first pass leaves `screen_pairs`.
    """

    chains: int = 24
    burn: int = 8
    sweeps: int = 10
    most_sweeps: int = 30
    error: float = 0.01
    draws: int = 4
    screen_chains: int = 4
    screen_burn: int = 5
    screen_sweeps: int = 6
    screen_pairs: int = 4000
    most_pairs: int = 800
    most_triples: int = 800
    thrift: float = 2e-5


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """What came of it. causes: how surely each model holds each group responsible, shape (models, groups). leading: the
    terms for which effects were drawn on purpose.
    """

    terms: Terms
    models: Models
    causes: FloatArray
    record: Record
    leading: IntArray


def weigh(setting: Setting, terms: Terms, prior: Prior, effort: Effort, generator: np.random.Generator) -> Weighed:
    """Probabilities of the models that matter, with effects drawn from them."""
    if setting.nothing_hidden:
        return _weigh_exactly(setting, terms, prior, effort, generator)
    state = start_state(setting, effort.screen_chains)

    def screen(models: Models, burn: int, sweeps: int) -> FloatArray:
        return run_chains(setting, terms, models, state, generator, burn=burn, sweeps=sweeps).chance

    models = list_models(terms, prior.causes[:3], prior.few)
    if len(models.blocks) > 2 and len(models.blocks[2]) > effort.screen_pairs:
        chance = screen(models, effort.screen_burn // 2, max(effort.screen_sweeps // 4, 1))
        models = list_models(terms, prior.causes[:3], prior.few, _best(models, chance, effort.screen_pairs, 0.0))
    chance = screen(models, effort.screen_burn, effort.screen_sweeps)
    if len(models.blocks) > 2:
        pairs = _best(models, chance, effort.most_pairs, effort.thrift)
        triples = _grow_triples(terms, models, chance, prior, effort)
        models = list_models(terms, prior.causes, prior.few, pairs, triples)
    chance = screen(models, 1, 3)
    if len(models.blocks) > 3:
        kept = _leading(models, chance, effort.most_triples, effort.thrift)
        rest = models.count - len(models.blocks[3])
        models = list_models(terms, prior.causes, prior.few, models.blocks[2], models.blocks[3][kept])
        chance = chance[np.concatenate([np.arange(rest), rest + kept])]
    terms, models, chance = compact(terms, models, chance, effort.thrift)
    state = state.repeated(effort.chains)
    run_chains(setting, terms, models, state, generator, burn=effort.burn, sweeps=0)
    leading = _find_leading(terms, models, chance)
    causes = find_causes(terms, models)

    def sweep() -> Record:
        return run_chains(
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

    record = sweep()
    if record.error(causes) > effort.error:
        record = sweep()  # the chains of a hard question had not settled: the first sweeps were too early
    while record.error(causes) > effort.error and record.sweeps < effort.most_sweeps:
        record.add(sweep())
    return Weighed(terms, models, causes, record, leading)


def _weigh_exactly(
    setting: Setting, terms: Terms, prior: Prior, effort: Effort, generator: np.random.Generator
) -> Weighed:
    """The same where every value is known: one sum, then draws from it."""

    def add_up(models: Models) -> FloatArray:
        state = start_state(setting, 1)
        return run_chains(setting, terms, models, state, generator, burn=0, sweeps=1, all_spreads=True).chance

    models = list_models(terms, prior.causes[:3], prior.few)
    if len(models.blocks) > 2:
        chance = add_up(models)
        triples = _grow_triples(terms, models, chance, prior, effort)
        models = list_models(terms, prior.causes, prior.few, _best(models, chance, effort.screen_pairs, 0.0), triples)
    leading = _find_leading(terms, models, add_up(models))
    record = run_chains(
        setting,
        terms,
        models,
        start_state(setting, 400),
        generator,
        burn=0,
        sweeps=1,
        draws=4,
        single_out=leading,
        all_spreads=True,
    )
    return Weighed(terms, models, find_causes(terms, models), record, leading)


def _best(models: Models, chance: FloatArray, most: int, thrift: float) -> IntArray:
    """The models of the largest size that carry more than `thrift`, at most `most` of them."""
    return models.blocks[-1][_leading(models, chance, most, thrift)]


def _leading(models: Models, chance: FloatArray, most: int, thrift: float) -> IntArray:
    """Which they are within their block, in its order."""
    block = models.blocks[-1]
    own = chance[-len(block) :] if len(block) else chance[:0]
    ranked = np.argsort(-own, kind="stable")[:most]
    ranked = ranked[own[ranked] > thrift] if thrift > 0 else ranked
    return np.sort(ranked)


def _grow_triples(terms: Terms, models: Models, chance: FloatArray, prior: Prior, effort: Effort) -> IntArray | None:
    """Triples among the leading terms, and leading pairs with one more leading term; None: no triples are asked for."""
    if len(prior.causes) < 4 or terms.count < 3:
        return None
    pairs = models.blocks[2]
    own = chance[-len(pairs) :]
    leading = np.argsort(-models.per_term(chance, terms.count), kind="stable")
    found = {tuple(sorted(int(t) for t in three)): None for three in combinations(leading[:10], 3)}
    for pair in np.argsort(-own, kind="stable")[:40]:
        for third in leading[:40]:
            members = tuple(sorted({int(pairs[pair, 0]), int(pairs[pair, 1]), int(third)}))
            if len(members) == 3 and len(found) < effort.most_triples:
                found[members] = None
    return np.array(sorted(found), dtype=np.int64).reshape(-1, 3)


def _find_leading(terms: Terms, models: Models, chance: FloatArray) -> IntArray:
    """Terms worth effects of their own: the twelve likeliest."""
    return np.sort(np.argsort(-models.per_term(chance, terms.count), kind="stable")[:12]).astype(np.int64)
