"""The answer to "which tweak did it" as data, and how it is said."""
