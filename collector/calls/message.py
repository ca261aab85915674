"""What a person is sent: one line, some more, and the same as a JSON document. Pure.

The document (schema 1): `id` (of this message, so that the other side can drop a repetition), `call` and `step`,
`word` (`raised`, `again`, `over`, `test` or `digest`), `key` (what an acknowledgement names), `priority`, `title`,
`text`, `person`, `cook`, `chamber`, `since`, `time` (Unix seconds UTC), `value`, `limit` and their `unit`, `zones`
(°C), `alarms`, `acknowledge_link` (of one person by one channel, which nobody else reads). A value that is not known is
`null`. A digest has the documents it folds in `messages`, and no link of its own.
"""

import datetime as dt
import hashlib
import math
from collections.abc import Sequence
from typing import Any

import msgspec
from msgspec.structs import replace

from adapters.text import clean_text
from collector.calls.escalation import Call, Due
from collector.snapshot import Priority, Snapshot, TroubleView
from collector.words import MEANT, PRIORITY_WORDS, fire_words

__all__ = ["SCHEMA", "TEST", "Composer", "Message", "digest", "message_id", "of_document", "with_link"]

SCHEMA = 1
"""Of the document; it changes when a field changes its meaning or goes."""
MOST_HEAD_CHARACTERS = 300
TEST = "test"
"""Key of the trouble that a test is."""


class Message(msgspec.Struct, frozen=True):
    """One message, ready for any channel."""

    id: str
    title: str
    text: str
    document: dict[str, Any]
    urgent: bool
    picture: bytes = b""
    """The map as PNG; empty without one."""

    @property
    def body(self) -> bytes:
        """The document as JSON."""
        return msgspec.json.encode(self.document)


def message_id(due: Due, began_unix: float) -> str:
    """Name a message: the same for the same message, never for two."""
    words = f"{due.call} {began_unix:.3f} {due.rung} {due.word} {due.unix:.3f} {due.person}\0{due.channel}"
    return hashlib.blake2s(words.encode(), digest_size=8).hexdigest()


