"""A loaf written up in its trial's file, line by line as its maker would with an editor."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from formulary.quantity import format_decimal
from trials.demo.generator import Poured, SeenLater, Timed
from trials.trial.model import AsMade

INVENTED = "# Invented for the demonstration: nobody poured this loaf; a program drew what happened, with a seed.\n"


def write_day(text: str, poured: Poured, lots: Mapping[str, str]) -> str:
    """A new trial's file (`trials.record.new_trial_text`), with all filled in that its maker knew the next morning.

    lots: material -> the lot that went in. Raises ValueError when a line to be filled in is not in the file.
    """
    filled = _Filled(text)
    filled.below("as_made:", [_as_made(entry) for entry in poured.as_made])
    for material, lot in lots.items():
        filled.instead(f"  {material}:", f'  {material}: "{lot}"')
    conditions = poured.conditions
    filled.instead("  room:", f"  room: {conditions.room_c:g} °C")
    filled.instead("  humidity:", f"  humidity: {conditions.humidity_percent} %")
    filled.instead("  lye_temperature:", f"  lye_temperature: {conditions.lye_c} °C")
    filled.instead("  oil_temperature:", f"  oil_temperature: {conditions.oil_c} °C")
    if poured.mould:
        filled.instead("  mould:", f"  mould: {poured.mould}")
    if poured.cover:
        filled.instead("  cover:", f"  cover: {poured.cover}")
    filled.below("events:", [f"  {_timed(event)}" for event in poured.events])
    for name, events in poured.portions:
        filled.below("    events:", [f"      {_timed(event)}" for event in events], after=f"  - name: {name}")
    filled.below("after_pour:", [f"  - {{at: {hours} h, what: {what}}}" for hours, what in poured.after_pour])
    if poured.notes:
        filled.instead("notes:", f"notes: {poured.notes}")
    return INVENTED + filled.text()


def write_seen(text: str, seen: Iterable[SeenLater]) -> str:
    """The file with further lines of what was seen and measured, below those that are there."""
    filled = _Filled(text)
    filled.below("observations:", [_seen(entry) for entry in seen], last=True)
    return filled.text()


class _Filled:
    """The lines of a file while they are filled in."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()

    def text(self) -> str:
        return "\n".join(self._lines) + "\n"

    def below(self, key: str, lines: Iterable[str], *, after: str | None = None, last: bool = False) -> None:
        """Add lines below the key; after: the line from which on the key is looked for; last: below its entries."""
        at = 1 + self._find(key, 0 if after is None else self._find(after, 0))
        while last and self._lines[at].startswith("  - "):
            at += 1
        self._lines[at:at] = lines

    def instead(self, key: str, line: str) -> None:
        """Write a line in place of the one that begins with the key."""
        self._lines[self._find(key, 0)] = line

    def _find(self, beginning: str, start: int) -> int:
        for number in range(start, len(self._lines)):
            if self._lines[number].startswith(beginning):
                return number
        raise ValueError(f"the trial's file has no line {beginning!r}")


def _as_made(entry: AsMade) -> str:
    assert entry.weighed_g is not None
    return f"  - {{line: {entry.material}, weighed: {format_decimal(entry.weighed_g)} g}}"


def _timed(event: Timed) -> str:
    sign, seconds = ("-" if event.at_s < 0 else ""), abs(event.at_s)
    at = f'"{sign}{seconds // 60}:{seconds % 60:02d}"'
    lasted = f", for: {event.for_s} s" if event.for_s is not None else ""
    return f"- {{at: {at}, what: {event.what}{lasted}}}"


def _seen(entry: SeenLater) -> str:
    values = [f'"{value}"' if value.startswith("#") else value for value in entry.values]
    said = f"value: {values[0]}" if len(values) == 1 else f"values: [{', '.join(values)}]"
    portion = f", portion: {entry.portion}" if entry.portion is not None else ""
    return f"  - {{age: {entry.age_days} d, outcome: {entry.outcome}, {said}{portion}}}"
