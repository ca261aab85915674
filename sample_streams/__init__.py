"""Recorded nights made by the rehearsal pit, played by `coldside demo`."""
