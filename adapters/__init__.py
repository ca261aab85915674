"""Bytes from the world to `Reading`: radio, broker, recording, simulated pit. Knows nothing of the rest."""
