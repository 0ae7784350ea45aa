"""Pages to print or to hand on: each one HTML file that needs no network, no program and nothing beside it."""
