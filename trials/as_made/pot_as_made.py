"""The grams that really went into the pot, and those that are in the bars.

They follow from the frozen plan, from what differed from it, and from the portions, and from nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from formulary.batch.model import WHOLE, Pot, PotLine, pot_portions
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from formulary.recipes.model import PORTION_STAGES
from trials.as_made.entry_lines import find_lines, is_mixed_lye, role_of
from trials.as_made.worst_end import at_worst_end, is_more_worse
from trials.trial.model import REBATCHED, AsMade, Handling, Plan, Trial, TrialPortion, done_once

_ROUNDS = 3


def effective_pot(
    plan: Plan,
    as_made: Sequence[AsMade] = (),
    portions: Sequence[TrialPortion] = (),
    added: Mapping[str, Material] = ReadOnly({}),
) -> Pot:
    """The grams that really went into the pot.

    plan: the frozen plan; its planned grams are where everything starts. as_made: what differed, in any order.
    portions: the trial's own; a share divides what follows the share, while lines that were divided by `gets`, or
    weighed for a portion, keep their grams. Without portions the batter stayed whole, whatever was planned.
    added: materials that the plan does not have, by name. Of what is known only about it is the middle; what nobody
    knows counts as planned, which `unknown_weights` tells of.
    """
    materials = {**added, **plan.materials}
    shares = {portion.name: float(portion.share) / 100.0 for portion in portions}
    lines = _take_over_portions(plan.pot.lines, portions)
    # The order in which the entries were written down must not matter: lines are divided where a portion is spoken
    # of, then weighed or left out, then all replacements are made at once, and extras come last.
    for entry in as_made:
        if entry.portion is not None and entry.extra is None:
            lines = _divide(lines, entry, shares)
    for entry in as_made:
        if entry.extra is None and entry.instead is None:
            lines = _weigh(lines, entry)
    lines = _replace(lines, [entry for entry in as_made if entry.instead is not None], materials)
    lines += [_extra(entry, materials) for entry in sorted(as_made, key=_key) if entry.extra is not None]
    for entry in as_made:
        if is_mixed_lye(entry, plan):
            lines = _pour_lye(lines, entry)
    return Pot(
        tuple(lines),
        pot_portions((portion.name, portion.share, portion.by_eye) for portion in portions),
    )


def pot_of_batter(trial: Trial, *, at_worst: bool = False, for_scent: str | None = None) -> Pot:
    """The grams that went into a trial's pot, as `effective_pot` works them out.

    at_worst: what is known only about is taken at the end that leaves more lye, or more scent. for_scent: at the end
    that makes the most of this scent in it.
    """
    pot = effective_pot(trial.plan, trial.as_made, trial.portions, trial.added)
    if not at_worst or not any(entry.give_or_take_g for entry in trial.as_made):
        return pot
    # What makes a weighed lye stronger is seen by how strong it is at its strongest, found from round to round.
    for _ in range(_ROUNDS):
        as_made = [at_worst_end(entry, trial, pot, for_scent=for_scent) for entry in trial.as_made]
        pot = effective_pot(trial.plan, as_made, trial.portions, trial.added)
    return pot


def pot_of_bars(trial: Trial, *, at_worst: bool = False, for_scent: str | None = None) -> Pot:
    """The grams that are in the bars: what went into the pot, and what was worked in later, when it was rebatched.

    What lay on top is worked in then, too. A rebatch that is written down twice was one (`done_once`); where nobody
    knows when, it may have been two, and at_worst the lye and the scent of each counts.
    Whether the bars are safe and what may be sold is judged by these, at_worst (`pot_of_batter`); how the batter
    thickened, by `pot_of_batter`.
    """
    pot = pot_of_batter(trial, at_worst=at_worst, for_scent=for_scent)
    materials = trial.materials
    later = [
        _extra(at_worst_end(entry, trial, pot, for_scent=for_scent) if at_worst else entry, materials)
        for step, is_again in _worked_in(trial.after_pour)
        for entry in step.extras
        if not is_again
        or (at_worst and step.at_h is None and is_more_worse(materials.get(entry.material), for_scent=for_scent))
    ]
    rebatched = {step.portion for step in trial.after_pour if step.what == REBATCHED}
    worked_in = [
        replace(line, at="trace") if line.at == "top" and rebatched & {None, line.portion} else line
        for line in pot.lines
    ]
    return replace(pot, lines=(*worked_in, *later)) if rebatched else pot


def find_taken_in(trial: Trial) -> tuple[AsMade, ...]:
    """All that rebatches took in."""
    return tuple(entry for step in done_once(trial.after_pour) for entry in step.extras)


def has_no_oils(trial: Trial, portion: str | None = None) -> bool:
    """Whether the record leaves out every oil, or may, so that no percentage of anything can be told.

    portion: a portion's name; None for the whole batch. Of a weight that is known only about, the least counts.
    """
    from formulary.batch.figures import portion_pot

    pot = pot_of_batter(trial, at_worst=True)
    return (pot if portion in (None, WHOLE) else portion_pot(pot, portion)).grams("oil") <= 0


def _worked_in(steps: Sequence[Handling]) -> Iterable[tuple[Handling, bool]]:
    """Everything that was done after pouring, each with whether it stands there already."""
    once = done_once(steps)
    for step in steps:
        yield step, not any(step is each for each in once)


def _key(entry: AsMade) -> tuple[str, str, str]:
    return entry.material, entry.at or "", entry.portion or ""


def _take_over_portions(planned: Iterable[PotLine], portions: Sequence[TrialPortion]) -> list[PotLine]:
    """The planned lines under the trial's portion names; a trial's own `gets` divide their line anew."""
    if not portions:
        return _merge([replace(line, portion=None) for line in planned])
    names = {portion.planned_name: portion.name for portion in portions}
    lines = [
        line if line.portion is None else replace(line, portion=names.get(line.portion, line.portion))
        for line in planned
    ]
    redivided = {material for portion in portions for material, _ in portion.gets}
    late = [line for line in lines if line.material in redivided and line.at in PORTION_STAGES]
    kept = [line for line in lines if line not in late]
    for line in _merge([replace(line, portion=None) for line in late]):
        for portion in portions:
            percent = float(dict(portion.gets).get(line.material, 0))
            if percent:
                kept.append(replace(line, portion=portion.name, grams=line.grams * percent / 100.0))
    return kept


def _merge(lines: list[PotLine]) -> list[PotLine]:
    """Lines that differ only in grams, as one."""
    merged: dict[tuple[str, str, str, str | None], PotLine] = {}
    for line in lines:
        key = (line.material, line.role, line.at, line.portion)
        before = merged.get(key)
        merged[key] = line if before is None else replace(before, grams=before.grams + line.grams)
    return list(merged.values())


def _weigh(lines: list[PotLine], entry: AsMade) -> list[PotLine]:
    """The lines with one of them weighed otherwise, or left out."""
    everywhere = find_lines(lines, entry.line or "", entry.at)
    chosen = [line for line in everywhere if entry.portion in (None, line.portion)]
    if entry.left_out:
        return [line for line in lines if line not in chosen]
    if entry.weighed_g is None or not everywhere:
        return lines
    if not chosen:  # the plan gives this portion none of it
        return [*lines, replace(everywhere[0], portion=entry.portion, grams=float(entry.weighed_g))]
    return [_scaled(line, chosen, entry) if line in chosen else line for line in lines]


def _scaled(line: PotLine, chosen: Sequence[PotLine], entry: AsMade) -> PotLine:
    """A line's part of what was weighed for several lines together."""
    planned_g = sum(other.grams for other in chosen)
    if entry.weighed_g is None:
        return line
    part = line.grams / planned_g if planned_g else 1.0 / len(chosen)
    return replace(line, grams=float(entry.weighed_g) * part)


