"""What differed from the plan as entries: what a person says of a line, or takes back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal

from formulary.batch.figures import water_in
from formulary.document.edit import Value
from formulary.document.write import Bare, Inline
from formulary.errors import InputError
from formulary.names import hyphenate, suggest
from formulary.recipes.model import STAGES
from trials.as_made.entry_lines import WATER, is_mixed_lye
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import pot_of_batter
from trials.trial.entry import Entry, add_details, for_portion, tidy_amount
from trials.trial.model import AsMade, Trial
from trials.trial.words import as_made_words

_NUMBER = r"[\d.]+(?: ?, ?\d+)?"
MASS = rf"(?P<weighed>unknown|~? ?{_NUMBER}(?: ?(?:-|–|to) ?{_NUMBER})? ?\S+)"
_LEFT_OUT = re.compile(r"no (?P<line>\S+)(?: at (?P<at>.+))?")
_SENTENCES = (
    _LEFT_OUT,
    re.compile(rf"(?P<instead>\S+) instead of (?P<line>\S+)(?: {MASS})?(?: at (?P<at>.+))?"),
    re.compile(rf"extra (?P<extra>\S+) {MASS} at (?P<at>.+)"),
    re.compile(rf"(?P<line>\S+) {MASS}(?: at (?P<at>.+))?"),
)
_SENTENCE_HELP = (
    'write "water 283 g", "no rose-clay", "sunflower-oil instead of castor-oil 80 g" or "extra honey 12 g at oils";'
    ' a weight may be "~280 g", "275-290 g" or unknown;'
    ' to take one back "rose-clay as planned" or "no extra honey"'
)
_LOOSE_EXTRA = re.compile(rf"extra (?P<extra>\S+(?: \S+)*?) {MASS}(?: at (?P<at>.+))?")
_TAKEN_BACK = (
    re.compile(r"(?P<line>\S+) as planned(?: at (?P<at>.+))?"),
    re.compile(r"no extra (?P<extra>\S+)(?: at (?P<at>.+))?"),
)

_FORGOT = "forgot to take the water of"


def as_made(trial: Trial, sentence: str, *, portion: str | None = None, note: str | None = None) -> Entry:
    """What differed from the plan, in words: "water 283 g", "no rose-clay", "sunflower-oil instead of castor-oil 80 g",
    "extra honey 12 g at oils"; said again of the same line, it takes the earlier one's place, and says what that was.
    "rose-clay as planned" and "no extra honey" take an earlier one back.

    Raises InputError for a sentence of another shape, and where nothing was said that could be taken back.
    """
    text = " ".join(str(sentence).split())
    for pattern in _TAKEN_BACK:
        match = pattern.fullmatch(text)
        if match is not None:
            return _take_back(trial, text, match.groupdict(), portion)
    for pattern in _SENTENCES:
        match = pattern.fullmatch(text)
        if match is None:
            continue
        found = {key: value for key, value in match.groupdict().items() if value}
        tree: dict[str, Value] = {key: found[key] for key in ("line", "extra", "instead") if key in found}
        if pattern is _LEFT_OUT:
            tree["left_out"] = Bare("true")
        if "weighed" in found:
            tree["weighed"] = tidy_amount(found["weighed"])
        if "at" in found:
            tree["at"] = _stage(found["at"])
        add_details(tree, portion=portion, note=note)
        replaces = ("extra", "at", "portion") if "extra" in found else ("line", "at", "portion")
        there = _said_of(trial, found, portion)
        was = [as_made_words(entry) for entry in there if entry.at == found.get("at")]
        remark = f"was {was[0]}" if was else ""
        return Entry(trial.id, "as_made", Inline(tree), for_portion(text, portion), None, None, replaces, remark)
    hyphenated = _with_names(text, materials_of(trial))
    can_be_read = any(pattern.fullmatch(hyphenated) for pattern in (*_SENTENCES, *_TAKEN_BACK))
    do = f'write "{hyphenated}"' if can_be_read else _SENTENCE_HELP
    if not can_be_read and (match := _LOOSE_EXTRA.fullmatch(text)) is not None:
        do = f'write "extra {hyphenate(match["extra"])} {match["weighed"]} at {match["at"] or "trace"}"'
        do += "" if match["at"] else f", or at which stage it went in: {', '.join(STAGES)}"
    raise InputError.of("as-made-words", f"{text[:60]!r} does not say what differed", do)


def _said_of(trial: Trial, found: Mapping[str, str | None], portion: str | None) -> list[AsMade]:
    """What stands under as_made of the line, or the extra, that a sentence names."""
    line, extra = found.get("line"), found.get("extra")
    return [
        entry
        for entry in trial.as_made
        if entry.portion == portion and (entry.line == line if extra is None else entry.extra == extra)
    ]


def _take_back(trial: Trial, text: str, found: Mapping[str, str | None], portion: str | None) -> Entry:
    there = _said_of(trial, found, portion)
    if found.get("at"):
        there = [entry for entry in there if entry.at in (None, _stage(found["at"] or ""))]
    if not there:
        said = "; ".join(as_made_words(entry) for entry in trial.as_made) or "nothing"
        what = f"nothing is recorded that {for_portion(text, portion)!r} could take back"
        raise InputError.of("nothing-to-take-back", what, f"recorded as made: {said}")
    if len(there) > 1:
        stages = ", ".join(entry.at or "" for entry in there)
        raise InputError.of("as-made-stage", f"{text!r} stands at several stages", f"add `at` and one of: {stages}")
    (entry,) = there
    tree: dict[str, Value] = {"line": entry.line or ""} if entry.extra is None else {"extra": entry.extra}
    if entry.at is not None:
        tree["at"] = entry.at
    add_details(tree, portion=portion)
    replaces = ("extra" if entry.extra else "line", "at", "portion")
    remark = f"was {as_made_words(entry)}"
    said = for_portion(text, portion)
    return Entry(trial.id, "as_made", Inline(tree), said, None, None, replaces, remark, removes=True)


def _with_names(text: str, names: Iterable[str]) -> str:
    """The text with each material that it names in plain words written as it is here: coconut-oil."""
    for name in sorted(names, key=len, reverse=True):
        text = re.sub(rf"(?i)(?<![\w-]){re.escape(name.replace('-', ' '))}(?![\w-])", name, text)
    return text


def forgot_to_replace(trial: Trial, material: str) -> Entry:
    """That the water of an addition was not taken off: the water weighed was the planned water and that.

    Raises InputError when the plan has no addition of that name whose water replaces some.
    """
    plan = trial.plan
    replacing = [line for line in plan.pot.lines if line.water == "replaces"]
    names = tuple(dict.fromkeys(line.material for line in replacing))
    if material not in names:
        what = f"nothing in the plan called {material[:40]!r} was to replace water"
        raise InputError.of("no-replacement", what, suggest(material, names, f"it has: {', '.join(names) or 'none'}"))
    materials = materials_of(trial)
    brought_g = sum(water_in(line, materials) for line in replacing if line.material == material)
    # As it was weighed into the jug: how much of the mixed lye went on from there counts for all that is in it.
    in_jug = [entry for entry in trial.as_made if not is_mixed_lye(entry, plan)]
    before_g = pot_of_batter(replace(trial, as_made=tuple(in_jug))).grams("water")
    weighed = f"{Decimal(repr(round(before_g + brought_g, 1)))} g"
    said = f"{_FORGOT} {material} off"
    earlier = [entry for entry in trial.as_made if entry.line == WATER and entry.at in (None, "lye water")]
    for entry in earlier:
        if said in entry.note or not entry.note.startswith(_FORGOT):
            what = f"the water of {trial.id} is recorded already: {as_made_words(entry)}"
            raise InputError.of("said-already", what, 'that weight counts; correct it with "water N g" if it is wrong')
    tree: dict[str, Value] = {
        "line": WATER,
        "weighed": weighed,
        "note": "; ".join([*(entry.note for entry in earlier), said]),
    }
    return Entry(trial.id, "as_made", Inline(tree), said, None, None, ("line", "at", "portion"))


def _stage(text: str) -> str:
    stripped = text.strip()
    if stripped in STAGES:
        return stripped
    raise InputError.of("not-a-stage", f"{stripped[:40]!r} is no stage", f"write one of: {', '.join(STAGES)}")
