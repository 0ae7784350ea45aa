"""A trial file's content as a Trial, or everything that is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from types import MappingProxyType

from formulary.document import Block, Node, Scalar, parse_document
from formulary.fields import Fields, suggest
from formulary.finding import Finding, error, has_errors
from formulary.materials.model import Material
from formulary.quantity import Kind, NotAQuantity, format_decimal, parse_decimal, parse_percent, parse_quantity
from formulary.recipes.model import COVERS
from formulary.recipes.read import read_share
from trials.model import (
    DECISIONS,
    AsMade,
    Bars,
    Conditions,
    LotUse,
    Observation,
    Plan,
    Reading,
    Release,
    Trial,
    TrialPortion,
)
from trials.outcomes import Outcome
from trials.outcomes_reading import OffScale, parse_reading
from trials.read_as_made import read_as_made
from trials.read_parts import (
    block_of,
    entries_of,
    is_left_empty,
    listed,
    read_events,
    read_handling,
    read_portion,
    texts_of,
)

HUNDRED = Decimal(100)
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
    added: Mapping[str, Material] = MappingProxyType({}),
) -> tuple[Trial | None, tuple[Finding, ...]]:
    """The trial in a file's content, and every fault found in it; no trial when any is an error.

    trial_id: the folder's name. plan: from planned.yaml beside it; without one nothing that rests on the plan is
    checked and there is no trial. outcomes: by name, built in and the maker's own. own_events: the maker's own words.
    materials: the register; None leaves names and lots unchecked. added: materials beyond the plan's.
    """
    root, faults = parse_document(data, path)
    if root is None:
        return None, faults
    reader = _TrialReader(Fields(root, [], path=path), plan, outcomes, own_events, materials)
    trial = reader.read(trial_id, added)
    findings = tuple(reader.fields.findings)
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
        portions = self._portions()
        names = [portion.name for portion in portions]
        as_made: tuple[AsMade, ...] = ()
        if self.plan is not None:
            as_made = read_as_made(fields, self.plan, portions, self.materials)
            self._check_plan(recipe, version, size, portions)
        else:
            fields.node("as_made")
        lots = self._lots(as_made)
        conditions = self._conditions()
        events = read_events(fields, self.own_events)
        after_pour = read_handling(fields, self.own_events, names)
        observations = self._observations(names)
        bars = self._bars()
        release = self._release()
        despite = texts_of(fields, "despite")
        notes = "" if is_left_empty(fields, "notes") else fields.text("notes") or ""
        fields.finish()
        if self.plan is None or recipe is None or version is None or made is None:
            return None
        return Trial(
            id=trial_id,
            recipe=recipe,
            version=version,
            made=made,
            plan=self.plan,
            sitting=sitting,
            size=size,
            who=who,
            as_made=as_made,
            lots=MappingProxyType(lots),
            conditions=conditions,
            events=events,
            portions=portions,
            after_pour=after_pour,
            observations=observations,
            bars=bars,
            release=release,
            despite=despite,
            notes=notes,
            added=added,
            path=fields.path,
            place=fields.place("recipe"),
        )

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
        portions: Sequence[TrialPortion],
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
        planned = {portion.name for portion in plan.pot.portions}
        taken = {portion.planned_name for portion in portions}
        own = {line.portion for line in plan.pot.lines if line.portion is not None and line.grams > 0}
        redivided = {material for portion in portions for material, _ in portion.gets}
        lost = {line.portion for line in plan.pot.lines if line.material not in redivided} & own - taken
        if portions and planned and lost:
            names = ", ".join(sorted(str(name) for name in lost))
            what = f"the plan gives lines of its own to {names}, which is not among the portions"
            do = "say which portion took its place: `instead_of: " + sorted(str(name) for name in lost)[0] + "`"
            fields.report("portion-missing", what, do, None, "portions")

    def _portions(self) -> tuple[TrialPortion, ...]:
        portions: list[TrialPortion] = []
        complete = True
        planned = () if self.plan is None else tuple(portion.name for portion in self.plan.pot.portions)
        for block in listed(self.fields, "portions", name="name"):
            name = block.slug("name", required=True)
            share, by_eye = read_share(block)
            instead_of = block.choice("instead_of", planned) if planned else block.text("instead_of")
            gets = self._gets(block)
            events = read_events(block, self.own_events)
            mould = block.text("mould")
            block.finish()
            if name is None or share is None:
                complete = False
                continue
            if name in [portion.name for portion in portions]:
                block.report("duplicate-line", f"two portions are called {name}", "rename one", None, "name")
            if planned and name not in planned and instead_of is None:
                do = suggest(name, planned, f"the plan has {', '.join(planned)}: add `instead_of:` with one of these")
                what = f"the plan has no portion {name!r}"
                block.report("unknown-portion", what, do, block.scalar("name"), "name")
            portions.append(TrialPortion(name, share, by_eye, instead_of, gets, events, mould, block.place("name")))
        if portions and complete:
            self._check_portions(portions)
        return tuple(portions)

    def _gets(self, block: Fields) -> tuple[tuple[str, Decimal], ...]:
        gets: list[tuple[str, Decimal]] = []
        divisible = sorted(
            {line.material for line in self.plan.pot.lines if line.at in ("trace", "top")} if self.plan else set()
        )
        for key, value in entries_of(block, "gets"):
            percent = block.parse_node(value, parse_percent, f"gets, {key.text[:40]}")
            if self.plan is not None and key.text not in divisible:
                do = suggest(key.text, divisible, f"lines that can be divided: {', '.join(divisible) or 'none'}")
                block.report("unknown-line", f"no line at trace is called {key.text[:40]!r}", do, key, "gets")
            elif percent is not None and not 0 <= percent <= HUNDRED:
                block.report("out-of-bounds", "a part is 0 to 100 %", "correct it", value, "gets")
            elif percent is not None:
                gets.append((key.text, percent))
        return tuple(gets)

    def _check_portions(self, portions: Sequence[TrialPortion]) -> None:
        total = sum((portion.share for portion in portions), Decimal(0))
        if total != HUNDRED:
            what = f"the portions' shares total {format_decimal(total)} %, not 100 %"
            self.fields.report("portions-total", what, "make the shares total 100", None, "portions")
        for material in dict.fromkeys(name for portion in portions for name, _ in portion.gets):
            parts = [percent for portion in portions for name, percent in portion.gets if name == material]
            if sum(parts, Decimal(0)) != HUNDRED:
                what = f"the parts of {material} total {format_decimal(sum(parts, Decimal(0)))} %, not 100 %"
                do = "say in each portion how much of the line it got, 0 where it got none"
                self.fields.report("portions-gets", what, do, None, "portions")
        taken = [portion.planned_name for portion in portions]
        for name in dict.fromkeys(taken):
            if taken.count(name) > 1:
                what = f"two portions stand for the planned {name}"
                self.fields.report("duplicate-line", what, "keep one, and divide its lines by `gets`", None, "portions")

    def _lots(self, as_made: Sequence[AsMade]) -> dict[str, tuple[LotUse, ...]]:
        lots: dict[str, tuple[LotUse, ...]] = {}
        fields = self.fields
        for key, node in entries_of(fields, "lots"):
            uses = self._lot_uses(key, node)
            if self.plan is not None:
                self._check_lot_material(key, as_made)
                for use in uses:
                    self._check_lot(key, use.lot, node)
            if uses:
                lots[key.text] = uses
        return lots

    def _lot_uses(self, key: Scalar, node: Node) -> tuple[LotUse, ...]:
        fields, label = self.fields, f"lots, {key.text[:40]}"
        if isinstance(node, Scalar):
            if node.is_empty:
                return ()
            return (LotUse(node.text),)
        if not isinstance(node, Block):
            fields.report("wrong-shape", "a lot is a word, or a block of lots", 'write "OL-7" or {"OL-7": 300 g}', node)
            return ()
        uses: list[LotUse] = []
        for entry in node.entries:
            grams = fields.parse_node(entry.value, _mass_g, f"{label}, {entry.key.text[:20]}")
            if grams is not None:
                uses.append(LotUse(entry.key.text, grams))
        return tuple(uses)

    def _check_lot_material(self, key: Scalar, as_made: Sequence[AsMade]) -> None:
        assert self.plan is not None
        in_pot = {line.material for line in self.plan.pot.lines}
        in_pot |= {name for entry in as_made for name in (entry.extra, entry.instead) if name is not None}
        if key.text not in in_pot:
            do = suggest(key.text, in_pot, f"in the pot are: {', '.join(sorted(in_pot))}")
            what = f"a lot is given for {key.text[:40]!r}, which did not go in"
            self.fields.report("lot-not-in-pot", what, do, key, f"lots, {key.text[:40]}")

    def _check_lot(self, key: Scalar, lot: str, node: Node) -> None:
        """A lot that is known, but of another material only, is a slip of the pen."""
        owners = [slug for slug, material in (self.materials or {}).items() if lot in material.lots]
        if owners and key.text not in owners:
            what = f"lot {lot} is a lot of {' and '.join(owners)}, not of {key.text}"
            self.fields.report("lot-of-another", what, "correct the lot, or the material", node, f"lots, {key.text}")

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
            age = block.age_days("age", required=True)
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
                block.report("off-scale", problem.what, problem.do, node, outcome.name)
            except NotAQuantity as problem:
                block.report("bad-value", problem.what, problem.do, node, outcome.name)
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

    def _release(self) -> Release | None:
        block = block_of(self.fields, "release")
        if block is None:
            return None
        decision = block.choice("decision", DECISIONS, required=True)
        who, why = block.text("who", required=True), block.text("why", required=True)
        on = block.date("on")
        block.finish()
        if decision is None or who is None or why is None:
            return None
        return Release(decision, who, why, on, block.place("decision"))


def unreadable_plan(path: str) -> Finding:
    """The finding for a trial whose planned.yaml is missing or broken."""
    do = "restore planned.yaml from history; a trial's numbers are worked out from it and from nothing else"
    from formulary.finding import Place

    return error("plan-missing", "the frozen plan beside this trial cannot be read", do, Place(path))


def _optional_c(block: Fields, key: str) -> Decimal | None:
    return None if is_left_empty(block, key) else block.amount(key, "°C", Kind.TEMPERATURE)


def _mass_g(text: str) -> Decimal:
    grams = parse_quantity(text, Kind.MASS).to("g")
    if grams < 0:
        raise NotAQuantity(f"{text.strip()!r} is below zero", "write 0 g or more")
    return grams


def _count(text: str) -> int:
    number = parse_decimal(text)
    if number < 0 or number % 1:
        raise NotAQuantity(f"{text.strip()!r} is not a count", "write a whole number, 0 or more")
    return int(number)


def _is_same_size(one: tuple[str, str], other: tuple[str, str]) -> bool:
    if one[0] != other[0] or one[0] not in ("oils", "batter"):
        return one[0] == other[0] and one[1].split() == other[1].split()
    return _mass_g(one[1]) == _mass_g(other[1])


def _check_size(how: str, text: str) -> str:
    if how in ("oils", "batter"):
        _mass_g(text)
    elif how == "bars":
        match = _BARS.fullmatch(text.strip())
        if match is None or not int(match.group(1)):
            raise NotAQuantity(f"{text.strip()!r} is no number of bars", 'write "12 of 100 g"')
        if match.group(2) is not None:
            _mass_g(match.group(2))
    return text
