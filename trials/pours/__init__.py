"""The pours of all trials, what each showed, how far repeats differ, and a difference beside that."""
