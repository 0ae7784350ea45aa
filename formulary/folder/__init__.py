"""A formulary as a person opens it: everything that is done with it, and the making of one."""