def _pour_lye(lines: list[PotLine], entry: AsMade) -> list[PotLine]:
    """The lines when of all that was in the jug only so much went into the oils."""
    mixed_g = sum(line.grams for line in lines if line.at == "lye water")
    if entry.weighed_g is None or mixed_g <= 0:
        return lines
    part = float(entry.weighed_g) / mixed_g
    return [replace(line, grams=line.grams * part) if line.at == "lye water" else line for line in lines]


def _replace(lines: list[PotLine], entries: Iterable[AsMade], materials: Mapping[str, Material]) -> list[PotLine]:
    """The lines with other materials in their place."""
    changed = list(lines)
    for entry in entries:
        everywhere = find_lines(lines, entry.line or "", entry.at)
        chosen = [line for line in everywhere if entry.portion in (None, line.portion)]
        if not chosen and everywhere and entry.weighed_g is not None:  # the plan gives this portion none of the line
            changed.append(_extra(replace(entry, extra=entry.instead, at=everywhere[0].at), materials))
        for number, line in enumerate(lines):
            if line in chosen and entry.instead is not None:
                role = role_of(entry.instead, materials, line.role)
                water = (line.water or "extra") if role == "addition" else None
                after = replace(_scaled(line, chosen, entry), material=entry.instead, role=role, water=water)
                changed[number] = after
    return changed


def _extra(entry: AsMade, materials: Mapping[str, Material]) -> PotLine:
    material = entry.extra or ""
    # Oil poured in beside the others is an oil like them.
    role = role_of(material, materials, "oil" if material in materials else "addition")
    water = "extra" if role == "addition" else None
    return PotLine(material, role, entry.at or "trace", float(entry.weighed_g or 0), entry.portion, water)


def _divide(lines: list[PotLine], entry: AsMade, shares: Mapping[str, float]) -> list[PotLine]:
    """A line of the whole batter as one line a portion, so that one of them can be weighed by itself."""
    shared = [line for line in find_lines(lines, entry.line or "", entry.at) if line.portion is None]
    divided: list[PotLine] = []
    for line in lines:
        if any(line is other for other in shared):
            divided += [replace(line, portion=name, grams=line.grams * share) for name, share in shares.items()]
        else:
            divided.append(line)
    return divided
