"""A pit that never was, minute by minute, and a client that plays it: what the dashboard's tests look at."""

import asyncio
import math
import time
from collections.abc import AsyncIterator, Callable

import pytest
from msgspec.structs import replace

from adapters.reading import Quality, Reason
from adapters.source import LinkState
from collector import wire
from collector.snapshot import (
    AheadView,
    AlarmState,
    AlarmView,
    ArrivalView,
    ChamberView,
    EvennessView,
    FieldView,
    FireView,
    Mark,
    MeatView,
    PartView,
    Phase,
    PlaceView,
    Priority,
    ProbeView,
    Snapshot,
    SourceView,
    StoreView,
    TrendPoint,
    Verdict,
    ZoneView,
)
from tests.trend import packed
from tui.client import ClientLink, ClientState

NIGHT = 1_700_000_000.0
PLACES = (
    ("firebox", 0.15, 0.25, 131.0), ("point", 0.45, 0.15, 122.0), ("middle", 0.75, 0.25, 117.0),
    ("door", 0.75, 0.45, 112.0), ("flat", 1.05, 0.25, 107.0), ("far flat", 1.15, 0.15, 103.0),
    ("stack", 1.4, 0.25, 99.0),
)  # fmt: skip
ZONES = (("firebox end", 0.0, 0.4, 130.0), ("point side", 0.4, 0.8, 119.0), ("flat side", 0.8, 1.2, 105.0),
         ("stack end", 1.2, 1.5, 99.0))  # fmt: skip


def probe(name: str, x_m: float, y_m: float, celsius: float, level: str = "grate") -> ProbeView:
    return ProbeView(
        name, "chamber", level, x_m, y_m, celsius, Quality.GOOD, Reason.NONE, NIGHT - 2.0, -6.0, silent=False, used=True
    )


def meat(name: str, celsius: float) -> ProbeView:
    return ProbeView(
        name, "meat", "grate", None, None, celsius, Quality.GOOD, Reason.NONE, NIGHT - 3.0, 5.0,
        silent=False, used=True, target_celsius=95.0,
    )  # fmt: skip


def field_of(probes: tuple[ProbeView, ...], level: str) -> FieldView:
    used = [p for p in probes if p.level == level and p.duty == "chamber" and p.used]
    return FieldView(
        level, 0, tuple(p.x_m or 0.0 for p in used), tuple(p.y_m or 0.0 for p in used), tuple(0 for _ in used),
        tuple(p.celsius for p in used), tuple(0.5 for _ in used), (8.0,), 0.45, 0.35, 0.0, 0.5, 3.0, 20.0, (),
        PlaceView(1.38, 0.25, 99.0, 1.2), PlaceView(0.1, 0.1, 131.0, 1.4), 1.8,
    )  # fmt: skip


