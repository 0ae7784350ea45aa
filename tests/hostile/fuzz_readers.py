"""Coverage-guided fuzzing of what reads a formulary's files, by hand, with atheris (not a dependency of the project).

In a throw-away environment that has this project's dependencies and `atheris`:

    python tests/hostile/fuzz_readers.py CORPUS -max_total_time=600 -timeout=10 -rss_limit_mb=2048

CORPUS is a folder, made and filled with sound files when it is not there. Each input's first byte chooses the reader,
the rest is the file. Whatever is raised, nothing without a finding, and an unbounded list of findings stop the run.
Figures of the last run stand in DEVELOPERS.md.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["formulary", "trials"]):
    import formulary
    from formulary.document.parse import parse_document
    from formulary.finding import MAX_FINDINGS, Finding
    from formulary.materials.read import parse_material
    from formulary.materials.register import read_builtin_register
    from formulary.recipes.edit import edit_recipe
    from formulary.recipes.read import parse_recipe, read_formerly
    from formulary.settings import parse_settings
    from trials.bench import open_bench
    from trials.outcomes.known import read_outcomes
    from trials.read.trial import parse_trial
    from trials.trial.plan import parse_plan

MATERIAL = """\
format: 1
name: Clove bud oil (invented)
kind: fragrance
density: 1.05 g/ml
limit: {percent_of_product: 2.9, certificate: 2026-02-11, edition: "51"}
contains: {eugenol: 82 %}
price: 24.00 per 100 g
saponification_value: {low: 184, high: 196, working: 190}
fatty_acids: {C16:0: 11, C18:1: 72, C18:2: 9}
lots: {"CB-2291": {received: 2026-08-02, best_before: 2028-02, price: 22.50 per 100 g}}
"""
RECIPE = """\
format: 1
name: Midwinter clove
formerly: [early-clove]
based_on: {recipe: harbour-base, version: "4c1d9be24c1d9be24c1d9be24c1d9be24c1d9be2"}
oils:
  olive-oil: 45
  coconut-oil: 47
  castor-oil: {percent: 8, at: trace}
lye: {alkali: {by: mass, sodium-hydroxide: 95, potassium-hydroxide: 5}, superfat: 5}
water: {lye_concentration: 33}
additions:
  - {material: rose-clay, rate: 1 tbsp per kg oils, at: oils}
scent:
  - {material: clove-bud-oil, rate: 1.2 % of oils, at: trace}
portions:
  - {name: plain, share: 50, gets: {clove-bud-oil: 0}}
  - {name: clove, share: 50, gets: {clove-bud-oil: 100}}
process: {lye_temperature: 38 °C, mould: tall-loaf, cover: insulated}
"""
RECORD = """\
as_made:
  - {line: water, weighed: 283 g}
  - {extra: honey, weighed: 12 g, at: trace}
lots: {olive-oil: {"OL-7": 300 g, "OL-8": 155 g}}
conditions: {room: 19 °C, humidity: 55 %, cover: open}
events: [{at: "0:00", what: lye in}, {at: "0:20", what: blending, for: 15 s}, {at: "~4 min", what: light trace}]
after_pour: [{at: 3 h, what: sides loosened}]
observations:
  - {age: 28 d, outcome: hardness, values: [3.1 mm, 3.3 mm, 3.0 mm]}
"""

_WORDS = re.compile(rb"(\s+|[:,{}\[\]\"'-])")
_ODD = (
    b"1e999 0 -0 -1 NaN Infinity 1e-400 0.05 1,5 % 5% 100 1_000 0x1F 12:30 -0:30 99:99 9999-99-99 0000-01-01 2026-02-30"
    b" ~ null << !x &a *a | > ? - -- --- # { } [ ] : , ' \" g kg mg m \xc2\xb0C \xef\xbf\xa5 \xd9\xa3 \xc2\xbd lots "
    b"water format recipe_text values value bound by_eye 3-5min ~4min unknown a/b .. 1e5000g 10000000000000000000000kg "
    b"trace whole"
).split()


def mutate(data: bytes, max_size: int, seed: int) -> bytes:
    """Words and lines exchanged, doubled, dropped; four times in ten only bytes."""
    chance = random.Random(seed)
    if not data or chance.random() < 0.4:
        return bytes(atheris.Mutate(data, max_size))
    words = _WORDS.split(data[1:])
    for _ in range(chance.randint(1, 3)):
        place = chance.randrange(len(words))
        new = chance.choice(_ODD) if chance.random() < 0.6 else chance.choice(words)
        words[place] = chance.choice((new, b"", words[place] + new, words[place] * 2))
    lines = b"".join(words).split(b"\n")
    if chance.random() < 0.3:
        lines.insert(chance.randrange(len(lines) + 1), chance.choice(lines))
    if chance.random() < 0.2:
        del lines[chance.randrange(len(lines))]
    return (data[:1] + b"\n".join(lines))[:max_size]


def make_corpus(folder: Path) -> tuple[bytes, ...]:
    """Sound files as a start, each behind the byte of its reader; the plan and the trial that they came from."""
    with tempfile.TemporaryDirectory() as place, formulary.init_folder(Path(place) / "soap") as opened:
        trial = open_bench(opened).start(opened.find_version("first-bar"), oils="1000 g")
        at = opened.root / "trials" / trial.id[:4] / trial.id
        plan, record = (at / "planned.yaml").read_bytes(), (at / "trial.yaml").read_bytes()
        settings, first = ((opened.root / name).read_bytes() for name in ("formulary.yaml", "recipes/first-bar.yaml"))
    kept = [line for line in record.splitlines(keepends=True) if not line.startswith((b"events", b"observations"))]
    files = [RECIPE.encode(), first, MATERIAL.encode(), settings, record, b"".join(kept) + RECORD.encode(), plan]
    folder.mkdir(parents=True, exist_ok=True)
    for number, (reader, file) in enumerate(zip((0, 0, 1, 2, 3, 3, 4), files, strict=True)):
        (folder / f"sound-{number}").write_bytes(bytes([reader]) + file)
    return plan, record


def main() -> None:
    """Fuzzes until the time is over or something is found."""
    corpus = Path(sys.argv[1])
    plan, _ = make_corpus(corpus)
    frozen, _ = parse_plan(plan)
    assert frozen is not None
    outcomes, _ = read_outcomes(parse_settings(b"format: 1\nname: x\n")[0])
    register = read_builtin_register()

    def recipe(data: bytes) -> tuple[object, tuple[Finding, ...]]:
        read_formerly(data)
        found, findings = parse_recipe(data, "x", "recipes/x.yaml", materials=register)
        if found is not None and not findings:
            assert edit_recipe(data.decode(), found) == data.decode()
        return found, findings

    readers: tuple[Callable[[bytes], tuple[object, tuple[Finding, ...]]], ...] = (
        recipe,
        lambda data: parse_material(data, "materials/x.yaml", "x"),
        lambda data: parse_settings(data),
        lambda data: parse_trial(data, "t", "trial.yaml", plan=frozen, outcomes=outcomes, materials=register),
        lambda data: parse_plan(data, "planned.yaml"),
        lambda data: parse_document(data, "x.yaml"),
    )

    def read_one(data: bytes) -> None:
        if not data:
            return
        result, findings = readers[data[0] % len(readers)](data[1:])
        assert result is not None or findings
        assert len(findings) <= MAX_FINDINGS
        assert all(str(finding) and finding.to_json() for finding in findings)

    atheris.Setup([sys.argv[0], str(corpus), *sys.argv[2:]], read_one, custom_mutator=mutate)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
