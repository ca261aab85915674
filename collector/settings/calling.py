"""What must hold of the tables by which people are told of troubles: channels, people and ladders."""

import shutil
from importlib.util import find_spec
from pathlib import Path

from adapters.mqtt.filters import overlaps
from collector.settings.check import Mistake, Where
from collector.settings.secret import secret_file, secret_trouble
from collector.settings.shape import (
    AppriseChannel,
    BellChannel,
    CommandChannel,
    Config,
    LadderTable,
    MqttChannel,
    MqttSource,
    WebhookChannel,
)
from collector.settings.sources import check_broker
from collector.settings.web_address import is_web_address

__all__ = ["check_calling", "lines_of", "program_of"]


def check_calling(config: Config, folder: Path, found: list[Mistake], warnings: list[str]) -> None:
    """Add to `found` what does not hold together, to `warnings` what is unwise."""
    _check_names("channel", [channel.name for channel in config.channel], found)
    _check_names("person", [person.name for person in config.person], found)
    _check_channels(config, folder, found, warnings)
    channels = [channel.name for channel in config.channel]
    used: set[str] = set()
    for i, person in enumerate(config.person):
        used.update(person.channels)
        unknown = [name for name in person.channels if name not in channels]
        if unknown:
            what = f"there is no channel {unknown[0]!r}; {_there_is(channels, '[[channel]]')}"
            found.append((("person", i, "channels"), what))
    idle = [name for name in channels if name not in used]
    warnings += [f"channel {name}: belongs to no [[person]], so nobody is told by it" for name in idle]
    _check_ladders(config, found)
    if config.serve is not None and config.serve.link:
        carry = [c.name for c in config.channel if c.name in used and not isinstance(c, MqttChannel | BellChannel)]
        if not carry:
            warnings.append("serve.link: no [[person]] has a channel that carries links (webhook, command or apprise)")


def _check_names(table: str, names: list[str], found: list[Mistake]) -> None:
    for i, name in enumerate(names):
        if name in names[:i]:
            found.append(((table, i, "name"), f"the {table} at number {names.index(name) + 1} is named so too"))


def _there_is(names: list[str], table: str) -> str:
    return f"there is {', '.join(names)}" if names else f"add a {table} of that name"


def _check_channels(config: Config, folder: Path, found: list[Mistake], warnings: list[str]) -> None:
    for i, channel in enumerate(config.channel):
        where: Where = ("channel", i)
        if isinstance(channel, WebhookChannel):
            lines = lines_of(folder, channel.url_file, (*where, "url_file"), found)
            if lines and (len(lines) > 1 or not is_web_address(lines[0])):
                what = f"{channel.url_file!r} holds no address; its one line begins with https://"
                found.append(((*where, "url_file"), what))
        elif isinstance(channel, AppriseChannel):
            lines_of(folder, channel.url_file, (*where, "url_file"), found)
            if find_spec("apprise") is None:
                what = "Apprise is not installed; install coldside[notify], or use another kind of channel"
                found.append(((*where, "kind"), what))
        elif isinstance(channel, CommandChannel):
            if program_of(channel.command[0], folder) is None:
                what = f"{channel.command[0]!r} is no program that can be run; write its whole path, chmod +x it"
                found.append(((*where, "command"), what))
        elif isinstance(channel, MqttChannel):
            check_broker(channel, f"channel {channel.name}", where, folder, found, warnings)
            _check_echo(channel, (*where, "topic"), config, found)


def program_of(name: str, folder: Path) -> str | None:
    """Find a program by its name, or its path, from beside the config where that is relative; None: there is none."""
    return shutil.which(str(folder / name)) if "/" in name else shutil.which(name)


def lines_of(folder: Path, name: str, where: Where, found: list[Mistake]) -> list[str]:
    """Read the addresses in a file that nobody else may read; none where something is wrong with it."""
    why = secret_trouble(folder, name)
    lines: list[str] = []
    if not why:
        try:
            text = secret_file(folder, name).read_text(encoding="utf-8")
            lines = [line.strip() for line in text.splitlines() if line.strip()]
            why = "" if lines else "is empty; write the address into it, one line"
        except (OSError, UnicodeDecodeError):
            why = "cannot be read as text"
    if why:
        found.append((where, f"{name!r} {why}"))
    return lines


def _check_echo(channel: MqttChannel, where: Where, config: Config, found: list[Mistake]) -> None:
    for source in config.source:
        if isinstance(source, MqttSource) and source.host == channel.host:
            for table in source.subscribe:
                if overlaps(table.filter, channel.topic):
                    what = f"is heard by {table.filter!r} of source {source.name}, which would take it for a reading"
                    found.append((where, what))


def _check_ladders(config: Config, found: list[Mistake]) -> None:
    people = [person.name for person in config.person]
    urgent: LadderTable | None = None
    for i, ladder in enumerate(config.ladder):
        if "urgent" in ladder.priorities:
            urgent = urgent or ladder
        unknown = [name for step in ladder.steps for name in step.tell if name not in people]
        if unknown:
            what = f"there is no person {unknown[0]!r}; {_there_is(people, '[[person]]')}"
            found.append((("ladder", i, "steps"), what))
        times = [step.after for step in ladder.steps]
        if times != sorted(times):
            found.append((("ladder", i, "steps"), "must be in the order of their times: the least `after` first"))
        taken = [p for p in ladder.priorities if any(p in other.priorities for other in config.ladder[:i])]
        if taken:
            what = f'"{taken[0]}" is in a ladder above already, and only the first counts'
            found.append((("ladder", i, "priorities"), what))
        if "urgent" in ladder.priorities and not ladder.steps[-1].tell:
            what = "nobody is told at the last step, which is the one that comes again; name somebody in `tell`"
            found.append((("ladder", i, "steps"), what))
    if config.ladder and urgent is None:
        found.append((("ladder", 0, "priorities"), '"urgent" is in no ladder, so nobody would be woken; add it to one'))