class Composer(msgspec.Struct, frozen=True):
    """Writes messages the way one config wants them.

    Times are told in `zone`, the machine's own where it is None.
    """

    fahrenheit: bool = False
    zone: dt.tzinfo | None = None
    acknowledge_topic: str = ""
    """Of the broker on which a key acknowledges; empty where none does."""

    def trouble(
        self, due: Due, call: Call, trouble: TroubleView | None, snapshot: Snapshot, called: str = ""
    ) -> Message:
        """Write that a trouble stands, stands still, or is over.

        Args:
            due: the message that is due.
            call: its call, as it stands.
            trouble: as it stands; None where there is nothing left of it.
            snapshot: the cook at this moment.
            called: its title of before; its key when empty.
        """
        name, where = PRIORITY_WORDS[call.priority], snapshot.chamber.name
        title = trouble.title if trouble is not None else called or due.trouble
        if due.word == "over":
            head = f"over at {where}: {title}"
            lines = [self._since(call.began_unix, snapshot.now_unix, "was told from {}, for {}")]
        else:
            head = f"{name}{' again' if due.word == 'again' else ''} at {where}: {title}"
            lines = [] if trouble is None else self._about(trouble, snapshot)
        lines.append(self._grate(snapshot))
        if zones := self._zones(snapshot):
            lines.append(f"zones: {zones}")
        if due.word != "over":
            lines += [f"call {call.number}, message {due.rung + 1}, to {due.person}", self._how(due.trouble)]
        urgent = call.priority is Priority.URGENT
        return self._message(due, call, head, lines, snapshot, trouble, urgent=urgent)

    def plain(self, due: Due, title: str, *, urgent: bool = True) -> Message:
        """Write a message that needs nothing but words: the last resort where a whole one cannot be written."""
        word = "over: " if due.word == "over" else ""
        head = clean_text(f"coldside: {word}{title}", MOST_HEAD_CHARACTERS)
        text = "\n".join([
            "coldside could not write the whole message: a fault of its own, reported in its log",
            "go and look at the pit",
            self._how(due.trouble),
        ])  # fmt: skip
        name = message_id(due, due.unix)
        document: dict[str, Any] = {
            "schema": SCHEMA, "id": name, "call": due.call, "step": due.rung + 1, "word": due.word,
            "key": due.trouble, "priority": "urgent" if urgent else "soon", "title": head, "text": text,
            "person": due.person, "cook": "", "chamber": "", "since": due.unix, "time": due.unix, "value": None,
            "limit": None, "unit": None, "zones": {}, "alarms": [], "acknowledge_link": None,
        }  # fmt: skip
        return Message(name, head, text, document, urgent)

    def test(self, due: Due, snapshot: Snapshot, wait_seconds: float) -> Message:
        """Write a test."""
        call = Call(0, TEST, Priority.NOTE, due.unix)
        head = f"TEST from {snapshot.chamber.name}: would this wake {due.person}?"
        until = self._clock(due.unix + wait_seconds)
        lines = ["nothing is wrong", f"acknowledge by {until} to prove that messages wake somebody", self._how(TEST)]
        return self._message(due, call, head, lines, snapshot, None, urgent=True)

    def _message(
        self, due: Due, call: Call, head: str, lines: list[str], snapshot: Snapshot, trouble: TroubleView | None,
        *, urgent: bool,
    ) -> Message:  # fmt: skip
        head = clean_text(head, MOST_HEAD_CHARACTERS)  # one line: it may become a header
        text, name = "\n".join(lines), message_id(due, call.began_unix)
        document: dict[str, Any] = {
            "schema": SCHEMA, "id": name, "call": call.number, "step": due.rung + 1, "word": due.word,
            "key": due.trouble, "priority": "test" if due.trouble == TEST else call.priority.name.lower(),
            "title": head, "text": text, "person": due.person, "cook": snapshot.cook,
            "chamber": snapshot.chamber.name, "since": call.began_unix if trouble is None else trouble.since_unix,
            "time": due.unix, "value": _known(trouble.value) if trouble else None,
            "limit": _known(trouble.limit) if trouble else None, "unit": trouble.unit if trouble else None,
            "zones": {zone.name: _known(zone.celsius) for zone in snapshot.zones},
            "alarms": list(trouble.alarms) if trouble else [], "acknowledge_link": None,
        }  # fmt: skip
        return Message(name, head, text, document, urgent)

    def _about(self, trouble: TroubleView, snapshot: Snapshot) -> list[str]:
        """Say how much, since when, and what to look at."""
        leading = next((a for a in snapshot.alarms if a.key in trouble.alarms[:1]), None)
        lines = []
        if math.isfinite(trouble.value):
            meant = MEANT.get(leading.rule, "{}") if leading and trouble.unit != "celsius" else "{}"
            said = meant.format(self._amount(trouble.value, trouble.unit))
            if trouble.limit and math.isfinite(trouble.limit) and trouble.unit != "seconds":
                said += f" (limit {self._amount(trouble.limit, trouble.unit)})"
            lines.append(said)
        lines.append(self._since(trouble.since_unix, snapshot.now_unix, "since {}, for {}"))
        if trouble.what:
            lines.append(f"do: {trouble.what}")
        return lines

    def _grate(self, snapshot: Snapshot) -> str:
        level, target = snapshot.fire.level_celsius, snapshot.target_celsius
        return (
            f"grate {self._amount(level, 'celsius')}, target {self._amount(target, 'celsius')}; "
            f"fire: {fire_words(snapshot)[0]}"
        )

    def _zones(self, snapshot: Snapshot) -> str:
        return ", ".join(f"{z.name} {self._amount(z.celsius, 'celsius')}" for z in snapshot.zones[:12])

    def _how(self, key: str) -> str:
        ways = ["k in the dashboard", "the phone page", f"coldside alarms ack {key}"]
        if self.acknowledge_topic:
            ways.append(f"publish {key} to {self.acknowledge_topic}")
        return f"acknowledge: {', or '.join(ways)}"

    def _since(self, since_unix: float, now_unix: float, words: str) -> str:
        return words.format(self._clock(since_unix), _age(now_unix - since_unix))

    def _clock(self, unix: float) -> str:
        return dt.datetime.fromtimestamp(unix, dt.UTC).astimezone(self.zone).strftime("%H:%M")

    def _amount(self, value: float, unit: str) -> str:
        """Write a value in its unit; differences as differences."""
        if not math.isfinite(value):
            return "unknown"
        letter = "F" if self.fahrenheit else "C"
        match unit:
            case "celsius":
                return f"{value * 1.8 + 32.0 if self.fahrenheit else value:.0f} °{letter}"
            case "kelvin":
                return f"{value * 1.8 if self.fahrenheit else value:.0f} °{letter}"
            case "kelvin_per_hour":
                return f"{value * 1.8 if self.fahrenheit else value:+.0f} °{letter}/h"
            case "seconds":
                return _age(value)
            case "percent":
                return f"{value:.0f} %"
        return f"{value:g} {unit}"


def digest(messages: Sequence[Message]) -> Message:
    """Fold several messages into one, for a channel that may not take them all; one alone stays as it is."""
    first = messages[0]
    if len(messages) == 1:
        return first
    title = f"{len(messages)} messages: {'; '.join(m.title for m in messages)}"[:300]
    text = "\n\n".join(f"{m.title}\n{m.text}" for m in messages)
    document = {
        **first.document, "word": "digest", "title": title, "text": text, "messages": [m.document for m in messages],
        "acknowledge_link": None,
    }  # fmt: skip
    return replace(first, title=title, text=text, document=document, urgent=any(m.urgent for m in messages))


def with_link(message: Message, link: str) -> Message:
    """Add the link that acknowledges, on a line of its own: at the last moment, since it is never to be on record."""
    text = f"{message.text}\nor with one tap:\n{link}"
    return replace(message, text=text, document={**message.document, "text": text, "acknowledge_link": link})


def of_document(body: str) -> Message:
    """Make the message again of a document on record.

    Raises:
        msgspec.DecodeError: it is none.
        KeyError: it lacks something.
    """
    document = msgspec.json.decode(body, type=dict[str, Any])
    urgent = document["priority"] in ("urgent", "test")
    return Message(str(document["id"]), str(document["title"]), str(document["text"]), document, urgent)


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _age(seconds: float) -> str:
    whole = int(max(0.0, seconds)) if math.isfinite(seconds) else 0
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min" if whole < 3600 else f"{whole // 3600} h {whole % 3600 // 60:02d}"
