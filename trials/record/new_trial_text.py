"""The text of a new trial's file: complete, filled in with the plan, and commented so that a beginner can go on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from formulary.batch.model import PotLine
from formulary.document.edit import Value, render_value
from formulary.document.write import Inline, Quoted
from formulary.quantity import format_decimal, format_number
from formulary.temperature import CELSIUS, say_written
from trials.trial.lot_use_text import lots_tree
from trials.trial.model import CONDITIONS, LotUse, Plan


def render_new_trial(
    trial_id: str,
    plan: Plan,
    made: date,
    *,
    sitting: str | None = None,
    who: str | None = None,
    lots: Mapping[str, Sequence[LotUse]] | None = None,
    conditions: Mapping[str, str] | None = None,
    portions: Sequence[tuple[str, Decimal]] | None = None,
    despite: Sequence[str] = (),
    told_in: str = CELSIUS,
) -> str:
    """The text of trial.yaml as `trial start` writes it; nothing in it but the plan and what is given here.

    sitting: the sitting's name, the date unless given. lots: material -> its lots. conditions: key -> text as it stands
    in the file, such as room -> "19 °C". portions: name and percent, for a plan without portions. despite: codes of
    stops that were overridden. told_in: the unit of what was planned, where it is a temperature.
    """
    lines = [
        f"# Trial {trial_id}: what really happened.",
        "# Fill it in with any editor; `formulary check` says what cannot be right.",
        "# What was planned is in planned.yaml beside this file, and stays as it is.",
        "format: 1",
        f"recipe: {plan.slug}",
        _line("version", Quoted(plan.version), plan.label or ""),
        f"made: {made.isoformat()}",
        _line("sitting", Quoted(sitting or made.isoformat()), "trials of one sitting share oils, jug and room"),
        f"size: {render_value(Inline({plan.size[0]: plan.size[1]}))}",
    ]
    if who:
        lines.append(_line("who", who))
    if despite:
        lines.append(_line("despite", list(despite), "stops that were overridden"))
    lines += ["", *_as_made(plan), "", *_lots(plan, lots or {}), "", *_conditions(plan, conditions or {}, told_in), ""]
    lines += [*_events(plan, portions), ""]
    lines += [
        "# After pouring, in hours since then: covered, insulated, fridge, oven, fan, sprayed, sides loosened,",
        "# unmoulded, cut, stamped, rebatched (`with: {olive-oil: 60 g}`). One line each, such as:",
        "#  - {at: 0 h, what: covered}",
        "after_pour:",
        "",
        "# What was measured or graded later; `formulary outcomes` lists what there is and how to measure it. Such as:",
        f"#  - {{age: 1 d, outcome: gel, value: 0 %{_portion_hint(plan, portions)}}}",
        "observations:",
        "",
        "notes:",
    ]
    return "\n".join(lines) + "\n"


def _line(key: str, value: Value, comment: str = "") -> str:
    text = f"{key}: {render_value(value, flow=not isinstance(value, str))}"
    return f"{text}   # {comment}" if comment else text


def _as_made(plan: Plan) -> list[str]:
    water = next((line for line in plan.pot.lines if line.role == "water"), None)
    oil = next((line for line in plan.pot.lines if line.role == "oil"), None)
    lines = ["# Only what differed from the plan, in grams as weighed; one line each, such as:"]
    if water is not None:
        lines.append(f"#  - {{line: water, weighed: {_grams(water)}}}")
    if oil is not None:
        lines.append(f"#  - {{line: {oil.material}, weighed: {_grams(oil)}}}")
    divisible = next((line for line in plan.pot.lines if line.role in ("addition", "scent")), None)
    if divisible is not None:
        lines.append(f"#  - {{line: {divisible.material}, left_out: true}}")
    lines.append("# What took a line's place is `instead: NAME`; what the plan does not have is")
    lines.append("# {extra: NAME, weighed: 10 g, at: trace}.")
    return [*lines, "as_made:"]


def _grams(line: PotLine) -> str:
    return f"{format_number(line.grams, 1)} g"


def _lots(plan: Plan, lots: Mapping[str, Sequence[LotUse]]) -> list[str]:
    lines = [
        "# The lot of each material, from its label, in quotes; leave empty what is not known.",
        "# Two lots of one material:  name: {" + '"LOT-1": 300 g, "LOT-2": 155 g}',
        "lots:",
    ]
    for name in dict.fromkeys(line.material for line in plan.pot.lines if line.role != "water"):
        uses = lots.get(name) or plan.lots.get(name)
        lines.append(f"  {name}: {render_value(lots_tree(uses), flow=False)}" if uses else f"  {name}:")
    extra = [name for name in lots if all(line.material != name for line in plan.pot.lines)]
    return [*lines, *(f"  {name}: {render_value(lots_tree(lots[name]), flow=False)}" for name in extra)]


def _conditions(plan: Plan, given: Mapping[str, str], told_in: str) -> list[str]:
    process = plan.recipe.process
    lines = ["# How it was, not how it was planned.", "conditions:"]
    for key in CONDITIONS:
        if key in given:
            lines.append(f"  {key}: {render_value(given[key], flow=False)}")
        else:
            planned = f"   # planned {say_written(process[key], told_in)}" if process.get(key) else ""
            lines.append(f"  {key}:{planned}")
    return lines


def _events(plan: Plan, portions: Sequence[tuple[str, Decimal]] | None) -> list[str]:
    planned: Iterable[tuple[str, Decimal, Decimal]]
    if portions is not None:
        planned = [(name, share, Decimal(0)) for name, share in portions]
    else:
        planned = [(portion.name, portion.share, portion.by_eye) for portion in plan.recipe.portions]
    lines = [
        "# Times since lye into oils, as minutes:seconds, `~4 min`, `3-5 min` or unknown. Words: lye in, emulsion,",
        "# light trace, medium trace, thick trace, scent in, colour in, blending (for:), too thick to pour, poured.",
        '#  - {at: "0:00", what: lye in}',
        '#  - {at: "0:20", what: blending, for: 15 s}',
    ]
    if not planned:
        return [*lines, "events:"]
    lines += ["# What happened before the batter was divided stands here, the rest under its portion.", "events:", ""]
    lines += ["# Shares of the batter in percent; `by_eye: 10` is give or take 10.", "portions:"]
    for name, share, by_eye in planned:
        lines += [
            f"  - name: {name}",
            f"    share: {{percent: {format_decimal(share)}, by_eye: {format_decimal(by_eye)}}}",
            "    events:",
        ]
    return lines


def _portion_hint(plan: Plan, portions: Sequence[tuple[str, Decimal]] | None) -> str:
    names = [name for name, _ in portions] if portions is not None else [item.name for item in plan.recipe.portions]
    return f", portion: {names[-1]}" if names else ""
