"""Pages as a strict reader sees them: html5lib follows the WHATWG HTML standard, and raises at the first error."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

import html5lib

# What may stand in a page beside texts; nothing of it can run, or ask for anything.
ALLOWED = {
    *("html", "head", "meta", "title", "style", "body", "h1", "h2", "h3", "p", "b", "span", "div", "ul", "li"),
    *("dl", "dt", "dd", "table", "colgroup", "col", "thead", "tbody", "tr", "th", "td", "img", "figure", "figcaption"),
}
ATTRIBUTES = {"class", "lang", "charset", "name", "content", "style", "colspan", "src", "alt"}


def read_page(html: str) -> Element:
    """The page's tree. Raises at anything that the standard calls a parse error."""
    parser = html5lib.HTMLParser(html5lib.getTreeBuilder("etree"), strict=True, namespaceHTMLElements=False)
    tree: Element = parser.parse(html)
    return tree


def demand_self_contained(html: str) -> Element:
    """The tree of a page that runs nothing and asks for nothing outside of it."""
    page = read_page(html)
    for part in page.iter():
        assert part.tag in ALLOWED, part.tag
        assert set(part.attrib) <= ATTRIBUTES, part.attrib
        assert part.get("src", "data:").startswith("data:image/svg+xml;base64,") or part.tag != "img"
    style = page.findtext("head/style") or ""
    assert not re.search(r"@import|url\(|expression|https?:", style)
    assert not re.search(r"https?://", html)
    return page


def text_of(part: Element) -> str:
    """All the text in a part of a page."""
    return "".join(part.itertext())


def cells(page: Element, class_: str) -> list[str]:
    """The texts of all cells of a class, in order."""
    return [text_of(cell) for cell in page.iter("td") if class_ in (cell.get("class") or "").split()]
