"""A git-backed formulary for cold-process soap: recipes, materials, chemistry, checks, changes and their history.

    import formulary
    folder = formulary.open_folder("harbour-soap")
    batch = folder.batch("harbour-base", oils="1000 g")

Importing this does nothing yet: each name is looked up when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from formulary.batch.model import Batch
    from formulary.batch.overriding import demand_weighable
    from formulary.batch.weigh_out import work_out_batch
    from formulary.changes.changes import Changes
    from formulary.data_table_formats import render_table, save_table
    from formulary.errors import ChangedError, FormularyError, InputError, StopError, StorageError
    from formulary.finding import Finding, Severity
    from formulary.folder.doctor import Ailment
    from formulary.folder.folder import Folder, open_folder
    from formulary.folder.saving import SaveReport
    from formulary.folder.starting import init_folder
    from formulary.folder.status import Status
    from formulary.history.lineage import SavedVersion
    from formulary.materials.model import Material
    from formulary.recipes.model import Recipe
    from formulary.recipes.tweaks import add, drop, set_field, swap
    from formulary.recipes.version import Version
    from formulary.variants.send_back_text import SendBack
    from formulary.variants.update_text import Update
    from formulary.workshop.recipe_file import RecipeFiles

_HOMES = {
    "Ailment": "formulary.folder.doctor",
    "Batch": "formulary.batch.model",
    "ChangedError": "formulary.errors",
    "Changes": "formulary.changes.changes",
    "Finding": "formulary.finding",
    "Folder": "formulary.folder.folder",
    "FormularyError": "formulary.errors",
    "InputError": "formulary.errors",
    "Material": "formulary.materials.model",
    "Recipe": "formulary.recipes.model",
    "RecipeFiles": "formulary.workshop.recipe_file",
    "SaveReport": "formulary.folder.saving",
    "SavedVersion": "formulary.history.lineage",
    "SendBack": "formulary.variants.send_back_text",
    "Severity": "formulary.finding",
    "Status": "formulary.folder.status",
    "StopError": "formulary.errors",
    "StorageError": "formulary.errors",
    "Update": "formulary.variants.update_text",
    "Version": "formulary.recipes.version",
    "add": "formulary.recipes.tweaks",
    "demand_weighable": "formulary.batch.overriding",
    "drop": "formulary.recipes.tweaks",
    "init_folder": "formulary.folder.starting",
    "open_folder": "formulary.folder.folder",
    "render_table": "formulary.data_table_formats",
    "save_table": "formulary.data_table_formats",
    "set_field": "formulary.recipes.tweaks",
    "swap": "formulary.recipes.tweaks",
    "work_out_batch": "formulary.batch.weigh_out",
}

__all__ = [
    "Ailment",
    "Batch",
    "ChangedError",
    "Changes",
    "Finding",
    "Folder",
    "FormularyError",
    "InputError",
    "Material",
    "Recipe",
    "RecipeFiles",
    "SaveReport",
    "SavedVersion",
    "SendBack",
    "Severity",
    "Status",
    "StopError",
    "StorageError",
    "Update",
    "Version",
    "add",
    "demand_weighable",
    "drop",
    "init_folder",
    "open_folder",
    "render_table",
    "save_table",
    "set_field",
    "swap",
    "work_out_batch",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return list(__all__)
