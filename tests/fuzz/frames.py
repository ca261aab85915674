"""What comes in by the dashboards' socket and the phone's: only an orderly end, or an answer, may come of it."""

import asyncio
import random
from pathlib import Path

import msgspec

from collector import wire
from collector.attach import GREATEST_COMMAND_BYTES, attend
from collector.channel import StreamChannel, StreamError, frame_of
from collector.engine import Engine
from collector.feed import Feed
from collector.page_view import PageAsk, command_of
from collector.requests import action_of, missing
from tests.adapters.decode.fuzz import mutated
from tests.fuzz.asked import command
from tests.fuzz.configs import accepted, settings_of
from tests.fuzz.failures import Findings, must
from tests.fuzz.views import canonical
from tests.waiting import WAIT_SECONDS

__all__ = ["run"]

START = 1_790_000_000.0
LINKS, FRAMES = 12, 20
ASKS = (b'{"do":"acknowledge","number":1,"key":"fire"}', b'{"do":"turn","number":2,"piece":"a","phase":"cooking"}')


class Nowhere(asyncio.WriteTransport):
    """Takes what is sent, and keeps it."""

    def __init__(self) -> None:
        super().__init__()
        self.sent = bytearray()
        self.closing = False

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.sent += data

    def is_closing(self) -> bool:
        return self.closing

    def close(self) -> None:
        self.closing = True

    def abort(self) -> None:
        self.closing = True

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        pass

    def get_write_buffer_size(self) -> int:
        return 0


def run(dice: random.Random, findings: Findings, folder: Path) -> None:
    """Speak to a collector as dashboards do, and as none does."""
    engine = Engine(settings_of(accepted(dice), START)[1], "fuzz", START)
    engine.advance(START + 30.0)

    def carry_out(asked: wire.Request) -> str:
        """Do what is asked as `collector.daemon` does it, without what only that has."""
        try:
            if isinstance(asked, wire.Calibrate | wire.UndoCalibration | wire.TestCall):
                return "not here"
            engine.act(action_of(asked, engine), engine.now_unix)
        except KeyError:
            return missing(asked)
        except ValueError as error:
            return str(error)
        findings.count("done")
        return ""

    feed = Feed(carry_out, engine.snapshot, engine.rules)
    for k in range(LINKS):
        findings.step = f"link {k}"
        with findings.guard("a link"):
            asyncio.run(_attend(dice, findings, feed, engine))
    for k in range(FRAMES):
        findings.step = f"news {k}"
        with findings.guard("news"):
            try:
                wire.decode_news(mutated(dice, [wire.news(engine.snapshot())]))
            except msgspec.DecodeError:
                findings.count("news refused")
        with findings.guard("the phone asks"):
            _ask(dice, feed)


async def _attend(dice: random.Random, findings: Findings, feed: Feed, engine: Engine) -> None:
    loop = asyncio.get_running_loop()
    reader, transport = asyncio.StreamReader(limit=GREATEST_COMMAND_BYTES), Nowhere()
    protocol = asyncio.StreamReaderProtocol(reader)
    protocol.connection_made(transport)
    writer = asyncio.StreamWriter(transport, protocol, reader, loop)
    sound = 0
    for _ in range(dice.randrange(FRAMES)):
        payload = wire.encode(command(dice, engine, None))
        spoiled = dice.random() < 0.7
        if spoiled:
            payload = mutated(dice, [payload])
        frame = frame_of(payload)
        if dice.random() < 0.05:
            frame = mutated(dice, [frame])
            spoiled = True
        sound += not spoiled
        reader.feed_data(frame)
    reader.feed_eof()
    channel = StreamChannel(reader, writer, greatest_bytes=GREATEST_COMMAND_BYTES)
    try:
        async with asyncio.timeout(WAIT_SECONDS):
            await attend(channel, feed, may_act=dice.random() < 0.8)
        findings.count("ended")
    except StreamError:
        findings.count("cut off")
        return
    finally:
        writer.close()
    _answers(bytes(transport.sent))


def _answers(sent: bytes) -> None:
    """Read what was sent back, frame by frame."""
    while sent:
        length = int.from_bytes(sent[:4], "big")
        news = wire.decode_news(sent[4 : 4 + length])
        must(canonical(wire.decode_news(wire.encode(news))) == canonical(news), "frames: an answer that changes")
        sent = sent[4 + length :]


def _ask(dice: random.Random, feed: Feed) -> None:
    try:
        text = mutated(dice, list(ASKS)).decode("utf-8", "replace")  # the library of the WebSocket sees to that
        asked: PageAsk = msgspec.json.decode(text, type=PageAsk)
    except msgspec.DecodeError:
        return
    feed.answer(command_of(asked))
