"""What a person does to the running cook. Recorded with its time, so that a replay does it again."""

import enum

import msgspec

from collector.model.calibration import Calibration

__all__ = ["Action", "ActionKind"]


class ActionKind(enum.StrEnum):
    """The things a person can do."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    RESET = "reset"
    """Let a latched alarm go."""
    REMOVE = "remove"
    """Take an alarm out of service."""
    RESTORE = "restore"
    """Put it back."""
    MARK = "mark"
    CONFIRM = "confirm"
    """An event that the curves show was one."""
    DELETE = "delete"
    """It was none."""
    RESUME = "resume"
    """The collector itself: it was away and goes on."""
    CALIBRATE = "calibrate"
    """A probe was calibrated, or that was undone."""
    MEAT = "meat"
    """A piece was added, or is now as `text` describes it: JSON of `collector.model.meat.piece.Piece`."""
    MEAT_PHASE = "meat-phase"
    """A piece went on, was wrapped, rests: `text` is its phase from here on."""
    SPOT = "spot"
    """A reading by hand: `text` is JSON of `collector.model.meat.spots.Spot`."""


class Action(msgspec.Struct, frozen=True):
    """One thing a person did."""

    kind: ActionKind
    subject: str = ""
    """Key of the alarm or trouble (empty: all), kind of the mark, identity of the event, name of the probe or piece."""
    seconds: float = 0.0
    """For how long to shelve."""
    text: str = ""
    """Words of the mark."""
    calibration: Calibration | None = None
    """Of `CALIBRATE`: what was found, and the line that holds from here on."""
