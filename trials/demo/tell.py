"""The tour of the demonstration: the three weekly jobs done on it, each step with the command that does it.

Yields blocks of text; nothing is printed here, and every number told comes out of a calculation of this run.
"""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from formulary.text_table import Row, paragraph, render_rows, text_width
from trials.demo.build import SEED, Demonstration, Made, Progress, build_demonstration
from trials.demo.generator import Truth
from trials.demo.scenario import BASE, STEPS, Sitting
from trials.outcomes.known import find_outcome
from trials.trial.identity import code_of, trial_folder

if TYPE_CHECKING:
    from trials.explanation import Explanation
    from trials.trial.model import Trial

NEW_VARIANT = "midwinter-lavender"
_NEW_NAME = "Midwinter lavender"
_SWAP = "6% olive-oil:shea-butter"
_ADDITIONS = ("oat-milk 8 % of oils at oils replaces", "lavender-oil 1.5 % of oils at trace")
_MOULD = "small-loaf"
_WHY = "a milder bar for next winter"
WORKING_TIME = "working time"
TOGETHER = "peak temperature"

_OPENING = (
    "A demonstration. The maker, their harbour town, the bars, lots and certificates are all invented; what happened "
    "to each loaf is drawn by a program with a seed. The weights, differences and odds below are calculated now, by "
    "the same library that would work on yours. Do not make soap by it."
)


def tell_demonstration(
    root: Path | str,
    *,
    today: date,
    seed: int = SEED,
    width: int = 80,
    progress: Progress | None = None,
) -> Iterator[str]:
    """Builds the demonstration in a new or empty folder and goes through it, a block of text at a time.

    today: the season told of is the latest that was over by then. seed: what happened is drawn with it. width:
    columns. progress: told what is being done, the step and the number of steps.
    Raises StorageError when the folder holds a formulary already or cannot be written.
    """
    yield "\n".join(paragraph(_OPENING, width=width))
    demonstration = build_demonstration(root, today=today, seed=seed, progress=progress)
    with demonstration.folder:
        yield from tell_tour(demonstration, shown_as=str(root), width=width)


def tell_tour(demonstration: Demonstration, *, shown_as: str, width: int = 80) -> Iterator[str]:
    """Goes through a demonstration as built; a new variant is branched, weighed out and saved in it on the way.

    shown_as: how its folder is named in commands.
    """
    tour = _Tour(demonstration, shown_as, width)
    yield tour.what_was_built()
    yield from tour.branch_and_weigh_out()
    yield tour.review_two_trials()
    acceleration = tour.explain(WORKING_TIME)
    yield tour.find_the_cause(acceleration)
    yield tour.where_it_cannot_tell()
    yield tour.what_was_put_in(acceleration)
    yield tour.what_next()


