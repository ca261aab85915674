"""A night from its seed: config, readings, what people ask, clocks, kills; seen after each step, replayed at last."""

import contextlib
import io
import os
import random
import time
from collections.abc import Callable
from pathlib import Path

from msgspec.structs import replace

from adapters.source import LinkState
from collector import wire
from collector.calibrations import CalibrationBook
from collector.clock import Clock
from collector.engine import LEAP_SECONDS, LOOK_SECONDS, Event
from collector.errors import SettingsError, StoreError
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.calibration import Point
from collector.opening import open_store, take_up
from collector.pipeline import Pipeline
from collector.replay import differences, rebuild
from collector.report.document import document_of
from collector.report.facts import tell
from collector.report.played import play
from collector.report.sections import sections
from collector.report.summary import headline
from collector.report.wording import Words
from collector.requests import action_of
from collector.snapshot import CallsView, CallView, Snapshot, SourceView, StoreView, ToldView, TrendPoint
from collector.store.archive import Archive
from tests.fuzz.asked import command, own_action
from tests.fuzz.compared import by_record, mark_of, same, texts_in
from tests.fuzz.configs import Draft, accepted, settings_of
from tests.fuzz.failures import Findings, must
from tests.fuzz.readings import Pit
from tests.fuzz.texts import check_text, hostile
from tests.fuzz.views import Looker, canonical
from tui.cli import main

__all__ = ["Night", "run"]

BEGIN = 1_790_000_000.0
YEAR = 365 * 86_400.0
ZONES = ("UTC", "America/Chicago", "Europe/Berlin", "Asia/Kathmandu", "Australia/Lord_Howe")
LOOKS = (*[150] * 5, *[300] * 8, *[600] * 4)
CALM_LOOKS = (600, 1200, 1800)
"""How many looks of the engine a night may cost: it decides how long a seed takes."""
MOST_STEPS = 60


class NightOverError(Exception):
    """The collector could not go on; what it was is among the findings."""


class NightClock(Clock):
    """The collector's clock, set by the night."""

    def __init__(self, unix: float) -> None:
        super().__init__(lambda: True)
        self.unix = unix

    def now(self) -> float:
        return self.unix

    def set_forward(self, seconds: float) -> None:
        self.unix += seconds


