"""A digest of a file that nobody edits by hand, kept in it, so that a careless change is noticed.

It catches accidents, not somebody who works it out anew.
"""

from __future__ import annotations

import re
from hashlib import sha256

from formulary.document.fields import Fields
from formulary.finding import has_errors

_BEFORE = "\nformat: 1\n"
_LINE = re.compile(r"^digest: .*\n", re.MULTILINE)


def with_digest(text: str) -> str:
    """The text of a file that begins with its remark and format, with a digest of all the rest of it."""
    return text.replace(_BEFORE, f'{_BEFORE}digest: "{_digest(text)}"\n', 1)


def is_altered(fields: Fields, data: bytes | str) -> bool:
    """Whether a file that states a digest, and has no fault else, is not the one that it was worked out of."""
    stated = fields.scalar("digest")
    text = data if isinstance(data, str) else data.decode("utf-8", "replace")
    rest = _LINE.sub("", text, count=1)
    return stated is not None and not has_errors(fields.findings) and stated.text != _digest(rest)


def _digest(text: str) -> str:
    """Of a text, whatever the ends of its lines are."""
    return sha256(text.removeprefix("\ufeff").replace("\r\n", "\n").encode("utf-8")).hexdigest()


def bring_back(fields: Fields) -> str:
    """How a file of a trial comes back that is not as it was written."""
    parts = (fields.path or "").split("/")
    trial, name = (parts[-2], parts[-1]) if len(parts) > 1 else ("TRIAL", "it")
    return f"bring {name} back: formulary restore {trial} --discard"
