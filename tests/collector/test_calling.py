"""Somebody is woken: a real collector, a service that fails and mends, a kill, a person who acknowledges."""

import asyncio
import contextlib
import datetime as dt
import json
import sqlite3
import sys

import aiomqtt
import pytest
from aiohttp import web

from adapters.reading import Reading
from collector import wire
from collector.calls.escalation import Ladder, Person, Quiet, Step
from collector.calls.options import Calling, CommandTo, WebhookTo
from collector.daemon import Collector
from collector.replay import differences
from collector.snapshot import AlarmState, Priority
from collector.store.archive import Archive
from tests.waiting import WAIT_SECONDS, until
from tui.cli import main
from tui.draw.summary import status_lines
from tui.draw.view import View
from tui.nights import night_settings
from tui.once import ask

CALLING = """
[alarm.source-silent]
priority = 1
on_delay = 0
[publish]
host = "127.0.0.1"
port = {port}
base = "house/pit"
acknowledge = true
[[channel]]
name = "push"
kind = "webhook"
url_file = "push.url"
[[channel]]
name = "lamp"
kind = "command"
command = ["{python}", "-c", "import sys; open('{folder}/lamp', 'a').write(sys.stdin.read() + chr(10))"]
[[person]]
name = "Ann"
channels = ["push"]
[[person]]
name = "Ben"
channels = ["lamp"]
[[ladder]]
priorities = ["urgent"]
steps = [{{ after = 0, tell = ["Ann"] }}, {{ after = 2, tell = ["Ann", "Ben"] }}]
[[ladder]]
priorities = ["check"]
steps = [{{ after = 0, tell = ["Ben"] }}]
repeat = 60
"""


