"""What differed from the plan, from a closed vocabulary: each entry is checked against the planned lines."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from formulary.batch.mixed_lye import LYE, doubt_mixed
from formulary.document.fields import Fields
from formulary.document.tree import Scalar
from formulary.names import SLUG, suggest
from formulary.recipes.model import PORTION_STAGES, STAGES
from trials.as_made.entry_lines import WATER, find_lines
from trials.read.parts import listed, read_portion
from trials.read.weighed import Weighed, parse_weighed
from trials.trial.model import AsMade, Plan, TrialPortion


def read_as_made(
    fields: Fields, plan: Plan, portions: Sequence[TrialPortion], materials: Collection[str] | None
) -> tuple[AsMade, ...]:
    """The entries under `as_made`, and a finding for each that the plan or the portions contradict.

    materials: the names that the register knows; None leaves extras and replacements unchecked.
    """
    entries: list[AsMade] = []
    for block in listed(fields, "as_made", name="line"):
        entry = _read_entry(block, plan, [portion.name for portion in portions], materials)
        if entry is None:
            continue
        _check_twice(block, entry, entries, plan)
        entries.append(entry)
    return tuple(entries)


def _read_entry(block: Fields, plan: Plan, portions: Sequence[str], materials: Collection[str] | None) -> AsMade | None:
    start = len(block.findings)
    line, extra = block.scalar("line"), block.scalar("extra")
    instead = _material(block, "instead", plan, materials)
    left_out = _left_out(block)
    weighed = block.parsed("weighed", parse_weighed)
    at = block.choice("at", STAGES)
    portion = read_portion(block, portions)
    note = block.text("note") or ""
    block.finish()
    if (line is None) == (extra is None):
        do = "write `line:` for one of the plan, or `extra:` for something more"
        block.report("as-made-shape", "an entry names either a line of the plan or an extra", do)
    if weighed is not None and weighed.high_g == 0:
        block.report("as-made-shape", "0 g is nothing", "write `left_out: true`", block.scalar("weighed"), "weighed")
    if left_out and (weighed is not None or instead is not None):
        block.report("as-made-shape", "a line that was left out has no weight", "keep one of the two", None, "left_out")
    if len(block.findings) > start:
        return None
    if extra is not None:
        return _extra(block, plan, materials, instead, left_out, weighed, at, portion, note)
    assert line is not None
    if weighed is None and instead is None and not left_out:
        block.report("missing-key", "what differed is missing", "add `weighed:`, `instead:` or `left_out: true`")
        return None
    if line.text == LYE and not find_lines(plan.pot.lines, LYE):
        _check_mixed_lye(block, weighed, at, portion, plan)
    else:
        _check_line(block, line, plan, at, portion)
    if len(block.findings) > start:
        return None
    return _entry(AsMade(line.text, None, instead, left_out, None, at, portion, note, block.place()), weighed)


def _entry(entry: AsMade, weighed: Weighed | None) -> AsMade:
    """An entry with what was weighed, as well as that is known."""
    if weighed is None:
        return entry
    is_unknown = weighed.middle_g is None
    return replace(entry, weighed_g=weighed.middle_g, give_or_take_g=weighed.give_or_take_g, is_unknown=is_unknown)


def _check_mixed_lye(block: Fields, weighed: Weighed | None, at: str | None, portion: str | None, plan: Plan) -> None:
    """Of the mixed lye only a weight can be said: how much of it went into the oils; and not one of the dry alkali."""
    if weighed is None or block.has("instead"):
        do = "write `weighed: 300 g`; another alkali, or none of it, is said of the alkali's own line"
        block.report("as-made-shape", "of the mixed lye it is said how much of it went in", do, None, "line")
    elif at not in (None, "lye water"):
        block.report("as-made-stage", "lye is mixed in the jug", "leave `at` out", block.scalar("at"), "at")
    elif weighed.middle_g is not None:
        in_jug = [line for line in plan.pot.lines if line.at == "lye water"]
        doubt = doubt_mixed(float(weighed.middle_g), in_jug)
        if doubt is not None:
            block.report("bad-weighed", *doubt, block.scalar("weighed"), "weighed")
    _check_portion_stage(block, "lye water", portion)


def _extra(
    block: Fields,
    plan: Plan,
    materials: Collection[str] | None,
    instead: str | None,
    left_out: bool,
    weighed: Weighed | None,
    at: str | None,
    portion: str | None,
    note: str,
) -> AsMade | None:
    start = len(block.findings)
    extra = _material(block, "extra", plan, materials)
    if instead is not None or left_out:
        block.report("as-made-shape", "an extra takes no other's place", "keep `extra`, `weighed` and `at`")
    if weighed is None:
        block.report("missing-key", "`weighed` is missing", "add how much went in: `weighed: 12 g`")
    if at is None:
        do = f"add `at:` with one of: {', '.join(STAGES)}"
        block.report("missing-key", "`at` is missing: when did it go in?", do)
    _check_portion_stage(block, at, portion)
    if len(block.findings) > start or extra is None:
        return None
    return _entry(AsMade(None, extra, None, False, None, at, portion, note, block.place()), weighed)


def _check_line(block: Fields, line: Scalar, plan: Plan, at: str | None, portion: str | None) -> None:
    """Report a line that the plan does not have, or that it has at several stages without saying which."""
    lines = find_lines(plan.pot.lines, line.text)
    names = tuple(dict.fromkeys([WATER, LYE, *(other.material for other in plan.pot.lines)]))
    if not lines:
        do = suggest(line.text, names, f"lines of the plan: {', '.join(names)}; for something more write `extra:`")
        block.report("unknown-line", f"the plan has no line {line.text[:40]!r}", do, line, "line")
        return
    stages = tuple(dict.fromkeys(other.at for other in plan.pot.lines if other.material == line.text))
    if at is None and len({other.at for other in lines}) > 1:
        what = f"the plan has {line.text} at {' and at '.join(stages)}"
        block.report("as-made-stage", what, "add `at:` to say which", line, "line")
    elif at is not None and at not in stages:
        what = f"the plan has {line.text} at {' and at '.join(stages)}, not at {at}"
        block.report("as-made-stage", what, "correct `at:`, or write it as an `extra:`", block.scalar("at"), "at")
    else:
        _check_portion_stage(block, at or lines[0].at, portion)


def _check_portion_stage(block: Fields, at: str | None, portion: str | None) -> None:
    if portion is not None and at is not None and at not in PORTION_STAGES:
        what = f"what goes in at `{at}` is in the batter before it is divided"
        block.report("as-made-portion", what, "leave `portion` out", block.scalar("portion"), "portion")


def _check_twice(block: Fields, entry: AsMade, earlier: Sequence[AsMade], plan: Plan) -> None:
    if entry.extra is not None:
        return
    lines = find_lines(plan.pot.lines, entry.line or "", entry.at)
    for other in earlier:
        if other.line != entry.line or find_lines(plan.pot.lines, other.line or "", other.at) != lines:
            continue
        if other.portion == entry.portion:
            what = f"{entry.line} stands twice under as_made"
        elif None in (other.portion, entry.portion):
            what = f"{entry.line} stands under as_made for the whole batch and for a portion"
        else:
            continue
        block.report("as-made-twice", what, "keep one of them, with all that it says", None, "line")
        return


def _material(block: Fields, key: str, plan: Plan, materials: Collection[str] | None) -> str | None:
    scalar = block.scalar(key)
    if scalar is None or not check_material_name(block, scalar, key, plan, materials):
        return None
    return scalar.text


def check_material_name(block: Fields, scalar: Scalar, key: str, plan: Plan, materials: Collection[str] | None) -> bool:
    """Whether a name is one that a material has, of the register or of the plan; else it is reported."""
    if not SLUG.fullmatch(scalar.text):
        what = f"{scalar.text[:40]!r} is not a material's name"
        block.report("bad-name", what, "write lower-case words joined by hyphens: olive-oil", scalar, key)
        return False
    if materials is not None and scalar.text not in materials and scalar.text not in plan.materials:
        known = sorted({*materials, *plan.materials})
        do = suggest(scalar.text, known, f"add it: formulary materials add {scalar.text}; or correct the name")
        block.report("unknown-material", f"no material is called {scalar.text!r}", do, scalar, key)
        return False
    return True


def _left_out(block: Fields) -> bool:
    scalar = block.scalar("left_out")
    if scalar is None:
        return False
    if scalar.text not in ("true", "yes"):
        block.report("not-a-choice", "`left_out` is true or does not stand here", "write `left_out: true`", scalar)
        return False
    return True
