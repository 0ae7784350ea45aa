"""The effective formula: what one portion, or all of the pot, was really made of, and what that amounts to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from formulary.batch.model import WHOLE, Cured, Pot, PotFigures, WeighedScent
from formulary.errors import InputError
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from trials.as_made.lots_used import as_poured, materials_of
from trials.as_made.pot_as_made import pot_of_bars, pot_of_batter
from trials.trial.model import Trial


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectiveFormula:
    """What one portion, or the whole batch, was really made of.

    portion: its name, None for the whole batch. pot: grams by line, of this portion alone.
    figures: what these grams amount to. rates: (material, stage) of additions and scent -> percent of this
    portion's oils. share: this portion's part of the shared batter, a fraction of 1.
    """

    portion: str | None
    pot: Pot
    figures: PotFigures
    rates: Mapping[tuple[str, str], float]
    share: float = 1.0

    @property
    def oil_percents(self) -> Mapping[str, float]:
        """Percent of this portion's oils, by material."""
        return self.figures.oil_percents


def effective_portion(
    trial: Trial, portion: str | None = None, *, as_bars: bool = False, at_worst: bool = False
) -> EffectiveFormula:
    """What the trial, or one portion of it, was really made of, worked out from the values frozen at its start.

    portion: a portion's name; None for the whole batch. as_bars: with what a rebatch took in. at_worst: what is known
    only about is taken at the end that leaves more lye, or more scent, as it always is for bars.
    Raises KeyError for a portion that the trial does not have, InputError for one into which no oil went: its lye has
    nothing to be measured by.
    """
    from formulary.batch.figures import work_out_pot

    whole = pot_of_bars(trial, at_worst=True) if as_bars else pot_of_batter(trial, at_worst=at_worst)
    pot, share = _of_portion(whole, portion)
    if pot.grams("oil") <= 0:
        what = f"no oil went into {trial.id} as it is recorded, so nothing can be worked out"
        raise InputError.of("no-oils", what, "look at its as_made entries")
    if as_bars:
        figures = figures_of_bars(trial, materials_of(trial), lambda bars: _of_portion(bars, portion)[0])
    else:
        figures = work_out_pot(pot, materials_of(as_poured(trial, at_worst=at_worst)), trial.plan.settings)
    return EffectiveFormula(
        portion=None if portion == WHOLE else portion,
        pot=pot,
        figures=figures,
        rates=ReadOnly(_rates(pot)),
        share=share,
    )


def figures_of_bars(
    trial: Trial, materials: Mapping[str, Material], part: Callable[[Pot], Pot] = lambda bars: bars
) -> PotFigures:
    """What the bars amount to at their worst: with the most lye, and each scent in the least of all else.

    materials: as they are to count. part: which of the bars are meant, as a pot; all of them unless given.
    """
    from formulary.batch.figures import work_out_pot

    settings = trial.plan.settings
    pot = part(pot_of_bars(trial, at_worst=True))
    figures = work_out_pot(pot, materials, settings)
    for scent in dict.fromkeys(line.material for line in pot.lines if line.role == "scent"):
        least = part(pot_of_bars(trial, at_worst=True, for_scent=scent))
        if least != pot:
            other = work_out_pot(least, materials, settings)
            parts = zip(figures.portions, other.portions, strict=True)
            portions = tuple(replace(one, scent=_with_scent(one.scent, two.scent, scent)) for one, two in parts)
            figures = replace(figures, scent=_with_scent(figures.scent, other.scent, scent), portions=portions)
    return figures


def _with_scent(lines: Sequence[WeighedScent], others: Iterable[WeighedScent], scent: str) -> tuple[WeighedScent, ...]:
    """The lines with those of one scent as others have them."""
    own = iter([line for line in others if line.material == scent])
    return tuple(next(own) if line.material == scent else line for line in lines)


def _of_portion(whole: Pot, portion: str | None) -> tuple[Pot, float]:
    """A portion's pot by itself, with its share; the whole for None."""
    from formulary.batch.figures import portion_pot

    if portion is None or portion == WHOLE:
        return whole, 1.0
    return portion_pot(whole, portion), {part.name: part.share for part in whole.portions}[portion]


def expected_cure(trial: Trial) -> Cured:
    """What the cure is expected to leave of the bars, by the settings of the trial's start."""
    from formulary.batch.volume import cured_figures

    return cured_figures(pot_of_bars(trial), materials_of(trial), trial.plan.settings)


def _rates(pot: Pot) -> dict[tuple[str, str], float]:
    oil_g = pot.grams("oil")
    rates: dict[tuple[str, str], float] = {}
    for line in pot.lines:
        if line.role in ("addition", "scent"):
            key = (line.material, line.at)
            rates[key] = rates.get(key, 0.0) + 100.0 * line.grams / oil_g
    return rates
