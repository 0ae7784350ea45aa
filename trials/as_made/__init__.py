"""A trial as it was really made: what went into the pot and each portion, and what follows from that."""
