"""An invented recipe, its plan in round grams, and trials of it, for the tests of this folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType

from formulary.batch.model import Pot, PotLine, PotPortion
from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Finding
from formulary.folder.folder import Folder
from formulary.folder.starting import init_folder
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from trials.outcomes.known import find_outcomes
from trials.outcomes.outcome import Outcome
from trials.read.trial import parse_trial
from trials.trial.model import Plan, Trial
from trials.trial.plan import make_plan

TRIAL_ID = "2026-10-03-midwinter-clove-k7wq"
PATH = f"trials/2026/{TRIAL_ID}/trial.yaml"

MIDWINTER_CLOVE = """\
format: 1
name: Midwinter clove
oils:
  olive-oil: 45
  coconut-oil: 25
  rice-bran-oil: 22
  castor-oil: {percent: 8, at: trace}   # an oil held back
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
additions:
  - {material: oat-milk, rate: 8 % of oils, at: oils, water: replaces}
  - {material: rose-clay, rate: 2 % of oils, at: oils}
scent:
  - {material: clove-bud-oil, rate: 1.2 % of oils, at: trace}
portions:
  - {name: plain, share: 50, gets: {clove-bud-oil: 0}}
  - {name: clove, share: 50, gets: {clove-bud-oil: 100}}
process: {lye_temperature: 38 °C, oil_temperature: 40 °C, mould: tall-loaf, cover: insulated}
"""

# The trial of the format's description, word for word but for its version.
TRIAL = """\
format: 1
recipe: midwinter-clove
version: "VERSION"
made: 2026-10-03
sitting: "2026-10-03"
size: {oils: 1000 g}
as_made:                             # only what differed from the plan, from a closed vocabulary, in grams as weighed
  - {line: water, weighed: 283 g}    # forgot to take the oat milk's water off
  - {line: olive-oil, weighed: 455 g}
  - {line: castor-oil, instead: sunflower-oil, weighed: 80 g}
  - {line: rose-clay, left_out: true}
  - {extra: honey, weighed: 12 g, at: trace, portion: clove}
  - {line: clove-bud-oil, weighed: 7.5 g, portion: clove}    # any line added at trace may name a portion
lots: {clove-bud-oil: "CB-2291", olive-oil: {"OL-7": 300 g, "OL-8": 155 g}}
conditions: {room: 19 °C, humidity: 55 %, lye_temperature: 37 °C, oil_temperature: 41 °C, mould: tall-loaf}
events: []                           # when the batter was not split: the trial is one portion, called `whole`
portions:                            # else the recipe's names, or `instead_of`; `by_eye: 10` = split by eye, 40 to 60
  - {name: plain, share: {percent: 50, by_eye: 10}, events: [{at: "8:00", what: poured}]}
  - name: clove
    share: {percent: 50, by_eye: 10}
    events: [{at: "0:00", what: lye in}, {at: "0:20", what: blending, for: 15 s}, {at: "2:40", what: scent in},
             {at: "4:10", what: light trace}, {at: "9:30", what: poured}]
after_pour: [{at: 0 h, what: covered}, {at: 3 h, what: sides loosened}, {at: 20 h, what: unmoulded}]
observations:
  - {age: 1 d, outcome: gel, value: 100 %, portion: clove}   # without a portion: the whole trial
  - {age: 28 d, outcome: hardness, values: [3.1 mm, 3.3 mm, 3.0 mm]}
"""

HEAD = """\
format: 1
recipe: midwinter-clove
version: "VERSION"
made: 2026-10-03
"""


def version_of(text: str, slug: str = "midwinter-clove") -> Version:
    """A saved version of a recipe text that must be readable."""
    recipe, findings = parse_recipe(text, slug, materials=read_builtin_register())
    assert recipe is not None, [str(finding) for finding in findings]
    return Version(recipe=recipe, text=text, is_saved=True, label="the 4th saved")


@cache
def plan_of(text: str = MIDWINTER_CLOVE, oil_mass_g: float = 1000.0) -> Plan:
    """The plan of a recipe text, worked out with the built-in materials."""
    version = version_of(text)
    batch = work_out_batch(version, read_builtin_register(), oil_mass_g=oil_mass_g)
    return make_plan(version, batch, read_builtin_register(), Settings(), size=("oils", f"{oil_mass_g:.0f} g"))


def round_plan(*lines: PotLine, portions: Sequence[PotPortion] = ()) -> Plan:
    """The plan of the example with the grams given instead, so that a table can be made by hand."""
    return replace(plan_of(), pot=Pot(tuple(lines), tuple(portions)), materials=read_builtin_register())


def folder_with(root: Path, text: str = MIDWINTER_CLOVE, slug: str = "midwinter-clove") -> Folder:
    """A new formulary in which that recipe was just written and nobody saved it yet."""
    folder = init_folder(root)
    (folder.root / "recipes" / f"{slug}.yaml").write_text(text, encoding="utf-8")
    folder.refresh()
    return folder


@cache
def outcomes() -> MappingProxyType[str, Outcome]:
    """The built-in outcomes."""
    return MappingProxyType(find_outcomes(Settings()))


def read(text: str, plan: Plan | None = None) -> tuple[Trial | None, tuple[Finding, ...]]:
    """A trial's text with `VERSION` filled in, read against a plan."""
    plan = plan if plan is not None else plan_of()
    register = read_builtin_register()
    added = {name: register[name] for name in ("honey", "sunflower-oil")}
    return parse_trial(
        text.replace("VERSION", plan.version),
        TRIAL_ID,
        PATH,
        plan=plan,
        outcomes=outcomes(),
        materials=register,
        added=MappingProxyType(added),
    )


def trial_of(text: str, plan: Plan | None = None) -> Trial:
    """A trial's text that must be readable; without its own head it gets the usual one."""
    whole = text if "\nformat: 1\n" in f"\n{text}" else HEAD + text
    trial, findings = read(whole, plan)
    assert trial is not None, [str(finding) for finding in findings]
    return trial


def faults(text: str, plan: Plan | None = None) -> list[str]:
    """The codes of what is wrong with a trial's text, in file order."""
    whole = text if "\nformat: 1\n" in f"\n{text}" else HEAD + text
    return [finding.code for finding in read(whole, plan)[1]]
