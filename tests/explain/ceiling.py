"""How far any engine could go: the study's histories, with the engine told what no maker can know.

    python -m tests.explain.ceiling --histories 100

Told are how many causes there are, how large effects are, how much pours differ and what of it a batch shares, whether
anything drifts, whether batches get botched, that a cause was in two rows or more, and whether two act only together.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np

from tests.explain.histories import Plan, make_history
from tests.explain.study import SCENARIOS, Tally, judge_engine
from trials.explain import Noise, Prior

_HARDLY = 1e-9  # a chance that is as good as none


def know_all(plan: Plan) -> Prior:
    """What is true of all histories of a plan."""
    share = plan.batch_share / (1.0 - plan.batch_share)
    return Prior(
        causes=tuple(1.0 if count == plan.n_active else _HARDLY for count in range(4)),
        few=_HARDLY,
        lone_weight=_HARDLY if plan.portions == 1 and plan.min_support > 1 else 1.0,
        effect_sizes=((1.0, float(np.mean(plan.effect)) / 1.6),),  # the mean of |b| with density b^2 N(b; 0, 1)
        batch_shares=(share,),
        drifts=((1.0, plan.drift),),
        small_effects=((1.0, 0.0),),
        noise_kinds=((0.9, 1.0), (0.08, 25.0), (0.02, 400.0))
        if plan.outlier_prob
        else ((1 - _HARDLY, 1.0), (_HARDLY, 25.0)),
        product_weight=1.0 if plan.interaction else 0.0,
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--histories", type=int, default=100, help="histories a scenario")
    parser.add_argument("--seed", type=int, default=100000, help="first seed, as in the study")
    parser.add_argument("--only", default="", help="scenario letters, comma separated")
    asked = parser.parse_args()
    tallies: dict[str, Tally] = {}
    print("| scenario | first | named |", "|---|---|---|", sep="\n")
    for number, (name, plan) in enumerate(SCENARIOS.items()):
        if not plan.n_active or (asked.only and name.split()[0] not in asked.only.split(",")):
            continue
        tally = tallies[name] = Tally()
        for k in range(asked.histories):
            history = make_history(asked.seed + 1000 * number + k, plan)
            judge_engine(history, tally, know_all(plan), Noise(plan.noise_sd, 400.0))
        print(f"| {name} | {tally.mean('first'):.2f} | {tally.mean('all named'):.2f} |", flush=True)
    first, named = (float(np.mean([tally.mean(f) for tally in tallies.values()])) for f in ("first", "all named"))
    print(f"| mean | {first:.3f} | {named:.3f} |")


if __name__ == "__main__":
    sys.exit(main())
