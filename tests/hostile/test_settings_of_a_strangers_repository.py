"""No setting of a stranger's repository makes a program run or changes what is read and written.

Wherever a plain git command springs the trap, the test shows that first: a trap that cannot spring proves nothing.
"""

from __future__ import annotations

import pytest

from formulary.store import open_store
from tests.hostile.canary import RECIPE, Canary, exercise

HOOKS = (
    "applypatch-msg pre-commit prepare-commit-msg commit-msg post-commit pre-rebase post-checkout post-merge pre-push "
    "pre-auto-gc post-rewrite post-index-change reference-transaction fsmonitor-watchman update pre-receive"
)

COMMIT = ("commit", "--allow-empty", "-m", "x")

# name -> (settings, attributes, the git command that springs it). CANARY stands for the program.
TRAPS: dict[str, tuple[dict[str, str], str, tuple[str, ...] | None]] = {
    "fsmonitor": ({"core.fsmonitor": "CANARY"}, "", ("status",)),
    "editor": ({"core.editor": "CANARY", "sequence.editor": "CANARY"}, "", ("commit", "--allow-empty")),
    "signing": ({"commit.gpgSign": "true", "tag.gpgSign": "true", "gpg.program": "CANARY"}, "", COMMIT),
    "signing by ssh": (
        {"commit.gpgSign": "true", "gpg.format": "ssh", "gpg.ssh.program": "CANARY", "user.signingKey": "key::x"},
        "",
        COMMIT,
    ),
    "signing key command": (
        {"commit.gpgSign": "true", "gpg.format": "ssh", "gpg.ssh.defaultKeyCommand": "CANARY"},
        "",
        COMMIT,
    ),
    "external diff": ({"diff.external": "CANARY"}, "", ("diff",)),
    "diff driver": ({"diff.trap.command": "CANARY"}, "* diff=trap", ("diff",)),
    "textconv": ({"diff.trap.textconv": "CANARY"}, "* diff=trap", ("log", "-p")),
    "clean filter": ({"filter.trap.clean": "CANARY", "filter.trap.required": "true"}, "* filter=trap", ("add", "-A")),
    "smudge filter": ({"filter.trap.smudge": "CANARY"}, "* filter=trap", ("checkout", "-f", "HEAD~1", "--", RECIPE)),
    "process filter": ({"filter.trap.process": "CANARY"}, "* filter=trap", ("add", "-A")),
    "merge driver": ({"merge.trap.driver": "CANARY"}, "* merge=trap", None),
    "pager": ({"core.pager": "CANARY", "pager.log": "CANARY", "pager.config": "CANARY"}, "", None),
    "ssh command": (
        {"core.sshCommand": "CANARY", "remote.origin.url": "ssh://localhost/x"},
        "",
        ("fetch", "origin"),
    ),
    "credential helper": ({"credential.helper": "!CANARY", "core.askPass": "CANARY"}, "", ("credential", "fill")),
    "ext remote": (
        {"protocol.ext.allow": "always", "remote.origin.url": "ext::CANARY"},
        "",
        ("fetch", "origin"),
    ),
    "missing objects from an ext remote": (
        {
            "core.repositoryFormatVersion": "1",
            "extensions.partialClone": "origin",
            "protocol.ext.allow": "always",
            "protocol.allow": "always",
            "remote.origin.url": "ext::CANARY",
            "remote.origin.promisor": "true",
        },
        "",
        ("cat-file", "-p", "0123456789" * 4),
    ),
    "missing objects by an upload program": (
        {
            "core.repositoryFormatVersion": "1",
            "extensions.partialClone": "origin",
            "remote.origin.url": ".",
            "remote.origin.uploadpack": "CANARY",
            "remote.origin.promisor": "true",
        },
        "",
        ("cat-file", "-p", "0123456789" * 4),
    ),
    "missing objects by a remote helper": (
        {
            "core.repositoryFormatVersion": "1",
            "extensions.partialClone": "origin",
            "protocol.ext.allow": "always",
            "remote.origin.url": "CANARY",
            "remote.origin.vcs": "ext",
            "remote.origin.promisor": "true",
        },
        "",
        ("cat-file", "-p", "0123456789" * 4),
    ),
    "aliases": ({f"alias.{name}": "!CANARY" for name in ("log", "config", "trap")}, "", ("trap",)),
    "submodules": ({"submodule.recurse": "true", "submodule.x.update": "!CANARY", "submodule.x.url": "."}, "", None),
    "trailers": ({"trailer.sign.command": "CANARY", "trailer.sign.key": "Sign"}, "", None),
    "browser and help": ({"help.autoCorrect": "immediate", "web.browser": "CANARY", "man.viewer": "CANARY"}, "", None),
    "alternate references": ({"core.alternateRefsCommand": "CANARY"}, "", None),
    "git proxy": ({"core.gitProxy": "CANARY"}, "", None),
    "packing": ({"gc.auto": "1", "gc.recentObjectsHook": "CANARY", "uploadpack.packObjectsHook": "CANARY"}, "", None),
}  # fmt: skip


