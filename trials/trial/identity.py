"""What a trial is called: its date, its recipe, and four characters that nobody can misread."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable
from datetime import date

from formulary.errors import InputError
from formulary.given import is_text
from formulary.history.versions import demand_whole
from formulary.names import suggest

# No 0 and o, no 1, i and l; no vowels, so that no word comes out.
ALPHABET = "23456789bcdfghjkmnpqrstvwxz"
CODE_LENGTH = 4
TRIAL_ID = re.compile(rf"\d{{4}}-\d{{2}}-\d{{2}}-[a-z0-9]+(?:-[a-z0-9]+)*-[{ALPHABET}]{{{CODE_LENGTH}}}")

_TRIES = 200


def random_code() -> str:
    """Four characters from the system's own randomness."""
    import secrets

    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def make_trial_id(
    made: date, recipe: str, taken: Collection[str] = (), *, draw_code: Callable[[], str] = random_code
) -> str:
    """A new id, `2026-10-03-midwinter-clove-k7wq`, whose four characters no trial in `taken` has.

    draw_code: gives four characters of ALPHABET at each call; the system's randomness unless given.
    Raises RuntimeError when it never gives free ones.
    """
    codes = {code_of(identifier) for identifier in taken}
    for _ in range(_TRIES):
        code = draw_code()
        if code not in codes:
            return f"{made.isoformat()}-{recipe}-{code}"
    raise RuntimeError("no free trial code was drawn")


def code_of(trial_id: str) -> str:
    """The four characters at the end of a trial's id."""
    return trial_id[-CODE_LENGTH:]


def day_of(trial_id: str) -> date | None:
    """The day that a trial's id begins with, on which it was said to be made when it was started; None without one."""
    try:
        return date.fromisoformat(trial_id[:10])
    except ValueError:
        return None


def trial_folder(trial_id: str) -> str:
    """The folder of a trial within the formulary, `trials/2026/2026-10-03-midwinter-clove-k7wq`."""
    return f"trials/{trial_id[:4]}/{trial_id}"


def is_trial_folder(year: str, name: str) -> bool:
    """Whether a folder below trials/ is named as a trial's is, and stands in the folder of its year."""
    return TRIAL_ID.fullmatch(name) is not None and name.startswith(f"{year}-")


def trial_ids_among(paths: Iterable[str]) -> tuple[str, ...]:
    """The trials that files belong to, by date; files in folders that are named otherwise belong to none."""
    folders = {tuple(path.split("/")[1:3]) for path in paths if path.count("/") == 3}
    return tuple(sorted(name for year, name in folders if is_trial_folder(year, name)))


def find_trial_id(text: str, ids: Iterable[str]) -> str:
    """The id of the trial that a person means: by its four characters, or by a beginning that only one has.

    Raises InputError: for a text that is no part of an id, for one that fits none (the nearest are offered), and for
    one that fits several (they are listed).
    """
    wanted = text.strip().lower() if is_text(text) else ""
    known = sorted(ids)
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]*", wanted):
        demand_whole(wanted)
        what = f"{text!r:.60} does not name a trial"
        raise InputError.of("bad-name", what, "write a trial's four characters, or the beginning of its id")
    if wanted in known:
        return wanted
    by_code = [identifier for identifier in known if code_of(identifier) == wanted]
    found = by_code or [identifier for identifier in known if identifier.startswith(wanted)]
    if len(found) == 1:
        return found[0]
    if found:
        listed = ", ".join(found[:8]) + (f" and {len(found) - 8} more" if len(found) > 8 else "")
        raise InputError.of("ambiguous-trial", f"{text!r} fits {listed}", "type more of it, or its four characters")
    codes = [code_of(identifier) for identifier in known]
    do = suggest(wanted, [*known, *codes], "`formulary trial list` lists them" if known else "start one first")
    raise InputError.of("no-trial", f"no trial is called {text[:60]!r}", do)
