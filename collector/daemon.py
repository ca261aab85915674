"""The collector at work: sources, engine, store and dashboards wired together, and their life from start to stop."""

import asyncio
import contextlib
import logging
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import msgspec

from adapters.reading import Reading
from adapters.source import LinkState, Source
from collector import wire
from collector.calibrations import CalibrationBook, words_of
from collector.calls.options import Calling
from collector.calls.record import CallRow, CallsOnRecord, MessageRow
from collector.clock import Clock
from collector.engine import Event
from collector.errors import TokenError
from collector.fault_log import FaultLog
from collector.faults import CALLING_PART, NOT_AVAILABLE
from collector.feed import Feed
from collector.heartbeat import Heartbeat, HeartbeatOptions
from collector.jobs import Job, keep_running
from collector.kitchen.address import KitchenAddress
from collector.late import Late
from collector.model.action import Action, ActionKind
from collector.model.alarm import Transition
from collector.model.calibration import Point
from collector.model.plan import Plan
from collector.model.vitals import DeviceVitals
from collector.opening import open_store, take_up
from collector.pipeline import Pipeline
from collector.publish.options import PublishOptions
from collector.recorder import Recorder
from collector.requests import TEST_KEY, action_of, missing
from collector.service.health import Flow, Pulse, hangs
from collector.service.notify import ServiceManager
from collector.snapshot import AlarmState, CallsView, RuleView, Snapshot, SourceView, StoreView, TrendPoint
from collector.source_log import SourceLog
from collector.source_view import source_view
from collector.store.archive import Archive
from collector.store.call_row import PROVEN
from collector.store.database import Batch
from collector.store.redate import GRID_MS
from collector.supervisor import Supervision, supervise

if TYPE_CHECKING:
    from collector.calls.link import Links, Tapped
    from collector.calls.outbox import Outbox
    from collector.calls.tap import Taps
    from collector.kitchen.forwarder import Forwarder
    from collector.serve.service import ServeOptions, Service

__all__ = ["Collector"]

log = logging.getLogger(__name__)

TICK_SECONDS = 1.0
STOP_SECONDS = 8.0
SELF_CHECK_SECONDS = 30.0
"""Every view is built this often though nobody looks, so that a fault in one is found before it is needed."""
LOOKED_SECONDS = 10.0
"""The alarms are judged every five seconds; later than this nobody is watched over."""
VITALS_SECONDS = 60.0
REPORT_SECONDS = 10.0
OUTBOX_SECONDS = 300.0
"""A message that has waited longer means that nobody is told."""
FRESH_SECONDS = 120.0
"""As long as a probe may be silent unless it is told otherwise."""


