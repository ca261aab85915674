"""`coldside scan --mqtt`: which topics a broker carries, and which of them are temperatures."""

import argparse
import asyncio
import json
import logging
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import aiomqtt

from adapters.errors import LinkReason
from adapters.mqtt.filters import check_filter
from adapters.mqtt.survey import TopicSurvey
from tui.commands.listening import interruptible, wait
from tui.commands.options import known_settings
from tui.commands.printing import print_lines
from tui.commands.scan import fail, names_of, view_of
from tui.commands.screen_log import silence_logging
from tui.draw.blocks import Names, block_text
from tui.draw.topic_blocks import topic_blocks
from tui.draw.topics import topic_lines, topics_document
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from adapters.mqtt.survey import Topic

__all__ = ["scan_broker"]

PORT = 1883
TIMEOUT_SECONDS = 10.0
MAX_QUEUED = 4096
"""Messages waiting to be looked at; further ones are lost, which a scan can bear."""
_VERSIONS = {"5": aiomqtt.ProtocolVersion.V5, "3.1.1": aiomqtt.ProtocolVersion.V311}


async def scan_broker(options: argparse.Namespace) -> int:
    """Listen to a broker, then print."""
    host, port = _place(options.mqtt)
    check_filter(options.filter)
    silence_logging()
    settings = known_settings(options)
    survey = TopicSurvey()
    began = time.monotonic()
    async with interruptible() as stop:
        try:
            version = await _listen(options, host, port, survey, stop)
        except aiomqtt.MqttError as error:
            reason = _reason(error)
            return fail(options, f"{host}:{port}: {reason}", "" if reason in str(error) else str(error), _MENDS[reason])
    topics = survey.topics()
    if not topics:
        mend = "does anything publish there? retained messages come at once, others when they are sent"
        return fail(options, f"{host}:{port}: nothing was heard on {options.filter!r}", "", mend)
    broker = _keys(options, host, port, version)
    return _print(options, topics, broker, Names(names_of(settings)), time.monotonic() - began, settings)


def _place(text: str) -> tuple[str, int]:
    """Take apart HOST, HOST:PORT, [IPv6] or [IPv6]:PORT."""
    if text.startswith("["):
        host, _, rest = text[1:].partition("]")
        port = rest.removeprefix(":")
    elif text.count(":") == 1:
        host, _, port = text.partition(":")
    else:
        host, port = text, ""
    good = not port or (port.isascii() and port.isdigit() and len(port) <= 5 and 0 < int(port) < 65536)
    if not host or not good:
        raise TuiError(f"--mqtt {text!r} is no broker; write HOST or HOST:PORT")
    return host, int(port or PORT)


async def _listen(options: argparse.Namespace, host: str, port: int, survey: TopicSurvey, stop: asyncio.Event) -> str:
    """Listen for as long as asked; return the version of MQTT that was spoken.

    Raises:
        MqttError: the broker cannot be reached, refuses us, or went away before anything was heard.
    """
    versions = (options.mqtt_version,) if options.mqtt_version else ("5", "3.1.1")
    for version in versions:
        try:
            await _listen_by(options, host, port, version, survey, stop)
        except aiomqtt.MqttError as error:
            if survey.messages:
                print("coldside: the broker went away; this is what was heard", file=sys.stderr)
            elif version == versions[-1] or _reason(error) is LinkReason.UNREACHABLE:
                raise
            else:
                continue
        return version
    return versions[-1]


async def _listen_by(
    options: argparse.Namespace, host: str, port: int, version: str, survey: TopicSurvey, stop: asyncio.Event
) -> None:
    five: dict[str, Any] = {} if version == "5" else {"clean_session": True}
    client = aiomqtt.Client(
        host, port, username=options.user, password=_password(options), protocol=_VERSIONS[version],
        timeout=TIMEOUT_SECONDS, max_queued_incoming_messages=MAX_QUEUED,
        logger=logging.getLogger("coldside.scan"), **five,
    )  # fmt: skip
    async with client:
        await client.subscribe(options.filter, qos=0)

        async def take() -> None:
            async for message in client.messages:
                payload = message.payload if isinstance(message.payload, bytes | bytearray) else b""
                survey.take(message.topic.value, bytes(payload), time.time(), retained=bool(message.retain))

        taking = asyncio.create_task(take(), name="take messages")
        ended = asyncio.Event()
        taking.add_done_callback(lambda _: ended.set())
        waiting = asyncio.create_task(stop.wait(), name="Ctrl-C")
        waiting.add_done_callback(lambda _: ended.set())
        try:
            await wait(options.seconds, ended, lambda: f"{survey.messages} messages")
            if taking.done():
                taking.result()
        finally:
            for task in (taking, waiting):
                task.cancel()
            await asyncio.gather(taking, waiting, return_exceptions=True)


def _password(options: argparse.Namespace) -> str | None:
    if not options.password_file:
        return None
    return Path(options.password_file).read_text(encoding="utf-8").rstrip("\n")


_MENDS = {
    LinkReason.UNREACHABLE: "is the broker running, and does this machine reach it?",
    LinkReason.BAD_CREDENTIALS: "give --user and --password-file",
    LinkReason.REFUSED: "try another --mqtt-version, or look into the broker's log",
}


def _reason(error: aiomqtt.MqttError) -> LinkReason:
    """Tell what kind of failure it is."""
    said = str(error).lower()
    if "not authori" in said or "bad user" in said or "banned" in said:
        return LinkReason.BAD_CREDENTIALS
    return LinkReason.REFUSED if "[code:" in said else LinkReason.UNREACHABLE


def _keys(options: argparse.Namespace, host: str, port: int, version: str) -> tuple[tuple[str, Any], ...]:
    keys: list[tuple[str, Any]] = [("host", host)]
    if port != PORT:
        keys.append(("port", port))
    if version != "5":
        keys.append(("version", version))
    if options.user:
        keys.append(("user", options.user))
    return tuple(keys)


def _print(
    options: argparse.Namespace,
    topics: "tuple[Topic, ...]",
    broker: tuple[tuple[str, Any], ...],
    names: Names,
    seconds: float,
    settings: Any,
) -> int:
    view = view_of(options, settings)
    if options.json:
        print(json.dumps(topics_document(topics, seconds)))
        return Exit.OK
    if options.toml:
        blocks = topic_blocks(topics, broker, names, unit="F" if view.fahrenheit else "C")
        if not blocks:
            return fail(options, "no topic looks like a temperature", "", "without --toml all topics are shown")
        print("\n".join(block_text(block) for block in blocks), end="")
        if options.password_file:
            print("# password_file goes into the config beside user: a path beside the config", file=sys.stderr)
        return Exit.OK
    count = f"{len(topics)} topic{'' if len(topics) == 1 else 's'}"
    print_lines([((f"{count} heard in {seconds:.0f} s, likely temperatures first", "plain"),), ()])
    print_lines(topic_lines(topics, view))
    if any(leaf.likely for topic in topics for leaf in topic.leaves):
        print_lines([(), (("--toml prints ready blocks for the config.", "faint"),)])
    return Exit.OK
