"""The explanations that are weighed against each other: small sets of causes, and what each is worth
beforehand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from trials.explain.normal import FloatArray
from trials.explain.problem import IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """Columns that a model may use: one a group, then products of two groups ("only together").

    columns: shape (rows, terms). groups: the group, or the two groups, of each term. weight: prior weight of
    each, and `unlisted` that of all products that were left out.
    """

    columns: FloatArray
    groups: tuple[tuple[int, ...], ...]
    weight: FloatArray
    unlisted: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Models:
    """A list of models, ordered by size. The first is always the empty one: nothing here did it.

    blocks: for each size an array of shape (models, size) with term numbers.
    log_prior: shape (models,). causes: shape (models, groups), which groups a model holds responsible.
    """

    blocks: tuple[IntArray, ...]
    log_prior: FloatArray
    causes: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """How many models there are."""
        return len(self.log_prior)

    def padded(self, blank: int) -> IntArray:
        """Shape (models, largest size): the terms of each model, filled up with `blank`."""
        widest = max(block.shape[1] for block in self.blocks)
        rows = [
            np.pad(block, ((0, 0), (0, widest - block.shape[1])), constant_values=blank)
            for block in self.blocks
        ]
        return np.concatenate(rows)


def make_terms(
    groups: FloatArray,
    weight: FloatArray,
    guide: FloatArray,
    *,
    product_weight: float,
    least_rows: int = 2,
    most_products: int = 200,
) -> Terms:
    """The terms over the groups' columns (rows, groups), with products of pairs when `product_weight` is
    above zero.

    A product is offered only where both were off base together in `least_rows` rows or more and it says
    something that neither of its two parents says alone. When there are more than `most_products`, those that
    go best with the `guide` (the outcome, shape (rows,)) are listed and the others keep their weight
    unlisted.
    """
    count = groups.shape[1]
    owners: list[tuple[int, ...]] = [(j,) for j in range(count)]
    if product_weight <= 0 or count < 2:
        return Terms(groups, tuple(owners), weight, 0.0)
    off = (np.abs(groups) > 1e-9).astype(float)
    first, second = np.triu_indices(count, 1)
    together = (off.T @ off)[first, second] >= least_rows
    first, second = first[together], second[together]
    products = groups[:, first] * groups[:, second]
    new = ~(_is_multiple(products, groups[:, first]) | _is_multiple(products, groups[:, second]))
    first, second, products = first[new], second[new], products[:, new]
    own = product_weight * np.sqrt(weight[first] * weight[second])
    kept = np.arange(len(first))
    if len(first) > most_products:
        centred = products - products.mean(axis=0)
        size = np.sqrt((centred**2).sum(axis=0))
        fit = np.abs((guide - guide.mean()) @ centred) / np.where(size > 0, size, np.inf)
        kept = np.sort(np.argsort(-fit, kind="stable")[:most_products])
    owners += [(int(first[k]), int(second[k])) for k in kept]
    unlisted = float(own.sum() - own[kept].sum())
    return Terms(
        np.hstack([groups, products[:, kept]]), tuple(owners), np.concatenate([weight, own[kept]]), unlisted
    )


def _is_multiple(products: FloatArray, parents: FloatArray) -> NDArray[np.bool_]:
    a, b = products - products.mean(axis=0), parents - parents.mean(axis=0)
    return np.asarray(
        (a * b).sum(axis=0) ** 2 > (1 - 1e-9) * (a * a).sum(axis=0) * (b * b).sum(axis=0) - 1e-18
    )


def list_models(
    terms: Terms,
    size_prior: Sequence[float],
    pairs: IntArray | None = None,
    triples: IntArray | None = None,
) -> Models:
    """All models of up to one term, and of two (all, unless `pairs` are given) and three terms (those given).

    Models of one size share that size's prior by the product of their terms' weights; sizes that are not
    listed in full keep the share that they would have had in the full list.
    """
    count = len(terms.groups)
    largest = min(len(size_prior) - 1, count)
    share = np.array(size_prior[: largest + 1], dtype=float)
    share /= share.sum()
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
    prior = [
        np.log(share[k] / symmetric[k]) + log_weight[block].sum(axis=1) for k, block in enumerate(blocks)
    ]
    return Models(tuple(blocks), np.concatenate(prior), _causes(blocks, terms))


def list_factorial_models(
    factors: FloatArray, *, activity: float, order: int, most: int | None = None
) -> tuple[Terms, Models]:
    """The models of a designed experiment: any set of active factors, with their interactions up to `order`.

    factors: shape (rows, factors). activity: prior chance that a factor is active. A set of f active factors
    has weight (activity / (1 - activity))^f, whatever the number of its effects (Box and Meyer 1993, J.
    Quality Technology 25(2), 94-105).
    """
    count = factors.shape[1]
    effects = [c for k in range(1, order + 1) for c in combinations(range(count), k)]
    number = {effect: k for k, effect in enumerate(effects)}
    terms = Terms(
        np.column_stack([factors[:, list(effect)].prod(axis=1) for effect in effects]),
        tuple(effects),
        np.ones(len(effects)),
    )
    sets: list[tuple[int, ...]] = [
        s for k in range((count if most is None else most) + 1) for s in combinations(range(count), k)
    ]
    blocks = []
    prior = []
    for k in sorted({len(s) for s in sets}):
        same = [s for s in sets if len(s) == k]
        chosen = [[number[c] for m in range(1, min(order, k) + 1) for c in combinations(s, m)] for s in same]
        blocks.append(np.array(chosen, dtype=np.int64).reshape(len(same), -1))
        prior.append(np.full(len(same), k * np.log(activity / (1 - activity))))
    return terms, Models(tuple(blocks), np.concatenate(prior), _causes(blocks, terms))


def _all_subsets(count: int, size: int) -> IntArray:
    if size == 2:
        return np.column_stack(np.triu_indices(count, 1)).astype(np.int64)
    return np.array(list(combinations(range(count), size)), dtype=np.int64).reshape(-1, size)


def _causes(blocks: Sequence[IntArray], terms: Terms) -> NDArray[np.bool_]:
    groups = 1 + max((g for owner in terms.groups for g in owner), default=-1)
    owned = np.zeros((len(terms.groups), groups), dtype=bool)
    for term, owner in enumerate(terms.groups):
        owned[term, list(owner)] = True
    parts = []
    for block in blocks:
        held = np.zeros((len(block), groups), dtype=bool)
        for k in range(block.shape[1]):
            held |= owned[block[:, k]]
        parts.append(held)
    return np.concatenate(parts)
