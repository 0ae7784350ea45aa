"""Histories of a maker with other habits than those of `histories`: do the engine's odds travel? All invented.

Causes act by mechanism: the time to trace falls with the warmth of the batter, which follows oils, lye and room; a
fragrance acts along a curve that flattens; stronger lye and hard oils act a little. So beside the one or two causes
that are planted there are small true effects everywhere. The room follows the seasons, lots are bought in order, the
maker gets quicker with every trial, changes up to five things at once, and gives grades that are now and then one off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.explain.histories import Focal, History

SETTINGS = {  # name: (base, step, small effect of one step on the log of the time)
    "oils_temperature": (38.0, 5.0, -0.05),
    "lye_temperature": (32.0, 5.0, -0.03),
    "lye_concentration": (33.0, 2.0, -0.04),
    "hard_oils": (50.0, 5.0, -0.05),
    "castor_oil": (5.0, 2.5, -0.02),
    "blending": (60.0, 30.0, -0.08),
    "superfat": (5.0, 1.0, 0.01),
    "clay": (0.0, 1.0, -0.03),
    "sugar": (0.0, 1.0, -0.04),
    "salt": (0.0, 1.0, 0.0),
    "milk": (0.0, 33.0, -0.03),
    "puree": (0.0, 5.0, 0.0),
}
SCENTS = ("scent_a", "scent_b", "scent_c", "scent_d")
LOTS = ("olive_lot", "coconut_lot", "alkali_lot")


@dataclass(frozen=True)
class Habits:
    """How such a maker works. planted: how many causes; size: of each in noise standard deviations, over the
    range in which it was used; most: how many things are changed at once."""

    trials: int = 24
    planted: int = 1
    size: tuple[float, float] = (2.5, 5.0)
    most: int = 5
    kind: str = "time"
    noise_sd: float = 0.18
    censored: float = 0.15
    sloppy: float = 0.15
    skill: float = 1.0  # how much quicker the last trial is than the first, in noise standard deviations


def make_other_history(seed: int, habits: Habits) -> History:
    """The history of a seed, with at least one planted cause that was in two batches and out of two."""
    for attempt in range(200):
        found = _make(np.random.default_rng([int(seed), attempt, 7]), habits)
        if found is not None:
            return found
    raise RuntimeError("no history can be made with these arguments")


def _make(rng: np.random.Generator, habits: Habits) -> History | None:
    n, sd = habits.trials, habits.noise_sd
    names = [*SETTINGS, *SCENTS, *LOTS, "room"]
    step = {**{name: v[1] for name, v in SETTINGS.items()}, **dict.fromkeys(SCENTS, 1.0), **dict.fromkeys(LOTS, 1.0)}
    base = {**{name: v[0] for name, v in SETTINGS.items()}, **dict.fromkeys((*SCENTS, *LOTS), 0.0)}
    day = np.cumsum(rng.exponential(12.0, n))
    bought = {lot: np.sort(rng.choice(np.arange(2, n), 2, replace=False)) for lot in LOTS}
    rows: list[dict[str, float]] = []
    parents: list[int] = []
    for i in range(n):
        parent = -1 if i == 0 else (i - 1 if rng.random() < 0.5 else int(rng.integers(0, i)))
        row = dict(base) if parent < 0 else dict(rows[parent])
        if parent >= 0 and rng.random() > 0.1:
            changeable = [*SETTINGS, "scent"]
            for chosen in rng.choice(changeable, size=int(rng.integers(1, habits.most + 1)), replace=False):
                if chosen == "scent":
                    for scent in SCENTS:
                        row[scent] = 0.0
                    if rng.random() < 0.75:
                        row[str(rng.choice(SCENTS))] = float(rng.choice([1.0, 2.0, 3.0]))
                elif row[chosen] != base[chosen] and rng.random() < 0.4:
                    row[chosen] = base[chosen]
                else:
                    row[chosen] = max(row[chosen] + step[chosen] * float(rng.choice([-1, 1, 1, 2])), 0.0)
        for lot in LOTS:
            row[lot] = float((bought[lot] <= i).sum())
        rows.append(row)
        parents.append(parent)
    room = 19.0 + 4.0 * np.sin(2 * np.pi * day / 365.0 + rng.uniform(0, 6.28)) + rng.normal(0, 1.0, n)
    table = {name: np.array([(row[name] - base[name]) / step[name] for row in rows]) for name in base}
    table["room"] = np.round((room - 19.0) / 5.0, 1)
    hidden = np.log(12.0) - 0.10 * table["room"]
    minor = {"room"}
    for name, (_, _, effect) in SETTINGS.items():
        if effect:
            hidden = hidden + effect * table[name]
            minor.add(name)
    candidates = [name for name in names if name != "room" and name not in LOTS[1:]]
    usable = [name for name in candidates if min((table[name] != 0).sum(), (table[name] == 0).sum()) >= 2]
    if len(usable) < habits.planted:
        return None
    effects: dict[str, float] = {}
    for name in rng.choice(usable, size=habits.planted, replace=False):
        x = table[str(name)]
        curve = np.sign(x) * (1.0 - np.exp(-np.abs(x))) / (1.0 - np.exp(-np.abs(x).max()))  # flattens with the dose
        size = rng.choice([-1, 1], p=[0.7, 0.3]) * rng.uniform(*habits.size) * sd
        hidden = hidden + size * curve
        effects[str(name)] = float(size / np.abs(x).max())
    hidden = hidden - habits.skill * sd * (1.0 - np.exp(-3.0 * np.arange(n) / n))
    own = sd * (1.3 - 0.5 * np.arange(n) / n)  # a surer hand towards the end
    hidden = hidden + own * rng.standard_t(5, n) * np.sqrt(3.0 / 5.0)
    x = np.column_stack([table[name] for name in names])
    vary = [j for j in range(len(names)) if np.ptp(x[:, j]) > 1e-9]
    shown, censored = _show(rng, hidden, habits)
    return History(
        tuple(names[j] for j in vary), x[:, vary], shown, censored, np.arange(n), np.zeros(n, dtype=np.int64),
        np.array(parents), habits.kind, effects, None, sd,
        _find_focal(names, x, hidden, parents, effects, table), (), {}, tuple(sorted(minor - set(effects))),
    )  # fmt: skip


def _show(rng: np.random.Generator, hidden: np.ndarray, habits: Habits) -> tuple[np.ndarray, np.ndarray]:
    none = np.zeros(len(hidden), dtype=bool)
    if habits.kind == "grade":
        grade = np.digitize(hidden, np.quantile(hidden, [0.3, 0.55, 0.8])).astype(float)
        slip = (rng.random(len(hidden)) < habits.sloppy) * rng.choice([-1, 1], len(hidden))
        return np.clip(grade + slip, 0, 3), none
    time = np.exp(hidden)
    limit = float(np.quantile(time, 1 - habits.censored))
    return np.maximum(np.round(np.minimum(time, limit) * 2) / 2, 0.5), time > limit


def _find_focal(
    names: list[str],
    x: np.ndarray,
    hidden: np.ndarray,
    parents: list[int],
    effects: dict[str, float],
    table: dict[str, np.ndarray],
) -> Focal | None:
    """The trial that moved most against its parent, when a planted cause is what moved it."""
    rows = [i for i in range(len(hidden)) if parents[i] >= 0]
    row = max(rows, key=lambda i: abs(hidden[i] - hidden[parents[i]]))
    parent = parents[row]
    moved = {name: abs((table[name][row] - table[name][parent]) * effect) for name, effect in effects.items()}
    best = max(moved, key=lambda name: moved[name]) if moved else ""
    changed = tuple(name for j, name in enumerate(names) if abs(x[row, j] - x[parent, j]) > 1e-9)
    return Focal(row, parent, changed, best if moved and moved[best] > 0.18 else None)