class _Tour:
    """Writes the blocks, one method a chapter."""

    def __init__(self, demonstration: Demonstration, shown_as: str, width: int) -> None:
        self.demonstration = demonstration
        self.folder = demonstration.folder
        self.shown_as = shown_as
        self.width = width
        self.trials = demonstration.bench.trials()
        self.outcomes = demonstration.bench.outcomes

    # -- how it is written -----------------------------------------------------------------------

    def say(self, text: str) -> str:
        return "\n".join(paragraph(text, width=self.width))

    def heading(self, number: int, text: str) -> str:
        title = f"{number}  {text}"
        return f"{title}\n{'-' * min(text_width(title), self.width)}"

    def command(self, *words: str) -> str:
        """The command as a person would type it, in lines that a shell reads as one."""
        parts = _with_their_values([shlex.quote(word) for word in words])
        lines = [f"    $ {parts[0]}"]
        for part in parts[1:]:
            if text_width(lines[-1]) + text_width(part) + 3 <= self.width:
                lines[-1] += f" {part}"
            else:
                lines.append(f"        {part}")
        return " \\\n".join(lines)

    # -- what it is about ------------------------------------------------------------------------

    def trial(self, made: Made) -> Trial:
        return next(trial for trial in self.trials if trial.id == made.trial_id)

    def forgotten(self) -> Made:
        """The loaf that did not go as planned."""
        return next(made for made in self.demonstration.loaves if made.poured.as_made)

    def explain(self, asked: str) -> Explanation:
        from trials.explain_trials import explain_outcome

        outcome, age_days = find_outcome(asked, self.outcomes)
        return explain_outcome(self.trials, outcome, age_days)

    # -- the chapters ----------------------------------------------------------------------------

    def what_was_built(self) -> str:
        loaves = self.demonstration.loaves
        histories = self.folder.histories()
        rows = [Row("recipe", ("versions", "loaves"), "why it was last changed")]
        for recipe, history in histories.items():
            poured = sum(trial.recipe == recipe for trial in self.trials)
            rows.append(Row(recipe, (str(len(history)), str(poured)), history[-1].why))
        portions = sum(len(trial.parts()) for trial in self.trials)
        sittings = sum(isinstance(step, Sitting) for step in STEPS)
        text = (
            f"{self.shown_as} is a formulary now: {len(histories)} recipes in {sum(map(len, histories.values()))} "
            f"saved versions, and {len(loaves)} loaves, {portions} portions, poured in {sittings} sittings from "
            f"{loaves[0].made:%B %Y} to {loaves[-1].made:%B %Y} (seed {self.demonstration.seed}). It is a plain folder "
            "under git: YAML files that any editor opens."
        )
        return _blocks(self.say(text), "\n".join(render_rows(rows, width=self.width)))

    def branch_and_weigh_out(self) -> Iterator[str]:
        from formulary.batch.weigh_out_text import render_batch
        from formulary.changes.text import render_changes
        from formulary.recipes.tweaks import Tweak, parse_add, parse_swap

        parent = f"{BASE}@latest"
        tweaks: list[Tweak] = [parse_swap(_SWAP), *(parse_add(addition) for addition in _ADDITIONS)]
        self.folder.write(self.folder.branch(parent, NEW_VARIANT, *tweaks, name=_NEW_NAME))
        self.folder.refresh()
        options = ["--swap", _SWAP, *(word for addition in _ADDITIONS for word in ("--add", addition))]
        yield _blocks(
            self.heading(1, "Branch the base bar for a season, and weigh it out"),
            self.say(
                "The base bar is trusted. A milder bar for next winter takes some shea butter for olive, oat milk for "
                "part of the water, and lavender. The variant remembers what it was branched from:"
            ),
            self.command("formulary", "branch", parent, NEW_VARIANT, *options),
            self.say("What that changed, with the lye worked out again:"),
            self.command("formulary", "diff", parent, NEW_VARIANT),
            render_changes(self.folder.diff(parent, NEW_VARIANT), width=self.width),
        )
        yield _blocks(
            self.say("What to weigh to fill the small mould with it, in working order:"),
            self.command("formulary", "batch", NEW_VARIANT, "--mould", _MOULD),
            render_batch(self.folder.batch(NEW_VARIANT, mould=_MOULD), width=self.width),
        )
        self.folder.save_changed([NEW_VARIANT], why=_WHY)
        yield _blocks(
            self.say("Saved, with the reason, so that it can be found again:"),
            self.command("formulary", "save", NEW_VARIANT, "-m", _WHY),
        )

    def review_two_trials(self) -> str:
        from formulary.changes.text import render_changes
        from trials.comparison.compare import compare_trials
        from trials.comparison.table import render_comparison

        after = self.trial(self.forgotten())
        before = next(trial for trial in self.trials if trial.version == after.version and not trial.as_made)
        comparison = compare_trials([before, after], self.trials, self.outcomes)
        codes = (code_of(before.id), code_of(after.id))
        return _blocks(
            self.heading(2, "Review two trials"),
            self.say(
                f"Two loaves of one version. Of the second the maker noted: “{after.notes}” What had to be weighed "
                "otherwise stands in its file as it was weighed, so what was in the two pots can be told apart:"
            ),
            self.command("formulary", "diff", *codes),
            render_changes(self.demonstration.bench.diff(*codes), width=self.width),
            self.say("And what did each do? Beside it stands how far two loaves differ by themselves:"),
            self.command("formulary", "compare", *codes),
            render_comparison(comparison, self.width),
        )

    def find_the_cause(self, answer: Explanation) -> str:
        return _blocks(
            self.heading(3, "Find what caused the fast acceleration"),
            self.say(
                "In some loaves a part of the batter thickened in a hurry. Was it the clove, its new lot, the milk, "
                "the honey, the warm oils, the blender? All loaves together say:"
            ),
            self._explained(answer, WORKING_TIME),
        )

    def where_it_cannot_tell(self) -> str:
        return _blocks(
            self.say(
                "And where two things always came together, it says so rather than choose. How hot did the loaves get "
                "in the mould, and why?"
            ),
            self._explained(self.explain(TOGETHER), TOGETHER),
        )

    def _explained(self, answer: Explanation, asked: str) -> str:
        from trials.answer.text import render_explanation

        return _blocks(self.command("formulary", "explain", asked), render_explanation(answer, self.width))

    def what_was_put_in(self, answer: Explanation) -> str:
        truth = self.demonstration.truth
        rows = [
            Row("", ("multiplies the",)),
            Row("so much more of", ("working time by",)),
            *(Row(what, (format_number(math.exp(effect), 2),)) for what, effect in _effects(truth)),
        ]
        return _blocks(
            self.heading(4, "What had been put in"),
            self.say(
                f"The program that drew the loaves gave every portion {truth.usual_minutes:g} min to work in, and then "
                "changed that by these:"
            ),
            "\n".join(render_rows(rows, width=self.width)),
            self.say(_held_against(answer, truth)),
            self.say(
                f"Luck that a whole loaf shares is {_percent(truth.batch_sd)} (one standard deviation), that of each "
                f"portion by itself {_percent(truth.portion_sd)}. Milk, honey, clay, nettle, cucumber, the other "
                "scents and the new lot of clove oil do nothing to the working time. The heat in the mould follows "
                "the sugar in the pot, the warmth of the oils and of the room: honey and oat milk both bring sugar, "
                "and nobody ever poured one without the other. How soft a cured bar is follows the water in the pot "
                "and, a little, the honey; how much mass it loses, the water; how it darkens, the clove more "
                "than the rest."
            ),
        )

    def what_next(self) -> str:
        divided = next(trial for trial in self.trials if trial.is_divided)
        files = (
            (f"recipes/{BASE}.yaml", "the base bar, with remarks for a beginner"),
            ("recipes/midwinter-clove.yaml", "a variant: what it is based on, scent, portions"),
            (f"{trial_folder(divided.id)}/trial.yaml", "a loaf in two portions, minute by minute"),
            (f"{trial_folder(self.forgotten().trial_id)}/planned.yaml", "what the plan of a trial keeps"),
        )
        commands = (
            (("formulary", "check"), "every file, all that is wrong or worth knowing"),
            (("formulary", "history", "midwinter-clove"), "its versions, when and why"),
            (("formulary", "trial", "show", code_of(divided.id)), "one loaf as it was made"),
            (("formulary", "explain", "hardness"), "what made the cured bars softer or harder"),
            (("formulary", "chart", "story", BASE), "the year in one drawing, as an SVG file"),
        )
        return _blocks(
            self.heading(5, "Look around"),
            self.command("cd", self.shown_as),
            self.say("Open these in any editor:"),
            "\n".join(line for path, what in files for line in (f"    {path}", f"        {what}")),
            self.say("And try:"),
            "\n".join(f"{self.command(*words)}\n        {what}" for words, what in commands),
            self.say("For your own bars, begin with an empty folder:"),
            self.command("formulary", "init", "my-soap"),
        )


