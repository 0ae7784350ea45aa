"""Thin commands over formulary and trials: parse, call, print."""
