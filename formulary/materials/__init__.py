"""Materials: what is known of everything that is weighed, built in or written by the maker, and lots of it."""
