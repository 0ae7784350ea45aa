"""The saved versions of recipes: found, numbered, whose they are, and those that were read before."""
