"""What changed between two formulas: compare, apply, merge, and say it."""