@pytest.mark.parametrize("name", TRAPS)
def test_a_setting_that_names_a_program_does_not_run_it(canary: Canary, name: str) -> None:
    settings, attributes, command = TRAPS[name]
    before = canary.picture()
    if attributes:
        (canary.root / ".gitattributes").write_text(attributes + "\n")
        (canary.root / ".git" / "info").mkdir(exist_ok=True)
        (canary.root / ".git" / "info" / "attributes").write_text(attributes + "\n")
    (canary.root / RECIPE).write_text("changed\n")
    for key, value in settings.items():
        canary.set(key, value.replace("CANARY", str(canary.program)))
    if command is not None:
        canary.demand_live(*command)
    assert exercise(canary.root) == []
    canary.demand_untouched(before)


def test_hooks_do_not_run(canary: Canary) -> None:
    before = canary.picture()
    hooks = canary.root / ".git" / "hooks"
    hooks.mkdir()
    for name in HOOKS.split():
        (hooks / name).write_bytes(canary.program.read_bytes())
        (hooks / name).chmod(0o755)
    canary.demand_live(*COMMIT)
    assert exercise(canary.root) == []
    canary.demand_untouched(before)


@pytest.mark.parametrize("how", ["core.hooksPath", "include.path", "includeIf", "worktree settings"])
def test_hooks_named_by_a_setting_do_not_run(canary: Canary, how: str) -> None:
    hooks = canary.outside / "hooks"
    hooks.mkdir()
    for name in HOOKS.split():
        (hooks / name).write_bytes(canary.program.read_bytes())
        (hooks / name).chmod(0o755)
    included = f"[core]\n\thooksPath = {hooks}\n\tfsmonitor = {canary.program}\n"
    (canary.outside / "included").write_text(included)
    before = canary.picture()
    if how == "core.hooksPath":
        canary.set(how, str(hooks))
    elif how == "include.path":
        canary.set(how, str(canary.outside / "included"))
    elif how == "includeIf":
        canary.set(f"includeIf.gitdir:{canary.root}/.path", str(canary.outside / "included"))
    else:
        canary.set("extensions.worktreeConfig", "true")
        (canary.root / ".git" / "config.worktree").write_text(included)
    canary.demand_live(*COMMIT)
    assert exercise(canary.root) == []
    canary.demand_untouched(before)


ODD_SETTINGS = {
    "log.showSignature": "true",
    "log.decorate": "full",
    "log.follow": "true",
    "log.showRoot": "false",
    "log.abbrevCommit": "true",
    "log.diffMerges": "off",
    "log.mailmap": "true",
    "log.date": "relative",
    "format.pretty": "oneline",
    "color.ui": "always",
    "color.diff": "always",
    "diff.renames": "copies",
    "diff.noPrefix": "true",
    "diff.submodule": "log",
    "diff.orderFile": "/nowhere",
    "core.quotePath": "true",
    "core.abbrev": "4",
    "core.autocrlf": "true",
    "core.eol": "crlf",
    "core.safecrlf": "true",
    "core.ignoreCase": "true",
    "core.fileMode": "false",
    "core.splitIndex": "true",
    "core.untrackedCache": "true",
    "core.logAllRefUpdates": "false",
    "core.sharedRepository": "0640",
    "core.compression": "0",
    "core.notesRef": "refs/notes/x",
    "notes.displayRef": "*",
    "i18n.logOutputEncoding": "UTF-16",
    "i18n.commitEncoding": "latin1",
    "user.useConfigOnly": "true",
    "index.version": "4",
    "index.sparse": "true",
    "feature.manyFiles": "true",
    "status.showUntrackedFiles": "all",
    "advice.detachedHead": "true",
    "receive.denyCurrentBranch": "refuse",
}


def test_settings_of_taste_change_nothing_that_is_read_or_written(canary: Canary) -> None:
    with open_store(canary.root) as store:
        history, blobs = store.history(), dict(store.tip_blobs())
    for key, value in ODD_SETTINGS.items():
        canary.set(key, value)
    with open_store(canary.root) as store:
        assert store.history() == history
        assert dict(store.tip_blobs()) == blobs
    assert exercise(canary.root) == []
    with open_store(canary.root) as store:
        assert store.history()[-len(history) :] == history
        data = b"a\r\nb\n"
        store.save({"recipes/c.yaml": data}, message="x", read_from=store.tip)
        assert store.read_blobs([store.tip_blobs()["recipes/c.yaml"]]).popitem()[1] == data
    canary.git("fsck", "--full", "--strict")


def test_replaced_and_grafted_objects_are_seen_as_they_are(canary: Canary) -> None:
    with open_store(canary.root) as store:
        history = store.history()
        saved = store.read_blobs([saved.blob for saved in history if saved.blob])
    one, two = canary.git("rev-parse", f"HEAD~1:{RECIPE}").strip(), canary.git("rev-parse", f"HEAD:{RECIPE}").strip()
    canary.git("replace", two, one)
    canary.git("replace", canary.git("rev-parse", "HEAD").strip(), canary.git("rev-parse", "HEAD~1").strip())
    assert canary.git("cat-file", "-p", two) == "one\n"  # what a careless reader would see
    (canary.root / ".git" / "info").mkdir(exist_ok=True)
    (canary.root / ".git" / "info" / "grafts").write_text(canary.git("--no-replace-objects", "rev-parse", "HEAD"))
    with open_store(canary.root) as store:
        assert store.history() == history
        assert store.read_blobs([saved.blob for saved in history if saved.blob]) == saved
