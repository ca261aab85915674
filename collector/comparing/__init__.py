"""Cooks before a change of the pit against cooks after it."""