class Collector:
    """One pit's collector.

    Args:
        plan: what the cook has set up.
        sources: where readings come from.
        store: path of the store.
        socket: path of the unix socket for dashboards.
        cook: name of a new cook; empty to go on with the open one.
        playback: the readings carry their own time (a recording or a rehearsal played faster), so time passes with
            them and not by our clock.
        speed: shown to viewers of a playback.
        commit_seconds: time between commits.
        durable_seconds: time between commits synced to the device.
        throwaway: whether the store is gone at the end.
        keep_days: cooks that ended longer ago are deleted when a new one begins; 0: none are.
        note: what the clock did before, to be put on record.
        random: for the jitter of retries.
        clock: shared with the sources, so that both tell the same time.
        manager: the service manager; None outside a service.
        serve: where those on other machines come in; None: nowhere.
        publish: the broker that is told of the cook; None: none is.
        heartbeat: what is called while all is well; None: nothing is.
        calling: who is told of troubles, and by what; None: nobody is.
        kitchen: the server to which the record is brought too; None: to none.
    """

    def __init__(
        self,
        plan: Plan,
        sources: Sequence[Source],
        store: Path,
        socket: Path,
        *,
        cook: str = "",
        playback: bool = False,
        speed: float = 1.0,
        start_unix: float | None = None,
        commit_seconds: float = 1.0,
        durable_seconds: float = 10.0,
        throwaway: bool = False,
        keep_days: float = 0.0,
        note: str = "",
        random: Random | None = None,
        clock: Clock | None = None,
        manager: ServiceManager | None = None,
        serve: "ServeOptions | None" = None,
        publish: PublishOptions | None = None,
        heartbeat: HeartbeatOptions | None = None,
        calling: Calling | None = None,
        kitchen: KitchenAddress | None = None,
    ) -> None:
        self._sources = {s.name: Supervision(s) for s in sources}
        self.socket = socket
        self._playback = playback
        self._speed = speed
        self._tick_seconds = TICK_SECONDS if speed == 1.0 else 0.25
        self._random = random or Random()
        self._clock = clock or Clock()
        self._manager = manager or ServiceManager({})
        self._flow = Flow(len(self._sources))
        self._ticked = 0.0
        found = open_store(
            store, plan, self._clock, cook=cook, start_unix=start_unix, keep_days=keep_days,
            settled_only=kitchen is not None,
        )  # fmt: skip
        with contextlib.ExitStack() as undo:
            undo.callback(found.database.close)  # a fault below must not keep the store locked: the old config needs it
            database, opened = found.database, found.opened
            self._boot_ms = found.boot_began_ms
            self.cook = opened.engine.cook
            self.resumed = opened.resumed
            self._faults = opened.engine.faults
            self._feed = Feed(self._carry_out, self.snapshot, self.rules, self._faults)
            self._publish = publish
            self._heartbeat = None if heartbeat is None else Heartbeat(heartbeat, self._unwell)
            self._serving = None if serve is None else self._service_of(serve)
            for point in opened.trend:
                self._feed.add_trend(point)
            self._pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal, self._on_event)
            if opened.resumed:
                take_up(opened, self._pipeline, self.now())
            if found.set_aside:
                self._pipeline.act(Action(ActionKind.MARK, "store", text=found.set_aside), self.now())
            if note:
                self._pipeline.act(Action(ActionKind.MARK, "clock", text=note), self.now())
            self.late: Late | None = None
            """The clock proved wrong: what was written is to get new dates, then the collector is built again."""
            self._restore(database.path)
            with Archive(database.path) as archive:
                self._book = CalibrationBook(archive.calibrations())
                calls_before = archive.calls(opened.number)
            self._recorder = Recorder(
                database,
                opened.number,
                self._pipeline,
                commit_seconds=commit_seconds,
                durable_seconds=durable_seconds,
                on_committed=self._on_committed,
                on_written=self._on_written,
                kitchen=lambda: None if self._forwarder is None else self._forwarder.view(),
                throwaway=throwaway,
                settled_only=kitchen is not None,
                faults=self._faults,
            )
            self._forwarder = None if kitchen is None else self._forwarder_of(kitchen, plan.chamber.name, database.path)
            self._outbox: Outbox | None = None
            self._taps: Taps | None = None
            if calling is not None:
                links = None if serve is None or not serve.link else self._links_of(serve)
                self._outbox = self._outbox_of(calling, calls_before, links, database.path)
            self._vitals_due = 0.0
            self._source_log = SourceLog()
            self._fault_log = FaultLog()
            self._checked = 0.0
            self._stop = asyncio.Event()
            self.ready = asyncio.Event()
            undo.pop_all()

    def _links_of(self, serve: "ServeOptions") -> "Links | None":
        """Make what signs the links in messages; None, and a word in the log, where its key cannot be used."""
        from collector.calls.link import Links
        from collector.serve.link_key import link_key

        try:
            return Links(serve.link, link_key(serve.link_key), self.cook)
        except TokenError as error:
            log.warning("%s; messages have no link to acknowledge by", error)
            return None

    def _tap(self, token: str, *, act: bool) -> "Tapped | None":
        """Answer the token of a link in a message."""
        return None if self._taps is None else self._taps.tap(token, act=act)

    def _outbox_of(self, calling: Calling, before: CallsOnRecord, links: "Links | None", store: Path) -> "Outbox":
        from collector.calls.channels import channel_of
        from collector.calls.ended import ended_calls
        from collector.calls.message import Composer
        from collector.calls.outbox import Outbox
        from collector.calls.picture import draw_map
        from collector.calls.tap import Taps

        composer = Composer(calling.fahrenheit, acknowledge_topic=calling.acknowledge_topic)
        channels = {name: channel_of(to) for name, to in calling.channels.items()}
        outbox = Outbox(
            calling, channels, composer, snapshot=self.snapshot, now=self.now, record=self._keep_call,
            picture=draw_map, before=before, ended=() if links is None else ended_calls(store), links=links,
            random=self._random, faults=self._faults,
        )  # fmt: skip
        if links is not None:
            told = tuple((person.name, channel) for person in calling.people for channel in person.channels)
            self._taps = Taps(
                links, outbox, told, acknowledge=self._acknowledge, look=self._call_people, now=self.now,
                pit=self._pipeline.engine.plan.chamber.name,
            )  # fmt: skip
        return outbox

    def _keep_call(self, row: CallRow | MessageRow) -> None:
        self._pipeline.keep(row)
        if isinstance(row, CallRow) or row.state == "waiting":
            self._pipeline.urgent = True  # what is to be sent must outlive a power cut; another try need not

    def _forwarder_of(self, address: KitchenAddress, pit: str, store: Path) -> "Forwarder":
        from collector.kitchen.forwarder import Forwarder

        settle = self._pipeline.settle
        return Forwarder(store, pit, address, on_settled=settle, random=self._random)

    def _on_written(self, batch: Batch, durable: int) -> None:
        if self._forwarder is not None:
            self._forwarder.notice(
                durable, cooks=bool(batch.transitions or batch.marks or batch.calls or batch.messages)
            )

    def _service_of(self, options: "ServeOptions") -> "Service":
        from collector.serve.service import Service

        return Service(self._feed, options, tap=self._tap)

    def _restore(self, store: Path) -> None:
        """Tell each source what was committed before, so that a message sent again is not taken twice."""
        with Archive(store) as archive:
            for name, watched in self._sources.items():
                receipts = archive.receipts(name)
                restore = partial(watched.source.restore, receipts)
                self._faults.attempt(f"restart of {name}", self.now(), restore, _nothing)

    async def run(self) -> int:
        """Run until `stop` or until every source has ended; return how many readings could not be saved."""
        await self._feed.open(self.socket)
        log.info("cook %s: %s", self.cook, "goes on" if self.resumed else "begins")
        try:
            async with asyncio.TaskGroup() as group:
                background = [
                    group.create_task(keep_running(job, self._faults, self.now, random=self._random), name=job.name)
                    for job in self._jobs()
                ]
                pumps = [
                    group.create_task(
                        supervise(w, self._take, self._recorder.room, random=self._random), name=f"source {name}"
                    )
                    for name, w in self._sources.items()
                ]
                self.ready.set()
                self._manager.ready(f"cook {self.cook}")
                await self._until_done(pumps)
                self._manager.status("writing what waits")
                for task in (*pumps, *background):
                    task.cancel()
        finally:
            lost = await self._end()
        return lost

    async def _end(self) -> int:
        """Write what waits and let everybody go; return how many readings could not be saved. Each step for itself."""
        self._publish_snapshot()
        lost = 0
        try:
            lost = await self._recorder.close(STOP_SECONDS)
        except Exception as error:  # noqa: BLE001 - dashboards and phones are let go all the same
            self._faults.record("end of the record", self.now(), error, critical=True)
            lost = 1
        for close in (self._feed.close, *(() if self._serving is None else (self._serving.close,))):
            try:
                await close()
            except Exception as error:  # noqa: BLE001 - the others are let go all the same
                self._faults.record("end of a link", self.now(), error)
        self._fault_log.write(self._faults.records, time.monotonic())
        return lost

    def _jobs(self) -> list[Job]:
        """List what runs beside the sources until the collector stops."""
        jobs = [
            Job("commit", self._recorder.run, critical=True),
            Job("tick", self._tick, critical=True),
            Job("service", self._report),
        ]
        if self._serving is not None:
            jobs.append(Job("serve", self._serving.run))
        if self._publish is not None:
            from collector.publish.publisher import Publisher

            publisher = Publisher(
                self._publish, self.snapshot, self._random, self._acknowledge, faults=self._faults, unwell=self._unwell
            )
            jobs.append(Job("publish", publisher.run))
        if self._heartbeat is not None:
            jobs.append(Job("heartbeat", self._heartbeat.run))
        if self._outbox is not None:
            jobs.append(Job("calls", self._outbox.run, critical=True))
        if self._forwarder is not None:
            jobs.append(Job("kitchen", self._forwarder.run))
        return jobs

    async def _until_done(self, pumps: list[asyncio.Task[None]]) -> None:
        """Wait for `stop`; a playback whose recordings have all ended stays open for whoever looks at it."""
        stopping = asyncio.create_task(self._stop.wait(), name="stop")
        await stopping
        for pump in pumps:
            pump.cancel()

    def stop(self) -> None:
        """Ask the collector to stop."""
        self._stop.set()

    def _take(self, reading: Reading) -> bool:
        self._pipeline.take(reading)
        return self._recorder.noticed(receipt=reading.receipt is not None)

    def _on_event(self, event: Event) -> None:
        if isinstance(event, TrendPoint):
            self._feed.add_trend(event)
        elif isinstance(event, Transition):
            quiet = AlarmState.SUPPRESSED in (event.before, event.after)
            calls = event.after is AlarmState.UNACKNOWLEDGED
            level = logging.WARNING if calls else logging.DEBUG if quiet else logging.INFO
            said = event.key, event.before, event.after, event.message
            log.log(level, "alarm %s: %s -> %s %s", *said, extra={"peer": event.key})

    def _on_committed(self, source: str, receipt: int) -> None:
        watched = self._sources.get(source)
        if watched is not None:
            watched.source.committed(receipt)

    async def _tick(self) -> None:
        """Let time pass and show it."""
        loop = asyncio.get_running_loop()
        due = loop.time()
        while True:
            due = max(due + self._tick_seconds, loop.time())
            await asyncio.sleep(due - loop.time())
            self._ticked = loop.time()
            self._tick_once(loop.time())

    def _tick_once(self, monotonic: float) -> None:
        """Let time pass: judge, call, show. What fails takes none of the rest with it."""
        now, attempt = self.now(), self._faults.attempt
        if not self._playback:
            attempt("the wall clock", now, self._look_at_clock, _nothing)
            attempt("passing of time", now, self._advance, _nothing, critical=True)
            attempt("vitals of devices", now, lambda: self._note_vitals(monotonic), _nothing)
        attempt("log of sources", now, lambda: self._source_log.tell(self._sources.values()), _nothing)
        self._call_people()
        if self._pipeline.urgent:
            self._recorder.hurry()
        if self._feed.watched:
            self._publish_snapshot()
        elif monotonic - self._checked >= SELF_CHECK_SECONDS:
            self._checked = monotonic
            self.snapshot()
        self._fault_log.write(self._faults.records, monotonic)

    def _look_at_clock(self) -> None:
        step = self._clock.look()
        if step is not None:
            self._note_clock(step)

    def _advance(self) -> None:
        self._pipeline.advance(self._clock.now())

    def _publish_snapshot(self) -> None:
        publish = lambda: self._feed.publish(self.snapshot())  # noqa: E731
        self._faults.attempt("news to dashboards", self.now(), publish, _nothing)

    def _call_people(self) -> None:
        """Call people about what is wrong; where that fails, a plain message goes by every channel."""
        outbox = self._outbox
        if outbox is None:
            return

        def look() -> bool:
            outbox.look(self._pipeline.engine.troubles())
            return True

        if not self._faults.attempt(CALLING_PART, self.now(), look, lambda: False, critical=True):
            self._faults.attempt("last-resort messages", self.now(), outbox.last_resort, _nothing, critical=True)

    async def _report(self) -> None:
        """Tell the service manager how things stand, and give it a sign of life while readings flow."""
        if not self._manager.listening:
            await asyncio.Event().wait()
        loop = asyncio.get_running_loop()
        pause = min(REPORT_SECONDS, self._manager.watchdog_seconds / 4.0 or REPORT_SECONDS)
        self._ticked = loop.time()
        hung = ""
        while True:
            now = loop.time()
            waiting = self._flow.waiting_seconds(now, [w.source.counts for w in self._sources.values()])
            pulse = Pulse(now - self._ticked, waiting, self._recorder.committing_seconds, self._recorder.refused)
            why = hangs(pulse)
            if why and why.partition(" for ")[0] != hung:
                log.error("%s; the watchdog gets no sign of life", why)
            hung = why.partition(" for ")[0]
            if not why:
                self._manager.alive()
            self._manager.status(why or self._in_a_line())
            await asyncio.sleep(pause)

    def _unwell(self) -> str:
        """Say why no sign of life may be given.

        Empty only where the pit is really watched: good values of configured probes come in, the alarms are judged,
        the store takes rows, messages go out, and no part that the night depends on fails.
        """
        now, engine = self.now(), self._pipeline.engine
        if not engine.believed(now):
            return "no good value of any configured probe comes in"
        if now - engine.judged_unix > LOOKED_SECONDS:
            return "the alarms are not judged"
        if self._recorder.refused or self._recorder.committing_seconds > FRESH_SECONDS:
            return "the store is not written"
        if failing := [fault.part for fault in self._faults.standing(now) if fault.critical]:
            return f"a part of coldside fails: {failing[0]}"
        oldest = None if self._outbox is None else self._outbox.oldest_unix
        if oldest is not None and now - oldest > OUTBOX_SECONDS:
            return "a message to somebody does not go out"
        return ""

    def _in_a_line(self) -> str:
        snapshot = self.snapshot()
        up = sum(s.state is LinkState.UP for s in snapshot.sources)
        waits = sum(a.state is AlarmState.UNACKNOWLEDGED for a in snapshot.alarms)
        return (
            f"cook {self.cook}, {snapshot.fire.phase}, {up} of {len(snapshot.sources)} sources up, {waits} alarms wait"
        )

    def _note_vitals(self, now: float) -> None:
        """Put on record, once a minute, how each device fares."""
        if now < self._vitals_due or not self._vitals_due:
            self._vitals_due = self._vitals_due or now + VITALS_SECONDS
            return
        self._vitals_due = now + VITALS_SECONDS
        for name, watched in self._sources.items():
            vitals = watched.source.vitals
            if vitals is not None:
                told = DeviceVitals(name, vitals.rssi_dbm, vitals.battery_percent, vitals.packets_per_minute)
                self._pipeline.note(told, self._clock.now())

    def _note_clock(self, step: float) -> None:
        followed = "followed" if step > 0 else "not followed until the next start"
        if self._clock.late_seconds >= GRID_MS / 1000:
            followed = (
                "followed: nobody vouched for it before, so what was written since the machine started is dated anew"
            )
        log.warning("the wall clock was set by %+.0f s, %s", step, followed)
        text = f"the wall clock was set by {step:+.0f} s, {followed}"
        skipped = max(0.0, step)  # an hour that never was is no probe's silence
        if self._clock.late_seconds >= GRID_MS / 1000 and not self._playback:
            self.late = Late(self._boot_ms, round(self._clock.late_seconds * 1000), text)
            self.stop()
            return
        kind = ActionKind.RESUME if skipped else ActionKind.MARK
        self._pipeline.act(Action(kind, "clock", skipped, text), self._clock.now())

    def now(self) -> float:
        """Tell the cook's time."""
        return self._pipeline.engine.now_unix if self._playback else self._clock.now()

    def snapshot(self) -> Snapshot:
        """Show the cook with what only the daemon knows: sources and store."""
        shown, outbox, attempt = self._pipeline.engine.snapshot(), self._outbox, self._faults.attempt
        now = shown.now_unix
        test = None if outbox is None else attempt("test of the wake-up", now, outbox.proof.trouble, lambda: None)
        sources = [
            attempt(
                f"source {name}", now, partial(source_view, watched, self._pipeline), partial(_unknown, name), keep=True
            )
            for name, watched in self._sources.items()
        ]
        return msgspec.structs.replace(
            shown,
            troubles=shown.troubles if test is None else (*shown.troubles, test),
            calls=None if outbox is None else attempt("view of the calls", now, outbox.view, _unknown_calls),
            sources=tuple(sources),
            store=attempt("view of the store", now, self._recorder.view, _unknown_store),
            speed=self._speed,
            faults=self._faults.views(now),
        )

    def rules(self) -> tuple[RuleView, ...]:
        """Show how every rule stands."""
        return self._pipeline.engine.rules()

    def _carry_out(self, command: wire.Request, by: str = "") -> str:
        """Do what a dashboard asks; say why not. By whose link it is asked, where it is one, goes on record."""
        try:
            if isinstance(command, wire.TestCall):
                if why := self._test_call(command):
                    return why
            elif isinstance(command, wire.Calibrate | wire.UndoCalibration):
                self._calibrate(command)
            elif not (isinstance(command, wire.Acknowledge) and self._seen_test(command.alarm, by)):
                action = action_of(command, self._pipeline.engine)
                self._pipeline.act(msgspec.structs.replace(action, text=by) if by else action, self.now())
        except KeyError:
            return missing(command)
        except ValueError as error:
            return str(error)
        except Exception as error:  # noqa: BLE001 - the person gets an answer, and the night goes on
            self._faults.record("what a person asked for", self.now(), error)
            return "not done: a fault of coldside's, reported in its log"
        self._recorder.hurry()
        if self._feed.watched:
            self._publish_snapshot()
        return ""

    def _test_call(self, command: wire.TestCall) -> str:
        if self._outbox is None:
            return "the config names nobody who could be told: add a [[channel]] and a [[person]]"
        return self._outbox.proof.begin(command.person, command.wait_seconds)

    def _seen_test(self, key: str, by: str) -> bool:
        """Take an acknowledgement of a test, put the proof on record; tell whether that was all there was to do."""
        if self._outbox is None or key not in ("", TEST_KEY):
            return False
        try:
            said = self._outbox.proof.acknowledge(by)
        except ValueError:
            if key == TEST_KEY:
                raise
            return False
        if said is not None:
            log.info("%s", said)
            self._pipeline.act(Action(ActionKind.MARK, PROVEN, text=said), self.now())
        return said is not None and (key == TEST_KEY or not self._pipeline.engine.troubles())

    def _acknowledge(self, key: str, by: str = "") -> str:
        """Acknowledge an alarm or a trouble that came by another way than a dashboard; say why not."""
        why = self._carry_out(wire.Acknowledge(0, key), by)
        if by:
            log.info("acknowledge %s, by %s: %s", key, by, f"not done: {why}" if why else "done")
        return why

    def _calibrate(self, command: wire.Calibrate | wire.UndoCalibration) -> None:
        """Calibrate a probe, or undo that.

        Raises:
            ValueError: there is no such probe, or what was found is no calibration.
        """
        probe = next((p for p in self._pipeline.engine.plan.probes if p.name == command.probe), None)
        if probe is None:
            raise ValueError(f"there is no probe {command.probe!r}")
        if isinstance(command, wire.Calibrate):
            found = command.reference_celsius, command.raw_celsius, command.sd_kelvin
            point = Point(command.kind, *found, self.now())
            action = self._book.found(probe, point)
        else:
            action = self._book.undone(probe, everything=command.everything)
        self._pipeline.act(action, self.now())
        if action.calibration is not None:
            self._book.enter(action.calibration)
            log.info("calibration: %s%s", action.text, words_of(action.calibration))


def _nothing() -> None:
    """Stand in for a step of a tick that fails."""


def _unknown(name: str) -> SourceView:
    return SourceView(name, "", LinkState.DOWN, NOT_AVAILABLE, 0, 0, 0, None)


def _unknown_calls() -> CallsView:
    return CallsView(faults=(("all channels", NOT_AVAILABLE),))


def _unknown_store() -> StoreView:
    return StoreView("", 0, None, NOT_AVAILABLE)
