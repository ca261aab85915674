"""Everything a person or a program sees of a cook, made of one snapshot and looked at."""

import json
import math
import random
from collections.abc import Callable, Iterable, Sequence

import msgspec

from collector import wire
from collector.calls.escalation import Call, Due
from collector.calls.message import Composer, digest
from collector.calls.picture import draw_map
from collector.engine import Engine
from collector.page_view import PageViewer, thinned
from collector.publish.documents import documents
from collector.raster import Raster
from collector.snapshot import CALLING, AlarmState, Snapshot, TrendPoint
from collector.store.trend import row_of, stretches
from tests.fuzz.failures import Findings, must
from tests.fuzz.texts import check_text
from tui.draw.alarm_table import rule_lines
from tui.draw.alarms import alarm_rows, calls_lines, pressing_line, told_once
from tui.draw.chamber_map import Subject, draw_chamber
from tui.draw.chart import CHARTS, choose_chart
from tui.draw.colour_scale import difference_scale, temperature_scale
from tui.draw.described import described
from tui.draw.fire import fire_lines
from tui.draw.heading import heading_line
from tui.draw.line import Line, plain
from tui.draw.marks import listed, mark_line, mark_words
from tui.draw.meat import meat_lines
from tui.draw.phases import phase_steps
from tui.draw.picture import Picture
from tui.draw.pieces import all_piece_lines
from tui.draw.pits import PitGlance, alarm_line, strip
from tui.draw.sources import source_lines
from tui.draw.summary import status_lines
from tui.draw.trend import draw_trend
from tui.draw.trend_log import TrendLog
from tui.draw.view import View
from tui.draw.zones import zone_lines
from tui.widgets.roles import contents

__all__ = ["Looker", "canonical"]

SIZES = ((80, 24), (160, 48))
PANELS: dict[str, Callable[[Snapshot, View, int], list[Line]]] = {
    "zones": zone_lines, "fire": fire_lines, "meat": meat_lines, "pieces": all_piece_lines, "sources": source_lines,
    "calls": calls_lines,
}  # fmt: skip


def canonical(snapshot: object) -> str:
    """Write a value so that equal ones are equal texts; what is not a number equals itself."""
    return msgspec.json.encode(snapshot).decode()


