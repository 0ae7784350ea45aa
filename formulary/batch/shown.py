"""What is worked out of a batch, as people meet it: the same data, which shows itself as the commands show it."""

from __future__ import annotations

from formulary.batch.blend import Blend
from formulary.batch.cost import Cost
from formulary.batch.ingredients import IngredientList
from formulary.batch.rescue import Rescue
from formulary.batch.sitting_model import Sitting
from formulary.shown_as_text import ShownAsText


class ShownBlend(ShownAsText, Blend):
    """The chemistry of a batch's oils; printing it shows it."""

    __slots__ = ()

    def __str__(self) -> str:
        from formulary.batch.blend_text import render_blend

        return render_blend(self)


class ShownIngredients(ShownAsText, IngredientList):
    """The ingredient lists of a batch; printing them shows them."""

    __slots__ = ()

    def __str__(self) -> str:
        from formulary.batch.blend_text import render_ingredients

        return render_ingredients(self)


class ShownCost(ShownAsText, Cost):
    """What materials cost; printing it shows it."""

    __slots__ = ()

    def __str__(self) -> str:
        from formulary.batch.blend_text import render_cost

        return render_cost(self)


class ShownRescue(ShownAsText, Rescue):
    """How to go on with a batch; printing it shows the sheet."""

    __slots__ = ()

    def __str__(self) -> str:
        from formulary.batch.sitting_text import render_rescue

        return render_rescue(self)


class ShownSitting(ShownAsText, Sitting):
    """How to pour several loaves in one sitting; printing it shows the sheet."""

    __slots__ = ()

    def __str__(self) -> str:
        from formulary.batch.sitting_text import render_sitting

        return render_sitting(self)
