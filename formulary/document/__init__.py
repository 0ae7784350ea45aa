"""A YAML file as a tree of texts with positions: read, with typed fields out of it, changed in place, and written."""
