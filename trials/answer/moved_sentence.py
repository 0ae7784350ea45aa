"""What one would say aloud about which change moved one trial."""

from __future__ import annotations

from formulary.quantity import format_plain_number
from trials.answer.answer import ENOUGH, Answer, ChangedFactor, LikelyCause, MovedTrial, Partner
from trials.answer.chance_words import group_words, percent, rests_on_words
from trials.answer.season import found_to_take_over, hard_to_tell
from trials.outcomes.value import OutcomeValue
from trials.pours.contrast import Contrast, find_contrast
from trials.pours.noise import RepeatNoise
from trials.pours.sentences import capital, count, say_list, say_value

_WORTH_SAYING = 0.1
_OFTEN = 0.3  # of pairs of repeats that differ as much: more than one in three or so


def moved_sentence(answer: Answer) -> str:
    """What the trial that was asked about showed, beside what, and what did that; empty where none was asked about."""
    if answer.not_moved is not None:
        return f"{answer.not_moved}."
    moved = answer.moved
    if moved is None:
        return ""
    after, before = _value(answer, moved.after), _value(answer, moved.before)
    if after == before:
        return f"{moved.trial}: {answer.label} {after}, the same as {moved.against}, so nothing has to account for it."
    return f"{moved.trial}: {answer.label} {after}, where {moved.against} had {before}. {_what_did_it(answer, moved)}"


def changed_sentence(answer: Answer) -> str:
    """All that differed between that trial and the pour that it is held against; empty where none was asked about."""
    moved = answer.moved
    if moved is None:
        return ""
    if not moved.changed:
        return f"Nothing that could act differed between {moved.against} and {moved.trial}, as far as it is recorded."
    said = "; ".join(_say_change(answer, change) for change in moved.changed)
    return f"From {moved.against} to {moved.trial} changed: {said}."


def _value(answer: Answer, value: OutcomeValue) -> str:
    return f"{say_value(answer.outcome, value)} {answer.outcome.told_unit}".strip()


def _what_did_it(answer: Answer, moved: MovedTrial) -> str:
    contrast = find_contrast(answer.outcome, answer.label, moved.before, moved.after, answer.noise)
    if contrast is None:
        return "As far as is known these may be the same, so nothing shows that it moved."
    if moved.went_wrong >= 0.5:
        return (
            f"No change that is recorded accounts for it: {moved.odd} fits nothing else, as if its whole batch had "
            f"gone wrong for a reason that is not recorded ({percent(moved.went_wrong)})."
        )
    noise = _noise_words(contrast, answer.noise)
    alike = f", and {noise}" if noise else ""
    unmoved = alike or _though(contrast)
    few = _too_few(answer.noise) if contrast.is_within_noise is False else ""
    few += _with_time(answer, moved)
    if not moved.chances:
        return f"No change between them is likely to have moved it{unmoved}.{few}"
    names, chance = moved.chances[0]
    if chance >= ENOUGH:
        lone = _find_lone(answer, names)
        doubts = [*filter(None, [noise]), *([] if lone is None else [rests_on_words(answer, lone)])]
        if doubts:
            return (
                f"{capital(group_words(names))} may well have moved it ({percent(chance)}), but {' and '.join(doubts)}."
            )
        return f"{capital(group_words(names))} moved it ({percent(chance)})."
    if moved.nothing >= ENOUGH:
        said = f"No change between them is likely to have moved it ({percent(moved.nothing)}){unmoved}"
        suspect = f"; the first suspect is {group_words(names)} ({percent(chance)})" if chance >= _WORTH_SAYING else ""
        return f"{said}{suspect}.{few}"
    listed = [f"{group_words(names)} ({percent(chance)})" for names, chance in moved.chances[:3]]
    if moved.went_wrong:
        listed.append(f"something that is not recorded ({percent(moved.went_wrong)})")
    listed.append(f"nothing noticeable ({percent(moved.nothing)})")
    return f"It is not certain what moved it: {say_list(listed, 'or')}{alike}.{few}"


def _find_lone(answer: Answer, names: tuple[str, ...]) -> LikelyCause | Partner | None:
    """What rests on one trial or sitting of how a change acts: all of it, or what it does with something else."""
    for cause in answer.causes:
        if names in cause.groups and cause.rests_on:
            return cause
        if names in cause.groups and cause.is_mostly_together:
            return next((one for one in cause.partners if one.rests_on), None)
    return None


def _noise_words(contrast: Contrast, noise: RepeatNoise | None) -> str:
    """How often repeats alone would differ as much, where that is no rare thing; empty where it is, or is not known."""
    if contrast.would_be_beyond_noise is not False or contrast.chance is None or noise is None:
        return ""
    if contrast.at_least:
        return "its limit alone does not show more than noise"
    who = "repeats" if contrast.chance >= _OFTEN else f"one in {count(round(1.0 / contrast.chance), 'pair')} of repeats"
    if noise.is_assumed:
        return f"{who} {'are' if who == 'repeats' else 'is'} taken to differ as much, which is a guess"
    return f"{who} {'differ' if who == 'repeats' else 'differs'} as much"


def _though(contrast: Contrast) -> str:
    """That what no change is thought to have moved differs by more than repeats do."""
    return ", though repeats differ less, so something else may have" if contrast.is_beyond_noise else ""


def _with_time(answer: Answer, moved: MovedTrial) -> str:
    """That a lot that changed is held to be innocent for want of anything that tells it from the date alone."""
    for change in moved.changed:
        lot = found_to_take_over(answer, change.name)
        if lot is not None:
            return f" But {hard_to_tell(answer, lot)}."
    return ""


def _too_few(noise: RepeatNoise | None) -> str:
    """Why a difference larger than that of the repeats may be laid to nothing, where they are too few to rest on."""
    if noise is None or noise.is_assumed or not noise.is_scant:
        return ""
    return f" There are too few repeats ({noise.basis}) to say how far pours differ by chance alone."


def _say_change(answer: Answer, change: ChangedFactor) -> str:
    """`lye with all water 32.7 to 28 %`, `lot B-2 instead of A-1 of clove bud oil`."""
    factor = answer.factor(change.name)
    if factor.unit == "":
        return change.name if change.after > change.before else f"no longer {change.name}"
    places = factor.aspects[0].step_of.places
    before, after = (format_plain_number(factor.told(value), places) for value in (change.before, change.after))
    return f"{change.name} {before} to {after} {factor.told_unit}"
