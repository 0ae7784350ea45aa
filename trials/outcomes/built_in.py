"""The outcomes that every formulary has.

How to measure each is common practice without a source, unless a source is named.
"""

from __future__ import annotations

from decimal import Decimal

from trials.outcomes.outcome import Outcome, Scale

_D = Decimal
# The order in which a batter thickens; a later stage means that the earlier ones had been passed.
TRACE_STAGES = ("emulsion", "light trace", "medium trace", "thick trace", "too thick to pour")

_STAGE_HOW = {
    "emulsion": "no streak of oil shows for 10 s after stirring stops",
    "light trace": "a trail off the spoon sinks within 3 s",
    "medium trace": "a trail stays on the surface",
    "thick trace": "the batter holds a peak",
}
_DISTURBANCES = {
    "riced": "the batter turns to grains, mostly at the scent",
    "seized": "the batter turns solid in the pot",
    "separated": "oil or lye stands apart from the batter",
    "false trace": "it thickened from cooling fats and loosened when warmed",
}
_DEFECTS = {
    "cracked": "a crack in the top, wider than a hair",
    "volcano": "the batter rose out of the mould while hot",
    "tunnels": "pockets or tunnels in the cut face, whatever is in them",
    "weeping": "drops or a film of liquid on the bar or in its pockets",
}
_UNTIL_THEN = "; later than pouring when it was poured before and {thinner} noted, else a gap in the record"
_NOT_YET = {
    "light trace": _UNTIL_THEN.format(thinner="emulsion was"),
    "medium trace": _UNTIL_THEN.format(thinner="emulsion and light trace were"),
    "thick trace": "; later than pouring when it was poured before",
}


def _times() -> tuple[Outcome, ...]:
    return tuple(
        Outcome(
            name=f"time to {stage}",
            scale=Scale.LOG_TIME,
            unit="min",
            how=f"minutes from lye into oils until {how}{_NOT_YET.get(stage, '')}",
            step=_D("0.1"),
            from_events=True,
        )
        for stage, how in _STAGE_HOW.items()
    )


def _disturbances() -> tuple[Outcome, ...]:
    return tuple(
        Outcome(
            name=name,
            scale=Scale.GRADED,
            grades=("none", "stirred out", "lost"),
            direction="lower",
            how=f"{how}; none, stirred out, or lost",
            at_any_age=True,
        )
        for name, how in _DISTURBANCES.items()
    )


def _defects() -> tuple[Outcome, ...]:
    return tuple(
        Outcome(name=name, scale=Scale.YES_NO, direction="lower", how=f"{how}; yes or no, at the cut", at_any_age=True)
        for name, how in _DEFECTS.items()
    )


_FACE = ("none", "up to a quarter", "up to a half", "more than half")

