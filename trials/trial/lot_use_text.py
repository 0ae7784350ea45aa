"""The lots of one material as a trial's files state them: one, or several with their grams."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from formulary.document.edit import Value
from formulary.document.fields import Fields
from formulary.document.tree import Block, Node, Scalar
from formulary.document.write import Inline, Quoted
from formulary.quantity import Kind, NotAQuantity, parse_quantity
from trials.trial.model import LotUse


def read_lot_uses(fields: Fields, key: Scalar, node: Node) -> tuple[LotUse, ...]:
    """The lots of one material: `"OL-7"`, or `{"OL-7": 300 g, "OL-8": 155 g}`."""
    if isinstance(node, Scalar):
        return () if node.is_empty else (LotUse(node.text),)
    if not isinstance(node, Block):
        fields.report("wrong-shape", "a lot is a word, or a block of lots", 'write "OL-7" or {"OL-7": 300 g}', node)
        return ()
    uses: list[LotUse] = []
    for entry in node.entries:
        grams = fields.parse_node(entry.value, mass_g, f"lots, {key.text[:40]}, {entry.key.text[:20]}")
        if grams is not None:
            uses.append(LotUse(entry.key.text, grams))
    if len(uses) > 1 and not sum(use.grams or 0 for use in uses):
        what = f"the lots of {key.text[:40]} weigh nothing together"
        fields.report("lots-unweighed", what, "write the grams of each", node, f"lots, {key.text[:40]}")
    return tuple(uses)


def lots_tree(uses: Sequence[LotUse]) -> Value:
    """The lots of one material as they are written: the one by its name, several with their grams."""
    if len(uses) == 1 and uses[0].grams is None:
        return Quoted(uses[0].lot)
    return Inline({Quoted(use.lot): f"{use.grams or 0:f} g" for use in uses})


def mass_g(text: str) -> Decimal:
    """Grams of a mass that may be nothing. Raises NotAQuantity."""
    grams = parse_quantity(text, Kind.MASS).to("g")
    if grams < 0:
        raise NotAQuantity(f"{text.strip()!r} is below zero", "write 0 g or more")
    return grams
