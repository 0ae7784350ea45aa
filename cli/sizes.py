"""The sizes of several loaves, as they follow one another on a command line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from formulary.errors import InputError

if TYPE_CHECKING:
    from formulary.batch.size import Size

_KINDS = ("oils", "total", "mould", "bars")
_ORDER = "cli.sizes.order"


class SizedCommand(click.Command):
    """A command that remembers in which order its sizes were said, whatever each is said by."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        _, _, order = self.make_parser(ctx).parse_args(list(args))
        ctx.meta[_ORDER] = tuple(param.name for param in order if param.name in _KINDS)
        return super().parse_args(ctx, args)


def match_sizes(
    recipes: Sequence[str],
    *,
    oils: Sequence[str],
    total: Sequence[str],
    mould: Sequence[str],
    bars: Sequence[int],
    bar: tuple[str, ...],
    cured: bool,
) -> list[Size]:
    """The size of each recipe: one that was said holds for all; as many as recipes are taken in their order.

    bar: what one bar weighs, once for all `bars` or once for each. Raises InputError for any other number of sizes.
    """
    from formulary.batch.size import Size

    if len(bar) > 1 and len(bar) != len(bars):
        what = f"--bars is given {_times(len(bars))} and --bar {_times(len(bar))}"
        raise InputError.of("size", what, "give --bar once for all of them, or with each --bars")
    if bar and not bars:
        return [Size(bar=bar[0])] * len(recipes)
    weights: Sequence[str | None] = bar * len(bars) if len(bar) == 1 else bar or (None,) * len(bars)
    said = {
        "oils": iter([Size(oils=text) for text in oils]),
        "total": iter([Size(total=text) for text in total]),
        "mould": iter([Size(mould=text) for text in mould]),
        "bars": iter([Size(bars=n, bar=each, cured=cured) for n, each in zip(bars, weights, strict=True)]),
    }
    sizes = [next(said[kind]) for kind in click.get_current_context().meta[_ORDER]]
    if not sizes:
        return [Size(cured=cured)] * len(recipes)
    if len(sizes) == 1:
        return sizes * len(recipes)
    if len(sizes) == len(recipes):
        return sizes
    raise _miscount(recipes, len(sizes))


def demand_size(size: Size, mould: str | None = None) -> None:
    """Raises InputError for a size that is not said, with the options that say it. mould: one that is named besides."""
    if size.is_said:
        return
    what = "a batch needs one size"
    if mould is not None:
        what += f", and {mould[:40]!r} is neither the inside of a mould nor one of the settings"
    do = 'say one: --oils 1000g, --total 1500g, --mould-size "25 x 8 x 7 cm", or --bars 12 --bar 110g'
    raise InputError.of("size", what, do)


def _times(number: int) -> str:
    return {0: "not at all", 1: "once", 2: "twice"}.get(number, f"{number} times")


def _miscount(recipes: Sequence[str], sizes: int) -> InputError:
    loaves = "1 recipe" if len(recipes) == 1 else f"{len(recipes)} recipes"
    if len(recipes) == 1:
        do = f"give one size, or name the recipe once for each loaf: {recipes[0]} --oils 1000g {recipes[0]} --oils 800g"
    else:
        each = " ".join(f"{recipe} --oils 1000g" for recipe in recipes)
        do = f"give one size for all, or one for each in their order: {each}"
    return InputError.of("size", f"{loaves} and {sizes} sizes", do)
