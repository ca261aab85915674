"""What a collector and a dashboard say to each other: tagged MessagePack messages over one `collector.channel`.

The collector greets with `Hello`, then `History`, then a `Snapshot` a second and a `TrendPoint` every ten seconds of
the cook; the dashboard sends a `Command` and gets a `Reply` with its number. A version that differs is refused in
`Hello`, so that an old dashboard says so instead of showing nonsense. `Goodbye` ends it, and says why.
"""

import functools
from typing import Any, TypeVar

import msgspec

from collector.model.calibration import Kind
from collector.model.meat.piece import MeatPhase, Piece
from collector.model.meat.spots import Spot
from collector.snapshot import RuleView, Snapshot, TrendPoint, TrendStretch

__all__ = [
    "VERSION",
    "Acknowledge",
    "AddMark",
    "AddSpot",
    "AskRules",
    "Calibrate",
    "Command",
    "Confirm",
    "Delete",
    "FromCollector",
    "Goodbye",
    "Hello",
    "History",
    "News",
    "OfAlarm",
    "OnRecord",
    "PutBack",
    "Reply",
    "Request",
    "Reset",
    "Rules",
    "SetMeat",
    "Shelve",
    "TakeOut",
    "TestCall",
    "Trend",
    "TurnMeat",
    "UndoCalibration",
    "Unshelve",
    "decode_command",
    "decode_news",
    "encode",
    "news",
]

VERSION = 6


class Hello(msgspec.Struct, frozen=True, tag="hello"):
    """First word of a collector."""

    version: int
    coldside: str


class Goodbye(msgspec.Struct, frozen=True, tag="goodbye"):
    """Last word of a collector, or its only one to somebody it cannot serve."""

    why: str


class History(msgspec.Struct, frozen=True, tag="history"):
    """The trend so far, oldest first."""

    stretches: tuple[TrendStretch, ...]


class Trend(msgspec.Struct, frozen=True, tag="trend"):
    """New rows of the trend, oldest first."""

    points: tuple[TrendPoint, ...]


class News(msgspec.Struct, frozen=True, tag="snapshot"):
    """The cook now."""

    snapshot: Snapshot


class Reply(msgspec.Struct, frozen=True, tag="reply"):
    """What became of a command."""

    number: int
    done: bool
    why: str = ""


class Rules(msgspec.Struct, frozen=True, tag="rules"):
    """Every rule and subject, as it stands; the answer to `AskRules`."""

    number: int
    rules: tuple[RuleView, ...]


class Acknowledge(msgspec.Struct, frozen=True, tag="acknowledge"):
    """The cook has seen this alarm, or all of a trouble. An empty key acknowledges all that are not shelved."""

    number: int
    alarm: str = ""
    """Key of an alarm or of a trouble."""


class Shelve(msgspec.Struct, frozen=True, tag="shelve"):
    """Put an alarm aside for a stated time, of the cook's clock."""

    number: int
    alarm: str
    seconds: float


class Unshelve(msgspec.Struct, frozen=True, tag="unshelve"):
    """Take an alarm back from the shelf."""

    number: int
    alarm: str


class Reset(msgspec.Struct, frozen=True, tag="reset"):
    """Let a latched alarm go."""

    number: int
    alarm: str


class TakeOut(msgspec.Struct, frozen=True, tag="take-out"):
    """Take an alarm out of service, until it is put back."""

    number: int
    alarm: str


class PutBack(msgspec.Struct, frozen=True, tag="put-back"):
    """Put an alarm back into service."""

    number: int
    alarm: str


class AskRules(msgspec.Struct, frozen=True, tag="ask-rules"):
    """How does every rule stand? Answered by `Rules`."""

    number: int


class AddMark(msgspec.Struct, frozen=True, tag="mark"):
    """Something the cook did or saw, now."""

    number: int
    kind: str
    text: str = ""


class Confirm(msgspec.Struct, frozen=True, tag="confirm"):
    """An event that the curves show was one; takes a deletion back."""

    number: int
    event: str


class Delete(msgspec.Struct, frozen=True, tag="delete"):
    """An event that the curves show was none."""

    number: int
    event: str


class Calibrate(msgspec.Struct, frozen=True, tag="calibrate"):
    """What a probe showed in a bath of known temperature, just now."""

    number: int
    probe: str
    kind: Kind
    reference_celsius: float
    raw_celsius: float
    sd_kelvin: float


class UndoCalibration(msgspec.Struct, frozen=True, tag="undo-calibration"):
    """Go back to the calibration before, or to none."""

    number: int
    probe: str
    everything: bool = False


class SetMeat(msgspec.Struct, frozen=True, tag="set-meat"):
    """A piece of meat is added, or is now as described here."""

    number: int
    piece: Piece


class TurnMeat(msgspec.Struct, frozen=True, tag="turn-meat"):
    """A piece of meat went on, was wrapped, rests, is held."""

    number: int
    piece: str
    phase: MeatPhase


class AddSpot(msgspec.Struct, frozen=True, tag="spot"):
    """A reading by hand, just now."""

    number: int
    spot: Spot


class TestCall(msgspec.Struct, frozen=True, tag="test-call"):
    """Send a test message by every channel of a person, or of everybody."""

    __test__ = False
    number: int
    person: str = ""
    """Empty: everybody."""
    wait_seconds: float = 120.0
    """So long the test may be acknowledged, as the trouble `test`."""


FromCollector = Hello | Goodbye | History | Trend | News | Reply | Rules
OfAlarm = Acknowledge | Shelve | Unshelve | Reset | TakeOut | PutBack
OnRecord = OfAlarm | AddMark | Confirm | Delete | SetMeat | TurnMeat | AddSpot
"""What becomes an action as it is."""
Request = OnRecord | Calibrate | UndoCalibration | TestCall
"""What is done, or refused."""
Command = Request | AskRules

Message = TypeVar("Message")
_encoder = msgspec.msgpack.Encoder()


@functools.cache
def _news_decoder() -> "msgspec.msgpack.Decoder[FromCollector]":
    """Make what a collector, which never reads news, need not make at its start."""
    return msgspec.msgpack.Decoder(FromCollector)


@functools.cache
def _command_decoder() -> "msgspec.msgpack.Decoder[Command]":
    return msgspec.msgpack.Decoder(Command)


def encode(message: Any) -> bytes:
    """Encode any message of this module."""
    return _encoder.encode(message)


def news(snapshot: Snapshot) -> bytes:
    """Encode a snapshot as a dashboard is sent it."""
    return _encoder.encode(News(snapshot))


def decode_news(payload: bytes) -> FromCollector:
    """Decode what a collector sent.

    Raises:
        msgspec.DecodeError: not a message of this version.
    """
    return _decoded(_news_decoder(), payload)


def decode_command(payload: bytes) -> Command:
    """Decode what a dashboard sent.

    Raises:
        msgspec.DecodeError: not a command of this version.
    """
    return _decoded(_command_decoder(), payload)


def _decoded(decoder: msgspec.msgpack.Decoder[Message], payload: bytes) -> Message:
    try:
        return decoder.decode(payload)
    except RecursionError as error:
        raise msgspec.DecodeError("it is nested deeper than any message") from error
    except UnicodeDecodeError as error:
        raise msgspec.DecodeError("a text in it is not UTF-8") from error