def _blocks(*texts: str) -> str:
    """Texts with an empty line between two of them."""
    return "\n\n".join(texts)


def _percent(log_sd: float) -> str:
    return f"{format_number(100.0 * (math.exp(log_sd) - 1.0), 0)} %"


def _effects(truth: Truth) -> Iterator[tuple[str, float]]:
    if truth.cause is not None:
        yield f"1 % of oils of {material_words(truth.cause)}, in its own portion", truth.per_percent
    yield "5 °C in the oils", truth.per_5_c
    yield "20 s of blending after the scent", truth.per_20_s


def _held_against(answer: Explanation, truth: Truth) -> str:
    """What the planted cause really does from where the answer tells effects from, beside what the answer said."""
    if truth.cause is None:
        return "No fragrance was made to act on it."
    name = material_words(truth.cause)
    really_min = answer.level * (1.0 - math.exp(truth.per_percent))
    text = (
        f"From the {format_number(answer.level, 1)} min that the answer above starts from, the first 1 % of {name} "
        f"so takes {format_number(really_min, 1)} min off"
    )
    for cause in answer.causes:
        for effect in cause.effects:
            if effect.factor == name and effect.effect is not None and None not in (effect.low, effect.high):
                said, low, high = (
                    format_number(-(value or 0.0), 1) for value in (effect.effect, effect.high, effect.low)
                )
                return f"{text}; it said {said} ({low} to {high})."
    return f"{text}."


def _with_their_values(words: list[str]) -> list[str]:
    """Options in one piece with their values, so that no line breaks between the two."""
    parts: list[str] = []
    for word in words:
        if parts and parts[-1].startswith("-") and " " not in parts[-1]:
            parts[-1] += f" {word}"
        else:
            parts.append(word)
    return parts
