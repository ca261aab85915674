"""The record on disk: SQLite in WAL mode, one writer, readers beside it."""
