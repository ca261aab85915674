"""`Snapshot` to terminal, and the `coldside` command line."""