class Night:
    """One pit's night.

    Args:
        dice: decides everything.
        findings: gets what is wrong.
        folder: for the store.
    """

    def __init__(self, dice: random.Random, findings: Findings, folder: Path) -> None:
        self._dice, self._findings = dice, findings
        self._path = folder / "cooks.db"
        self._clock = NightClock(BEGIN + dice.uniform(0.0, YEAR))
        self._draft: Draft = accepted(dice)
        self._looker = Looker(dice, findings)
        self._calm = dice.random() < 0.2
        """Nothing goes mad, and it lasts long enough for a steady fire and a forecast of the meat."""
        self._looks = dice.choice(CALM_LOOKS if self._calm else LOOKS)
        self._committed = 0
        self._open()
        self._pit = Pit(dice, self.engine.plan, self._clock.unix, calm=self._calm)

    def _open(self) -> None:
        """Start the collector, as `collector.daemon` does."""
        _, plan = settings_of(self._draft, self._clock.unix)
        found = open_store(self._path, plan, self._clock, cook="", start_unix=None, keep_days=0.0, settled_only=False)
        self._database, opened = found.database, found.opened
        self.engine, self._number = opened.engine, opened.number
        self._events: list[Event] = list(opened.events)
        self._trend: list[TrendPoint] = []
        self._pipeline = Pipeline(self.engine, self._database.series, opened.last_ordinal, self._on_event)
        with Archive(self._path) as archive:
            self._book = CalibrationBook(archive.calibrations())
        self._looker.restart()
        if opened.resumed:
            self._findings.count("resumed")
            take_up(opened, self._pipeline, self._clock.unix)

    def _on_event(self, event: Event) -> None:
        self._events.append(event)
        if isinstance(event, TrendPoint):
            self._trend.append(event)

    def play(self) -> None:
        """Take step after step until the looks are used up."""
        steps: tuple[tuple[int, Callable[[], None]], ...] = (
            (80 if self._calm else 20, self._feed), (16, self._ask), (5, self._silence), (1, self._leap),
            (2, self._step_back), (4, self._note), (2, self._own), (1, self._die), (2, self._restart),
        )  # fmt: skip
        weights = [weight for weight, _ in steps]
        try:
            for number in range(MOST_STEPS):
                _, step = self._dice.choices(steps, weights)[0]
                self._findings.step = f"{number} {step.__name__.strip('_')}"
                self._findings.count(step.__name__.strip("_"))
                self._driven(step)
                self._look()
                if self._looks <= 0:
                    break
            self._findings.step = "end"
            self._close()
        except NightOverError:
            pass
        finally:
            self._database.close()

    def _driven(self, step: Callable[[], object]) -> None:
        """Do what may change the collector; where that fails, the night is over."""
        try:
            step()
        except NightOverError:
            raise
        except Exception as error:
            self._findings.add("the collector", error)
            raise NightOverError from error

    def _pass(self, seconds: float) -> None:
        """Let the clock go on, and count what that costs."""
        self._clock.unix += seconds
        self._looks -= int(min(seconds, LEAP_SECONDS) / LOOK_SECONDS) if seconds < LEAP_SECONDS else 120

    def _feed(self) -> None:
        dice = self._dice
        self._pit.turn(self.engine.plan)
        begin = self._clock.unix
        every = dice.choice((20.0, 60.0) if self._calm else (5.0, 10.0, 20.0, 20.0, 60.0))
        self._pass(min(dice.choice((20.0, 120.0, 300.0, 900.0, 1800.0)), 60.0 * every))
        for reading in self._pit.readings(self.engine.plan, begin, self._clock.unix, every):
            self._pipeline.take(reading)
        self._tick()

    def _tick(self) -> None:
        self._pipeline.advance(self._clock.unix)
        if self._dice.random() < 0.7:
            self._commit()

    def _silence(self) -> None:
        self._pass(self._dice.choice((0.0, 0.001, 1.0, 4.9, 31.0, 130.0, 600.0, 1800.0)))
        self._tick()

    def _leap(self) -> None:
        """The wall clock is set forward by days, which the collector notes and follows.

        A replay leaps from the last that is on record, so there is something just before: what the collector looked at
        between a reading and a leap is in no replay.
        """
        self._pipeline.act(own_action(self._dice), self._clock.unix)
        self._pass(LEAP_SECONDS + self._dice.uniform(1.0, 20 * 86_400.0))
        self._pipeline.act(Action(ActionKind.MARK, "clock", text="the wall clock was set"), self._clock.unix)

    def _step_back(self) -> None:
        self._clock.unix -= self._dice.choice((0.5, 60.0, 3600.0))
        self._tick()

    def _note(self) -> None:
        for _ in range(self._dice.choice((1, 2, 4))):
            self._pipeline.note(self._pit.vitals(self.engine.plan), self._clock.unix)

    def _own(self) -> None:
        self._pipeline.act(own_action(self._dice), self._clock.unix)

    def _ask(self) -> None:
        """Ask some things, over the wire, as `collector.daemon` answers it."""
        shown = None
        with contextlib.suppress(Exception):  # whoever looks says so
            shown = self.engine.snapshot()
        for _ in range(self._dice.choice((1, 1, 2, 4))):
            asked = wire.decode_command(wire.encode(command(self._dice, self.engine, shown)))
            self._pass(self._dice.choice((0.0, 0.0, 1.0, 30.0)))
            name = type(asked).__name__
            try:
                self._carry_out(asked)
                self._findings.count(f"{name} done")
            except (KeyError, ValueError):
                self._findings.count(f"{name} refused")

    def _carry_out(self, asked: wire.Command) -> None:
        now = self._clock.unix
        if isinstance(asked, wire.AskRules):
            answer = wire.Rules(asked.number, self.engine.rules())
            back = wire.decode_news(wire.encode(answer))
            must(canonical(back) == canonical(answer), "wire: Rules comes back as another")
            return
        if isinstance(asked, wire.Calibrate | wire.UndoCalibration):
            probe = next((p for p in self.engine.plan.probes if p.name == asked.probe), None)
            if probe is None:
                raise ValueError
            if isinstance(asked, wire.Calibrate):
                point = Point(asked.kind, asked.reference_celsius, asked.raw_celsius, asked.sd_kelvin, now)
                action = self._book.found(probe, point)
            else:
                action = self._book.undone(probe, everything=asked.everything)
            self._pipeline.act(action, now)
            assert action.calibration is not None
            self._book.enter(action.calibration)
            return
        self._pipeline.act(action_of(asked, self.engine), now)

    def _die(self) -> None:
        """`kill -9`: what was not committed is lost."""
        self._begin_again()

    def _restart(self) -> None:
        """Stop in an orderly way and start again, perhaps with a config that was edited in between."""
        self._commit()
        if self._dice.random() < 0.5:
            self._replayed()
        if self._dice.random() < 0.6:
            self._draft.edit()
        self._begin_again()

    def _begin_again(self) -> None:
        self._database.close()
        self._looks -= int(min(self.engine.now_unix - self.engine.started_unix, 3600.0) / LOOK_SECONDS)
        self._pass(self._dice.choice((0.0, 1.0, 40.0, 600.0, -50.0, -4000.0, 86_400.0 * 3)))
        for _ in range(20):
            try:
                settings_of(self._draft, self._clock.unix)
                break
            except SettingsError:
                self._draft.edit()
        else:
            self._draft = accepted(self._dice)
        self._open()

    def _commit(self) -> None:
        full, batch = self._pipeline.urgent, self._pipeline.cut()
        self._database.commit(self._number, batch, full=full)
        self._committed += len(batch.rows)

    def _look(self) -> None:
        """See the cook in every way there is, and what the engine itself has contained."""
        guard = self._findings.guard
        trend, self._trend = self._trend, []
        snapshot = None
        with guard("snapshot"):
            snapshot = self._with_the_daemons(self.engine.snapshot())
        self._contained()
        if snapshot is not None:
            self._findings.count(f"fire {snapshot.fire.phase}")
            self._looker.see(self.engine, snapshot, trend)

    def _contained(self) -> None:
        """Take what the engine contained for the failure it is."""
        for record in getattr(getattr(self.engine, "faults", None), "records", ()):
            self._findings.contained(str(record.part), str(record.error), str(record.traceback))

    def _with_the_daemons(self, snapshot: Snapshot) -> Snapshot:
        """Add what only the daemon knows, with words of strangers in it."""
        dice, unplaced = self._dice, self._pipeline.unplaced
        words = hostile(dice) if dice.random() < 0.2 else ""
        sources = tuple(
            SourceView(
                name, "MqttSource", dice.choice(tuple(LinkState)), words, 7, 0, 1, None,
                unplaced=tuple(sorted(key for source, key in unplaced if source == name))[:32], last_error=words,
                rssi_dbm=dice.choice((None, -70)), battery_percent=dice.choice((None, 12.0)), packets_per_minute=3.0,
            ) for name in dict.fromkeys(probe.source for probe in self.engine.plan.probes)
        )  # fmt: skip
        told = ToldView("anna", "phone", (snapshot.now_unix - 60.0,), False, words)
        calls = tuple(
            CallView(k, trouble.key, trouble.since_unix, (told,), ("ben",))
            for k, trouble in enumerate(snapshot.troubles)
        )
        view = (
            CallsView(calls, None, 1, snapshot.now_unix - 400.0, (("phone", words),)) if dice.random() < 0.5 else None
        )
        store = StoreView(str(self._path), 3, None, "disk full" if words else "")
        return replace(snapshot, sources=sources, store=store, calls=view)

    def _close(self) -> None:
        """Hold the whole record against what was lived through."""
        self._driven(self._commit)
        guard, engine = self._findings.guard, self.engine
        with guard("replay"):
            self._replayed()
        with guard("record"), Archive(self._path) as archive:
            cooks = archive.cooks()
            kept = sum(cook.readings for cook in cooks)
            must(kept == self._committed, "record: readings lost or twice", f"{kept} kept, {self._committed} committed")
            for cook in cooks if self._dice.random() < 0.4 else ():
                found = differences(archive, cook)
                must(not found, "record: a replay gives another alarm log", "\n".join(found[:5]))
        if self._dice.random() < 0.4:
            self._report()
        with guard("cook show"):
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                must(main(["cook", "show", engine.cook, "--store", str(self._path)]) == 0, "cook show: fails")
            check_text("cook show", out.getvalue())
        self._contained()

    def _replayed(self) -> None:
        """See that a replay from the store is the cook as it was lived through."""
        engine = self.engine
        with Archive(self._path) as archive:
            cook = archive.cook(engine.cook)
            again, events = rebuild(archive, cook, archive.plans(cook)[-1][1])
        events += again.advance(engine.now_unix)
        for kind in (Transition, TrendPoint):
            same(f"replay: another {kind.__name__}", [e for e in self._events if isinstance(e, kind)],
                  [e for e in events if isinstance(e, kind)])  # fmt: skip
        same("replay: another mark", [mark_of(e) for e in self._events], [mark_of(e) for e in events])
        same("replay: another snapshot", by_record(engine.snapshot()), by_record(again.snapshot()))
        same("replay: another rule", engine.rules(), again.rules())

    def _report(self) -> None:
        with self._findings.guard("report"), Archive(self._path) as archive:
            cook = archive.cook(self.engine.cook)
            try:
                told = tell(play(archive, cook), self._dice.choice(("level", "target")))
            except StoreError:
                must(not cook.readings, "report: refused with readings on record")
                return
            document_of(told.facts)
            words = Words(self._dice.random() < 0.5)
            for text in texts_in((headline(told.facts, words), sections(told.facts, words, ()))):
                check_text("report", text)


def run(dice: random.Random, findings: Findings, folder: Path) -> None:
    """Play one night in a time zone of its own."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = dice.choice(ZONES)
    time.tzset()
    try:
        with findings.guard("set-up"):
            Night(dice, findings, folder).play()
    finally:
        if before is None:
            os.environ.pop("TZ", None)
        else:
            os.environ["TZ"] = before
        time.tzset()
