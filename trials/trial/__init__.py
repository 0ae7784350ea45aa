"""A trial as its file states it: what it is and is called, its frozen plan, its times as well as they are known."""
