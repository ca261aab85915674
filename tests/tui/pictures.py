"""The README's pictures, drawn by the real dashboard from the recorded night: `python -m tests.tui.pictures [FOLDER]`.

The night is played to a quarter of an hour after the flat side was found cold; what a collector would send is handed to
the dashboard by a client that needs no socket.
"""

import asyncio
import os
import re
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path

from msgspec.structs import replace

from adapters.recording import readings
from adapters.source import LinkState
from collector import wire
from collector.engine import Engine, Event
from collector.pipeline import Pipeline
from collector.snapshot import Snapshot, SourceView, StoreView, TrendPoint
from tests.trend import packed
from tui.app import Dashboard
from tui.client import ClientLink, ClientState
from tui.draw.colour_scale import ColourDepth
from tui.nights import SOURCE, night_file, night_settings

NIGHT = "flat-side-cold"
STOP_SECONDS = 23_390 + 900
SIZES: tuple[tuple[int, int, ColourDepth], ...] = ((160, 48, "truecolor"), (80, 24, "16"), (80, 24, "none"))


class OneMoment:
    """A client that knows one snapshot and the trend up to it."""

    def __init__(self, snapshot: Snapshot, trend: list[TrendPoint]) -> None:
        self.link = ClientLink(ClientState.UP, time.time())
        self._messages = [wire.Hello(wire.VERSION, "0"), wire.History(packed(trend)), wire.News(snapshot)]

    async def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        for message in self._messages:
            yield message
        while True:
            await asyncio.sleep(1)
            yield self._messages[-1]

    async def send(self, command: wire.Command) -> wire.Reply:
        return wire.Reply(command.number, True)


def moment() -> OneMoment:
    """Play the night up to the moment."""
    plan = night_settings().plan
    source = readings(night_file(NIGHT), SOURCE)
    first = next(source)
    trend: list[TrendPoint] = []

    def keep(event: Event) -> None:
        if isinstance(event, TrendPoint):
            trend.append(event)

    pipeline = Pipeline(Engine(plan, NIGHT, first.received_unix), {}, on_event=keep)
    pipeline.take(first)
    taken = 1
    for reading in source:
        if reading.received_unix > first.received_unix + STOP_SECONDS:
            break
        pipeline.take(reading)
        taken += 1
    snapshot = pipeline.engine.snapshot()
    view = SourceView(SOURCE, "recording", LinkState.UP, "", taken, 0, 0, snapshot.now_unix)
    return OneMoment(replace(snapshot, sources=(view,), store=StoreView("cooks.db", 0, snapshot.now_unix, "")), trend)


def plain(svg: str) -> str:
    """Take out the web fonts, for a picture in the README fetches nothing, and the coloured buttons of a window."""
    svg = re.sub(r"\s*@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    svg = re.sub(r"\s*<circle [^>]*/>", "", svg)
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    svg = svg.replace("#c5c8c6", "#c7c7c7")  # the frame's own ink, which is not quite grey
    return svg.replace("Fira Code, monospace", "DejaVu Sans Mono, Menlo, Consolas, monospace")


NAMES: dict[ColourDepth, str] = {"truecolor": "", "none": "-no-color"}


async def draw_one(client: OneMoment, width: int, height: int, depth: ColourDepth) -> str:
    """Draw one size; without colours as NO_COLOR has it drawn, so that the theme's own colours are grey too."""
    os.environ.pop("NO_COLOR", None)
    if depth == "none":
        os.environ["NO_COLOR"] = ""  # that it is there is enough
    app = Dashboard(client, fahrenheit=True, depth=depth)
    async with app.run_test(size=(width, height)) as pilot:
        await pilot.pause(1.5)
        return plain(app.export_screenshot(title="coldside"))


async def draw(folder: Path) -> None:
    """Draw every size."""
    client = moment()
    for width, height, depth in SIZES:
        path = folder / f"dashboard-{width}x{height}{NAMES.get(depth, f'-{depth}')}.svg"
        path.write_text(await draw_one(client, width, height, depth), encoding="utf-8")
        print(path)


if __name__ == "__main__":
    os.environ["TZ"] = "UTC"  # the same picture wherever it is drawn
    time.tzset()
    target = Path(sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parent / "pictures")
    target.mkdir(exist_ok=True)
    asyncio.run(draw(target))
