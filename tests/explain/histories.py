"""Seeded histories of a small maker's trials, with the truth known. All invented.

How a history grows: trial 0 is the base recipe. Each later batch copies a parent (mostly the batch before it,
sometimes the base or an older one), changes one to four things, and is watched. Oils are percentages (a
change takes from a balance oil or from another oil), fragrances exclude one another, a fragrance rate exists
only with a fragrance, lots switch once and never come back, aliased pairs always move together, some batches
are plain repeats. The outcome is made on a hidden scale, level + sum of effects + batch noise + portion
noise, and shown as a time (censored when the watching stops), a value, a grade of 0 to 4, or a count. The
same arguments give the same history.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Row = dict[str, float]


@dataclass(frozen=True)
class Plan:
    """How a history is made; the defaults are those of the first study."""

    n_trials: int = 24
    n_factors: int = 20
    n_active: int = 1
    kind: str = "time"
    changes: tuple[float, ...] = (0.45, 0.30, 0.15, 0.10)
    effect: tuple[float, float] = (2.0, 4.0)  # size of an effect of one step, in noise standard deviations
    noise_sd: float = 0.18
    batch_share: float = 0.5
    portions: int = 1
    censor: float = 0.0
    alias_pairs: int = 0
    active_aliased: bool = False
    repeat_prob: float = 0.12
    revert_prob: float = 0.35
    lots: bool = True
    outlier_prob: float = 0.0
    heavy_tail: bool = False
    drift: float = 0.0
    interaction: bool = False
    min_support: int = 2


@dataclass(frozen=True)
class Factor:
    """A recipe, process or lot column that may be changed."""

    kind: str
    base: float
    step: float
    level: str


@dataclass(frozen=True)
class Focal:
    """The first portion whose result moved most against its parent: what changed, and which change did it."""

    row: int
    parent: int
    changed: tuple[str, ...]
    cause: str | None


@dataclass(frozen=True)
class History:
    """A history as a maker would have it, and what really happened."""

    names: tuple[str, ...]  # of the columns that vary
    x: FloatArray
    y: FloatArray
    censored: NDArray[np.bool_]
    batch: NDArray[np.int64]
    portion: NDArray[np.int64]
    parent: NDArray[np.int64]
    kind: str
    effects: dict[str, float]
    partner: str | None
    noise_sd: float
    focal: Focal | None
    gross: tuple[int, ...]
    factors: dict[str, Factor] = field(default_factory=dict)
    minor: tuple[str, ...] = ()  # act a little: naming one is neither needed nor wrong


def make_history(seed: int, plan: Plan) -> History:
    """The history of a seed; a draw that cannot be used (no factor with enough support) is made again."""
    for attempt in range(200):
        found = _Maker(np.random.default_rng([int(seed), attempt]), plan).make()
        if found is not None:
            return found
    raise RuntimeError("no history can be made with these arguments")


def _list_factors(rng: np.random.Generator, count: int, *, lots: bool) -> dict[str, Factor]:
    oils, settings = max(2, round(0.20 * count)), max(3, round(0.22 * count))
    fragrances, lot_count = max(2, round(0.15 * count)), max(1, round(0.13 * count)) if lots else 0
    additives = max(1, count - oils - settings - fragrances - lot_count - 1)
    found: dict[str, Factor] = {}
    for i in range(oils):
        found[f"oil_{i + 1}_pct"] = Factor("oil", float(rng.choice([0, 10, 20])), 5.0, "batch")
    for i in range(settings):
        base = float(rng.choice([5, 30, 33, 38]))
        found[f"setting_{i + 1}"] = Factor("setting", base, float(rng.choice([1, 2, 5])), "batch")
    for i in range(fragrances):
        found[f"fragrance_{i + 1}"] = Factor("fragrance", 0.0, 1.0, "portion")
    found["fragrance_rate_pct"] = Factor("rate", 0.0, 3.0, "portion")
    for i in range(additives):
        found[f"additive_{i + 1}"] = Factor("additive", 0.0, 1.0, "portion" if i % 2 else "batch")
    for i in range(lot_count):
        found[f"lot_{i + 1}"] = Factor("lot", 0.0, 1.0, "batch")
    return {name: found[name] for name in list(found)[:count]}


class _Maker:
    """One attempt at a history; the order in which random numbers are taken is part of it."""

    def __init__(self, rng: np.random.Generator, plan: Plan) -> None:
        self.rng, self.plan = rng, plan
        self.factors = _list_factors(rng, plan.n_factors, lots=plan.lots)
        self.names = list(self.factors)
        self.alias: dict[str, str] = {}
        self._pair_aliases()
        popularity = rng.permutation(1.0 / np.arange(1, len(self.names) + 1) ** 0.6)
        self.changeable = [name for name in self.names if self.factors[name].kind != "lot"]
        weight = np.array([popularity[self.names.index(name)] for name in self.changeable])
        self.weight = weight / weight.sum()

    def _pair_aliases(self) -> None:
        free = [name for name in self.names if self.factors[name].kind in ("setting", "additive")]
        pool = list(self.rng.permutation(free))
        for _ in range(self.plan.alias_pairs):
            if len(pool) < 2:
                break
            one = str(pool.pop())
            level = self.factors[one].level
            other = next((str(q) for q in pool if self.factors[str(q)].level == level), None)
            if other is None:
                continue
            pool.remove(other)
            self.alias[one], self.alias[other] = other, one

    def _change(self, row: Row, name: str) -> None:
        factor, rng = self.factors[name], self.rng
        if factor.kind == "additive":
            row[name] = 0.0 if row[name] else 1.0
        elif factor.kind == "fragrance":
            on = not row[name]
            for other in self.names:
                if self.factors[other].kind == "fragrance":
                    row[other] = 0.0
            row[name] = 1.0 if on else 0.0
            if "fragrance_rate_pct" in self.factors:
                row["fragrance_rate_pct"] = 3.0 if on else 0.0
        elif factor.kind == "rate":
            if any(row[other] for other in self.names if self.factors[other].kind == "fragrance"):
                row[name] = float(rng.choice([1.5, 2.0, 4.0, 5.0, 6.0]))
        else:
            self._move(row, name, factor)

    def _move(self, row: Row, name: str, factor: Factor) -> None:
        rng = self.rng
        if row[name] != factor.base and rng.random() < self.plan.revert_prob:
            row[name] = factor.base
            return
        by = factor.step * rng.choice([-2, -1, -1, 1, 1, 2])
        if factor.kind != "oil":
            row[name] += by
            return
        if row[name] + by < 0:
            by = abs(by)
        row[name] += by
        if rng.random() < 0.4:
            oils = [o for o in self.names if self.factors[o].kind == "oil" and o != name and row[o] - by >= 0]
            if oils:
                row[str(rng.choice(oils))] -= by

    def _mutate(self, row: Row, count: int, only: str | None = None) -> None:
        allowed = [name for name in self.changeable if only is None or self.factors[name].level == only]
        weight = np.array([self.weight[self.changeable.index(name)] for name in allowed])
        weight /= weight.sum()
        for chosen in self.rng.choice(allowed, size=min(count, len(allowed)), replace=False, p=weight):
            name = str(chosen)
            before = row[name]
            self._change(row, name)
            if name in self.alias:
                twin = self.alias[name]
                row[twin] += (row[name] - before) / self.factors[name].step * self.factors[twin].step

    def _grow(self) -> tuple[list[Row], list[tuple[int, int, int, int]]]:
        plan, rng = self.plan, self.rng
        base = {name: self.factors[name].base for name in self.names}
        lots = [name for name in self.names if self.factors[name].kind == "lot"]
        lot_at = {name: int(rng.integers(2, max(3, int(0.8 * plan.n_trials)))) for name in lots}
        rows: list[Row] = []
        places: list[tuple[int, int, int, int]] = []  # batch, portion, parent batch, repeat of
        batches: list[Row] = []
        while len(rows) < plan.n_trials:
            b, repeat_of = len(batches), -1
            if b == 0:
                parent, row = -1, dict(base)
            elif rng.random() < plan.repeat_prob:
                parent = int(rng.integers(0, b))
                row, repeat_of = dict(batches[parent]), parent
            else:
                u = rng.random()
                parent = b - 1 if u < 0.60 else (0 if u < 0.75 else int(rng.integers(0, b)))
                row = dict(batches[parent])
                self._mutate(row, 1 + int(rng.choice(4, p=np.array(plan.changes) / np.sum(plan.changes))))
            for name in lots:
                row[name] = 1.0 if len(rows) >= lot_at[name] else 0.0
            batches.append(dict(row))
            single = plan.portions == 1 or rng.random() < 0.3
            count = 1 if single else int(rng.integers(2, plan.portions + 1))
            for q in range(min(count, plan.n_trials - len(rows))):
                part = dict(row)
                if q:
                    self._mutate(part, 1 + int(rng.random() < 0.3), only="portion")
                rows.append(part)
                places.append((b, q, parent, repeat_of))
        return rows, places

    def _choose_active(self, x: FloatArray, usable: list[int]) -> list[int] | None:
        rng, count = self.rng, self.plan.n_active
        active: list[int] = []
        if not count:
            return active
        if self.plan.active_aliased:
            choice = [j for j in usable if self.names[j] in self.alias]
            if not choice:
                return None
            active.append(int(rng.choice(choice)))
        while len(active) < count:
            j = int(rng.choice(usable))
            if j in active or self.names[j] in [self.alias.get(self.names[i]) for i in active]:
                continue
            alike = any(abs(np.corrcoef(x[:, j], x[:, i])[0, 1]) > 0.95 for i in active)
            if alike and rng.random() < 0.9:
                continue
            active.append(j)
        return active

    def make(self) -> History | None:
        plan, rng, names = self.plan, self.rng, self.names
        rows, places = self._grow()
        batch, portion, parent, repeat_of = (np.array(column) for column in zip(*places, strict=True))
        n = len(rows)
        x = np.column_stack([[(row[m] - self.factors[m].base) / self.factors[m].step for row in rows] for m in names])
        off, on = (np.abs(x) > 1e-9).sum(axis=0), (np.abs(x) < 1e-9).sum(axis=0)
        usable = [j for j in range(len(names)) if off[j] >= plan.min_support and on[j] >= plan.min_support]
        if len(usable) < max(plan.n_active, 1) + int(plan.interaction):
            return None
        active = self._choose_active(x, usable)
        if active is None:
            return None
        sd, effect = plan.noise_sd, np.zeros(len(names))
        for j in active:
            effect[j] = rng.choice([-1, 1], p=[0.6, 0.4]) * rng.uniform(*plan.effect) * sd
        hidden = (np.log(14.0) if plan.kind == "time" else 0.0) + x @ effect
        partner: int | None = None
        if plan.interaction and active:
            lead = np.abs(x[:, active[0]]) > 0
            others = [j for j in usable if j not in active and ((np.abs(x[:, j]) > 0) & lead).sum() >= 2]
            if not others:
                return None
            partner = int(rng.choice(others))
            hidden = hidden - x[:, active[0]] * effect[active[0]] * (np.abs(x[:, partner]) < 1e-9)
        hidden, gross = self._add_noise(hidden, batch, n)
        y, censored = self._show(hidden, n)
        focal = self._find_focal(x, y, batch, portion, parent, repeat_of, active, effect, partner)
        vary = [j for j in range(len(names)) if np.ptp(x[:, j]) > 1e-9]
        return History(
            tuple(names[j] for j in vary),
            x[:, vary],
            y,
            censored,
            batch,
            portion,
            parent,
            plan.kind,
            {names[j]: float(effect[j]) for j in active},
            None if partner is None else names[partner],
            sd,
            focal,
            tuple(int(i) for i in np.where(gross)[0]),
            self.factors,
        )

    def _add_noise(self, hidden: FloatArray, batch: NDArray[np.int64], n: int) -> tuple[FloatArray, FloatArray]:
        plan, rng, sd = self.plan, self.rng, self.plan.noise_sd
        batches = int(batch.max()) + 1

        def draw(size: int, scale: float) -> FloatArray:
            if plan.heavy_tail:
                return np.asarray(scale * rng.standard_t(3, size) / np.sqrt(3))
            return np.asarray(scale * rng.standard_normal(size))

        shared = draw(batches, sd * np.sqrt(plan.batch_share))
        gross = rng.random(batches) < plan.outlier_prob
        shared = shared + gross * rng.choice([-1, 1], batches) * rng.uniform(4, 7, batches) * sd
        own = draw(n, sd * np.sqrt(1 - plan.batch_share))
        return hidden + shared[batch] + own + plan.drift * sd * np.linspace(-0.5, 0.5, n), gross

    def _show(self, hidden: FloatArray, n: int) -> tuple[FloatArray, NDArray[np.bool_]]:
        plan, censored = self.plan, np.zeros(n, dtype=bool)
        if plan.kind == "time":
            time = np.exp(hidden)
            if plan.censor > 0:
                limit = float(np.quantile(time, 1 - plan.censor))
                censored = time > limit
                time = np.minimum(time, limit)
            return time, censored
        if plan.kind == "grade":
            return np.digitize(hidden, np.quantile(hidden, [0.25, 0.5, 0.75, 0.9])).astype(float), censored
        if plan.kind == "count":
            rate = np.exp(np.log(4.0) + (hidden - hidden.mean()) / plan.noise_sd * 0.25)
            return self.rng.poisson(rate).astype(float), censored
        return hidden, censored

    def _find_focal(
        self,
        x: FloatArray,
        y: FloatArray,
        batch: NDArray[np.int64],
        portion: NDArray[np.int64],
        parent: NDArray[np.int64],
        repeat_of: NDArray[np.int64],
        active: list[int],
        effect: FloatArray,
        partner: int | None,
    ) -> Focal | None:
        first = {int(b): i for i, (b, q) in enumerate(zip(batch, portion, strict=True)) if q == 0}
        shown = np.log(y) if self.plan.kind == "time" else y
        most, found = -1.0, None
        for i in first.values():
            if parent[i] < 0 or repeat_of[i] >= 0:
                continue
            p = first[int(parent[i])]
            moved = [j for j in range(len(self.names)) if abs(x[i, j] - x[p, j]) > 1e-9]
            size = abs(shown[i] - shown[p])
            if not moved or size <= most:
                continue
            most = float(size)
            part = {self.names[j]: float((x[i, j] - x[p, j]) * effect[j]) for j in active}
            if partner is not None:
                j = active[0]
                acts = [x[q, j] * effect[j] * (abs(x[q, partner]) > 1e-9) for q in (i, p)]
                own = abs(x[i, j] - x[p, j]) > 1e-9
                part = {self.names[j] if own else self.names[partner]: float(acts[0] - acts[1])}
            main = max(part, key=lambda m: abs(part[m])) if part else None
            cause = main if main and abs(part[main]) > self.plan.noise_sd else None
            found = Focal(i, p, tuple(self.names[j] for j in moved), cause)
        return found
