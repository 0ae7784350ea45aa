"""What is believed before looking, all in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Prior:
    """The engine's assumptions. The defaults were chosen on simulated histories (tests/explain/study.py).

    causes: chance of none, one, two, three causes.
    effect_sds: an effect of one step is normal with this many noise standard deviations; each is as likely.
    batch_shares, sitting_shares: variance that all rows of a batch (batches of a sitting) share, per row
    variance. drifts: standard deviation of a slow drift over the whole history, in noise standard deviations.
    noise_kinds: (chance, variance) of a batch's noise; the last kind is a batch that was botched.
    product_weight: prior weight of a product of two changes beside a single change; 0 leaves products out.
    """

    causes: tuple[float, ...] = (0.50, 0.30, 0.15, 0.05)
    effect_sds: tuple[float, ...] = (2.0, 3.5, 6.0)
    batch_shares: tuple[float, ...] = (0.0, 0.33, 1.0, 3.0)
    sitting_shares: tuple[float, ...] = (0.0, 0.33, 1.0)
    drifts: tuple[float, ...] = (0.0, 0.7, 2.0)
    noise_kinds: tuple[tuple[float, float], ...] = ((0.95, 1.0), (0.05, 25.0))
    product_weight: float = 0.1
