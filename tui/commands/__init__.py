"""One module a command of `coldside`: its options, and what it does. Heavy imports stay inside `run`."""
