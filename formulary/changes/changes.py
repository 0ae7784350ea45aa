"""What changed between two recipes and their batches, as it shows itself: in a sentence, as text, as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from formulary.changes.batch_changes import BatchChanges, Figure
from formulary.changes.recipe_changes import Alkalis, FieldChange, Pair
from formulary.data_table import Table
from formulary.recipes.model import BasedOn, Water
from formulary.shown_as_text import ShownAsText


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Changes(ShownAsText, BatchChanges):
    """What changed between two recipes, with what it does to a batch of the same oil mass; printing it shows it."""

    @property
    def sentence(self) -> str:
        """What a person would say aloud first."""
        from formulary.changes.sentence import render_sentence

        return render_sentence(self)

    def to_json(self) -> dict[str, object]:
        """The changes with stable keys; exact numbers as they are, calculated ones unrounded."""
        recipe = self.recipe
        return {
            "before": self.before.to_json(),
            "after": self.after.to_json(),
            "sentence": self.sentence,
            "oil_mass_grams": self.oil_mass_g,
            "oils": [change.to_json() for change in recipe.oils],
            "rates": [change.to_json() for change in recipe.lines],
            "lye": [
                {"material": figure.key, "before_grams": figure.before, "after_grams": figure.after}
                for figure in self.lye
            ],
            "water": _sides(self.water),
            "superfat": _sides(self.superfat),
            "water_rule": _rule_json(recipe.water),
            "alkali": _alkali_json(recipe.alkali),
            "figures": _sides(self.others),
            "scent": [
                {"line": figure.key, "before_percent_of_cured": figure.before, "after_percent_of_cured": figure.after}
                for figure in self.scent
                if figure.is_change
            ],
            "fatty_acids": [
                {"acid": figure.key, "before_percent": figure.before, "after_percent": figure.after}
                for figure in self.fatty_acids
                if figure.is_change
            ],
            "cost": None if self.cost is None else self.cost.to_json(),
            "portions": [change.to_json() for change in recipe.portions],
            "process": [change.to_json() for change in recipe.process],
            "name": _pair_json(recipe.name),
            "purpose": _pair_json(recipe.purpose),
            "notes": _pair_json(recipe.notes),
            "based_on": _parents_json(recipe.based_on),
            "lots": [
                {"material": change.field, "before": change.before, "after": change.after} for change in self.lots
            ],
            "register": [change.to_json() for change in self.register],
            "findings": {
                "appeared": [finding.to_json() for finding in self.appeared],
                "vanished": [finding.to_json() for finding in self.vanished],
            },
            "hidden": self.hidden,
        }

    def to_table(self, *, show_all: bool = False) -> Table:
        """What changed as a table for other programs, a line each; show_all: what is the same, too."""
        from formulary.changes.as_table import changes_table

        return changes_table(self, show_all=show_all)

    def __str__(self) -> str:
        from formulary.changes.text import render_changes

        return render_changes(self)


def _sides(figures: Iterable[Figure]) -> dict[str, object]:
    listed = tuple(figures)
    return {
        "before": {figure.key: figure.before for figure in listed},
        "after": {figure.key: figure.after for figure in listed},
    }


def _pair_json(pair: Pair[str] | FieldChange | None) -> dict[str, object] | None:
    return None if pair is None else {"before": pair.before, "after": pair.after}


def _parents_json(pair: Pair[BasedOn | None] | None) -> dict[str, object] | None:
    if pair is None:
        return None
    sides = {"before": pair.before, "after": pair.after}
    return {
        side: None if parent is None else {"recipe": parent.recipe, "version": parent.version}
        for side, parent in sides.items()
    }


def _rule_json(pair: Pair[Water] | None) -> dict[str, object] | None:
    if pair is None:
        return None
    sides = {"before": pair.before, "after": pair.after}
    return {side: {"method": water.method, "value": float(water.value)} for side, water in sides.items()}


def _alkali_json(pair: Pair[Alkalis] | None) -> dict[str, object] | None:
    if pair is None:
        return None
    sides = {"before": pair.before, "after": pair.after}
    return {
        side: {"by": by, "shares": {name: float(share) for name, share in shares}}
        for side, (shares, by) in sides.items()
    }
