"""The portions of a trial: their shares, what each got, and how they stand to the planned ones."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from formulary.document.fields import Fields
from formulary.names import suggest
from formulary.quantity import format_decimal, parse_percent
from formulary.recipes.model import PORTION_STAGES
from formulary.recipes.read_portions import check_shares, read_name, read_share
from trials.read.parts import entries_of, listed, read_events
from trials.trial.model import Plan, TrialPortion

HUNDRED = Decimal(100)


def read_portions(fields: Fields, plan: Plan | None, own_events: Sequence[str]) -> tuple[TrialPortion, ...]:
    """The portions under `portions`, and a finding for whatever does not total 100 or the plan contradicts."""
    portions: list[TrialPortion] = []
    complete = True
    planned = () if plan is None else tuple(portion.name for portion in plan.pot.portions)
    for block in listed(fields, "portions", name="name"):
        name = read_name(block)
        share, by_eye = read_share(block)
        instead_of = block.choice("instead_of", planned) if planned else block.text("instead_of")
        gets = _gets(block, plan)
        events = read_events(block, own_events)
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
        _check_totals(fields, portions)
        if plan is not None:
            _check_planned(fields, plan, portions)
    return tuple(portions)


def _gets(block: Fields, plan: Plan | None) -> tuple[tuple[str, Decimal], ...]:
    gets: list[tuple[str, Decimal]] = []
    divisible = sorted({line.material for line in plan.pot.lines if line.at in PORTION_STAGES} if plan else set())
    for key, value in entries_of(block, "gets"):
        percent = block.parse_node(value, parse_percent, f"gets, {key.text[:40]}")
        if plan is not None and key.text not in divisible:
            do = suggest(key.text, divisible, f"lines that can be divided: {', '.join(divisible) or 'none'}")
            block.report("unknown-line", f"no line at trace is called {key.text[:40]!r}", do, key, "gets")
        elif percent is not None and not 0 <= percent <= HUNDRED:
            block.report("out-of-bounds", "a part is 0 to 100 %", "correct it", value, "gets")
        elif percent is not None:
            gets.append((key.text, percent))
    return tuple(gets)


def _check_totals(fields: Fields, portions: Sequence[TrialPortion]) -> None:
    check_shares(fields, [portion.share for portion in portions])
    for material in dict.fromkeys(name for portion in portions for name, _ in portion.gets):
        parts = [percent for portion in portions for name, percent in portion.gets if name == material]
        if sum(parts, Decimal(0)) != HUNDRED:
            what = f"the parts of {material} total {format_decimal(sum(parts, Decimal(0)))} %, not 100 %"
            do = "say in each portion how much of the line it got, 0 where it got none"
            fields.report("portions-gets", what, do, None, "portions")
    taken = [portion.planned_name for portion in portions]
    for name in dict.fromkeys(taken):
        if taken.count(name) > 1 and len({portion.name for portion in portions}) == len(portions):
            what = f"two portions stand for the planned {name}"
            fields.report("duplicate-line", what, "keep one, and divide its lines by `gets`", None, "portions")


def _check_planned(fields: Fields, plan: Plan, portions: Sequence[TrialPortion]) -> None:
    """Nothing that was to be weighed may vanish: each planned portion with lines of its own has a successor."""
    taken = {portion.planned_name for portion in portions}
    redivided = {material for portion in portions for material, _ in portion.gets}
    lost = sorted(
        {
            line.portion
            for line in plan.pot.lines
            if line.portion is not None and line.portion not in taken and line.grams > 0
            if line.material not in redivided
        }
    )
    if lost:
        what = f"the plan gives lines of its own to {', '.join(lost)}, which is not among the portions"
        do = f"say which portion took its place: `instead_of: {lost[0]}`"
        fields.report("portion-missing", what, do, None, "portions")
