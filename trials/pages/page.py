"""One self-contained HTML page, built of elements: what a person wrote is text in it, and can never become markup."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TypeAlias
from xml.etree.ElementTree import Element, tostring

from formulary.errors import InputError
from formulary.whole_file import write_whole

ENDINGS = (".html", ".htm")
Content: TypeAlias = Element | str | None

# Signs that no HTML document may hold (WHATWG HTML, preprocessing the input stream): controls, halves of surrogate
# pairs, noncharacters.
_PLANES = "".join(chr(plane * 0x10000 + end) for plane in range(17) for end in (0xFFFE, 0xFFFF))
_NOT_ALLOWED = re.compile(f"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef{_PLANES}]")
# Paper of any size: A4 and Letter differ by less than the margins. Black, white and one grey; no pictures of its own.
_STYLE = """
@page { margin: 10mm 12mm 13mm; @bottom-right { content: counter(page) " / " counter(pages); font: 9pt sans-serif; } }
* { box-sizing: border-box; }
html { color: #000; background: #fff; }
body { margin: 0 auto; padding: 6mm 5mm; max-width: 196mm; }
body { font: 10.5pt/1.3 Arial, Helvetica, "DejaVu Sans", sans-serif; }
h1 { margin: 0 0 1mm; font-size: 19pt; line-height: 1.15; }
h2 { margin: 4mm 0 1mm; font-size: 13pt; line-height: 1.2; border-bottom: 0.5mm solid #000; break-after: avoid; }
h3 { margin: 4mm 0 1mm; font-size: 11pt; break-after: avoid; }
p { margin: 0 0 1.5mm; }
ul { margin: 0 0 1.5mm; padding-left: 5mm; }
table { width: 100%; border-collapse: collapse; }
th, td { padding: 0.8mm 1.5mm; text-align: left; vertical-align: top; overflow-wrap: anywhere; }
th { font-weight: bold; }
tr { break-inside: avoid; }
.number { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
.small { font-size: 9pt; line-height: 1.25; }
.finding { margin: 0 0 1.5mm; padding-left: 17mm; text-indent: -17mm; break-inside: avoid; }
.finding b { display: inline-block; width: 17mm; text-indent: 0; }
@media print { body { padding: 0; max-width: none; } }
"""


def element(tag: str, *content: Content | Iterable[Content], class_: str = "", **attributes: str) -> Element:
    """An element with texts and elements in it; None is nothing."""
    if class_:
        attributes["class"] = class_
    made = Element(tag, {name: clean(text) for name, text in attributes.items()})
    last: Element | None = None
    for item in _flat(content):
        if isinstance(item, Element):
            made.append(item)
            last = item
        elif last is None:
            made.text = (made.text or "") + clean(item)
        else:
            last.tail = (last.tail or "") + clean(item)
    return made


def _flat(content: Iterable[Content | Iterable[Content]]) -> Iterable[Element | str]:
    for item in content:
        if isinstance(item, (Element, str)):
            yield item
        elif item is not None:
            yield from (each for each in item if each is not None)


def clean(text: str) -> str:
    """The text with a replacement for every sign that a page may not hold."""
    return _NOT_ALLOWED.sub("\N{REPLACEMENT CHARACTER}", text)


def render_page(title: str, content: Iterable[Content], *, style: str = "") -> str:
    """The page as one HTML document. style: rules beside those that every page has, our own text alone."""
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("title", title),
        element("style", _STYLE + style),
    )
    document = element("html", head, element("body", content), lang="en")
    return "<!DOCTYPE html>\n" + tostring(document, encoding="unicode", method="html") + "\n"


def demand_page_name(path: Path) -> None:
    """Raises InputError for a name that does not end as a page's does: a slip there would write over another file."""
    if path.suffix.lower() not in ENDINGS:
        do = f"end the name in .html: {path.stem or 'page'}.html"
        raise InputError.of("page-ending", f"{path.name!r} is no name of a page", do)


def save_page(html: str, path: Path) -> None:
    """Write a page to a file, whole or not at all: the first half of a sheet would still be weighed by.

    Raises InputError for another ending than .html, StorageError when the disk refuses.
    """
    demand_page_name(path)
    write_whole(path, html.encode("utf-8"))
