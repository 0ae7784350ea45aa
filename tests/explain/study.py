"""The study behind the engine: does it find the cause, and does it know when it cannot?

    python -m tests.explain.study --histories 100

Every history is invented and seeded. Prints the figures of every method, and of every scenario for the engine. A
hundred histories of all scenarios take about half an hour of one processor; `--engine-only` leaves the rivals out;
`--only`, `--first` and `--save` divide the work and `--read` puts it together.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import json
import sys
import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

from tests.explain.histories import FloatArray, History, Plan, make_history
from tests.explain.other_histories import Habits, make_other_history
from tests.explain.rivals import RIVALS
from tests.explain.shortlist import find_shortlist
from trials.explain import Cause, EngineAnswer, Noise, Prior, Problem, explain
from trials.explain.aliases import find_groups

SCENARIOS: dict[str, Plan] = {
    "A small, 10 trials": Plan(n_trials=10, n_factors=12),
    "B middling, 20 trials": Plan(n_trials=20, censor=0.2),
    "C two causes, aliases": Plan(n_active=2, censor=0.2, alias_pairs=2),
    "D 40 trials, 40 factors": Plan(n_trials=40, n_factors=40, n_active=2, censor=0.2, alias_pairs=3),
    "E portions, 60 rows": Plan(n_trials=60, n_factors=40, n_active=2, censor=0.2, alias_pairs=2, portions=3),
    "F cause has a twin": Plan(n_trials=20, censor=0.2, alias_pairs=3, active_aliased=True),
    "G half censored": Plan(censor=0.5),
    "H three changes at a time": Plan(n_trials=12, n_factors=30, changes=(0, 0.4, 0.35, 0.25)),
    "I botched and heavy tails": Plan(heavy_tail=True, outlier_prob=0.06, drift=1.5, censor=0.1),
    "J needs a partner": Plan(interaction=True, effect=(3.0, 5.0)),
    "K grades": Plan(kind="grade"),
    "L measured": Plan(kind="value"),
    "M counts": Plan(kind="count"),
    "N portions, 24 rows": Plan(portions=4, batch_share=0.7),
    "O weak effect": Plan(effect=(1.0, 2.0)),
    "0a nothing, 10 trials": Plan(n_trials=10, n_factors=12, n_active=0),
    "0b nothing, 20 trials": Plan(n_trials=20, n_active=0, censor=0.2),
    "0c nothing, 40 trials": Plan(n_trials=40, n_factors=40, n_active=0, censor=0.2),
    "0d nothing, portions": Plan(n_trials=40, n_factors=30, n_active=0, portions=4, batch_share=0.7),
    "0e nothing, botched": Plan(n_active=0, heavy_tail=True, outlier_prob=0.06, drift=1.5),
    "0f nothing, grades": Plan(n_active=0, kind="grade"),
}
OTHER: dict[str, Habits] = {
    "P other habits": Habits(),
    "Q two causes": Habits(planted=2),
    "R 12 trials": Habits(trials=12, most=4),
    "S 40 trials": Habits(trials=40, planted=2),
    "T sloppy grades": Habits(kind="grade", sloppy=0.25),
    "0g nothing planted": Habits(planted=0),
    "0h nothing, skill grows": Habits(planted=0, skill=4.0),
    "0i nothing, grades": Habits(planted=0, kind="grade"),
}
SCALES = {"time": "log", "value": "measured", "grade": "graded", "count": "count"}
BINS = np.array([0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.9, 0.97, 1.0001])


@dataclass
class Tally:
    """Figures of one method in one scenario, one entry a history."""

    figures: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    stated: list[tuple[float, bool]] = field(default_factory=list)

    def mean(self, figure: str) -> float:
        values = self.figures.get(figure, [])
        return float(np.mean(values)) if values else float("nan")


REPEATS = Noise(0.2)  # what pours of one recipe are known to differ by, in log minutes; in truth it is .18


def make_problem(history: History, noise: Noise = REPEATS) -> Problem:
    """A history as the engine sees it; noise: what is known of it, except of grades and counts."""
    shared = len(np.unique(history.batch)) < len(history.y)
    return Problem.of(
        history.names,
        history.x,
        history.y,
        np.where(history.censored, np.inf, history.y),
        scale=SCALES[history.kind],
        batch=history.batch if shared else None,
        when=np.arange(len(history.y)),  # trials are dated
        noise=noise if history.kind in ("time", "value") else None,
    )


def judge_engine(history: History, tally: Tally, prior: Prior, noise: Noise = REPEATS) -> None:
    """Run the engine on one history and note how it did."""
    start = time.perf_counter()
    answer = explain(make_problem(history, noise), prior)
    tally.figures["seconds"].append(time.perf_counter() - start)
    assert isinstance(answer, EngineAnswer)
    active = set(history.effects)
    involved = active | ({history.partner} if history.partner else set())
    named: set[str] = set()
    wrong = 0

    def told(cause: Cause) -> set[str]:
        """The names in an entry; those of a pair count only where a pair is the truth."""
        groups = [cause.candidates] if history.partner or len(cause.candidates) == 1 else []
        groups += cause.or_together if history.partner else []
        return {name for group in groups for k in group for name in answer.candidates[k].names}

    for cause in answer.causes:
        if cause.probability >= 0.8:
            named |= told(cause) or {"an innocent pair"}
            wrong += not told(cause) & (active | set(history.minor))
    top = told(answer.causes[0])
    note_naming(tally, history, top, named, wrong)
    tally.stated += [
        (c.probability, bool(set(c.names) & involved))
        for c in answer.candidates
        if not set(c.names) & set(history.minor)
    ]
    tally.figures["error"].append(answer.error)
    if active:
        shortlist = find_shortlist(answer)
        kept = {name for k in shortlist for name in answer.candidates[k].names}
        tally.figures["shortlist holds all"].append(float(active <= kept))
        tally.figures["shortlist size"].append(float(len(shortlist)))
    if answer.suspects is not None and active:
        suspected = {name for k in answer.suspects.candidates for name in answer.candidates[k].names}
        tally.figures["suspects hold one"].append(float(bool(suspected & involved)))
    if history.kind in ("time", "value") and not history.partner:
        for name, effect in history.effects.items():
            for candidate in answer.candidates:
                if name in candidate.names and candidate.effects is not None:
                    found = candidate.effects[candidate.names.index(name)]
                    tally.figures["covers"].append(float(found.low <= effect <= found.high))
                    tally.figures["width"].append((found.high - found.low) / history.noise_sd)
    if history.focal and history.focal.cause and len(history.focal.changed) > 1:
        reason = answer.main_reason(history.focal.row, history.focal.parent)
        if len(reason.chances) > 1:
            first = answer.candidates[reason.chances[0][0]].names
            tally.figures["focal"].append(float(history.focal.cause in first))


def note_naming(tally: Tally, history: History, top: set[str], named: set[str], wrong: int) -> None:
    """What every method is judged on."""
    active = set(history.effects)
    if active:
        tally.figures["first"].append(float(bool(top & active)))
        tally.figures["all named"].append(float(active <= named))
    tally.figures["wrong"].append(float(wrong))
    tally.figures["names any"].append(float(bool(named)))


def judge_rivals(history: History, tallies: dict[str, Tally], methods: Iterable[str]) -> None:
    """Run the rivals on one history."""
    groups, x = find_groups(history.x)
    names = [{history.names[m] for m in group.members} for group in groups]
    y = np.log(history.y) if history.kind == "time" else history.y
    if history.kind == "count":
        y = 2 * np.sqrt(y + 0.375)
    for method in methods:
        start = time.perf_counter()
        verdict = RIVALS[method](history, x, y)
        tally = tallies[method]
        tally.figures["seconds"].append(time.perf_counter() - start)
        top = int(np.argmax(verdict.score))
        first = names[top] if verdict.score[top] > 0 else set()
        named = {name for k in verdict.named for name in names[k]}
        wrong = sum(not names[k] & set(history.effects) for k in verdict.named)
        note_naming(tally, history, first, named, wrong)
        if history.focal and history.focal.cause:
            _judge_focal(history, x, names, verdict.score, verdict.effect, tally)


def _judge_focal(
    history: History,
    x: FloatArray,
    names: list[set[str]],
    score: FloatArray,
    effect: FloatArray | None,
    tally: Tally,
) -> None:
    assert history.focal is not None
    moved = x[history.focal.row] - x[history.focal.parent]
    changed = np.flatnonzero(np.abs(moved) > 1e-9)
    if len(changed) < 2:
        return
    size = np.abs(effect[changed] * moved[changed]) if effect is not None else score[changed]
    best = size == size.max() if size.max() > 0 else np.ones(len(changed), dtype=bool)
    hits = [history.focal.cause in names[k] for k in changed]
    tally.figures["focal"].append(float((best * hits).sum() / best.sum()))


def run(
    histories: int,
    seed: int,
    first: int,
    methods: Sequence[str],
    priors: dict[str, Prior],
    only: str = "",
    *,
    other: bool = False,
) -> dict[str, dict[str, Tally]]:
    """All scenarios; the result is scenario -> method -> tally."""
    results: dict[str, dict[str, Tally]] = {}
    for number, (name, plan) in enumerate((OTHER if other else SCENARIOS).items()):
        if only and name.split()[0] not in only.split(","):
            continue
        start = time.perf_counter()
        tallies: dict[str, Tally] = defaultdict(Tally)
        for k in range(first, first + histories):
            made = make_history if isinstance(plan, Plan) else make_other_history
            history = made(seed + 1000 * number + k, plan)  # type: ignore[operator]
            for label, prior in priors.items():
                judge_engine(history, tallies[label], prior)
            judge_rivals(history, tallies, methods)
        results[name] = tallies
        told = " ".join(f"{f} {tallies['engine'].mean(f):.2f}" for f in ("first", "all named", "wrong", "covers"))
        print(f"{name}: {time.perf_counter() - start:.0f} s, {told}", file=sys.stderr, flush=True)
    return results


def calibration(tallies: Iterable[Tally]) -> list[tuple[str, int, float, float]]:
    """(bin, claims, stated, real) over all claims of a method."""
    stated = np.array([pair for tally in tallies for pair in tally.stated], dtype=float).reshape(-1, 2)
    rows = []
    for low, high in pairwise(BINS):
        inside = (stated[:, 0] >= low) & (stated[:, 0] < high)
        if inside.any():
            mean = stated[inside].mean(axis=0)
            rows.append((f"{low:.2f}-{min(high, 1):.2f}", int(inside.sum()), float(mean[0]), float(mean[1])))
    return rows


def render(results: dict[str, dict[str, Tally]]) -> str:
    """The tables, in Markdown."""
    methods = list(next(iter(results.values())))
    real = [name for name in results if not name.startswith("0")]
    null = [name for name in results if name.startswith("0")]
    lines = ["| method | first | focal | all named | wrong | on nothing | covers (least, most) |", "|---" * 7 + "|"]
    for method in methods:
        tallies = {name: results[name][method] for name in results}

        def over(figure: str, names: list[str], tallies: dict[str, Tally] = tallies) -> float:
            values = [tallies[name].mean(figure) for name in names]
            values = [value for value in values if not np.isnan(value)]
            return float(np.mean(values)) if values else float("nan")

        cover = [tallies[name].mean("covers") for name in real if tallies[name].figures.get("covers")]
        ends = f"{min(cover):.2f}, {max(cover):.2f}" if cover else ""
        lines.append(
            f"| {method} | {over('first', real):.3f} | {over('focal', real):.3f} | {over('all named', real):.3f} "
            f"| {over('wrong', list(results)):.3f} | {over('names any', null):.3f} | {ends} |"
        )
    for method in methods:
        if not any(results[name][method].stated for name in results):
            continue
        lines += ["", f"**{method}**", ""]
        lines += [
            "| scenario | first | named | wrong | any | focal | covers | width | shortlist | s |",
            "|---" * 10 + "|",
        ]
        for name, tallies in results.items():
            t = tallies[method]
            figures = ("first", "all named", "wrong", "names any", "focal", "covers", "width", "shortlist holds all")
            lines.append(
                f"| {name} | " + " | ".join(f"{t.mean(f):.2f}" for f in figures) + f" | {t.mean('seconds'):.2f} |"
            )
        lines += ["", "| stated | claims | mean stated | real |", "|---" * 4 + "|"]
        for label, count, said, true in calibration(results[name][method] for name in results):
            lines.append(f"| {label} | {count} | {said:.3f} | {true:.3f} |")
    others = [m for m in methods if not any(results[name][m].stated for name in results)]
    if others:
        lines += ["", "| ranked first | " + " | ".join(methods) + " |", "|---" * (len(methods) + 1) + "|"]
        for name in real:
            row = " | ".join(f"{results[name][m].mean('first'):.2f}" for m in methods)
            lines.append(f"| {name} | {row} |")
    return "\n".join(lines)


def read_saved(paths: Sequence[str]) -> dict[str, dict[str, Tally]]:
    """Figures saved by several runs, added up, in the order of the scenarios."""
    found: dict[str, dict[str, Tally]] = {}
    for path in paths:
        for name, tallies in json.loads(Path(path).read_text()).items():
            kept = found.setdefault(name, {})
            for method, tally in tallies.items():
                own = kept.setdefault(method, Tally())
                own.stated += [(probability, true) for probability, true in tally["stated"]]
                for figure, values in tally["figures"].items():
                    own.figures[figure] += values
    return {name: found[name] for name in (*SCENARIOS, *OTHER) if name in found}


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--histories", type=int, default=100, help="histories a scenario")
    parser.add_argument("--seed", type=int, default=100000, help="first seed; the shipped table uses the default")
    parser.add_argument("--first", type=int, default=0, help="leave out so many histories of each scenario")
    parser.add_argument("--only", default="", help="scenario letters, comma separated")
    parser.add_argument("--other", action="store_true", help="the histories of a maker with other habits")
    parser.add_argument("--engine-only", action="store_true", help="leave the rivals out")
    parser.add_argument("--set", action="append", default=[], help="NAME=VALUE of the prior, for tuning")
    parser.add_argument("--save", help="write the figures to this file, to be read with others")
    parser.add_argument("--read", nargs="*", default=[], help="print the tables of saved figures and run nothing")
    asked = parser.parse_args()
    if asked.read:
        print(render(read_saved(asked.read)))
        return
    changes = {name: ast.literal_eval(value) for name, _, value in (item.partition("=") for item in asked.set)}
    prior = dataclasses.replace(Prior(), **changes)
    priors = {"engine": prior}
    if not asked.engine_only:
        priors["engine, main effects only"] = dataclasses.replace(prior, product_weight=0.0)
    methods = [] if asked.engine_only else list(RIVALS)
    results = run(asked.histories, asked.seed, asked.first, methods, priors, asked.only, other=asked.other)
    if asked.save:
        Path(asked.save).write_text(json.dumps(results, default=vars))
    print(render(results))


if __name__ == "__main__":
    main()
