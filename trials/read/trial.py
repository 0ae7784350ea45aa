"""A trial file's content as a Trial, or everything that is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from formulary.document.fields import Fields, read_file
from formulary.document.tree import Listing, Scalar
from formulary.finding import Finding, Place, error, has_errors
from formulary.materials.model import Material
from formulary.names import suggest
from formulary.quantity import Kind, NotAQuantity, parse_decimal
from formulary.read_only import ReadOnly
from formulary.recipes.model import COVERS
from trials.as_made.pot_as_made import has_no_oils
from trials.outcomes.outcome import Outcome
from trials.outcomes.reading import OffScale, parse_reading
from trials.read.as_made import read_as_made
from trials.read.handling import read_handling
from trials.read.lots import read_lots
from trials.read.parts import (
    block_of,
    entries_of,
    is_left_empty,
    listed,
    read_events,
    read_portion,
    texts_of,
)
from trials.read.portions import read_portions
from trials.trial.elapsed import parse_age_days
from trials.trial.lot_use_text import mass_g
from trials.trial.model import (
    DECISIONS,
    AsMade,
    Bars,
    Conditions,
    Observation,
    Plan,
    Reading,
    Release,
    Trial,
    find_brought,
)

SIZES = ("oils", "batter", "bars", "mould")
_BARS = re.compile(r"(\d+)(?: of (.+?)(?: cured)?)?")


def parse_trial(
    data: bytes | str,
    trial_id: str,
    path: str | None = None,
    *,
    plan: Plan | None,
    outcomes: Mapping[str, Outcome],
    own_events: Sequence[str] = (),
    materials: Mapping[str, Material] | None = None,
    added: Mapping[str, Material] = ReadOnly({}),
) -> tuple[Trial | None, tuple[Finding, ...]]:
    """The trial in a file's content, and every fault found in it; no trial when any is an error.

    trial_id: the folder's name. plan: from planned.yaml beside it; without one nothing that rests on the plan is
    checked and there is no trial. outcomes: by name, built in and the maker's own. own_events: the maker's own words.
    materials: the register; None leaves names and lots unchecked. added: materials beyond the plan's.
    """
    trial, findings = read_file(
        data, path, lambda fields: _TrialReader(fields, plan, outcomes, own_events, materials).read(trial_id, added)
    )
    return (None if has_errors(findings) else trial), findings


class _TrialReader:
    """Reads one file; collects every fault before it gives up."""

    def __init__(
        self,
        fields: Fields,
        plan: Plan | None,
        outcomes: Mapping[str, Outcome],
        own_events: Sequence[str],
        materials: Mapping[str, Material] | None,
    ) -> None:
        self.fields = fields
        self.plan = plan
        self.outcomes = outcomes
        self.own_events = own_events
        self.materials = materials

    def read(self, trial_id: str, added: Mapping[str, Material]) -> Trial | None:
        fields = self.fields
        fields.check_format()
        recipe = fields.slug("recipe", required=True)
        version = fields.text("version", required=True)
        made = fields.date("made", required=True)
        sitting = fields.text("sitting")
        size = self._size()
        who = fields.text("who")
        portions = read_portions(fields, self.plan, self.own_events)
        names = [portion.name for portion in portions]
        as_made: tuple[AsMade, ...] = ()
        if self.plan is not None:
            as_made = read_as_made(fields, self.plan, portions, self.materials)
            self._check_plan(recipe, version, size)
        elif not is_left_empty(fields, "as_made"):
            fields.node("as_made")
        after_pour = read_handling(fields, self.own_events, names, self.plan, self.materials)
        lots = read_lots(fields, self.plan, find_brought(as_made, after_pour), self.materials or {})
        conditions = self._conditions()
        events = read_events(fields, self.own_events)
        observations = self._observations(names)
        bars = self._bars()
        decisions = self._decisions()
        despite = texts_of(fields, "despite")
        notes = "" if is_left_empty(fields, "notes") else fields.text("notes") or ""
        fields.finish()
        if self.plan is None or recipe is None or version is None or made is None:
            return None
        trial = Trial(
            id=trial_id,
            recipe=recipe,
            version=version,
            made=made,
            plan=self.plan,
            sitting=sitting,
            size=size,
            who=who,
            as_made=as_made,
            lots=ReadOnly(lots),
            conditions=conditions,
            events=events,
            portions=portions,
            after_pour=after_pour,
            observations=observations,
            bars=bars,
            release=decisions[-1] if decisions else None,
            decided_before=decisions[:-1],
            despite=despite,
            notes=notes,
            added=added,
            path=fields.path,
            place=fields.place("recipe"),
        )
        self._check_oils(trial)
        return trial

    def _check_oils(self, trial: Trial) -> None:
        """Nothing can be worked out of a pot, or of a portion, that no oil went into."""
        if has_errors(self.fields.findings):
            return
        # What took an oil's place is known by the register until its values are kept beside the trial.
        known = {name: self.materials[name] for name in trial.brought if self.materials and name in self.materials}
        trial = replace(trial, added=ReadOnly({**known, **trial.added}))
        without = [name for name in (None, *(part.name for part in trial.portions)) if has_no_oils(trial, name)]
        if not without:
            return
        oils = {line.material for line in trial.plan.pot.lines if line.role == "oil"}
        places = [entry.place for entry in trial.as_made if entry.line in oils]
        where = "this batch" if without[0] is None else f"the portion {without[0]}"
        what = f"no oil went into {where} as it is recorded, or none may have, so nothing can be worked out"
        do = "correct as_made: what an oil's place was really taken by, or the least of it that surely went in"
        self.fields.findings.append(error("no-oils", what, do, places[0] if places else trial.place))

    def _size(self) -> tuple[str, str] | None:
        entries = entries_of(self.fields, "size")
        if not entries:
            return None
        if len(entries) != 1 or entries[0][0].text not in SIZES or not isinstance(entries[0][1], Scalar):
            do = f"write one of {', '.join(SIZES)}, such as `size: {{oils: 1000 g}}`"
            self.fields.report("size-shape", "a size is stated in exactly one way", do, None, "size")
            return None
        how, node = entries[0][0].text, entries[0][1]
        text = self.fields.parse_node(node, lambda text: _check_size(how, text), f"size, {how}")
        return None if text is None else (how, text)

    def _check_plan(
        self,
        recipe: str | None,
        version: str | None,
        size: tuple[str, str] | None,
    ) -> None:
        fields, plan = self.fields, self.plan
        assert plan is not None
        if version is not None and version != plan.version:
            what = f"planned.yaml beside it was frozen from version {plan.version[:8]}"
            fields.report("plan-differs", what, f'write version: "{plan.version}"', fields.scalar("version"), "version")
        if recipe is not None and recipe != plan.slug:
            what = f"planned.yaml beside it was frozen from {plan.slug}"
            fields.report("plan-differs", what, f"write recipe: {plan.slug}", fields.scalar("recipe"), "recipe")
        if size is not None and not _is_same_size(size, plan.size):
            what = f"the plan was worked out for {plan.size[0]}: {plan.size[1]}"
            do = "write that; another size is another trial, and other weights go under as_made"
            fields.report("plan-differs", what, do, None, "size")

    def _conditions(self) -> Conditions:
        block = block_of(self.fields, "conditions")
        if block is None:
            return Conditions()
        conditions = Conditions(
            room_c=_optional_c(block, "room"),
            humidity_percent=None if is_left_empty(block, "humidity") else block.percent("humidity"),
            lye_temperature_c=_optional_c(block, "lye_temperature"),
            oil_temperature_c=_optional_c(block, "oil_temperature"),
            mould=None if is_left_empty(block, "mould") else block.text("mould"),
            cover=None if is_left_empty(block, "cover") else block.choice("cover", COVERS),
            blender=None if is_left_empty(block, "blender") else block.text("blender"),
            place=block.place(),
        )
        block.finish()
        return conditions

    def _observations(self, portions: Sequence[str]) -> tuple[Observation, ...]:
        observations: list[Observation] = []
        for block in listed(self.fields, "observations", name="outcome"):
            age = block.parsed("age", parse_age_days, required=True)
            name = block.scalar("outcome", required=True)
            outcome = None if name is None else self.outcomes.get(name.text)
            if name is not None and outcome is None:
                do = suggest(name.text, self.outcomes, "define it under `outcomes:` in formulary.yaml")
                block.report("unknown-outcome", f"no outcome is called {name.text[:40]!r}", do, name, "outcome")
            readings = self._readings(block, outcome)
            portion = read_portion(block, portions)
            who, how, note = block.text("who"), block.text("how"), block.text("note") or ""
            block.finish()
            if age is not None and outcome is not None and readings:
                observations.append(
                    Observation(age, outcome.name, readings, portion, who, how, note, block.place("outcome"))
                )
        return tuple(observations)

    def _readings(self, block: Fields, outcome: Outcome | None) -> tuple[Reading, ...]:
        nodes = (block.node("value"),) if block.has("value") else block.items("values")
        if block.has("value") == block.has("values"):
            do = "write `value: 3.1 mm`, or `values: [3.1 mm, 3.3 mm]`"
            block.report("missing-key", "an observation has either `value` or `values`", do)
            return ()
        values = block.node("values")
        if isinstance(values, Listing) and not nodes:
            block.report("missing-key", "an observation has no value", "write what was measured or seen", values)
        readings: list[Reading] = []
        for node in nodes:
            if node is None or outcome is None:
                continue
            if not isinstance(node, Scalar):
                block.report("wrong-shape", "a value is one amount", "write `values: [...]` for several", node, "value")
                continue
            try:
                readings.append(parse_reading(node.text, outcome))
            except OffScale as problem:
                block.report("off-scale", problem.what, problem.do, node, "value")
            except NotAQuantity as problem:
                block.report("bad-value", problem.what, problem.do, node, "value")
        return tuple(readings)

    def _bars(self) -> Bars:
        block = block_of(self.fields, "bars")
        if block is None:
            return Bars()
        bars = Bars(
            cut=block.parsed("cut", _count),
            kept_back=block.parsed("kept_back", _count),
            scrapped=block.parsed("scrapped", _count),
            lightest_g=block.amount("lightest", "g", Kind.MASS),
        )
        block.finish()
        if bars.cut is not None and (bars.kept_back or 0) + (bars.scrapped or 0) > bars.cut:
            block.report("bars-total", "more bars were kept back and scrapped than cut", "correct the counts")
        return bars

    def _decisions(self) -> tuple[Release, ...]:
        """What was decided, in order: one decision, or a list of them."""
        if isinstance(self.fields.node("release"), Listing):
            read = [_read_decision(block) for block in self.fields.blocks("release", name="decision")]
        else:
            block = block_of(self.fields, "release")
            read = [] if block is None else [_read_decision(block)]
        return tuple(each for each in read if each is not None)


def _read_decision(block: Fields) -> Release | None:
    decision = block.choice("decision", DECISIONS, required=True)
    who, why = block.text("who", required=True), block.text("why", required=True)
    on = block.date("on")
    despite = texts_of(block, "despite")
    block.finish()
    if decision is None or who is None or why is None:
        return None
    return Release(decision, who, why, on, despite, block.place("decision"))


def unreadable_plan(path: str) -> Finding:
    """The finding for a trial whose planned.yaml is missing or broken."""
    do = f"bring it back: formulary restore {path.split('/')[-2]} --discard; a trial's numbers come from it alone"
    return error("plan-missing", "the frozen plan beside this trial cannot be read", do, Place(path))


def _optional_c(block: Fields, key: str) -> Decimal | None:
    return None if is_left_empty(block, key) else block.amount(key, "°C", Kind.TEMPERATURE)


def _count(text: str) -> int:
    number = parse_decimal(text)
    if number < 0 or number % 1:
        raise NotAQuantity(f"{text.strip()!r} is not a count", "write a whole number, 0 or more")
    return int(number)


def _is_same_size(one: tuple[str, str], other: tuple[str, str]) -> bool:
    if one[0] != other[0] or one[0] not in ("oils", "batter"):
        return one[0] == other[0] and one[1].split() == other[1].split()
    return mass_g(one[1]) == mass_g(other[1])


def _check_size(how: str, text: str) -> str:
    if how in ("oils", "batter"):
        mass_g(text)
    elif how == "bars":
        match = _BARS.fullmatch(text.strip())
        if match is None or not int(match.group(1)):
            raise NotAQuantity(f"{text.strip()!r} is no number of bars", 'write "12 of 100 g"')
        if match.group(2) is not None:
            mass_g(match.group(2))
    return text
