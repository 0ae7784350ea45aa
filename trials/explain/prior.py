"""What is believed before looking, all in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

BOTCHED = 9.0  # a batch whose noise variance is this many times the usual, or more, is called botched


Grid: TypeAlias = tuple[tuple[float, float], ...]  # (chance, size) each


@dataclass(frozen=True, slots=True)
class Prior:
    """The engine's assumptions. The defaults were chosen on simulated histories (tests/explain/study.py).

    causes: chance of none, one, two, three causes where there are many candidates. With few, a cause at all is less
    likely: its chance is multiplied by w / (w + few), w being the prior weight of all candidates.
    lone_weight: prior weight of a change that was made in one trial only; anything else that happened in that trial
    and was not recorded would look the same.
    effect_sizes: (weight, g): the size g of the effect of one step, in standard deviations of the whole noise of a
    pour, what its batch shares and its own together. apart: the effect is b with density b^2 N(b; 0, g^2), which leaves
    out what is next to nothing and is largest at 1.4 g; else normal. The few very large ones are there since a step is
    no measure of a dose: what is used at a third of a percent has its step at one percent.
    batch_shares: variance that all rows of a batch share, per row variance; each is as likely. sittings, drifts:
    (chance, standard deviation) of what batches of a sitting share, and of a slow drift over the whole history, in
    noise standard deviations; none: not allowed for. small_effects: the same for effects of one step that every
    change has besides its chance to be a cause, so that recipes that are alike behave alike.
    noise_kinds: (chance, variance) of a batch's noise: usual, botched, wild.
    grade_level, grade_gap: of grades, the standard deviation of the base's place from the border in the middle, and the
    mean gap between neighbouring borders, in standard deviations of the whole noise of a pour.
    product_weight: prior weight of a product of two changes beside a single change; 0 leaves products out.
    """

    causes: tuple[float, ...] = (0.18, 0.63, 0.16, 0.03)
    few: float = 0.5
    lone_weight: float = 0.3
    effect_sizes: Grid = ((1.0, 1.0), (1.0, 2.0), (1.0, 3.5), (0.1, 8.0), (0.05, 20.0))
    batch_shares: tuple[float, ...] = (0.0, 0.33, 1.0, 3.0, 10.0, 30.0)
    sittings: Grid = ((0.2, 0.0), (0.2, 0.57), (0.2, 1.0), (0.2, 1.7), (0.2, 3.2))
    drifts: Grid = ((10 / 12, 0.0), (1 / 12, 1.0), (1 / 12, 3.0))
    small_effects: Grid = ((0.85, 0.0), (0.15, 0.2))
    noise_kinds: tuple[tuple[float, float], ...] = ((0.96, 1.0), (0.035, 25.0), (0.005, 400.0))
    grade_level: float = 2.0
    grade_gap: float = 1.5
    product_weight: float = 0.05
    apart: bool = True

    @property
    def power(self) -> int:
        """The density of an effect, given how large it is beside the size of effects, falls with that power of it."""
        return 3 if self.apart else 1
