"""The git store: bytes of files and their saved versions, safely; it never knows what a recipe is."""

from __future__ import annotations

from formulary.identity import blob_id
from formulary.store.making import init_store
from formulary.store.paths import check_path
from formulary.store.saved import Saved, SaveResult
from formulary.store.store import Store, open_store

__all__ = ["SaveResult", "Saved", "Store", "blob_id", "check_path", "init_store", "open_store"]
