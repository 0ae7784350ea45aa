"""The result of comparing trials, as it shows itself: in a sentence, as a table, as JSON."""

from __future__ import annotations

from dataclasses import dataclass

from formulary.data_table import Table
from formulary.shown_as_text import ShownAsText
from trials.comparison.compared import ComparedTrials


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Comparison(ShownAsText, ComparedTrials):
    """Trials side by side; printing it shows them."""

    @property
    def sentence(self) -> str:
        """What one would say aloud: what differed, what that did, and whether it is more than noise."""
        from trials.comparison.sentence import comparison_sentence

        return comparison_sentence(self)

    def to_json(self) -> dict[str, object]:
        return {
            "sentence": self.sentence,
            "trials": [column.to_json() for column in self.columns],
            "are_repeats": self.are_repeats,
            "factors": [factor.to_json() for factor in self.factors],
            "lye_for_1000_g_of_oils": [row.to_json() for row in self.lye],
            "outcomes": [outcome.to_json() for outcome in self.outcomes],
            "controls": [
                {"control": control.label, "scented": scented.label, "outcomes": [item.to_json() for item in found]}
                for control, scented, found in self.controls
            ],
            "one_changes": [pair.to_json() for pair in self.one_changes],
            "came_after": list(self.came_after),
            "remarks": list(self.remarks),
            "hidden": self.hidden,
            "stops": [{"trial": trial, **finding.to_json()} for trial, finding in self.stops],
            "unread": [finding.to_json() for finding in self.unread],
        }

    def to_table(self, *, show_all: bool = False) -> Table:
        """What differed and what each did as a table for other programs; show_all: what is alike, too."""
        from trials.comparison.as_table import comparison_table

        return comparison_table(self, show_all=show_all)

    def __str__(self) -> str:
        from trials.comparison.table import render_comparison

        return render_comparison(self)
