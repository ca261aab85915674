"""The board: every panel at once where there is room, two and the chamber where there is not."""

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.geometry import Size
from textual.screen import Screen
from textual.widgets import Static

from collector.snapshot import Snapshot
from tui.actions import ACTIONS, bindings
from tui.draw.banner import Trouble
from tui.draw.chamber_map import Subject
from tui.draw.chart import CHARTS, ChartKind, choose_chart
from tui.draw.colour_scale import ColourDepth, difference_scale, temperature_scale
from tui.draw.fire import fire_lines
from tui.draw.heading import heading_line
from tui.draw.line import Line
from tui.draw.meat import meat_lines
from tui.draw.pieces import all_piece_lines
from tui.draw.pits import PitGlance, alarm_line
from tui.draw.sources import source_lines
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.draw.zones import zone_lines
from tui.widgets.alarm_list import AlarmList
from tui.widgets.banner import Banner
from tui.widgets.chamber_map import ChamberMap
from tui.widgets.contained import contained
from tui.widgets.hint_line import HintLine
from tui.widgets.kept_list import KeptList
from tui.widgets.mark_list import MarkList
from tui.widgets.panel import Panel
from tui.widgets.pit_strip import PitStrip
from tui.widgets.roles import content
from tui.widgets.text_panel import TextPanel
from tui.widgets.trend_chart import TrendChart

__all__ = ["PANELS", "BoardScreen"]

PANELS = ("chamber", "zones", "marks", "trend", "alarms", "meat", "fire", "sources", "pieces")
CHOSEN = ("marks", "trend", "alarms", "meat", "fire", "sources")
"""Panels that take turns in one place where there is no room for all."""
LISTS = ("marks", "alarms")
WIDTHS = [(0, "-narrow"), (110, "-medium"), (150, "-wide")]
HEIGHTS = [(0, "-low"), (30, "-middling"), (42, "-high")]
TITLES = {"pieces": "all meat, Esc: back"}


