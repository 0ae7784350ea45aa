"""The explanations that are weighed against each other: small sets of causes, and what each is worth beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TypeAlias

import numpy as np

from trials.explain.normal import FloatArray
from trials.explain.prior import Prior
from trials.explain.problem import IntArray

_LEAST_ROWS = 2  # in which two groups were off base together, so that their product is offered
_MOST_PRODUCTS = 200
Owner: TypeAlias = tuple[int, ...]  # one group, or two that act together


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """Columns that a model may use: one a group, then products of two groups ("only together").

    columns: shape (rows, terms). owners: for each term what it may stand for, one entry unless several
    products (or a group and a product) have the same column; a group's own entry comes first. weight: prior
    weight of each term, and `unlisted` that of all products that were left out. doubtful: the batches that were
    alone in a change, which anything else in them that was not recorded would explain as well: of these the two
    that stand out most.
    """

    columns: FloatArray
    owners: tuple[tuple[Owner, ...], ...]
    weight: FloatArray
    unlisted: float = 0.0
    doubtful: tuple[int, ...] = ()

    @property
    def count(self) -> int:
        """How many terms there are."""
        return len(self.owners)

    def meant(self, term: int) -> tuple[Owner, ...]:
        """What a term speaks of: a plain change is far likelier than its double among the products."""
        owners = self.owners[term]
        return owners[:1] if len(owners[0]) == 1 else owners

    def groups(self, term: int) -> set[int]:
        """The groups in what a term speaks of."""
        return {group for owner in self.meant(term) for group in owner}


@dataclass(frozen=True, slots=True, eq=False)
class Models:
    """A list of models, ordered by size. The first is always the empty one: nothing here did it.

    blocks: for each size an array of shape (models, size) with term numbers.
    log_prior: shape (models,).
    """

    blocks: tuple[IntArray, ...]
    log_prior: FloatArray

    @property
    def count(self) -> int:
        """How many models there are."""
        return len(self.log_prior)

    def per_term(self, chance: FloatArray, count: int) -> FloatArray:
        """The chance of each of `count` terms to be in the model."""
        total = np.zeros(count)
        start = 0
        for block in self.blocks:
            for k in range(block.shape[1]):
                np.add.at(total, block[:, k], chance[start : start + len(block)])
            start += len(block)
        return total

    def padded(self, blank: int) -> IntArray:
        """Shape (models, largest size): the terms of each model, filled up with `blank`."""
        widest = max(block.shape[1] for block in self.blocks)
        rows = [np.pad(block, ((0, 0), (0, widest - block.shape[1])), constant_values=blank) for block in self.blocks]
        return np.concatenate(rows)


def make_terms(
    groups: FloatArray,
    weight: FloatArray,
    guide: FloatArray,
    batch: IntArray,
    prior: Prior,
) -> Terms:
    """The terms over the groups' columns (rows, groups), with products of pairs when `product_weight` is above zero.

    A product is offered only where both were off base together in two rows or more. Products that
    are exact multiples of a group's column, or of each other, share one term: they cannot be told apart. When
    there are more than 200, those that go best with the `guide` (the outcome, shape (rows,)) are
    listed and the others keep their weight unlisted.
    """
    count = groups.shape[1]
    single: list[tuple[Owner, ...]] = [((j,),) for j in range(count)]
    alone = _alone_in(groups, batch)
    weight = weight * np.where(alone >= 0, prior.lone_weight, 1.0)
    doubtful = _most_doubtful(alone, batch, guide)
    if prior.product_weight <= 0 or count < 2:
        return Terms(groups, tuple(single), weight, 0.0, doubtful)
    off = (np.abs(groups) > 1e-9).astype(float)
    first, second = np.triu_indices(count, 1)
    together = (off.T @ off)[first, second] >= _LEAST_ROWS
    first, second = first[together], second[together]
    products = groups[:, first] * groups[:, second]
    own = prior.product_weight * np.sqrt(weight[first] * weight[second])
    unit = _unit(products)
    varies = np.abs(unit).sum(axis=0) > 0
    kept = np.flatnonzero(varies)
    if len(kept) > _MOST_PRODUCTS:
        fit = np.abs((guide - guide.mean()) @ unit[:, kept])
        kept = np.sort(kept[np.argsort(-fit, kind="stable")[:_MOST_PRODUCTS]])
    unlisted = float(own[varies].sum() - own[kept].sum())
    owners = [list(owner) for owner in single]
    weights = list(weight)
    columns = [groups[:, j] for j in range(count)]
    units = list(_unit(groups).T)
    for k in kept:
        alike = np.flatnonzero(np.abs(np.array(units) @ unit[:, k]) > 1 - 1e-9)
        pair = (int(first[k]), int(second[k]))
        if len(alike):
            owners[alike[0]].append(pair)
            weights[alike[0]] += 0.0 if alike[0] in pair else own[k]
        else:
            owners.append([pair])
            weights.append(float(own[k]))
            columns.append(products[:, k])
            units.append(unit[:, k])
    owned = tuple(tuple(owner) for owner in owners)
    return Terms(np.column_stack(columns), owned, np.array(weights), unlisted, doubtful)


def _alone_in(columns: FloatArray, batch: IntArray) -> IntArray:
    """For each column the only batch in which it leaves its commonest value; -1 where it does so in more, or never."""
    alone = np.full(columns.shape[1], -1, dtype=np.int64)
    for j, column in enumerate(columns.T):
        values, counts = np.unique(np.round(column, 9), return_counts=True)
        away = np.abs(column - values[np.argmax(counts)]) > 1e-8
        held = np.unique(batch[away])
        if len(held) == 1:
            alone[j] = held[0]
    return alone


def _most_doubtful(alone: IntArray, batch: IntArray, guide: FloatArray) -> tuple[int, ...]:
    """Up to two batches alone in a change that stand out: farther from the middle than three of the usual distances."""
    far = np.abs(guide - np.median(guide))
    found = {int(b): float(far[batch == b].mean()) for b in np.unique(alone[alone >= 0])}
    standing_out = [b for b, distance in found.items() if distance > 3.0 * float(np.median(far))]
    return tuple(sorted(standing_out, key=lambda b: (-found[b], b))[:2])


def _unit(columns: FloatArray) -> FloatArray:
    """Centred columns of length one; a column that does not vary becomes zero."""
    centred = columns - columns.mean(axis=0)
    length = np.sqrt((centred**2).sum(axis=0))
    return np.asarray(centred / np.where(length > 1e-9, length, np.inf))


def list_models(
    terms: Terms,
    size_prior: Sequence[float],
    few: float,
    pairs: IntArray | None = None,
    triples: IntArray | None = None,
) -> Models:
    """All models of up to one term, and of two (all, unless `pairs` are given) and three terms (those given).

    Models of one size share that size's prior by the product of their terms' weights; sizes that are not listed in full
    keep the share that they would have had in the full list. few: see `Prior`.
    """
    count = terms.count
    largest = min(len(size_prior) - 1, count)
    share = np.array(size_prior[: largest + 1], dtype=float)
    share /= share.sum()
    everything = float(terms.weight.sum()) + terms.unlisted
    share[1:] *= everything / (everything + few)
    share[0] = 1.0 - share[1:].sum()
    symmetric = np.zeros(largest + 1)
    symmetric[0] = 1.0
    for weight in (*terms.weight, terms.unlisted):
        for k in range(largest, 0, -1):
            symmetric[k] += symmetric[k - 1] * weight
    blocks = [np.zeros((1, 0), dtype=np.int64)]
    if largest >= 1:
        blocks.append(np.arange(count, dtype=np.int64)[:, None])
    if largest >= 2:
        blocks.append(_all_subsets(count, 2) if pairs is None else pairs)
    if largest >= 3 and triples is not None:
        blocks.append(triples)
    log_weight = np.log(terms.weight)
    prior = [np.log(share[k] / symmetric[k]) + log_weight[block].sum(axis=1) for k, block in enumerate(blocks)]
    return Models(tuple(blocks), np.concatenate(prior))


def compact(terms: Terms, models: Models, chance: FloatArray, thrift: float) -> tuple[Terms, Models, FloatArray]:
    """The same list without products that no model of weight uses, and without models that use them alone."""
    count = terms.count
    single = np.array([len(owners[0]) == 1 for owners in terms.owners])
    keep = np.ones(models.count, dtype=bool)
    keep[1 : 1 + count] = single | (chance[1 : 1 + count] > thrift)
    used = single.copy()
    blocks, start = [], 0
    for block in models.blocks:
        held = block[keep[start : start + len(block)]]
        used[held.ravel()] = True
        blocks.append(held)
        start += len(block)
    number = np.cumsum(used) - 1
    owners = tuple(owner for owner, is_used in zip(terms.owners, used, strict=True) if is_used)
    fewer = Terms(
        np.ascontiguousarray(terms.columns[:, used]), owners, terms.weight[used], terms.unlisted, terms.doubtful
    )
    shorter = Models(tuple(number[block] for block in blocks), models.log_prior[keep])
    return fewer, shorter, chance[keep]


def _all_subsets(count: int, size: int) -> IntArray:
    if size == 2:
        return np.column_stack(np.triu_indices(count, 1)).astype(np.int64)
    return np.array(list(combinations(range(count), size)), dtype=np.int64).reshape(-1, size)


def find_causes(terms: Terms, models: Models) -> FloatArray:
    """How surely each model holds each group responsible, shape (models, groups).

    0 or 1, or a share where a product may stand for several pairs.
    """
    groups = 1 + max((g for owners in terms.owners for owner in owners for g in owner), default=-1)
    free = np.ones((terms.count, groups))
    for term in range(terms.count):
        meant = terms.meant(term)
        for owner in meant:
            free[term, list(owner)] -= 1.0 / len(meant)
    free = np.maximum(free, 0.0)
    parts = []
    for block in models.blocks:
        left = np.ones((len(block), groups))
        for k in range(block.shape[1]):
            left *= free[block[:, k]]
        parts.append(1.0 - left)
    return np.concatenate(parts)
