"""Who saves: the name and the address that a person gave git, or neutral ones."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from formulary.finding import Finding, note
from formulary.store.process import Git, Running

NEUTRAL_NAME, NEUTRAL_ADDRESS = "formulary", "formulary@localhost"


@dataclass(frozen=True, slots=True)
class Person:
    """Who saves, as the commit will say."""

    name: str
    address: str
    findings: tuple[Finding, ...] = ()

    def signature(self, when: datetime) -> str:
        """The line of a commit that says who and when."""
        return f"{self.name} <{self.address}> {int(when.timestamp())} {when.strftime('%z')[:5] or '+0000'}"


def ask_person(git: Git) -> Running:
    """Starts to ask git who the person is, so that the answer is there when it is needed."""
    return git.begin(["config", "-z", "--get-regexp", r"^(user|author)\.(name|email)$"])


def read_person(asked: Running) -> Person:
    """The person that git knows; a neutral one, with a note, when it knows none."""
    _, output = asked.finish(allowed=(0, 1))
    values: dict[str, str] = {}
    for item in output.decode("utf-8", "replace").split("\0"):
        key, _, value = item.partition("\n")
        clean = "".join(" " if ord(letter) < 32 or letter in "<>" else letter for letter in value)
        clean = clean.strip(" .,:;\"'")  # as git itself does
        if clean:
            values[key.lower()] = clean
    name = values.get("author.name", values.get("user.name"))
    address = values.get("author.email", values.get("user.email"))
    if name and address:
        return Person(name, address)
    finding = note(
        "git-identity",
        f"Git does not know you; “{name or NEUTRAL_NAME} <{address or NEUTRAL_ADDRESS}>” signed the save.",
        'Tell it once: git config --global user.name "Your Name", and the same for user.email.',
    )
    return Person(name or NEUTRAL_NAME, address or NEUTRAL_ADDRESS, (finding,))
