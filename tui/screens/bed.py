"""A few numbers as large as they go: to be read from a bed, without glasses."""

import math
from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Digits, Static

from collector.snapshot import Snapshot
from tui.draw.alarms import pressing_line
from tui.draw.banner import Trouble
from tui.draw.view import View
from tui.draw.words import clock, degree, difference, number
from tui.widgets.banner import Banner
from tui.widgets.roles import content

__all__ = ["BedScreen"]


class BedScreen(Screen[None]):
    """Shows grate, coldest zone, spread and time large, and the most pressing alarm."""

    BINDINGS: ClassVar = [
        ("b,escape,q", "dismiss(None)", "back to the board"),
        ("k", "app.acknowledge", "acknowledge"),
    ]

    def compose(self) -> ComposeResult:
        """Make the numbers."""
        yield Banner(id="banner")
        with Horizontal(id="numbers"):
            for id_, name in (("grate", "grate"), ("coldest", "coldest zone"), ("spread", "spread"), ("time", "time")):
                with Vertical():
                    yield Static(name, classes="name", id=f"{id_}-name")
                    yield Digits("", id=id_)
        yield Static(id="bed-alarm")
        yield Static("b: back to the board", classes="name")

    def show(self, snapshot: Snapshot, view: View) -> None:
        """Show this snapshot."""
        unit = degree(view)
        grate = [z for z in snapshot.zones if not math.isnan(z.celsius) and z.level == snapshot.chamber.levels[0]]
        coldest = min(grate, key=lambda z: z.celsius, default=None)
        self._write("grate", f"grate {unit}", number(snapshot.fire.level_celsius, view))
        if coldest is not None:
            self._write("coldest", f"{coldest.name} {unit}", number(coldest.celsius, view))
        spread = difference(snapshot.evenness.spread_kelvin, view, signed=False)
        self._write("spread", f"spread {unit}", spread)
        self._write("time", str(snapshot.fire.phase), clock(snapshot.now_unix, view))
        line = pressing_line(snapshot, view, self.size.width)
        self.query_one("#bed-alarm", Static).update(content(line, old=view.old))

    def _write(self, id_: str, name: str, value: str) -> None:
        self.query_one(f"#{id_}-name", Static).update(name)
        self.query_one(f"#{id_}", Digits).update(value)

    def show_trouble(self, trouble: Trouble | None) -> None:
        """Show or hide the banner."""
        self.query_one(Banner).show(trouble)
        self.set_class(trouble is not None and trouble.old, "-old")
