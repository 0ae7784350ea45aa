"""Where a lot went, and what naming one does to the values that a trial is worked out by."""
