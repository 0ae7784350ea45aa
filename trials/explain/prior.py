"""What is believed before looking, all in one place."""

from __future__ import annotations

from dataclasses import dataclass

BOTCHED = 9.0  # a batch whose noise variance is this many times the usual, or more, is called botched


@dataclass(frozen=True, slots=True)
class Prior:
    """The engine's assumptions. The defaults were chosen on simulated histories (tests/explain/study.py).

    causes: chance of none, one, two, three causes where there are many candidates. With few, a cause at all is less
    likely: its chance is multiplied by w / (w + few), w being the prior weight of all candidates.
    lone_weight: prior weight of a change that was made in one trial only; anything else that happened in that trial
    and was not recorded would look the same.
    effect_sds: the size g of the effect of one step in noise standard deviations; each is as likely. apart: the effect
    is b with density b^2 N(b; 0, g^2), which leaves out what is next to nothing and is largest at 1.4 g; else normal.
    batch_shares, sitting_shares: variance that all rows of a batch (batches of a sitting) share, per row
    variance. drifts: standard deviation of a slow drift over the whole history, in noise standard deviations;
    each entry is as likely.
    noise_kinds: (chance, variance) of a batch's noise: usual, botched, wild.
    product_weight: prior weight of a product of two changes beside a single change; 0 leaves products out.
    """

    causes: tuple[float, ...] = (0.23, 0.61, 0.13, 0.03)
    few: float = 0.5
    lone_weight: float = 0.3
    effect_sds: tuple[float, ...] = (1.0, 2.0, 3.5)
    batch_shares: tuple[float, ...] = (0.0, 0.33, 1.0, 3.0, 10.0, 30.0)
    sitting_shares: tuple[float, ...] = (0.0, 0.33, 1.0, 3.0, 10.0)
    drifts: tuple[float, ...] = (*(0.0,) * 10, 1.0, 3.0)
    noise_kinds: tuple[tuple[float, float], ...] = ((0.96, 1.0), (0.035, 25.0), (0.005, 400.0))
    product_weight: float = 0.05
    apart: bool = True
