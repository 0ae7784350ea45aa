"""Trials, outcomes, factors, comparison, explanation, charts; uses formulary."""
