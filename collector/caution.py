"""The caution that goes wherever somebody might leave a fire alone because of what coldside shows."""

__all__ = ["FIRE_CAUTION"]

FIRE_CAUTION = (
    "coldside advises. It is no substitute for a carbon monoxide alarm where people sleep, for a thermometer you "
    "trust, or for somebody who minds the fire; leave a fire alone only where local code allows it."
)