class Looker:
    """Looks at a cook as dashboards, phones, programs and messages do, and keeps what they keep.

    Args:
        dice: decides which of many ways of display are looked at.
        findings: gets what is wrong.
    """

    def __init__(self, dice: random.Random, findings: Findings) -> None:
        self._dice, self._findings = dice, findings
        self._page, self._rasters = PageViewer(), (Raster(), Raster())
        self._log = TrendLog()
        self._danger: dict[tuple[object, ...], float] = {}

    def restart(self) -> None:
        """Forget what was seen of the collector before."""
        self._danger.clear()
        self._log = TrendLog()

    def see(self, engine: Engine, snapshot: Snapshot, trend: Sequence[TrendPoint]) -> None:
        """Look at everything there is of a cook."""
        guard = self._findings.guard
        for point in trend:
            self._log.add(point)
        with guard("invariants"):
            self._sound(engine, snapshot)
        with guard("the wire"):
            _wire(snapshot, trend)
        with guard("phone"):
            _json_is_sound("phone", msgspec.json.encode(self._page.view(snapshot)))
            thinned(trend, 0.0)
        with guard("MQTT documents"):
            for topic, content in documents(snapshot).items():
                _json_is_sound(f"MQTT {topic.partition('/')[0]}", content)
        view = View(fahrenheit=self._dice.random() < 0.5, ascii_only=self._dice.random() < 0.2)
        with guard("status"):
            self._status(snapshot, view)
        with guard("rules"):
            for line in rule_lines(engine.rules(), snapshot.now_unix, view):
                check_text("rules", line)
        with guard("messages"):
            self._messages(snapshot)
        for size in SIZES:
            self._draw(snapshot, view, *size)

    def _sound(self, engine: Engine, snapshot: Snapshot) -> None:
        plan = engine.plan
        must(snapshot.now_unix == engine.now_unix, "snapshot: its time", f"{snapshot.now_unix} {engine.now_unix}")
        must([p.name for p in snapshot.probes] == [p.name for p in plan.probes], "snapshot: its probes")
        must([z.name for z in snapshot.zones] == [z.name for z in plan.zones], "snapshot: its zones")
        keys = [alarm.key for alarm in snapshot.alarms]
        must(len(keys) == len(set(keys)), "snapshot: an alarm twice", repr(keys))
        states = [a.key for a in snapshot.alarms if a.state is AlarmState.NORMAL]
        must(not states, "snapshot: a normal alarm", repr(states))
        grouped = [key for trouble in snapshot.troubles for key in trouble.alarms]
        must(len(grouped) == len(set(grouped)), "snapshot: an alarm in two troubles", repr(grouped))
        for alarm in snapshot.alarms:
            must(
                alarm.state not in CALLING or alarm.key in grouped, "snapshot: a calling alarm in no trouble", alarm.key
            )
        must(len(snapshot.marks) <= 200, "snapshot: too many marks", str(len(snapshot.marks)))
        for probe in snapshot.probes:
            must(not (probe.used and (probe.silent or not math.isfinite(probe.celsius))), "snapshot: a probe used",
                 f"{probe.name} {probe.celsius} silent={probe.silent}")  # fmt: skip
            must(not math.isinf(probe.celsius), "snapshot: an infinite probe", probe.name)
        for zone in snapshot.zones:
            must(not math.isinf(zone.celsius), "snapshot: an infinite zone", zone.name)
            must(not zone.probes or math.isfinite(zone.celsius), "snapshot: a zone with probes and no value", zone.name)
            must(zone.cold_dose_kelvin_minutes >= 0, "snapshot: a negative cold dose", zone.name)
        for meat in snapshot.meat:
            for part in meat.parts:
                must(not part.danger_seconds < 0, "snapshot: negative seconds of danger", f"{part.danger_seconds}")
                same = meat.name, meat.on_unix, meat.described, part.name
                before = self._danger.get(same, -math.inf)
                must(not part.danger_seconds < before - 1e-6, "snapshot: the danger clock went back",
                     f"{before} {part.danger_seconds} {meat.phase}")  # fmt: skip
                self._danger[same] = part.danger_seconds

    def _status(self, snapshot: Snapshot, view: View) -> None:
        for line in status_lines(snapshot, view):
            check_text(f"status {line.split(' ', 1)[0]}", line, lines=False)
        _json_is_sound("status --json", msgspec.json.encode({"schema": 1, "exit": 0, "snapshot": snapshot}))
        told = told_once(snapshot, view)
        calling = [a.key for a in snapshot.alarms if a.state in CALLING]
        must(told or not calling, "status: an alarm that is not told", repr(calling))

    def _messages(self, snapshot: Snapshot) -> None:
        composer = Composer(self._dice.random() < 0.5)
        said = []
        for k, trouble in enumerate(snapshot.troubles):
            call = Call(k, trouble.key, trouble.priority, trouble.since_unix)
            for word in ("raised", "again", "over"):
                due = Due(k, 0, trouble.key, "anna", "phone", word, snapshot.now_unix)
                said.append(composer.trouble(due, call, trouble, snapshot))
        for message in [*said, *([digest(said)] if said else [])]:
            check_text("message title", message.title, lines=False)
            check_text("message text", message.text)
            _json_is_sound("message", message.body)
        if said and self._dice.random() < 0.1:
            draw_map(snapshot)

    def _draw(self, snapshot: Snapshot, view: View, width: int, height: int) -> None:
        guard, dice = self._findings.guard, self._dice
        for name, writer in PANELS.items():
            with guard(f"panel {name}, {width} cells"):
                _lines(f"panel {name}", writer(snapshot, view, width // dice.choice((1, 2, 3))))
        with guard("heading"):
            heading = heading_line(snapshot, view, width)
            _lines("heading", [heading])
            glance = PitGlance("pit", snapshot, None)
            _lines("pits", [alarm_line((glance, glance), 0, view, width), strip((glance, glance), 0, view, width).line])
        with guard("pressing line"):
            line = pressing_line(snapshot, view, width)
            _lines("pressing line", [line])
            must(len(plain(line)) <= width, "pressing line: wider than the screen", repr(plain(line)))
            calling = any(a.state in CALLING for a in snapshot.alarms)
            must(plain(line).strip() or not calling, "pressing line: empty while an alarm calls")
        with guard("alarm list"):
            rows = alarm_rows(snapshot, view, width // 2, height // 2)
            _lines("alarm list", [line for row in rows for line in row.lines])
            _once("alarm list", [row.key for row in rows])
        with guard("mark list"):
            marks = listed(snapshot)
            _lines("mark list", [mark_line(mark, view, width // 2) for mark in marks])
            _once("mark list", [mark.event for mark in marks if mark.event])
            for mark in marks:
                check_text("mark words", mark_words(mark, view))
        with guard("meat sheet"):
            for step in phase_steps(snapshot.meat, view):
                check_text("meat sheet", step.words)
            for meat in snapshot.meat:
                if meat.described is not None:
                    for words in described(meat.described, view, snapshot.now_unix).values():
                        check_text("meat as described", words)
        for level in snapshot.chamber.levels[:3]:
            with guard(f"chamber map, {width} cells"):
                difference = dice.random() < 0.5
                make = difference_scale if difference else temperature_scale
                scale = make(dice.choice(("truecolor", "256", "16", "none")), ascii_only=view.ascii_only)
                subject, raster = Subject(level, scale, difference=difference), self._rasters[width > 80]
                size = width // 2 + dice.randrange(4), height // 2 + dice.randrange(4)
                drawn = draw_chamber(snapshot, subject, raster, view, *size)
                _picture("chamber map", drawn.picture, *size)
        with guard(f"trend, {width} cells"):
            level = next(iter(snapshot.chamber.levels), "")
            chart = choose_chart(self._log, snapshot, dice.choice(CHARTS), level, dice.choice((1.0, 3.0, 12.0)), view,
                                 ahead=dice.random() < 0.7)  # fmt: skip
            check_text("trend title", chart.title)
            size = width // dice.choice((1, 2)), height // 2
            drawn = draw_trend(
                chart.time_unix, chart.curves, chart.guides, chart.window, view, *size, chart.signs,
                numbered=dice.random() < 0.3, bands=chart.bands, now_unix=chart.now_unix,
            )  # fmt: skip
            _picture("trend", drawn, *size)


def _lines(where: str, lines: Iterable[Line]) -> None:
    lines = list(lines)
    for line in lines:
        check_text(where, plain(line), lines=False)
    contents(lines)  # what a widget makes of them


def _once(where: str, keys: Sequence[str]) -> None:
    """A list on the screen takes each key once, and ends the dashboard otherwise."""
    must(len(keys) == len(set(keys)), f"{where}: a key twice", repr(keys))


def _picture(where: str, picture: Picture, width: int, height: int) -> None:
    must(len(picture.text) == height and all(len(row) == width for row in picture.text), f"{where}: its size")
    must(picture.ink.shape == picture.paper.shape == (height, width), f"{where}: the size of its colours")
    for row in picture.text:
        check_text(where, row, lines=False)


def _json_is_sound(where: str, content: bytes) -> None:
    def refuse(word: str) -> None:
        must(False, f"{where}: {word} in JSON", content.decode()[:300])

    json.loads(content, parse_constant=refuse)


def _wire(snapshot: Snapshot, trend: Sequence[TrendPoint]) -> None:
    news = wire.decode_news(wire.news(snapshot))
    assert isinstance(news, wire.News)
    must(canonical(news.snapshot) == canonical(snapshot), "wire: a snapshot that comes back as another")
    sent = (wire.Trend(tuple(trend)), wire.History(stretches(row_of(p) for p in trend)))
    for message in sent:
        back = wire.decode_news(wire.encode(message))
        must(canonical(back) == canonical(message), f"wire: {type(message).__name__} comes back as another")
