"""What trials are compared on: an outcome, the built-in ones, and its values: observed, from events, or derived."""