def alarm(key: str, state: AlarmState = AlarmState.UNACKNOWLEDGED, **changes: object) -> AlarmView:
    rule, subject = key.split("/")
    made = AlarmView(
        key, rule, subject, Priority.URGENT, state, True, NIGHT - 780.0, NIGHT - 600.0, 99.0, 107.0, "celsius",
        f"{subject} is cold; look at the fire and the lid",
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def night(now_unix: float = NIGHT, **changes: object) -> Snapshot:
    """Make a cook at 3 in the morning: the stack end is cold, one probe silent, a refuel some time ago."""
    grate = tuple(probe(*p) for p in PLACES)
    silent = replace(grate[3], silent=True, used=False, heard_unix=NIGHT - 900.0)
    top = (probe("lid fire", 0.3, 0.25, 152.0, "top"), probe("lid stack", 1.2, 0.25, 128.0, "top"))
    probes = (*grate[:3], silent, *grate[4:], *top, meat("brisket point", 78.4), meat("brisket flat", 71.2))
    middle = 112.0
    zones = tuple(
        ZoneView(n, "grate", x0, x1, 0.0, 0.5, c, 0.6, c - middle, -6.0, 2, 40.0 if c < 107 else 0.0)
        for n, x0, x1, c in ZONES
    )
    zones += (ZoneView("under the lid", "top", 0.0, 1.5, 0.0, 0.5, 140.0, 1.0, 0.0, 3.0, 2, 0.0),)
    made = Snapshot(
        now_unix, "brisket with the new baffle", NIGHT - 6 * 3600.0,
        ChamberView("offset", "cylinder", 1.5, 0.5, ("grate", "top")), 120.0, 107.0, 135.0, probes, zones,
        (field_of(probes, "grate"), field_of(probes, "top")), EvennessView(31.0, 27.0, 31.0, 26.0, 9.0),
        FireView(Phase.STEADY, 114.0, -7.0, -11.0, -3.0, 25.0, None, NIGHT - 2400.0, 2700.0, NIGHT + 300.0, 3, 7,
                 "low"),
        (alarm("cold-spot/stack end"), alarm("silent-probe/door", AlarmState.ACKNOWLEDGED, value=900.0, limit=120.0,
                                             unit="seconds", message="door is not heard; look at its battery")),
        (
            Mark(NIGHT - 9000.0, "seen-refuel", "the fire picked up", "refuel/20231114T194320Z"),
            Mark(NIGHT - 7200.0, "seen-lid", "the lid was opened", "lid/20231114T201320Z", Verdict.CONFIRMED),
            Mark(NIGHT - 7100.0, "wrap"),
            Mark(NIGHT - 5000.0, "seen-refuel", "the fire picked up", "refuel/20231114T205000Z", Verdict.DELETED),
            Mark(NIGHT - 2400.0, "seen-refuel", "the fire picked up", "refuel/20231114T213320Z"),
            Mark(NIGHT - 2400.0, "split"),
        ),
        (SourceView("pit broker", "mqtt", LinkState.UP, "", 86400, 0, 3, NIGHT - 1.0, 1, ("garage/fridge",)),
         SourceView("meat radio", "ble", LinkState.DOWN, "connected, but nothing is heard", 1200, 4, 0, NIGHT - 65.0)),
        StoreView("cook.db", 16, NIGHT - 4.0, ""),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def part(name: str, celsius: float, done_seconds: float, **changes: object) -> PartView:
    """Make a part that stalls and is done so many seconds from now."""
    done = ArrivalView(NIGHT + done_seconds - 3000.0, NIGHT + done_seconds, NIGHT + done_seconds + 3600.0)
    ahead = tuple(
        AheadView(NIGHT + 1800.0 * k, celsius + 0.7 * k, celsius + k, celsius + 1.4 * k) for k in range(1, 25)
    )
    made = PartView(
        name, f"brisket {name}", celsius, 106.0, "flat side", 74.0, 95.0,
        ArrivalView(NIGHT + 2700.0, NIGHT + 3600.0, NIGHT + 4500.0), done, ahead, NIGHT - 7200.0, None, 71.0, 64.0,
        7200.0, 6000.0, 3.2, 2400.0, 5400.0,
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def piece(**changes: object) -> MeatView:
    """Make the brisket of that night: its flat falls behind its point, and it will be late."""
    flat = part("flat", 71.2, 27_000.0)
    point = part("point", 78.4, 9000.0, air_celsius=119.0, zone="point side", stall_ended_unix=NIGHT - 1800.0)
    made = MeatView(
        "brisket", "brisket", 5.9, "cooking", NIGHT - 30_000.0, NIGHT - 30_000.0, (0.4, 1.1, 0.1, 0.4), (flat, point),
        flat.done, NIGHT + 30_600.0,
        (("wrap", NIGHT + 3000.0), ("rest", NIGHT + 27_000.0), ("serve", NIGHT + 30_600.0)),
        2400.0, 112.0, 57.2, 0.0, math.nan, None, None,
        ("the flat falls behind the point and lies in colder air: turn it round, or shield the point",),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


def history(hours: float = 6.0, hole: tuple[float, float] | None = (4.0, 3.7)) -> tuple[TrendPoint, ...]:
    """Make the trend of that night: a saw-tooth of refuels, with a hole where nothing was heard."""
    points = []
    for i in range(int(hours * 360)):
        unix = NIGHT - hours * 3600.0 + i * 10.0
        before = (NIGHT - unix) / 3600.0
        if hole and hole[1] < before < hole[0]:
            continue
        wave = 5.0 * math.sin(unix / 430.0) + 3.0 * ((unix / 2700.0) % 1.0)
        warm = 1.0 - math.exp(-(hours - before) / 0.3)
        zones = tuple(20.0 + (c - 20.0) * warm + wave * (1.0 - 0.15 * k) for k, (_, _, _, c) in enumerate(ZONES))
        probes = (*(c for *_, c in PLACES), 152.0, 128.0, 20.0 + 58.0 * (hours - before) / hours, 70.0)
        points.append(TrendPoint(unix, (*zones, 140.0), zones[0] - zones[3], zones[1], probes))
    return tuple(points)


class FakeClient:
    """Plays messages put into it; keeps what it was asked to do."""

    def __init__(self, *messages: wire.FromCollector) -> None:
        self.link = ClientLink(ClientState.UP, time.time())
        self.sent: list[wire.Command] = []
        self.refusal = ""
        self.queue: asyncio.Queue[wire.FromCollector | Exception] = asyncio.Queue(1000)
        for message in messages:
            self.queue.put_nowait(message)

    async def __aiter__(self) -> AsyncIterator[wire.FromCollector]:
        while True:
            message = await self.queue.get()
            if isinstance(message, Exception):
                raise message
            yield message

    async def send(self, command: wire.Command) -> wire.Reply:
        self.sent.append(command)
        return wire.Reply(command.number, not self.refusal, self.refusal)


@pytest.fixture(scope="session", name="night")
def _night() -> Callable[..., Snapshot]:
    return night


@pytest.fixture(scope="session", name="piece")
def _piece() -> Callable[..., MeatView]:
    return piece


@pytest.fixture(scope="session", name="history")
def _history() -> Callable[..., tuple[TrendPoint, ...]]:
    return history


@pytest.fixture(scope="session", name="alarm")
def _alarm() -> Callable[..., AlarmView]:
    return alarm


@pytest.fixture
def client() -> FakeClient:
    return FakeClient(wire.History(packed(history())), wire.News(night()))