BUILT_IN: tuple[Outcome, ...] = (
    *_times(),
    Outcome(
        name="working time",
        scale=Scale.LOG_TIME,
        unit="min",
        direction="higher",
        how="minutes from scent in until too thick to pour, for each portion; later than pouring when it was poured "
        "before. An unscented portion counts from when the others got their scent, else from light trace",
        step=_D("0.1"),
        from_events=True,
    ),
    *_disturbances(),
    Outcome(
        name="peak temperature",
        scale=Scale.MEASURED,
        unit="°C",
        how="highest reading of a probe at the centre of the loaf, always at the same depth; compare within one mould",
        step=_D(1),
        low=_D(-20),
        high=_D(150),
        at_any_age=True,
    ),
    Outcome(
        name="time of peak",
        scale=Scale.LOG_TIME,
        unit="h",
        how="hours from pouring to the peak temperature",
        step=_D("0.1"),
    ),
    Outcome(
        name="time above",
        scale=Scale.MEASURED,
        unit="h",
        how="hours that the centre stayed above 60 °C (140 °F), or above the temperature named under `how`",
        step=_D("0.1"),
        low=_D(0),
        at_any_age=True,
    ),
    Outcome(
        name="gel",
        scale=Scale.PERCENT,
        unit="%",
        how="percent of the cut face that is darker and clearer, seen against the light at the cut",
        step=_D(5),
        low=_D(0),
        high=_D(100),
        at_any_age=True,
    ),
    *_defects(),
    Outcome(
        name="ash",
        scale=Scale.GRADED,
        grades=_FACE,
        direction="lower",
        ages_days=(_D(7), _D(28)),
        how="white film: part of the top face, in four steps, before any is planed or steamed off",
    ),
    Outcome(
        name="glycerin rivers",
        scale=Scale.GRADED,
        grades=_FACE,
        direction="lower",
        ages_days=(_D(1), _D(28)),
        how="clear veins: part of the cut face, in four steps",
    ),
    Outcome(
        name="colour",
        scale=Scale.COLOUR,
        ages_days=(_D(1), _D(7), _D(14), _D(28)),
        how="inner cut face in even daylight beside a grey card: #rrggbb of a photo balanced on the card, "
        "or `Lab L a b`",
    ),
    Outcome(
        name="colour change",
        scale=Scale.MEASURED,
        unit="ΔE",
        direction="lower",
        ages_days=(_D(28), _D(7), _D(14)),
        how="CIEDE2000 between this trial's first colour and the one at this age, worked out from `colour`. Source: "
        "Sharma, Wu, Dalal, The CIEDE2000 color-difference formula, Color Research and Application 30(1), 2005",
        step=_D("0.1"),
        low=_D(0),
    ),
    Outcome(
        name="colour change beyond control",
        scale=Scale.MEASURED,
        unit="ΔE",
        direction="lower",
        ages_days=(_D(28), _D(7), _D(14)),
        how="the colour change less that of the unscented portion of the same trial, worked out from `colour`",
        step=_D("0.1"),
    ),
    Outcome(
        name="hardness",
        scale=Scale.MEASURED,
        unit="mm",
        direction="lower",
        ages_days=(_D(28), _D(42)),
        how="how deep a blunt 3 mm pin under 1 kg goes in 10 s, bar at 20 ± 2 °C (68 ± 4 °F); six places, the median "
        "counts",
        step=_D("0.1"),
        low=_D(0),
        median=True,
    ),
    Outcome(
        name="mass",
        scale=Scale.MEASURED,
        unit="g",
        ages_days=(_D(1), _D(28), _D(42)),
        how="the same three marked bars each time, in the same order, from the cut on",
        step=_D("0.1"),
        low=_D(0),
    ),
    Outcome(
        name="mass loss",
        scale=Scale.PERCENT,
        unit="%",
        ages_days=(_D(28), _D(42)),
        how="percent of the mass at the cut that the same three bars have lost; worked out from `mass`",
        step=_D("0.1"),
        low=_D(0),
        high=_D(100),
    ),
    Outcome(
        name="free alkali",
        scale=Scale.GRADED,
        grades=("none", "trace", "present"),
        direction="lower",
        ages_days=(_D(2), _D(7)),
        is_safety_test=True,
        how="a fresh cut with phenolphthalein in neutral alcohol: no pink, a blush, pink; or the tongue test by one "
        "who knows it. Anything but none is not fit to sell",
    ),
    Outcome(
        name="lather",
        scale=Scale.MEASURED,
        unit="mm",
        direction="higher",
        ages_days=(_D(28), _D(42)),
        how="height of foam over 100 ml of a 1 % solution in a closed jar after 20 shakes, always "
        "the same jar and water",
        step=_D(1),
        low=_D(0),
    ),
    Outcome(
        name="wear",
        scale=Scale.PERCENT,
        unit="%",
        direction="lower",
        ages_days=(_D(42),),
        how="percent of its mass that a bar loses over ten hand washes, dried for a day between weighings",
        step=_D("0.1"),
        low=_D(0),
        high=_D(100),
    ),
    Outcome(
        name="pH",
        scale=Scale.MEASURED,
        ages_days=(_D(28),),
        how="a 1 % solution at 25 °C (77 °F) by a calibrated meter; a strip proves nothing",
        step=_D("0.1"),
        low=_D(0),
        high=_D(14),
    ),
    Outcome(
        name="first rancid spot",
        scale=Scale.LOG_TIME,
        unit="d",
        direction="higher",
        how="look at the kept bars at 90, 180 and 365 days: `yes` or `no`; it lies between the last no "
        "and the first yes",
        step=_D(1),
    ),
)
