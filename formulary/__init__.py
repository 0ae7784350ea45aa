"""Recipes, materials, chemistry, checks, diff and merge, and the git store; knows nothing of trials."""
