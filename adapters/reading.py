"""The one record every source yields: a value of a probe at a time, with its quality.

Temperatures are degrees Celsius, times are Unix seconds UTC; a missing number is NaN, a missing time None.
"""

import enum

import msgspec

__all__ = ["FURTHEST_UNIX", "Quality", "Reading", "Reason", "Unit", "difference_kelvin", "to_celsius"]

FURTHEST_UNIX = 2.5e11
"""Times further from 1970 are nonsense: the calendar of Python ends with the year 9999."""


class Quality(enum.IntEnum):
    """How far a value may be trusted: the three severities of an OPC UA status code (Part 8, 1.05)."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


class Reason(enum.IntEnum):
    """Why a reading is not good. The number is what the store keeps, so a member never changes its own."""

    NONE = 0
    """Nothing is wrong."""
    LAST_KNOWN = 1
    """A retained or cached value: the last one known, of unknown age."""
    OFFLINE = 2
    """Its source says the probe is gone (last will, link lost). No value."""
    UNDECODABLE = 3
    """The payload could not be read. No value."""
    OUT_OF_RANGE = 4
    """Outside what the probe can measure."""
    TOO_FAST = 5
    """Rose or fell faster than air or meat in a pit can."""
    SPIKE = 6
    """Stands alone far from its neighbours in time (Hampel)."""
    STUCK = 7
    """The very same value for too long."""
    OPEN_OR_SHORT = 8
    """The value a broken or shorted sensor gives."""
    CLOCK_FUTURE = 9
    """Its own time lies ahead of ours."""
    CLOCK_PAST = 10
    """Its own time lies far behind ours: an old value sent late."""
    OUT_OF_ORDER = 11
    """Its own time lies before that of the reading before it."""
    DUPLICATE = 12
    """Its own time equals that of the reading before it."""
    DISAGREES = 13
    """Its neighbours in the chamber say otherwise (leave-one-out)."""
    NOT_A_NUMBER = 14
    """The probe itself said that it has no value."""
    SWAPPED = 15
    """It says what another probe should, and that one what it should."""
    WET = 16
    """Wetted or touching what is wet: near the wet bulb while the air is hot."""
    DRIFTS = 17
    """Walks away slowly from what it and its neighbours said before."""


class Unit(enum.StrEnum):
    """The unit a value came in, by its SenML symbol (RFC 8428, section 12.1), or Fahrenheit by its UCUM one."""

    CELSIUS = "Cel"
    FAHRENHEIT = "[degF]"
    KELVIN = "K"


def to_celsius(value: float, unit: Unit) -> float:
    """Convert a temperature to degrees Celsius.

    >>> round(to_celsius(225.0, Unit.FAHRENHEIT), 3)
    107.222
    """
    if unit is Unit.CELSIUS:
        return value
    if unit is Unit.FAHRENHEIT:
        return (value - 32.0) / 1.8
    return value - 273.15


def difference_kelvin(difference: float, unit: Unit) -> float:
    """Convert a temperature difference to kelvin: 20 °F apart is 11.1 K apart.

    >>> round(difference_kelvin(20.0, Unit.FAHRENHEIT), 2)
    11.11
    """
    return difference / 1.8 if unit is Unit.FAHRENHEIT else difference


class Reading(msgspec.Struct, frozen=True, gc=False):
    """One value of one probe at one time."""

    source: str
    """Name of the source that heard it."""
    key: str
    """Probe key: what this source calls the probe. The config maps (source, key) to a probe."""
    celsius: float
    """Raw value, calibration not applied. NaN when there is none."""
    received_unix: float
    """When we heard it, Unix seconds UTC by our clock."""
    source_unix: float | None = None
    """When the probe says it measured, Unix seconds UTC. None when it did not say."""
    unit: Unit = Unit.CELSIUS
    """The unit the value came in, kept for the record."""
    quality: Quality = Quality.GOOD
    reason: Reason = Reason.NONE
    receipt: int | None = None
    """Identity of the message that carried it, for a source whose broker sends it again until it is
    acknowledged: packet id << 32 | CRC-32 of topic and payload. Readings of one message share it, come one after
    another, and must be committed together. None where nothing waits for an acknowledgement."""
