"""Where parallel chains stand between two sweeps, and where they begin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.explain.normal import FloatArray
from trials.explain.problem import IntArray
from trials.explain.setting import Setting


@dataclass(slots=True, eq=False)
class State:
    """Where each chain stands; the first axis of every array is the chain."""

    values: FloatArray
    kind: IntArray
    share: IntArray
    sizes: IntArray  # (chains, kinds of nuisance), places on the prior's grids
    explained: FloatArray
    sd: FloatArray
    spread: FloatArray  # (chains, 1), the size of effects in standard deviations of the whole noise of a pour
    causes: IntArray  # how many effects there are, and the sum of their squares in units of noise and spread
    push: FloatArray
    cuts: FloatArray | None

    def stretch(self, by: FloatArray) -> None:
        """The hidden scale of grades stretched, effects with it; by: shape (chains, 1)."""
        assert self.cuts is not None
        self.values = by * self.values
        self.cuts = by * self.cuts
        self.explained = by * self.explained
        self.push = by[:, 0] ** 2 * self.push

    def repeated(self, chains: int) -> State:
        """As many chains as asked for, started from these in turn."""
        pick = np.arange(chains) % len(self.values)
        cuts = None if self.cuts is None else self.cuts[pick].copy()
        return State(
            self.values[pick].copy(),
            self.kind[pick].copy(),
            self.share[pick].copy(),
            self.sizes[pick].copy(),
            self.explained[pick].copy(),
            self.sd[pick].copy(),
            self.spread[pick].copy(),
            self.causes[pick].copy(),
            self.push[pick].copy(),
            cuts,
        )


def start_state(setting: Setting, chains: int) -> State:
    """Chains at the first guess: no botched batch, middle shares, no cause."""
    cuts = setting.latent.cuts
    zeros = np.zeros(chains, dtype=np.int64)
    middle = min(2, len(setting.prior.batch_shares) - 1) if setting.shares else 0
    return State(
        np.tile(setting.latent.start, (chains, 1)),
        np.zeros((chains, len(setting.counts)), dtype=np.int64),
        zeros + middle,
        np.zeros((chains, len(setting.grids)), dtype=np.int64),
        np.zeros((chains, len(setting.batch))),
        np.full(chains, setting.start_sd),
        np.array(setting.prior.effect_sizes)[np.arange(chains) % len(setting.prior.effect_sizes), 1:],
        zeros.copy(),
        np.zeros(chains),
        None if cuts is None else np.tile(cuts, (chains, 1)),
    )
