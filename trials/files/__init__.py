"""The trials of a formulary as their files say: all, those of a recipe, the one that a person means; what is wrong."""
