"""Trials side by side: what differed between them, and what each did, beside the noise of repeats."""
