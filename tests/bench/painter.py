"""Programs for a pseudo-terminal: the chamber map alone, ours or of rich text, and the whole dashboard.

`python -m tests.bench.painter map|text|none|dashboard PERIOD FRAMES` shows so many frames of a chamber map, one every
PERIOD seconds (`none`: the first one only); `dashboard` runs the whole dashboard with a snapshot a PERIOD. At the end
the file that the environment names as FIGURES gets the CPU seconds a frame took.
"""

import asyncio
import math
import os
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path

from rich.style import Style
from rich.text import Text
from textual.app import App, ComposeResult
from textual.widget import Widget
from textual.widgets import Static

from adapters.reading import Reading
from collector import wire
from collector.engine import Engine
from collector.raster import Raster
from collector.snapshot import Snapshot, TrendPoint
from tests.bench.pit import plan_of, values_of
from tests.trend import packed
from tui.app import Dashboard
from tui.client import ClientLink, ClientState
from tui.draw.chamber_map import Subject, draw_chamber
from tui.draw.colour_scale import temperature_scale
from tui.draw.view import View
from tui.widgets.chamber_map import ChamberMap

__all__: list[str] = []

THEN = 1_790_000_000.0
"""When the maps' cook takes place: always the same, so that two programs draw the same field."""
SETTLE_SECONDS = 1.5
WIDTH, HEIGHT = 122, 43
"""Outline and legend round a map of 120 by 40 cells, 120 by 80 pixels."""
SUBJECT = Subject("grate", temperature_scale("truecolor"))
VIEW = View()


def frames(count: int, start_unix: float = THEN) -> list[Snapshot]:
    """Snapshots of one cook, ten seconds of readings apart."""
    engine = Engine(plan_of(), "bench", start_unix)
    made = []
    for second, row in enumerate(values_of(10 * count).tolist()):
        for k, celsius in enumerate(row):
            engine.take(Reading("house", f"p{k}", celsius, start_unix + second), start_unix + second)
        if second % 10 == 9:
            made.append(engine.snapshot())
    return made


class TextMap(Static):
    """The same picture as rich text, a style for each cell."""

    def on_mount(self) -> None:
        """Make what is kept between frames, as ours does."""
        self._raster = Raster()
        self._colours = [f"rgb({r},{g},{b})" for r, g, b in SUBJECT.scale.colours]

    def show(self, snapshot: Snapshot, subject: Subject, view: View) -> None:
        """Show a snapshot."""
        picture = draw_chamber(snapshot, subject, self._raster, view, WIDTH, HEIGHT).picture
        text = Text(no_wrap=True, end="")
        for y, row in enumerate(picture.text):
            for glyph, ink, paper in zip(row, picture.ink[y].tolist(), picture.paper[y].tolist(), strict=True):
                color = self._colours[ink] if ink >= 0 else None
                text.append(glyph, Style(color=color, bgcolor=self._colours[paper] if paper >= 0 else None))
            text.append("\n")
        self.update(text)


class PaintedApp(App[None]):
    """One widget and nothing else, shown anew so many times; with `moves` false once, and the app rests."""

    def __init__(self, widget: Widget, period: float, count: int, *, moves: bool) -> None:
        super().__init__()
        self._widget, self._period, self._count, self._moves = widget, period, count, moves

    def show(self, k: int) -> None:
        """Show frame k."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        """Hold the widget."""
        yield self._widget

    def on_mount(self) -> None:
        """Begin."""
        self.run_worker(self._play())

    async def _play(self) -> None:
        await asyncio.sleep(SETTLE_SECONDS)
        self.show(0)
        await asyncio.sleep(self._period)
        began = time.process_time()
        for k in range(self._count):
            if self._moves:
                self.show(k)
            await asyncio.sleep(self._period)
        tell((time.process_time() - began) / self._count)
        self.exit()


class MapApp(PaintedApp):
    """The chamber map."""

    CSS = f"ChamberMap, TextMap {{ width: {WIDTH}; height: {HEIGHT}; }}"

    def __init__(self, which: str, period: float, count: int) -> None:
        self._map = ChamberMap() if which == "map" else TextMap()
        super().__init__(self._map, period, count, moves=which != "none")
        self._snapshots = frames(count)

    def show(self, k: int) -> None:
        """Show a snapshot."""
        self._map.show(self._snapshots[k], SUBJECT, VIEW)


class Feed:
    """A collector that sends snapshots from memory, a point of the trend every ten; see `tui.client.Feed`."""

    def __init__(self, period: float, count: int) -> None:
        self._now = time.time()
        self._period, self._snapshots = period, frames(count, self._now)
        self.link = ClientLink(ClientState.UP, time.time())
        self.app: Dashboard | None = None

    async def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        """Send two hours of trend, then a snapshot a period."""
        yield wire.History(packed(self._point(self._now - 10 * k) for k in range(720, 0, -1)))
        yield wire.News(self._snapshots[0])
        await asyncio.sleep(SETTLE_SECONDS)
        began = time.process_time()
        for k, snapshot in enumerate(self._snapshots):
            yield wire.News(snapshot)
            if k % 10 == 0:
                yield wire.Trend((self._point(self._now + k),))
            await asyncio.sleep(self._period)
        tell((time.process_time() - began) / len(self._snapshots))
        assert self.app is not None
        self.app.exit()

    def _point(self, unix: float) -> TrendPoint:
        swing = math.sin(unix / 420)
        return TrendPoint(
            unix,
            (116 + swing, 113 + swing, 110 + swing),
            6.0,
            113 + swing,
            tuple(113 + k / 4 + swing for k in range(16)),
        )

    async def send(self, command: wire.Command) -> wire.Reply:
        """Agree to everything."""
        return wire.Reply(command.number, True, "")


def tell(cpu_seconds_a_frame: float) -> None:
    """Leave the figure for who started us."""
    Path(os.environ["FIGURES"]).write_text(repr(cpu_seconds_a_frame), encoding="ascii")


if __name__ == "__main__":
    period, count = float(sys.argv[2]), int(sys.argv[3])
    if sys.argv[1] == "dashboard":
        feed = Feed(period, count)
        feed.app = Dashboard(feed, depth="truecolor")
        feed.app.run()
    else:
        MapApp(sys.argv[1], period, count).run()
