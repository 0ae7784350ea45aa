"""A demonstration formulary of an invented maker, built through the public library, and the tour of it."""
