"""What recipes are worked out by, materials and settings, and everything that is worked out of one."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from os import PathLike
from typing import TYPE_CHECKING

from formulary.batch.model import Batch
from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.given import Figure, as_name, each_weighed
from formulary.recipes.version import Version
from formulary.settings import without_vessels

if TYPE_CHECKING:
    from formulary.batch.blend import Blend
    from formulary.batch.cost import Cost
    from formulary.batch.ingredients import IngredientList
    from formulary.batch.rescue import Rescue
    from formulary.batch.sitting_model import Sitting
    from formulary.batch.size import Size
    from formulary.changes.changes import Changes
    from formulary.changes.compared_side import ComparedSide
    from formulary.finding import Finding
    from formulary.materials.chosen_lots import ChosenLots, GivenLots
    from formulary.materials.model import Material
    from formulary.recipes.model import Recipe
    from formulary.settings import Settings

# An alkali's grams, and so what is left for a lot of it, settle in two or three rounds, or swing by its scale's step.
_MOST_ROUNDS = 10


def _lots_of(version: Version, lots: GivenLots, held: Collection[str]) -> GivenLots:
    """The lots of what a recipe holds, and those of what no recipe here does, so that the slip is told."""
    own = version.recipe.materials()
    return {name: of_it for name, of_it in lots.items() if name not in held or name in own}


class Workshop(ABC):
    """Recipes, with the materials and settings that they are worked out by: a formulary, or files by themselves."""

    def __init__(self) -> None:
        self._compared: dict[tuple[str, str | None, str], ComparedSide] = {}
        self._compared_by: tuple[Mapping[str, Material], Settings] | None = None

    @property
    @abstractmethod
    def register(self) -> Mapping[str, Material]:
        """All materials by name."""

    @property
    @abstractmethod
    def settings(self) -> Settings:
        """The settings that a batch is worked out by."""

    @abstractmethod
    def find_recipe(self, reference: str) -> Version:
        """A version to look at or to weigh out: as a person names it, or a recipe's file by its path.

        Raises InputError when there is none, and with every fault of the file when it cannot be read.
        """

    @abstractmethod
    def check_recipe(self, reference: str) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in one recipe, with its place in the file.

        reference: as in `find_recipe`. Raises InputError when there is no such recipe.
        """

    @abstractmethod
    def remarks(self, version: Version) -> tuple[Finding, ...]:
        """What is to be known of where a version came from, beside what its batch says."""

    @abstractmethod
    def _materials_for(self, recipe: Recipe) -> Mapping[str, Material]:
        """The register, to work a recipe out by. Raises InputError when a material of it cannot be relied on."""

    def batch(
        self,
        version: Version | PathLike[str] | str,
        *,
        oils: str | None = None,
        total: str | None = None,
        mould: str | None = None,
        bars: int | None = None,
        bar: str | None = None,
        cured: bool = False,
        lots: ChosenLots | None = None,
    ) -> Batch:
        """What to weigh for a version at one size.

        version: a version, or how a person names one, or the path of a recipe's file.
        oils or total: so much oil, or so much batter in all ("1000 g"). mould: its inside as filled ("25 x 8 x 7 cm"),
        or a name from `moulds` in formulary.yaml. bars and bar: so many bars of so much each, as poured, or after the
        cure with `cured`. lots: material -> lot, or lot -> grams of several, None for the one that is the rest; their
        certificates count.
        Raises InputError for a size that is none of these, a recipe that does not fit the register, or a material of
        it whose file cannot be read: its general values are not what the maker's own file says.
        """
        from formulary.batch.size import Size

        size = Size(oils=oils, total=total, mould=mould, bars=bars, bar=bar, cured=cured)
        return self.batch_of_size(version, size, lots=lots)

    def batch_of_size(
        self, version: Version | PathLike[str] | str, size: Size, *, lots: ChosenLots | None = None
    ) -> Batch:
        """What to weigh for a version at a size; the rest as in `batch`."""
        found = self._version(version)
        (batch,) = self.batches_of_sizes([(found, size)], lots=lots)
        return batch

    def _version(self, given: Version | PathLike[str] | str) -> Version:
        return given if isinstance(given, Version) else self.find_recipe(as_name(given))

    def batches_of_sizes(
        self, loaves: Sequence[tuple[Version, Size]], *, lots: ChosenLots | None = None
    ) -> tuple[Batch, ...]:
        """What to weigh for each of several loaves, for all of which the lots are given; the rest as in `batch`.

        A lot counts in every loaf that holds its material.
        """
        from formulary.batch.lot_shares import settle_rests
        from formulary.materials.chosen_lots import demand_weighed, given_lots, has_rest

        given = given_lots(lots or {})
        demand_weighed(given)
        held = {name for version, _ in loaves for name in version.recipe.materials()}
        # How much is left for a lot that is the rest may depend on its own certificate, as alkali does on its assay.
        settled: GivenLots = {
            name: {lot: weight_g or 1.0 for lot, weight_g in of_it.items()} if has_rest(of_it) else of_it
            for name, of_it in given.items()
        }
        for _ in range(_MOST_ROUNDS):
            batches = tuple(
                self._with_remarks(version, self._work_out(version, size, _lots_of(version, settled, held)))
                for version, size in loaves
            )
            before, settled = settled, settle_rests(given, (line for batch in batches for line in batch.pot.lines))
            if settled == before:
                break
        return batches

    def _with_remarks(self, version: Version, batch: Batch) -> Batch:
        remarks = self.remarks(version)
        return replace(batch, findings=(*remarks, *batch.findings)) if remarks else batch

    def _work_out(self, version: Version, size: Size, lots: ChosenLots | None = None) -> Batch:
        from formulary.batch.size import find_masses

        register, settings = self._materials_for(version.recipe), self.settings
        masses = find_masses(size, version, register, settings)
        return work_out_batch(version, register, settings, lots=lots, **masses)

    def sitting(self, batches: Iterable[Batch]) -> Sitting:
        """How to pour several batches in one sitting: what to weigh together, and what each loaf gets."""
        from formulary.batch.shown import ShownSitting
        from formulary.batch.sitting import plan_sitting

        return ShownSitting.of(plan_sitting(_demand_batches(batches), self.register, self.settings))

    def rescue(
        self, batch: Batch, weighed: str | Iterable[str] | Mapping[str, Figure], *, lye_is_in: bool = False
    ) -> Rescue:
        """What remains to weigh after some lines were weighed otherwise, before the lye is in the oils or after.

        weighed: ["olive-oil 490 g"], or {"olive-oil": "490 g"}. Raises InputError for a line or weight that is none.
        """
        from formulary.batch.rescue import work_out_rescue
        from formulary.batch.shown import ShownRescue
        from formulary.batch.weighed import parse_all_weighed

        _demand_batches([batch])
        grams = parse_all_weighed(each_weighed(weighed))
        return ShownRescue.of(work_out_rescue(batch, grams, self.register, self.settings, lye_is_in=lye_is_in))

    def kilogram(self, version: Version | PathLike[str] | str) -> Batch:
        """What a recipe is told for: a batch of 1000 g of its oils, which nobody's vessels have to hold.

        Raises as `batch`.
        """
        found = self._version(version)
        register, settings = self._materials_for(found.recipe), without_vessels(self.settings)
        return self._with_remarks(found, work_out_batch(found, register, settings, oil_mass_g=1000.0))

    def render_recipe(self, version: Version | PathLike[str] | str, *, show_all: bool = False, width: int = 80) -> str:
        """A recipe as text: percentages, lye for 1000 g of oils, water, additions, scent, findings.

        show_all: what the working saponification values rest on, too. width: columns, 50 or more. Raises as `batch`.
        """
        from formulary.batch.recipe_text import render_recipe

        found = self._version(version)
        batch = self.kilogram(found)
        return render_recipe(found, batch, self.register, width=width, show_all=show_all)

    def _batch(self, given: Batch | Version | PathLike[str] | str) -> Batch:
        return given if isinstance(given, Batch) else self.batch(given, oils="1000 g")

    def blend(self, batch: Batch | Version | PathLike[str] | str) -> Blend:
        """The chemistry of a batch's oils.

        batch: what was worked out, or a version or how one is named, of which 1000 g of oils are taken.
        """
        from formulary.batch.blend import describe_blend
        from formulary.batch.shown import ShownBlend

        return ShownBlend.of(describe_blend(self._batch(batch), self.register))

    def ingredients(
        self, batch: Batch | Version | PathLike[str] | str, *, portion: str | None = None
    ) -> IngredientList:
        """The ingredient lists of a batch by INCI name, and of a divided one those of each portion, or of one alone.

        batch: as in `blend`. Raises InputError for a portion that it does not have.
        """
        from formulary.batch.ingredients import list_ingredients
        from formulary.batch.shown import ShownIngredients
        from formulary.changes.compared_side import demand_portion

        batch = self._batch(batch)
        if portion is not None:
            demand_portion(as_name(portion), tuple(each.name for each in batch.pot.portions), batch.recipe)
            portion = portion if batch.pot.portions else None
        return ShownIngredients.of(list_ingredients(batch, self.register, self.settings, portion=portion))

    def cost(self, batch: Batch | Version | PathLike[str] | str) -> Cost:
        """What a batch's materials cost, by the prices of its lots where it was worked out for some.

        batch: as in `blend`.
        """
        from formulary.batch.cost import work_out_cost
        from formulary.batch.shown import ShownCost

        return ShownCost.of(work_out_cost(self._batch(batch), self.register, currency=self.settings.currency))

    def diff(
        self, before: Version | PathLike[str] | str, after: Version | PathLike[str] | str, *, oils: str = "1000 g"
    ) -> Changes:
        """What changed between two versions, in percentages and recalculated lye for the same mass of oils.

        before, after: as in `batch`, or one portion: `midwinter-clove:plain`. Where they came from is no difference:
        `remarks` are left to the caller.
        """
        from formulary.changes.compare import compare_sides

        return compare_sides(*(self.find_side(side, oils=oils) for side in (before, after)))

    def find_side(self, side: Version | PathLike[str] | str, *, oils: str = "1000 g") -> ComparedSide:
        """One side of a diff: a version, or one portion of it, worked out for a mass of oils."""
        from formulary.batch.size import Size
        from formulary.changes.compared_side import ComparedSide, portion_side
        from formulary.history.versions import split_portion

        name, portion = split_portion(side) if isinstance(side, str) else (side, None)
        version = self._version(name)
        # A history compares each version with the one before and the one after it: each is worked out once.
        register, settings = self.register, self.settings
        by = self._compared_by
        if by is None or by[0] is not register or by[1] != settings:
            self._compared.clear()
            self._compared_by = (register, settings)
        key = (version.id, version.label, oils)
        if key not in self._compared:
            batch = self._work_out(version, Size(oils=oils))
            self._compared[key] = ComparedSide(
                recipe=version.recipe, batch=batch, register=register, cost=self.cost(batch)
            )
        whole = self._compared[key]
        if portion is None:
            return whole
        own = portion_side(whole, portion, settings)
        return replace(own, cost=self.cost(own.batch))


def _demand_batches(given: object) -> tuple[Batch, ...]:
    """Batches that were worked out. Raises InputError for what is none, such as the name of a recipe without a size."""
    batches = tuple(given) if isinstance(given, Iterable) and not isinstance(given, str) else (given,)
    found = tuple(each for each in batches if isinstance(each, Batch))
    if len(found) < len(batches):
        wrong = next(each for each in batches if not isinstance(each, Batch))
        do = 'work one out first: folder.batch("first-bar", oils="1000 g")'
        raise InputError.of("no-batch", f"{wrong!r:.60} is no batch", do)
    return found
