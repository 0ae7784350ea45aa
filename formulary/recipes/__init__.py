"""Recipes: model, reading, editing in place, versions."""
