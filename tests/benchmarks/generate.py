"""A seeded generator of formularies of three sizes; the same arguments give the same last commit.

    python -m tests.benchmarks.generate DIR --size M

Invented recipes of about 2 kB, changed in random order on one branch (the worst case for the history of one file),
and trials with their frozen plans, made from one that the library itself started.
"""

from __future__ import annotations

import argparse
import random
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from formulary.folder.starting import init_folder
from trials.bench import open_bench
from trials.trial.identity import ALPHABET

BEGIN = 1_700_000_000
OILS = ("olive-oil", "coconut-oil", "rice-bran-oil", "castor-oil", "sunflower-oil")


@dataclass(frozen=True)
class Size:
    """How many recipes, versions of each, and trials."""

    recipes: int
    versions: int
    trials: int


SIZES = {"S": Size(20, 10, 100), "M": Size(200, 25, 2_000), "L": Size(1_000, 100, 20_000)}


def recipe_text(number: int, seeded: random.Random) -> str:
    """A recipe as a maker would write it, with comments."""
    parts = [seeded.randint(30, 45), seeded.randint(18, 27), seeded.randint(8, 15), seeded.randint(3, 8)]
    percents = [*parts, 100 - sum(parts)]
    oils = "\n".join(f"  {name}: {percent}" for name, percent in zip(OILS, percents, strict=True))
    notes = "\n".join(
        f"  Pour {turn}: {seeded.choice(('thin', 'light', 'medium'))} trace after {seeded.randint(4, 19)} minutes, "
        f"room {seeded.randint(16, 23)} degrees, cut on day {seeded.randint(1, 3)}, corners {seeded.randint(1, 9)}."
        for turn in range(1, 15)
    )
    return f"""# Invented for measuring; not a recipe to make.
format: 1
name: Harbour bar {number:04d}
purpose: skin
oils: # percent of the oils
{oils}
lye:
  alkali: sodium-hydroxide
  superfat: {seeded.randint(4, 7)}
water:
  lye_concentration: {seeded.randint(28, 35)}
process:
  lye_temperature: {seeded.randint(30, 45)} °C
  oil_temperature: {seeded.randint(30, 45)} °C
  cover: insulated
notes: |
{notes}
"""


def full_recipe_text(number: int, seeded: random.Random) -> str:
    """A recipe with every part, about 2.4 kB: branched, divided, with additions, scent, comments and notes."""
    olive, coconut = seeded.randint(38, 48), seeded.randint(20, 28)
    notes = "\n".join(
        f"  Pour {turn}: {seeded.choice(('thin', 'light', 'medium'))} trace after {seeded.randint(4, 19)} minutes, "
        f"room {seeded.randint(16, 23)} degrees, cut on day {seeded.randint(1, 3)}, corners {seeded.randint(1, 9)}."
        for turn in range(1, 17)
    )
    return f"""# Invented for measuring; not a recipe to make. A seasonal bar, branched from the base.
format: 1
name: Harbour winter {number:04d}
formerly: [winter-harbour]
based_on: {{recipe: harbour-base, version: "4c1d9be24c1d9be24c1d9be24c1d9be24c1d9be2"}}
purpose: skin # skin | household
oils: # percent of the oils
  olive-oil: {olive}
  coconut-oil: {coconut}
  rice-bran-oil: {92 - olive - coconut}
  castor-oil: {{percent: 8, at: trace}} # held back
lye:
  alkali: sodium-hydroxide
  superfat: {seeded.randint(4, 7)}
water:
  lye_concentration: {seeded.randint(28, 35)}
additions:
  - material: oat-milk
    rate: {seeded.randint(5, 9)} % of oils
    at: oils
    water: replaces
  - {{material: rose-clay, rate: 2 % of oils, at: oils}}
  - {{material: honey, rate: 12 g per kg oils, at: trace}}
scent:
  - {{material: clove-bud-oil, rate: 1.2 % of oils, at: trace}}
  - {{material: cedarwood-oil, rate: 0.{seeded.randint(4, 9)} % of oils, at: trace}}
portions:
  - {{name: plain, share: 50, gets: {{clove-bud-oil: 0}}}}
  - {{name: clove, share: 50, gets: {{clove-bud-oil: 100}}}}
process:
  lye_temperature: {seeded.randint(30, 45)} °C
  oil_temperature: {seeded.randint(30, 45)} °C
  mould: tall-loaf
  cover: insulated
notes: |
{notes}
"""


def generate(root: Path, size: Size, *, seed: int = 1) -> None:
    """Makes the formulary in a folder that does not exist yet; one commit a version, a few trials in each."""
    folder = init_folder(root, now=datetime.fromtimestamp(BEGIN - 86_400, UTC))
    with folder:
        bench = open_bench(folder)
        trial = bench.start(
            "first-bar", oils="1000 g", now=datetime.fromtimestamp(BEGIN - 80_000, UTC), draw_code=lambda: "bcdf"
        )
        start = folder.store.root / "trials"
        texts = {path.name: path.read_bytes() for path in start.rglob("*.yaml")}
    stream = _stream(size, random.Random(seed), texts, trial.id)
    subprocess.run(["git", "fast-import", "--quiet", "--done"], cwd=root, input=b"".join(stream), check=True)
    subprocess.run(["git", "reset", "--quiet", "--hard"], cwd=root, check=True)


def _stream(size: Size, seeded: random.Random, texts: dict[str, bytes], sample: str) -> Iterator[bytes]:
    order = [number for number in range(size.recipes) for _ in range(size.versions)]
    seeded.shuffle(order)
    begun: set[int] = set()
    trials = 0
    for turn, number in enumerate(order):
        message = f"{'Change' if number in begun else 'Begin'} harbour bar {number:04d}".encode()
        begun.add(number)
        yield b"commit refs/heads/main\ncommitter Ann Example <ann@example.org> %d +0000\n" % (BEGIN + turn * 600)
        yield b"data %d\n%s\n" % (len(message), message)
        if turn == 0:
            yield b"from refs/heads/main^0\n"
        yield _file(f"recipes/harbour-{number:04d}.yaml", recipe_text(number, seeded).encode())
        while trials * len(order) < size.trials * (turn + 1):
            year = 2024 + trials % 3
            name = f"{year}-01-02-first-bar-{_code(trials)}"
            for file, data in texts.items():
                yield _file(f"trials/{year}/{name}/{file}", data.replace(sample.encode(), name.encode()))
            trials += 1
    yield b"done\n"


def _file(path: str, data: bytes) -> bytes:
    return b"M 100644 inline %s\ndata %d\n%s\n" % (path.encode(), len(data), data)


def _code(number: int) -> str:
    letters = ALPHABET
    return "".join(letters[number // len(letters) ** place % len(letters)] for place in (3, 2, 1, 0))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--size", choices=SIZES, default="S")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    generate(given.folder, SIZES[given.size], seed=given.seed)


if __name__ == "__main__":
    main()
