"""The answer to "which tweak did it", as it shows itself: in a sentence, as text, as a chart, as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from formulary.shown_as_text import ShownAsText
from trials.answer.answer import Answer

if TYPE_CHECKING:
    from trials.charts.figure import Chart


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Explanation(ShownAsText, Answer):
    """Which of the things that varied did it, and how sure one can be; printing it shows it."""

    without_botched: Explanation | None = None

    @property
    def sentence(self) -> str:
        """What one would say aloud."""
        from trials.answer.sentence import explanation_sentence

        return explanation_sentence(self)

    def to_json(self) -> dict[str, object]:
        noise = self.noise
        return {
            "sentence": self.sentence,
            "outcome": self.label,
            "unit": self.outcome.unit,
            "scale": self.outcome.scale.value,
            "trials_used": len(self.trials),
            "pours_used": len(self.seen),
            "limits": self.limits,
            "trials_left_out": [item.to_json() for item in self.left_out],
            "noise": None
            if noise is None
            else {
                "sd": noise.in_unit(self.level),
                "repeats": noise.repeats,
                "loaves": noise.loaves,
                "assumed": noise.is_assumed,
                "found": self.noise_sd,
            },
            "level": self.level,
            "no_answer": self.no_answer,
            "advice": self.advice,
            "enough_evidence": self.enough_evidence,
            "probability_of_nothing": self.nothing,
            "causes": [cause.to_json() for cause in self.causes],
            "suspects": None if self.suspects is None else self.suspects.to_json(),
            "near_twins": [twins.to_json() for twins in self.near_twins],
            "botched": [item.to_json() for item in self.botched],
            "took_over": [lot.to_json() for lot in self.took_over],
            "factors": [factor.to_json() for factor in self.table.factors],
            "factors_left_out": [{"factor": item.name, "why": item.why} for item in self.table.set_aside],
            "cannot_act": list(self.cannot_act),
            "remarks": list(self.table.remarks),
            "to_tell_them_apart": self.to_tell_apart,
            "without_botched": None if self.without_botched is None else self.without_botched.sentence,
            "moved": None if self.moved is None else self.moved.to_json(),
            "not_moved": self.not_moved,
        }

    def draw(self, **options: Any) -> Chart:
        """The probabilities and effects as a chart, with `savefig` for SVG, PNG or PDF."""
        from trials.charts.effects import find_effects

        return find_effects(self).draw(**options)

    def __str__(self) -> str:
        from trials.answer.text import render_explanation

        return render_explanation(self)