class House:
    """Takes what is pushed, when it feels like it."""

    def __init__(self):
        self.status = 500
        self.tried = []

    async def take(self, request):
        self.tried.append((self.status, json.loads(await request.read())))
        return web.Response(status=self.status)

    async def until(self, ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ready():
                await asyncio.sleep(0.05)

    @property
    def taken(self):
        return [document for status, document in self.tried if status == 200]


@pytest.fixture
async def house(tmp_path):
    made = House()
    app = web.Application()
    app.router.add_post("/{rest:.*}", made.take)
    runner = web.AppRunner(app, shutdown_timeout=0.1)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    made.url = f"http://127.0.0.1:{runner.addresses[0][1]}/s3cret"
    file = tmp_path / "push.url"
    file.write_text(made.url + "\n")
    file.chmod(0o600)
    yield made
    await runner.cleanup()


def asked(path, query):
    with contextlib.closing(sqlite3.connect(path)) as db:
        return db.execute(query).fetchall()


@pytest.mark.broker
async def test_it_is_sent_after_500_and_kill_9_under_its_id_acknowledged_over_mqtt_and_a_test_is_proven(
    real_broker, collecting, pit_config, house, tmp_path, capsys
):
    port = real_broker.start().port
    text = pit_config(port).replace('source = "house"\n', 'source = "house"\nstale_after = 1\n')
    text += CALLING.format(port=port, python=sys.executable, folder=tmp_path)
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.publish("house/pit/acknowledge", "source/house", 1, retain=True)
    running = collecting(text).start()
    await house.until(lambda: len(house.tried) >= 2)
    first = house.tried[0][1]
    assert (first["word"], first["key"], first["person"]) == ("raised", "source/house", "Ann")
    assert {document["id"] for _, document in house.tried} == {first["id"]}
    snapshot = await running.snapshot_when(lambda s: s.calls and s.calls.faults)
    said = "\n".join(status_lines(snapshot, View()))
    assert "source/house: NOT sent to Ann by push: answers 500, tried again" in said
    assert "push does not take messages: answers 500" in said
    assert "wake-up never proven" in said
    while not asked(running.store, "SELECT tries FROM message WHERE tries > 0"):
        await asyncio.sleep(0.05)
    running.kill()
    house.status = 200
    running.start()
    await house.until(lambda: house.taken)
    assert house.taken[0]["id"] == first["id"]
    snapshot = await running.snapshot_when(lambda s: s.calls and s.calls.open and s.calls.open[0].told[0].sent_unix)
    assert "not acknowledged" in "\n".join(status_lines(snapshot, View()))
    snapshot = await running.snapshot_when(lambda s: s.troubles)
    assert snapshot.troubles[0].state is AlarmState.UNACKNOWLEDGED, "what the broker has kept acknowledges nothing"

    log = tmp_path / "log"
    async with aiomqtt.Client("127.0.0.1", port) as client:
        while "nobody, over MQTT: not done" not in log.read_text():  # it may not listen yet
            for key in (b"", b"\xff", b"nobody"):
                await client.publish("house/pit/acknowledge", key, 1)
            await asyncio.sleep(0.1)
        await client.publish("house/pit/acknowledge", b"source/house", 1)
    snapshot = await running.snapshot_when(lambda s: s.troubles and s.troubles[0].state is AlarmState.ACKNOWLEDGED)
    await running.snapshot_when(lambda s: s.calls and not s.calls.open)

    words = ["--socket", str(running.socket)]
    testing = asyncio.create_task(asyncio.to_thread(main, ["alarms", "test", "--require-ack", "--wait", "15", *words]))
    await running.snapshot_when(lambda s: any(t.key == "test" for t in s.troubles) and not s.calls.waiting)
    assert await asyncio.to_thread(main, ["alarms", "ack", "test", *words]) == 0
    assert await testing == 0
    said = capsys.readouterr().out
    for line in ("Ann by push: sent", "Ben by lamp: sent", "PROVEN: acknowledged after"):
        assert line in said
    assert await asyncio.to_thread(main, ["alarms", "test", "--require-ack", "--wait", "1", "--to", "Ben", *words]) == 1
    assert "NOT PROVEN" in capsys.readouterr().out
    assert await asyncio.to_thread(main, ["alarms", "test", "--to", "Ben", *words]) == 0
    assert await asyncio.to_thread(main, ["alarms", "test", "--to", "Cyd", *words]) == 1
    assert "there is no person 'Cyd'" in capsys.readouterr().err
    snapshot = await running.snapshot_when(lambda s: s.calls is not None)
    assert snapshot.calls.proven_unix is not None
    assert "wake-up last proven" in "\n".join(status_lines(snapshot, View()))
    assert {json.loads(line)["person"] for line in (tmp_path / "lamp").read_text().splitlines()} == {"Ben"}

    assert running.stop() == 0
    assert "s3cret" not in (tmp_path / "log").read_text()
    assert asked(running.store, "SELECT trouble, why FROM call") == [("source/house", "acknowledged")]
    assert {state for (state,) in asked(running.store, "SELECT state FROM message")} == {"sent"}
    with Archive(running.store) as archive:
        cook = archive.cook("last")
        assert [m.text.startswith("a test was acknowledged") for m in archive.marks(cook) if m.kind == "wake-up"] == [
            True
        ]
        assert archive.calls(cook.number).proven_unix == pytest.approx(snapshot.calls.proven_unix, abs=0.01)
        assert differences(archive, cook) == []


START = 1_790_000_000.0
PLAN = night_settings().plan


async def test_quiet_hours_hold_back_what_is_not_urgent_until_they_end(tmp_path):
    """A pit whose time the test moves; all its probes fall silent in Ben's quiet hours, and then it gets late."""
    local = dt.datetime.fromtimestamp(START, dt.UTC).astimezone()
    minute = 60 * local.hour + local.minute
    ben = Person("Ben", ("lamp",), Quiet((minute - 30) % 1440, (minute + 60) % 1440))
    lamp = tmp_path / "lamp"
    light = f"import sys; open({str(lamp)!r}, 'a').write(sys.stdin.read() + chr(10))"
    command = CommandTo((sys.executable, "-c", light))
    ladders = (
        Ladder(frozenset({Priority.URGENT}), (Step(0, ("Ben",)),), 600.0),
        Ladder(frozenset({Priority.SOON}), (Step(0, ("Ben",)),), 86400.0),
    )
    calling = Calling((ben,), ladders, {"lamp": command})
    collector = Collector(
        PLAN, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", playback=True, speed=2.0, start_unix=START,
        calling=calling,
    )  # fmt: skip
    running = asyncio.create_task(collector.run())
    await collector.ready.wait()
    try:
        for probe in PLAN.probes:
            collector._pipeline.take(Reading(probe.source, probe.key, 20.0, START))
        collector._pipeline.advance(START + 1000.0)
        await until(lambda: collector.snapshot().calls.open)
        (call,) = collector.snapshot().calls.open
        assert (call.held, call.told) == (("Ben",), ())
        said = "\n".join(status_lines(collector.snapshot(), View()))
        assert "waits for the end of the quiet hours of Ben" in said
        collector._pipeline.advance(START + 4000.0)
        await until(lambda: lamp.exists() and lamp.read_text().strip())
        (document,) = map(json.loads, lamp.read_text().splitlines())
        assert (document["word"], document["person"]) == ("raised", "Ben")
        reply = await ask(tmp_path / "c.sock", wire.TestCall(1, "Ben", 0.0))
        assert "a test waits for 1 to 3600 seconds" in reply.why
    finally:
        collector.stop()
        assert await running == 0


def heard(collector, unix, celsius=None, key=None):
    """Let every probe of the plan say a value, or one that no probe claims."""
    for i, probe in enumerate(PLAN.probes):
        value = (110.0 + i if probe.duty == "chamber" else 20.0) if celsius is None else celsius
        collector._pipeline.take(Reading(probe.source, key or probe.key, value, unix))
    collector._pipeline.advance(unix)


async def test_a_heartbeat_is_held_back_while_nobody_can_be_called(tmp_path):
    ladders = (Ladder(frozenset({Priority.SOON}), (Step(0, ("Ben",)),), 86400.0),)
    calling = Calling((Person("Ben", ("push",)),), ladders, {"push": WebhookTo("http://127.0.0.1:9/")})
    collector = Collector(
        PLAN, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", playback=True, start_unix=START, calling=calling
    )  # fmt: skip
    for probe in PLAN.probes:
        collector._pipeline.take(Reading(probe.source, probe.key, 20.0, START))
    collector._pipeline.advance(START + 1000.0)
    collector._call_people()
    oldest = collector._outbox.oldest_unix
    assert oldest == collector.now()
    heard(collector, oldest + 299.0)
    assert collector._unwell() == ""
    heard(collector, oldest + 301.0)
    assert collector._unwell() == "a message to somebody does not go out"
    await collector._recorder.close(1.0)


@pytest.mark.parametrize(
    ("celsius", "key"), [(float("nan"), None), (1e300, None), (110.0, "of no probe")], ids=["nan", "mad", "unknown"]
)
async def test_a_heartbeat_needs_a_good_value_of_a_configured_probe(tmp_path, celsius, key):
    collector = Collector(PLAN, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", playback=True, start_unix=START)
    for second in range(0, 60, 10):
        heard(collector, START + second, celsius, key)
    assert collector._unwell() == "no good value of any configured probe comes in"
    heard(collector, START + 70.0)
    assert collector._unwell() == ""
    collector._pipeline.engine._rule_look = lambda now: 1 / 0
    heard(collector, START + 100.0)
    assert collector._unwell() == "the alarms are not judged"
    await collector._recorder.close(1.0)


async def test_where_the_teller_fails_a_plain_message_goes_by_every_channel_and_no_heartbeat(tmp_path):
    """Nothing can be worked out any more: somebody asleep has to know at least that."""
    lamp, bell = tmp_path / "lamp", tmp_path / "bell"
    light = "import sys; open(sys.argv[1], 'a').write(sys.stdin.read() + chr(10))"
    ways = {n: CommandTo((sys.executable, "-c", light, str(p))) for n, p in (("lamp", lamp), ("bell", bell))}
    ladders = (Ladder(frozenset({Priority.URGENT}), (Step(0, ("Ann",)),), 600.0),)
    calling = Calling((Person("Ann", ("lamp",)), Person("Ben", ("lamp", "bell"))), ladders, ways)
    collector = Collector(
        PLAN, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", playback=True, speed=2.0, start_unix=START,
        calling=calling,
    )  # fmt: skip
    heard(collector, START)
    collector._outbox._escalation.look = lambda *_: 1 / 0
    running = asyncio.create_task(collector.run())
    await collector.ready.wait()
    try:
        await until(lambda: all(path.exists() and path.read_text().strip() for path in (lamp, bell)))
        await asyncio.sleep(1.0)
        for path in (lamp, bell):
            (document,) = map(json.loads, path.read_text().splitlines())
            assert document["title"] == "coldside: it cannot say what is wrong", "once, not at every tick"
            assert "go and look at the pit" in document["text"]
        assert collector._unwell() == "a part of coldside fails: calls to people"
        assert "fault/calls to people" in {t.key for t in collector.snapshot().troubles}
    finally:
        collector.stop()
        assert await running == 0


@pytest.mark.parametrize("part", ["snapshot", "view", "source"])
async def test_views_that_fail_keep_no_call_no_record_and_no_orderly_end_from_being(tmp_path, part):
    """An urgent trouble is called, a QoS 0 reading is on disk after the end, whatever the views do."""
    lamp = tmp_path / "lamp"
    light = f"import sys; open({str(lamp)!r}, 'a').write(sys.stdin.read() + chr(10))"
    ladders = (Ladder(frozenset(Priority), (Step(0, ("Ann",)),), 600.0),)
    calling = Calling((Person("Ann", ("lamp",)),), ladders, {"lamp": CommandTo((sys.executable, "-c", light))})
    collector = Collector(
        PLAN, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", playback=True, speed=2.0, start_unix=START,
        calling=calling,
    )  # fmt: skip
    engine = collector._pipeline.engine
    match part:
        case "snapshot":
            engine._rules.views = engine._fire_view = engine._zone_view = lambda *_: 1 / 0
        case "view":
            engine.snapshot = lambda: 1 / 0
        case "source":
            collector._recorder.view = collector._outbox.view = lambda: 1 / 0
    heard(collector, START)
    running = asyncio.create_task(collector.run())
    await collector.ready.wait()
    collector._pipeline.advance(START + 1000.0)
    if part == "snapshot":  # the troubles come from elsewhere
        engine._rules.troubles = type(engine._rules).troubles.__get__(engine._rules)
        engine._rules.views = type(engine._rules).views.__get__(engine._rules)
    try:
        await until(lambda: lamp.exists() and lamp.read_text().strip())
        collector._pipeline.take(Reading(PLAN.probes[0].source, PLAN.probes[0].key, 99.0, START + 1001.0))
    finally:
        collector.stop()
        assert await running == 0
    assert asked(tmp_path / "s.db", "SELECT count(*) FROM reading WHERE millicelsius = 99000") == [(1,)]
