"""How what a proposal does not name is taken to be: by the lots in use, and as usual in whatever else was recorded."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from formulary.quantity import format_plain_number
from trials.answer.answer import Answer
from trials.factors.factors import instead_of
from trials.factors.portion_facts import Pour

_SETTINGS = frozenset({"condition", "blending", "size"})


def find_lots_in_use(answer: Answer) -> dict[str, float]:
    """By factor how much of a material comes from its lot, as in the latest pour that says which: that is what stands
    on the shelf, while the commonest lot may be used up.
    """
    in_use: dict[str, float] = {}
    for number, factor in enumerate(answer.table.factors):
        if factor.kind == "lot":
            for pour, row in zip(answer.table.pours, answer.table.values, strict=True):  # by their dates
                value = row[number]
                if value is not None and pour.went_in(factor.aspects[0]):
                    in_use[factor.name] = value
    return in_use


def place_lots(
    values: Mapping[str, float], answer: Answer, pour: Pour, in_use: Mapping[str, float], chosen: Collection[str] = ()
) -> dict[str, float]:
    """Where a pour that is still to come stands among the factors, with the lots in use.

    chosen: materials of which a lot is chosen besides, so that none of theirs is taken here.
    """
    lots = {
        factor.name: in_use.get(factor.name, 0.0)
        if pour.went_in(factor.aspects[0]) and factor.aspects[0].subject not in chosen
        else 0.0
        for factor in answer.table.factors
        if factor.kind == "lot"
    }
    return {**values, **lots}


def all_else(answer: Answer) -> tuple[str, ...]:
    """What a proposal is foretold for where it does not say otherwise: `lot CO-2 of coconut oil`, `room 19 °C`."""
    in_use = find_lots_in_use(answer)
    lots: dict[str, str] = {}
    words: list[str] = []
    for factor in answer.table.factors:
        subject = factor.aspects[0].subject
        if factor.kind == "lot" and in_use.get(factor.name, 0.0) > 0.5:
            lots[subject] = factor.name
        elif factor.kind == "lot":
            lots.setdefault(subject, f"lot {instead_of(factor)[1]} of {factor.name.rpartition(' of ')[2]}")
        elif factor.kind == "vessel":
            words.append(f"{subject} {instead_of(factor)[1]}")
        elif factor.kind in _SETTINGS:
            words.append(f"{factor.name} {format_plain_number(factor.told(factor.baseline), 1)} {factor.told_unit}")
    return tuple(dict.fromkeys([*lots.values(), *words]))
