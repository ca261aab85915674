"""Suppression by design (ISA-18.2): which alarms may not speak while the pit is in a state that explains them. Pure."""

import enum
from collections.abc import Mapping

from collector.snapshot import Phase

__all__ = ["SUPPRESSED_WHILE", "Circumstance", "circumstances", "suppressed"]


class Circumstance(enum.StrEnum):
    """Why an alarm may be suppressed by design, in words."""

    UNHEARD = "no probe of the grate is heard"
    UNLIT = "the pit is cold"
    WARMING = "the pit warms up"
    LID_OPEN = "the lid is open, or the chamber has not come back yet"
    UNREACHED = "the grate has not reached its band yet"
    FADING = "the fire fades, which is told"
    COVERED = "its neighbors say enough of its place"
    SOURCE_SILENT = "its whole source is silent, which has an alarm of its own"


_OF_PHASE = {
    Phase.UNKNOWN: Circumstance.UNHEARD,
    Phase.COLD: Circumstance.UNLIT,
    Phase.WARMING: Circumstance.WARMING,
    Phase.LID_OPEN: Circumstance.LID_OPEN,
}
_NOT_STEADY = tuple(_OF_PHASE.values())
SUPPRESSED_WHILE: Mapping[str, tuple[Circumstance, ...]] = {
    "cold-spot": _NOT_STEADY,
    "spread": _NOT_STEADY,
    "drift": (Circumstance.UNREACHED,),
    "meat-falling": (Circumstance.FADING,),
    "probe-silent": (Circumstance.COVERED, Circumstance.SOURCE_SILENT),
}
"""Which rules are suppressed by design, and when; every other rule never is."""


def circumstances(phase: Phase, *, fire_unlit: bool, fading: bool = False) -> frozenset[Circumstance]:
    """Say what is so now that may suppress an alarm.

    Args:
        phase: of the fire.
        fire_unlit: the grate has not reached its band yet.
        fading: an alarm says that the fire fades.
    """
    now = {_OF_PHASE[phase]} if phase in _OF_PHASE else set()
    if fire_unlit:
        now.add(Circumstance.UNREACHED)
    if fading:
        now.add(Circumstance.FADING)
    return frozenset(now)


def suppressed(now: frozenset[Circumstance]) -> dict[str, bool]:
    """Say of each rule of the whole pit that may be suppressed whether it is."""
    return {rule: not now.isdisjoint(why) for rule, why in SUPPRESSED_WHILE.items()}
