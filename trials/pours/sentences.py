"""How values and differences of outcomes are said aloud."""

from __future__ import annotations

import re
from collections.abc import Sequence

from formulary.quantity import format_number
from formulary.text_table import paragraph
from trials.outcomes.outcome import Outcome, Scale
from trials.outcomes.value import OutcomeValue
from trials.pours.noise import RepeatNoise

NOT_SEEN = "-"

# outcome -> (verb, when the figure fell, when it rose), with the figure between them: "thickened 4.3 min sooner"
_MOVES = {
    "working time": ("thickened", "sooner", "later"),
    "time to emulsion": ("came together", "sooner", "later"),
    "time to light trace": ("reached light trace", "sooner", "later"),
    "time to medium trace": ("reached medium trace", "sooner", "later"),
    "time to thick trace": ("reached thick trace", "sooner", "later"),
    "peak temperature": ("peaked", "cooler", "hotter"),
    "time of peak": ("peaked", "sooner", "later"),
    "hardness": ("let the pin in", "less deep", "deeper"),
    "mass loss": ("lost", "less of its mass", "more of its mass"),
    "first rancid spot": ("showed its first rancid spot", "sooner", "later"),
}


def places(outcome: Outcome) -> int:
    """Decimals that are worth showing of an outcome's values."""
    exponent = outcome.step.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def unit_label(name: str, unit: str) -> str:
    """`working time, min`."""
    return f"{name}, {unit}" if unit else name


def number(outcome: Outcome, value: float) -> str:
    """A figure of an outcome without its unit; a grade or yes / no in its word."""
    if outcome.scale is Scale.YES_NO:
        return "yes" if value >= 0.5 else "no"
    if outcome.scale is Scale.GRADED and outcome.grades:
        return outcome.grades[min(max(round(value), 0), len(outcome.grades) - 1)]
    return format_number(outcome.told(value), places(outcome))


def amount(outcome: Outcome, value: float) -> str:
    """A figure with its unit: `4.7 min`."""
    return f"{number(outcome, value)} {outcome.told_unit}".strip()


def difference_unit(outcome: Outcome) -> str:
    """The unit of a difference: points for what is itself in percent."""
    return "points" if outcome.unit == "%" else outcome.told_unit


def noise_size(outcome: Outcome, noise: RepeatNoise, level: float) -> str:
    """How much repeats differ about a level: `0.9 min, 12 % of it`; of a time the percentage is the same everywhere."""
    found = outcome.told_apart(noise.in_unit(level))
    shown = next(filter(_tells, (format_number(found, more) for more in range(max(places(outcome), 1), 5))), "0")
    size = f"{shown} {difference_unit(outcome)}".strip()
    return f"{size}, {format_number(100.0 * noise.sd, 0)} % of it" if outcome.scale is Scale.LOG_TIME else size


def _tells(figure: str) -> bool:
    """Whether a figure in digits is anything but nothing."""
    return bool(figure.strip("0."))


def noise_basis(outcome: Outcome, noise: RepeatNoise) -> str:
    """What is known of how much repeats differ rests on: `8 repeats in 5 loaves`, `..., nearly all by k7wq alone`."""
    if noise.mostly_by:
        return f"{noise.basis}, nearly all by {noise.mostly_by.rpartition('-')[2]} alone"
    step = f", read to {outcome.told_apart(noise.read_to):g} {outcome.told_unit}".rstrip() if noise.read_to else ""
    return f"{noise.basis}{step}"


def say_value(outcome: Outcome, value: OutcomeValue) -> str:
    """A value as it stands in a table: `4.7`, `later than 9.0`, `3.0 to 4.0`, `yes`."""
    if value.bound == "exact":
        return NOT_SEEN if value.value is None else number(outcome, value.value)
    later, before = ("later than", "before") if outcome.scale is Scale.LOG_TIME else ("above", "below")
    if value.bound == "above" and value.low is not None:
        return f"{later} {number(outcome, value.low)}"
    if value.bound == "below" and value.high is not None:
        return f"{before} {number(outcome, value.high)}"
    if value.low is None or value.high is None:
        return NOT_SEEN
    return f"{number(outcome, value.low)} to {number(outcome, value.high)}"


def say_move(outcome: Outcome, label: str, change: float, *, at_least: bool = False) -> str:
    """What a difference amounts to, as a verb: `thickened 4.3 min sooner`, `had a hardness at 28 d 0.3 mm lower`.

    change: in the outcome's unit. at_least: the true difference may be larger. A difference too small to show in the
    outcome's own step is said to be none.
    """
    size = f"{format_number(outcome.told_apart(abs(change)), places(outcome))} {difference_unit(outcome)}".strip()
    if at_least:
        size = f"at least {size}"
    verb, less, more = _MOVES.get(outcome.name, ("", "", ""))
    direction = less if change < 0 else more
    if verb:
        age = label.removeprefix(outcome.name)
        return f"{verb} {size} {direction}{age}"
    return f"had {label} {size} {'lower' if change < 0 else 'higher'}"


_UNITS = re.compile(r"(?<=\d) (?=(?:%|min|mm|ΔE|°C|°F|s|h|d|g|points)(?:\W|$))")


def bind_units(text: str) -> str:
    """The text with a space that does not break between each figure and its unit."""
    return _UNITS.sub("\N{NO-BREAK SPACE}", text)


def wrap_words(text: str, width: int, *, indent: int = 0) -> list[str]:
    """A text in lines no wider than `width`, in which a figure and its unit stay together."""
    bound = bind_units(text)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in paragraph(bound, width=width, indent=indent)]


def say_list(items: Sequence[str], joiner: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {joiner} {items[-1]}"


def say_first(items: Sequence[str], most: int) -> str:
    """`a, b and 3 more`: the first of them, and how many are left; all where they are no more than `most`."""
    more = len(items) - most
    return say_list([*items[:most], f"{more} more"] if more > 0 else items)


_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def count(number_of: int, noun: str, plural: str | None = None) -> str:
    """`one thing`, `three things`, `14 things`."""
    return f"{spell(number_of)} {noun if number_of == 1 else plural or noun + 's'}"


def spell(number_of: int) -> str:
    """`one`, `three`, `14`."""
    return _COUNTS[number_of] if 0 <= number_of < len(_COUNTS) else str(number_of)


def capital(sentence: str) -> str:
    """The sentence with its first letter large."""
    return sentence[:1].upper() + sentence[1:]
