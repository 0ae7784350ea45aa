"""The pours of all trials, what each showed, how far repeats differ, a difference beside that; and how it is said."""
