"""Four numbers as large as they go: to be read from a bed, without glasses."""

import math
from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Container, Vertical
from textual.screen import Screen
from textual.widgets import Static

from collector.snapshot import Snapshot
from tui.actions import pit_bindings
from tui.draw.banner import Trouble
from tui.draw.clean import clean
from tui.draw.heading import fire_words
from tui.draw.large import large_text
from tui.draw.pits import PitGlance, alarm_line
from tui.draw.view import View
from tui.draw.words import clock, degree, difference, number
from tui.widgets.banner import Banner
from tui.widgets.contained import contained
from tui.widgets.pit_strip import PitStrip
from tui.widgets.roles import content

__all__ = ["BedScreen"]

NUMBERS = ("grate", "coldest", "spread", "time")
BACK = "b or Esc: back to the board"
HINT = f"{BACK}    k: alarm seen"


class BedScreen(Screen[None]):
    """Shows grate, coldest zone, spread and time large, and the most pressing alarm."""

    BINDINGS: ClassVar = [
        ("b,escape,q", "dismiss(None)", "back to the board"),
        ("k", "app.acknowledge", "acknowledge"),
        *pit_bindings(),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._given: tuple[Snapshot, View] | None = None
        self._pit = ""

    def compose(self) -> ComposeResult:
        """Make the numbers."""
        yield PitStrip()
        yield Banner(id="banner")
        with Container(id="numbers"):
            for id_ in NUMBERS:
                with Vertical():
                    yield Static("", classes="name", id=f"{id_}-name", markup=False)
                    yield Static("", classes="large", id=id_, markup=False)
        yield Static(id="bed-alarm")
        yield Static(BACK if getattr(self.app, "replays", False) else HINT, classes="name", id="bed-hint", markup=False)

    def on_mount(self) -> None:
        """Begin without a banner."""
        self.query_one(Banner).display = False

    def on_resize(self) -> None:
        """Draw for the new size, once it is laid out."""
        self.call_after_refresh(self._write_all)

    def show(self, snapshot: Snapshot, view: View) -> None:
        """Show this snapshot."""
        self._given = (snapshot, view)
        self._write_all()

    def forget(self) -> None:
        """Show no number any more of the pit before, until there is something of this one."""
        self._given = None
        for id_ in NUMBERS:
            self.query_one(f"#{id_}-name", Static).update("")
            self.query_one(f"#{id_}", Static).update("")

    def show_pits(self, pits: Sequence[PitGlance], shown: int, view: View) -> None:
        """Show how every pit stands, and the most pressing alarm; several pits are named."""
        self.query_one(PitStrip).show(pits, shown, view)
        line = contained(
            lambda: alarm_line(pits, shown, view, self.size.width), lambda words: ((f"alarms {words}", "alarm"),)
        )
        self.query_one("#bed-alarm", Static).update(content(line))
        name = clean(pits[shown].name, 24, ascii_only=view.ascii_only) if len(pits) > 1 else ""
        if name != self._pit:
            self._pit = name
            key = self.app.key_of("next-pit", "N") if hasattr(self.app, "key_of") else "N"
            self.query_one("#bed-hint", Static).update(f"{HINT}    {key}: next pit")
            self._write_all()

    def _write_all(self) -> None:
        if self._given is None:
            return
        snapshot, view = self._given
        contained(lambda: self._write_numbers(snapshot, view), lambda words: self._lose_numbers(words, view))

    def _lose_numbers(self, words: str, view: View) -> None:
        """Show no number, since an old one would be taken for the present one."""
        for id_ in NUMBERS:
            self._write(id_, f"{id_} {words}", "?", view)

    def _write_numbers(self, snapshot: Snapshot, view: View) -> None:
        unit = degree(view)
        at_grate = [z for z in snapshot.zones if not math.isnan(z.celsius) and z.level == snapshot.chamber.levels[0]]
        coldest = min(at_grate, key=lambda z: z.celsius, default=None)
        of = f"{self._pit}: " if self._pit else ""
        words = f"{of}grate {unit}, {fire_words(snapshot)}"
        self._write("grate", words, number(snapshot.fire.level_celsius, view), view)
        name = f"coldest: {coldest.name} {unit}" if coldest else "coldest zone"
        self._write("coldest", name, number(coldest.celsius if coldest else math.nan, view), view)
        spread = difference(snapshot.evenness.spread_kelvin, view, signed=False)
        self._write("spread", f"spread {unit}", spread, view)
        self._write("time", "time", clock(snapshot.now_unix, view), view)

    def _write(self, id_: str, name: str, value: str, view: View) -> None:
        self.query_one(f"#{id_}-name", Static).update(name)
        place = self.query_one(f"#{id_}", Static)
        room = place.size
        place.update("\n".join(large_text(value, room.width, room.height, ascii_only=view.ascii_only)))

    def show_trouble(self, trouble: Trouble | None) -> None:
        """Show or hide the banner."""
        self.query_one(Banner).show(trouble)
        self.set_class(trouble is not None and trouble.old, "-old")
