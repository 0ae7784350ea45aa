"""How often the planted cause is found again, and how often one is named where none was planted.

Run by hand: `python -m tests.demo.fifty_seeds [HOW_MANY]`. The seeds are 1, 2, 3 and so on, never the shipped one.
The same recipes, plans and records as in the demonstration, without git.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from time import perf_counter

from formulary.settings import Settings
from tests.demo.in_memory import NOTHING_ACTS, WITHOUT_CAUSE, draw_year
from trials.demo.generator import PLANTED, Truth
from trials.demo.scenario import CAUSE
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.outcomes.known import find_outcomes

WORKING_TIME = find_outcomes(Settings())["working time"]
CAUSE_NAME = CAUSE.replace("-", " ")
# What the generator lets act on the working time besides the planted cause: naming these would be right.
TRUE_BESIDES = frozenset({"oil temperature", "blending after scent"})
HISTORIES: dict[str, Truth] = {
    "planted": PLANTED,
    "without the cause": WITHOUT_CAUSE,
    "nothing acts": NOTHING_ACTS,
}


@dataclass(frozen=True, slots=True)
class Found:
    """What one history's answer came to. wrong: causes called likely that did not act."""

    seed: int
    is_first: bool
    is_named: bool
    holds: bool | None
    named: tuple[tuple[str, ...], ...]
    wrong: tuple[tuple[str, ...], ...]
    seconds: float


def judge(seed: int, truth: Truth) -> Found:
    """Draw one year, ask what shortened the working time, and hold the answer against what was put in."""
    began = perf_counter()
    answer = explain_outcome(draw_year(seed, truth), WORKING_TIME)
    seconds = perf_counter() - began
    ranked = sorted(answer.causes, key=lambda cause: -cause.probability)
    named = tuple(cause.factors for cause in ranked if cause.is_likely)
    acting = _acting(truth)
    first = ranked[0] if ranked else None
    return Found(
        seed,
        is_first=first is not None and not first.is_together and CAUSE_NAME in first.factors,
        is_named=any(CAUSE_NAME in factors for factors in named),
        holds=_interval_holds(answer, truth),
        named=named,
        wrong=tuple(factors for factors in named if not acting & set(factors)),
        seconds=seconds,
    )


def _acting(truth: Truth) -> frozenset[str]:
    acting = TRUE_BESIDES if truth.per_5_c or truth.per_20_s else frozenset()
    return acting | {CAUSE_NAME} if truth.cause is not None else acting


def _interval_holds(answer: Explanation, truth: Truth) -> bool | None:
    """Whether the 90 % interval of the planted effect holds it, in log minutes for 1 % of oils."""
    if truth.cause is None or answer.in_numbers is None:
        return None
    for candidate in answer.in_numbers.candidates:
        if candidate.names == (CAUSE_NAME,) and candidate.effect is not None:
            return candidate.effect.low <= truth.per_percent <= candidate.effect.high
    return None


def study(name: str, how_many: int) -> Iterator[Found]:
    """One history a seed, from 1 on."""
    for seed in range(1, how_many + 1):
        yield judge(seed, HISTORIES[name])


def main(how_many: int) -> None:
    """Run all three studies and print what came of them."""
    for name in HISTORIES:
        found = []
        for one in study(name, how_many):
            found.append(one)
            remark = f" wrong: {one.wrong}" if one.wrong else ""
            if not one.is_first and name == "planted":
                remark += " not first"
            if remark:
                print(f"  seed {one.seed}:{remark}", flush=True)
        count = len(found)
        seconds = sum(one.seconds for one in found) / count
        if name == "planted":
            print(f"{name}: ranked first {sum(one.is_first for one in found)} of {count}", end="; ")
            print(f"named {sum(one.is_named for one in found)}", end="; ")
            print(f"90 % interval holds {sum(bool(one.holds) for one in found)}", end="; ")
        else:
            print(f"{name}: names something {sum(bool(one.named) for one in found)} of {count}", end="; ")
        print(f"names what did not act {sum(bool(one.wrong) for one in found)}; {seconds:.1f} s each", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
