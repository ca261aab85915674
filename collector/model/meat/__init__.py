"""The meat: pieces, what they do, when they arrive, whether they are safe. Pure."""
