"""The study behind the next run: how likely is the true cause after a few proposed trials?

    python -m tests.explain.next_study --histories 30

Twelve trials with three changes at a time, and histories whose cause has a twin. After each proposal the trial is
poured (a new outcome is drawn) and everything is weighed again. "Undo" takes back the top suspect, "any change" makes
one at random.
"""

from __future__ import annotations

import argparse
import itertools
from collections import defaultdict

import numpy as np

from tests.explain.histories import FloatArray, History, Plan, make_history
from trials.explain import EngineAnswer, Noise, Problem, explain, find_next_runs

SCENARIOS = {
    "three changes at a time, 12 trials": Plan(n_trials=12, n_factors=30, changes=(0, 0.4, 0.35, 0.25)),
    "cause has a twin, 20 trials": Plan(n_trials=20, alias_pairs=3, active_aliased=True),
}
STRATEGIES = ("most information", "most information, one change", "undo", "any change")


def make_candidates(x: FloatArray, order: list[int], changeable: list[bool]) -> tuple[FloatArray, list[int]]:
    """Repeats, one change and two changes, from the base and from the last recipe; and how many changes each makes."""
    found, changes = [], []
    likely = [j for j in order if changeable[j]]
    for start in (np.zeros(x.shape[1]), x[-1]):
        found.append(start.copy())
        changes.append(1)
        for j in likely[:14]:
            found.append(change(start, x, j))
            changes.append(1)
        for i, j in itertools.combinations(likely[:6], 2):
            found.append(change(change(start, x, i), x, j))
            changes.append(2)
    return np.array(found), changes


def change(start: FloatArray, x: FloatArray, column: int) -> FloatArray:
    """Take a change back, or make the largest that was made before."""
    made = start.copy()
    if abs(made[column]) > 1e-9:
        made[column] = 0.0
    else:
        tried = x[:, column][np.abs(x[:, column]) > 1e-9]
        made[column] = tried[np.argmax(np.abs(tried))] if len(tried) else 1.0
    return made


def chance_by_column(answer: EngineAnswer, names: tuple[str, ...]) -> FloatArray:
    """The probability of each column; those that cannot be told apart share theirs."""
    chance = {name: c.probability / len(c.names) for c in answer.candidates for name in c.names}
    return np.array([chance.get(name, 0.0) for name in names])


def play(history: History, strategy: str, seed: int, steps: int) -> list[float]:
    """The probability of the true cause before and after each of the steps."""
    generator = np.random.default_rng([seed, 77])
    noise = generator.standard_normal(steps) * history.noise_sd
    effect = np.array([history.effects.get(name, 0.0) for name in history.names])
    active = [history.names.index(name) for name in history.effects]
    changeable = [history.factors[name].kind not in ("lot", "rate") for name in history.names]
    x, z = history.x, np.log(history.y)
    found = []
    for step in range(steps + 1):
        problem = Problem.of(history.names, x, np.exp(z), scale="log", noise=Noise(0.2))
        answer = explain(problem)
        assert isinstance(answer, EngineAnswer)
        chance = chance_by_column(answer, history.names)
        found.append(float(np.mean(chance[active])))
        if step == steps:
            break
        order = [int(j) for j in np.argsort(-chance, kind="stable")]
        candidates, changes = make_candidates(x, order, changeable)
        single = [k for k, count in enumerate(changes) if count == 1]
        if strategy == "most information":
            run = candidates[find_next_runs(problem, answer, candidates, changes=changes)[0].run]
        elif strategy == "most information, one change":
            run = candidates[single][find_next_runs(problem, answer, candidates[single])[0].run]
        elif strategy == "undo":
            run = change(x[-1], x, next(j for j in order if changeable[j]))
        else:
            run = candidates[int(generator.choice(single))]
        x, z = np.vstack([x, run]), np.append(z, np.log(14.0) + run @ effect + noise[step])
    return found


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--histories", type=int, default=30)
    parser.add_argument("--steps", type=int, default=3)
    parser.add_argument("--seed", type=int, default=700000)
    parser.add_argument("--strategies", default=",".join(("most information", "undo")))
    asked = parser.parse_args()
    print("| scenario | strategy | " + " | ".join(f"after {k}" for k in range(asked.steps + 1)) + " |")
    print("|---" * (asked.steps + 3) + "|")
    for number, (name, plan) in enumerate(SCENARIOS.items()):
        path: dict[str, list[list[float]]] = defaultdict(list)
        for k in range(asked.histories):
            seed = asked.seed + 1000 * number + k
            for strategy in STRATEGIES:
                if strategy in asked.strategies.split(",") or asked.strategies == "all":
                    path[strategy].append(play(make_history(seed, plan), strategy, seed, asked.steps))
        for strategy, found in path.items():
            print(
                f"| {name} | {strategy} | " + " | ".join(f"{p:.2f}" for p in np.mean(found, axis=0)) + " |", flush=True
            )


if __name__ == "__main__":
    main()