class BoardScreen(Screen[None]):
    """Shows the newest snapshot; keeps which level, chart and panel are chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings()]
    AUTO_FOCUS = ""

    def __init__(self, depth: ColourDepth, size: Size) -> None:
        fits = ((WIDTHS, size.width), (HEIGHTS, size.height))
        sizes = [max(step for step in steps if step[0] <= cells)[1] for steps, cells in fits]
        super().__init__(classes=" ".join(sizes))  # at once, else all is styled again when it is laid out
        self.HORIZONTAL_BREAKPOINTS, self.VERTICAL_BREAKPOINTS = WIDTHS, HEIGHTS
        self._depth = depth
        self._level = 0
        self._difference = False
        self._chart: ChartKind = "zones"
        self._hours = 3.0
        self._ahead = True
        self._snapshot: Snapshot | None = None
        self._trend_log = TrendLog()
        self._view = View()
        self._pressing: Line = ()

    def compose(self) -> ComposeResult:
        """Make the panels."""
        yield PitStrip()
        yield Static(id="heading")
        yield Banner(id="banner")
        yield Static(id="pressing")
        with Container(id="panels"):
            for name, widget in self._widgets().items():
                panel = Panel(widget, id=name)
                panel.can_focus = name not in LISTS
                yield panel
        yield HintLine()

    def _widgets(self) -> dict[str, ChamberMap | TextPanel | TrendChart | KeptList]:
        return {
            "chamber": ChamberMap(),
            "zones": TextPanel(zone_lines),
            "marks": MarkList(),
            "trend": TrendChart(numbered=self._depth in ("16", "none")),
            "alarms": AlarmList(),
            "meat": TextPanel(meat_lines),
            "fire": TextPanel(fire_lines),
            "sources": TextPanel(source_lines),
            "pieces": TextPanel(all_piece_lines),
        }

    def on_mount(self) -> None:
        """Start with the trend in the place that panels share."""
        self.query_one("#banner").display = False
        self._choose("alarms")
        self._choose("trend")

    @property
    def alarm_list(self) -> AlarmList:
        """The alarms, with the one that is chosen."""
        return self.query_one(AlarmList)

    @property
    def mark_list(self) -> MarkList:
        """The marks, with the event that is chosen."""
        return self.query_one(MarkList)

    @property
    def _level_name(self) -> str:
        assert self._snapshot is not None
        levels = self._snapshot.chamber.levels
        return levels[self._level % len(levels)] if levels else ""

    def show(self, snapshot: Snapshot, log: TrendLog, view: View) -> None:
        """Show a snapshot in all panels."""
        self.query_one("#panels").visible = True
        self._snapshot, self._trend_log, self._view = snapshot, log, view
        self._show_heading()
        for panel in self.query(TextPanel):
            panel.show(snapshot, view)
        self.alarm_list.show(snapshot, view)
        self.mark_list.show(snapshot, view)
        contained(self._show_chamber, lambda words: self._entitle("chamber", f"chamber {words}"))
        contained(self.show_trend, lambda words: self._entitle("trend", f"trend {words}"))
        contained(self._show_titles, _leave_as_it_is)

    def show_pits(self, pits: Sequence[PitGlance], shown: int, view: View) -> None:
        """Show how every pit stands, and the most pressing alarm, loud also while the rest is paused or old."""
        self.query_one(PitStrip).show(pits, shown, view)
        line = contained(
            lambda: alarm_line(pits, shown, view, self.size.width), lambda words: ((f"alarms {words}", "alarm"),)
        )
        if line != self._pressing:  # the same words again would be laid out and drawn again
            self._pressing = line
            self.query_one("#pressing", Static).update(content(line), layout=False)

    def forget(self) -> None:
        """Show nothing and let nothing be chosen any more of the pit before, until there is something of this one."""
        self._snapshot, self._trend_log = None, TrendLog()
        self.query_one("#panels").visible = False
        for kept in self.query(KeptList):
            kept.forget()

    def show_trouble(self, trouble: Trouble | None, view: View) -> None:
        """Show or hide the banner; before the first snapshot the heading says that there is none."""
        self.query_one(Banner).show(trouble)
        self.set_class(trouble is not None and trouble.old, "-old")
        if self._snapshot is None:
            self._view = view
            self._show_heading()

    def _show_heading(self) -> None:
        snapshot, view = self._snapshot, self._view
        line = contained(
            lambda: heading_line(snapshot, view, self.size.width), lambda words: ((f"heading {words}", "alarm"),)
        )
        old = view.old and snapshot is not None
        self.query_one("#heading", Static).update(content(line, old=old), layout=snapshot is None)

    def _show_chamber(self) -> None:
        if self._snapshot is not None:
            make = difference_scale if self._difference else temperature_scale
            scale = make(self._depth, ascii_only=self._view.ascii_only)
            subject = Subject(self._level_name, scale, difference=self._difference)
            self.query_one(ChamberMap).show(self._snapshot, subject, self._view)

    def show_trend(self) -> None:
        """Show the chart anew."""
        if self._snapshot is not None:
            chart = choose_chart(
                self._trend_log, self._snapshot, self._chart, self._level_name, self._hours, self._view,
                ahead=self._ahead,
            )  # fmt: skip
            self.query_one(TrendChart).show(chart, self._view)
            self._entitle("trend", chart.title)

    def _entitle(self, name: str, text: str) -> None:
        """Write a panel's title with the key that leads there; the same again would draw the whole panel again."""
        key = next((a.key for a in ACTIONS if a.id == name), "")
        key = self.app.key_of(name, key) if hasattr(self.app, "key_of") else key
        panel, title = self.query_one(f"#{name}"), f"{key} {text}"
        if panel.border_title != title:
            panel.border_title = title

    def on_option_list_option_highlighted(self) -> None:
        """Name the event that is chosen now."""
        self._show_marks_title()

    def _show_marks_title(self) -> None:
        chosen = self.mark_list.chosen
        told = f"marks: {chosen.event}" if chosen is not None else "marks"  # what `coldside mark --delete` takes
        self._entitle("marks", told)

    def _show_titles(self) -> None:
        for name in PANELS:
            if name not in ("trend", "marks"):
                self._entitle(name, TITLES.get(name, name))
        self._show_marks_title()
        drawing = self.query_one(ChamberMap).drawing
        told = f"{self._level_name} from above"
        if self._difference:
            told += ", differences"
        if drawing is not None and drawing.left_out:
            told += f", no room for {', '.join(drawing.left_out)}"
        self._entitle("chamber", told)

    def _choose(self, name: str) -> None:
        """Put a panel into the shared place; where the trend has its own, the one chosen before it stays beside it."""
        for other in CHOSEN:
            panel = self.query_one(f"#{other}")
            panel.set_class(other == name, "-chosen")
            if name != "trend":
                panel.set_class(other == name, "-beside")

    def action_panel(self, name: str) -> None:
        """Go to a panel; from there, fill the screen with it."""
        panel = self.query_one(f"#{name}")
        fill = panel.has_class("-here") and not self.has_class("-filled")
        self._leave()
        self._let_go(name)
        panel.add_class("-here")
        if name in CHOSEN:
            self._choose(name)
        if fill:
            self.add_class("-filled")
        target = self.query_one(f"#{name} > KeptList") if name in LISTS else panel
        target.focus()

    def action_whole(self, name: str) -> None:
        """Fill the screen with a panel at once."""
        self.action_panel(name)
        self.add_class("-filled")

    def action_back(self) -> None:
        """Show all panels again."""
        self._leave()
        self._let_go("")
        self.set_focus(None)

    def _leave(self) -> None:
        self.remove_class("-filled")
        self.query("#panels > Panel").remove_class("-here")

    def _let_go(self, kept: str) -> None:
        """Choose nothing any more in the lists but one."""
        for name in LISTS:
            if name != kept:
                self.query_one(f"#{name} > KeptList", KeptList).highlighted = None
        self._show_marks_title()

    def action_level(self) -> None:
        """Show the next level."""
        self._level += 1
        self._show_anew()

    def action_difference(self) -> None:
        """Change between temperatures and differences."""
        self._difference = not self._difference
        self._show_anew()

    def action_chart(self) -> None:
        """Show the next kind of chart."""
        self._chart = CHARTS[(CHARTS.index(self._chart) + 1) % len(CHARTS)]
        self.show_trend()

    def action_hours(self, hours: float) -> None:
        """Show so many hours of the trend."""
        self._hours = hours
        self.show_trend()

    def action_ahead(self) -> None:
        """Show the meat's chart, with what is expected of it; from there, without."""
        self._ahead = not self._ahead or self._chart != "meat"
        self._chart = "meat"
        self.show_trend()

    def _show_anew(self) -> None:
        if self._snapshot is not None:
            self.show(self._snapshot, self._trend_log, self._view)


def _leave_as_it_is(_: str) -> None:
    """Leave titles as they were."""
