"""`Snapshot` to cells and text: pure functions that widgets call."""
