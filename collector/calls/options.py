"""Who is told by what, from the config."""

import logging
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from adapters.mqtt.options import BrokerAddress
from collector.brokers import address_of
from collector.calls.escalation import Ladder, Person, Quiet, Step
from collector.settings.calling import program_of
from collector.settings.quantity import parse_hours
from collector.settings.secret import read_secret
from collector.settings.shape import (
    AppriseChannel,
    ChannelTable,
    CommandChannel,
    Config,
    LadderTable,
    MqttChannel,
    PersonTable,
    WebhookChannel,
)
from collector.snapshot import Priority

__all__ = ["AppriseTo", "BellTo", "Calling", "CommandTo", "MqttTo", "To", "WebhookTo", "calling_of"]

log = logging.getLogger(__name__)

PRIORITIES = {"urgent": Priority.URGENT, "check": Priority.SOON, "note": Priority.NOTE}
"""As `collector.words.PRIORITY_WORDS` calls them."""
URGENT_MINUTES = (0.0, 2.0, 5.0)
URGENT_REPEAT_SECONDS = 600.0
SOON_REPEAT_SECONDS = 3600.0


@dataclass(frozen=True, slots=True)
class WebhookTo:
    """An address."""

    url: str = field(repr=False)
    picture: str = "none"


@dataclass(frozen=True, slots=True)
class CommandTo:
    """A program."""

    words: tuple[str, ...] = field(repr=False)
    seconds: float = 10.0


class MqttTo(msgspec.Struct, frozen=True):
    """A topic of a broker."""

    broker: BrokerAddress
    topic: str


@dataclass(frozen=True, slots=True)
class AppriseTo:
    """Addresses of Apprise."""

    urls: tuple[str, ...] = field(repr=False)
    picture: bool = True


class BellTo(msgspec.Struct, frozen=True):
    """The terminal's bell."""


To = WebhookTo | CommandTo | MqttTo | AppriseTo | BellTo


class Calling(msgspec.Struct, frozen=True):
    """Everything the config says of it."""

    people: tuple[Person, ...]
    ladders: tuple[Ladder, ...]
    channels: dict[str, To]
    fahrenheit: bool = False
    acknowledge_topic: str = ""


def calling_of(config: Config, folder: Path) -> Calling | None:
    """Make of a config who is told by what; None where nobody is.

    Raises:
        OSError: a file with a secret cannot be read.
    """
    if not config.person:
        return None
    people = tuple(_person(table) for table in config.person)
    ladders = tuple(_ladder(table) for table in config.ladder) or _usual(tuple(p.name for p in people))
    used = {name for person in people for name in person.channels}
    channels = {table.name: _to(table, folder) for table in config.channel if table.name in used}
    told = config.publish
    topic = f"{told.base}/acknowledge" if told is not None and told.acknowledge else ""
    return Calling(people, ladders, channels, config.display.unit == "F", topic)


def _person(table: PersonTable) -> Person:
    quiet = Quiet(*parse_hours(table.quiet)) if table.quiet else None
    return Person(table.name, tuple(dict.fromkeys(table.channels)), quiet)


def _ladder(table: LadderTable) -> Ladder:
    steps = tuple(Step(60.0 * step.after, tuple(dict.fromkeys(step.tell))) for step in table.steps)
    return Ladder(frozenset(PRIORITIES[name] for name in table.priorities), steps, 60.0 * table.repeat)


def _usual(everybody: tuple[str, ...]) -> tuple[Ladder, ...]:
    """Give the ladders of a config without any: all are told."""
    urgent = tuple(Step(60.0 * minutes, everybody) for minutes in URGENT_MINUTES)
    return (
        Ladder(frozenset({Priority.URGENT}), urgent, URGENT_REPEAT_SECONDS),
        Ladder(frozenset({Priority.SOON}), (Step(0.0, everybody),), SOON_REPEAT_SECONDS),
    )


def _to(table: ChannelTable, folder: Path) -> To:
    match table:
        case WebhookChannel():
            return WebhookTo((read_secret(folder, table.url_file) or "").strip(), table.picture)
        case CommandChannel():
            program = program_of(table.command[0], folder) or table.command[0]
            return CommandTo((program, *table.command[1:]), table.seconds)
        case AppriseChannel():
            lines = (read_secret(folder, table.url_file) or "").splitlines()
            return AppriseTo(tuple(line.strip() for line in lines if line.strip()), table.picture)
        case MqttChannel():
            return MqttTo(address_of(table, folder), table.topic)
    return BellTo()
