"""The outbox: what is due goes out whatever the service does, once it can, in order, and is on record all along."""

import asyncio
import contextlib
import datetime as dt
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from collector.calls import sending as module
from collector.calls.bucket import Bucket
from collector.calls.channels import ChannelError
from collector.calls.escalation import Ladder, Person, Step
from collector.calls.message import Composer
from collector.calls.options import BellTo, Calling
from collector.calls.outbox import KEEP_SECONDS, Outbox
from collector.calls.record import CallRow, CallsOnRecord, MessageRow
from collector.engine import Engine
from collector.snapshot import AlarmState, Priority, TroubleView
from tests.waiting import WAIT_SECONDS
from tui.nights import night_settings

START = 1_750_000_000.0
PIT = Engine(night_settings().plan, "first frost", START).snapshot()
COLD = TroubleView(
    "cold", Priority.URGENT, AlarmState.UNACKNOWLEDGED, True, START - 150.0, "flat side runs cold", "look", 9.0, 8.3,
    "kelvin", ("cold-spot/flat side",),
)  # fmt: skip

SOON = replace(COLD, key="source/house", priority=Priority.SOON, title="source house is silent")
LADDERS = (
    Ladder(frozenset({Priority.URGENT}), (Step(0, ("Ann",)), Step(120, ("Ann", "Ben"))), 600.0),
    Ladder(frozenset({Priority.SOON}), (Step(0, ("Ann",)),), 3600.0),
)
CALLING = Calling(
    (Person("Ann", ("push",)), Person("Ben", ("push", "mail"))), LADDERS, {"push": BellTo(), "mail": BellTo()}
)


class Service:
    """A channel whose service does as the test says."""

    picture = False
    link = True

    def __init__(self):
        self.fault = ""
        self.came = []
        self.hangs = False

    async def send(self, message):
        if self.hangs:
            await asyncio.sleep(3600)
        if self.fault:
            raise ChannelError(self.fault)
        self.came.append(message)

    @property
    def told(self):
        return [(m.document["word"], m.document["key"], m.document["person"]) for m in self.came]


class House:
    """An outbox at work; the cook's time is the test's, the waits are short."""

    def __init__(self, before=None, calling=CALLING, snapshot=PIT, **more):
        self.now = START
        self.push, self.mail = Service(), Service()
        self.rows = {}
        self.outbox = Outbox(
            calling, {"push": self.push, "mail": self.mail}, Composer(zone=dt.UTC), snapshot=lambda: snapshot,
            now=lambda: self.now, record=self._keep, before=before, random=Random(1), **more,
        )  # fmt: skip

    def _keep(self, row):
        self.rows[row.call.number if isinstance(row, CallRow) else row.id] = row

    @property
    def messages(self):
        return [row for row in self.rows.values() if isinstance(row, MessageRow)]

    def on_record(self):
        """What a collector that starts now would find."""
        calls = [row for row in self.rows.values() if isinstance(row, CallRow)]
        going_on = tuple(row.call for row in calls if row.ended_unix is None)
        return CallsOnRecord(going_on, (), tuple(self.messages), max([row.call.number for row in calls], default=0))

    async def until(self, ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ready():
                await asyncio.sleep(0.01)

    @contextlib.asynccontextmanager
    async def at_work(self):
        running = asyncio.create_task(self.outbox.run())
        try:
            yield self
        finally:
            running.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await running


@pytest.fixture(autouse=True, scope="module")
def quick():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "delay_seconds", lambda attempt, random: 0.02)
        yield


async def test_a_service_that_is_down_gets_it_when_it_mends_and_what_is_seen_is_told_no_more():
    house = House()
    house.push.fault = "answers 500"
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: [m.tries for m in house.messages] > [3])
        (row,) = house.messages
        assert (row.state, row.error, row.open) == ("failed", "answers 500", True)
        view = house.outbox.view()
        assert view.faults == (("push", "answers 500"),)
        assert (view.waiting, view.oldest_unix) == (1, START)
        assert view.open[0].told[0].error == "answers 500"
        house.push.fault = ""
        await house.until(lambda: house.push.came)
        assert house.messages[0].state == "sent"
        assert house.outbox.view().open[0].told[0].sent_unix == (START,)
        assert house.outbox.view().faults == ()
        house.now += 130
        house.outbox.look([replace(COLD, state=AlarmState.ACKNOWLEDGED)])
        await house.until(lambda: house.rows[1].why and not house.outbox.view().open)
        await asyncio.sleep(0.1)
    assert house.push.told == [("raised", "cold", "Ann")]
    assert house.rows[1].why == "acknowledged"
    assert house.outbox.view().open == ()


async def test_a_channel_that_hangs_holds_up_no_other():
    house = House()
    house.push.hangs = True
    async with house.at_work():
        house.outbox.look([COLD])
        house.now += 121
        house.outbox.look([COLD])
        await house.until(lambda: house.mail.came)
        assert house.mail.told == [("again", "cold", "Ben")]
        assert not house.push.came
        assert house.outbox.oldest_unix == START, "a newer message in its place waits no shorter"
        house.outbox.look([])
        await house.until(lambda: len(house.mail.came) == 2)
        assert house.mail.told[-1] == ("over", "cold", "Ben")


async def test_what_nobody_was_told_of_is_not_called_off_and_an_hour_is_enough():
    house = House()
    house.outbox.look([COLD])
    house.outbox.look([])
    assert [row.state for row in house.messages] == ["given up"]
    assert house.outbox.view().waiting == 0
    house = House()
    house.outbox.look([SOON])
    house.now += KEEP_SECONDS + 1
    house.outbox.look([replace(SOON, state=AlarmState.UNACKNOWLEDGED)])
    assert sorted(row.state for row in house.messages) == ["given up", "waiting"]


async def test_what_is_too_much_for_a_channel_becomes_a_digest_and_what_is_urgent_goes_by_it():
    house = House()
    many = [replace(SOON, key=f"source/{k}", title=f"source {k} is silent") for k in range(9)]
    async with house.at_work():
        house.outbox.look(many)
        await house.until(lambda: len(house.push.came) == 6)
        await asyncio.sleep(0.1)
        assert len(house.push.came) == 6
        house.outbox.look([*many, COLD])
        await house.until(lambda: len(house.push.came) == 7)
        assert house.push.told[-1] == ("raised", "cold", "Ann")
        house.outbox._sending.buckets["push"].tokens = 1.0
        house.outbox._sending.wake["push"].set()
        await house.until(lambda: len(house.push.came) == 8)
    assert house.push.came[-1].document["word"] == "digest"
    assert [m["key"] for m in house.push.came[-1].document["messages"]] == ["source/6", "source/7", "source/8"]
    assert {row.state for row in house.messages} == {"sent"}


def test_a_bucket_gives_six_a_minute():
    bucket = Bucket()
    taken = 0
    for second in range(1, 601):
        while bucket.fill(float(second)) >= 1.0:
            bucket.take()
            taken += 1
    assert 60 <= taken <= 66


async def test_a_restart_goes_on_with_the_call_and_sends_what_waits_under_its_id():
    house = House()
    house.push.fault = "cannot be reached"
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.messages[0].tries)
    before = house.on_record()
    after = House(before)
    async with after.at_work():
        after.outbox.look([COLD])
        await after.until(lambda: after.push.came)
        assert [m.id for m in after.push.came] == [before.messages[0].id]
        assert after.push.came[0].title == before.messages[0].body.partition('"title":"')[2].partition('"')[0]
        after.now += 121
        after.outbox.look([COLD])
        await after.until(lambda: len(after.push.came) == 3)
    assert {row.call for row in after.messages} == {1}


async def test_a_message_that_waited_over_a_restart_tells_how_it_stands_now_under_its_id():
    house = House()
    house.push.fault = "cannot be reached"
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.messages[0].tries)
    before = house.on_record()
    after = House(before, snapshot=replace(PIT, now_unix=START + 600.0))
    async with after.at_work():
        await asyncio.sleep(0.1)
        assert not after.push.came, "not before it is known how the trouble stands"
        after.outbox.look([replace(COLD, title="3 zones run cold", value=14.0)])
        await after.until(lambda: after.push.came)
    (message,) = after.push.came
    assert message.id == message.document["id"] == before.messages[0].id
    assert message.title.endswith(": 3 zones run cold")
    assert "for 12 min" in message.text
    assert message.document["value"] == 14.0
    assert after.rows[message.id].body == message.body.decode()
    after = House(before)
    async with after.at_work():
        after.outbox.look([])
        await after.until(lambda: after.push.came)
        await asyncio.sleep(0.1)
    assert after.push.told == [("over", "cold", "Ann")], "what is over is called off, not told anew"


async def test_what_was_left_by_another_cook_or_a_channel_that_is_gone_is_given_up():
    house = House()
    house.outbox.look([COLD])
    found = house.on_record()
    after = House(replace(found, open=(), left=found.open))
    assert after.rows[1].why == "another cook"
    assert [row.state for row in after.messages] == ["given up"]
    row = replace(found.messages[0], channel="fax")
    after = House(replace(found, messages=(row,)))
    assert after.messages[0].error == "the config knows no such channel any more"
    broken = replace(found.messages[0], body="{")
    assert House(replace(found, messages=(broken,))).messages[0].state == "given up"


async def test_a_test_goes_by_every_channel_of_a_person_and_is_proven_once():
    house = House()
    assert "there is Ann, Ben" in house.outbox.proof.begin("Cyd", 60.0)
    assert house.outbox.proof.acknowledge() is None
    async with house.at_work():
        assert house.outbox.proof.begin("Ben", 60.0) == ""
        await house.until(lambda: house.push.came and house.mail.came)
    assert house.outbox.proof.trouble().key == "test"
    house.now += 12
    assert house.outbox.proof.acknowledge() == "a test was acknowledged after 12 s, sent to Ben by mail, Ben by push"
    assert house.outbox.proof.acknowledge() is None
    assert house.outbox.proof.trouble() is None
    view = house.outbox.view()
    assert (view.proven_unix, view.test.acknowledged_unix) == (START + 12, START + 12)
    house.outbox.proof.begin("", 60.0)
    with pytest.raises(ValueError, match="proves nothing"):
        house.outbox.proof.acknowledge()
    assert house.outbox.view().proven_unix == START + 12, "no message of this one has gone out"
    house.now += 61
    house.outbox.look([])
    assert house.outbox.proof.acknowledge() is None
    assert house.outbox.view().waiting == 0


async def test_a_fault_of_ours_in_a_channel_costs_one_try_and_a_picture_that_fails_only_the_picture(caplog):
    house = House()
    house.push.picture = True
    house.outbox._sending._picture = lambda: 1 / 0
    send, house.push.send = house.push.send, None
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.messages[0].tries)
        house.push.send = send
        await house.until(lambda: house.push.came)
    assert "a fault of ours" in caplog.text
    assert "goes without it" in caplog.text


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["stands", "acknowledged", "gone", "two"]), st.sampled_from(["", "answers 500", "hangs"]),
        st.floats(1.0, 900.0), st.booleans(),
    ),
    max_size=8,
)  # fmt: skip


@given(STEPS)
@settings(max_examples=25, deadline=None)
def test_whatever_happens_nothing_is_lost_in_silence(steps):
    """Services fail, hang and mend, the collector is killed: at the end each message is sent or given up, with why."""

    async def play():
        house = House()
        for what, service, seconds, killed in steps:
            house.push.hangs, house.push.fault = service == "hangs", service if service != "hangs" else ""
            house.now += seconds
            seen = replace(COLD, state=AlarmState.ACKNOWLEDGED)
            troubles = {"stands": [COLD], "acknowledged": [seen], "gone": [], "two": [COLD, SOON]}[what]
            async with house.at_work():
                house.outbox.look(troubles)
                await asyncio.sleep(0.005)
            if killed:
                after = House(house.on_record())
                after.now, after.rows = house.now, {**house.rows, **after.rows}
                after.push, after.outbox._sending.channels["push"] = house.push, house.push
                house = after
        house.push.hangs, house.push.fault = False, ""
        async with house.at_work():
            house.outbox.look([COLD])
            for name in house.outbox._sending.wake:
                house.outbox._sending.buckets[name].tokens = 6.0
                house.outbox._sending.wake[name].set()
            await house.until(lambda: not house.outbox.view().waiting)
        assert all(m.state in ("sent", "given up") for m in house.messages)
        assert all(m.error for m in house.messages if m.state == "given up")
        ids = {m.id for m in house.push.came}
        assert ids <= {m.id for m in house.messages}
        told = [m for m in house.messages if m.state == "sent" and m.word in ("raised", "again")]
        open_calls = [call.number for call in house.outbox.view().open]
        assert set(open_calls) <= {m.call for m in told}, "who is to be told was told"

    asyncio.run(play())


async def test_a_message_that_cannot_be_written_goes_out_in_plain_words(monkeypatch):
    house = House()
    monkeypatch.setattr(Composer, "trouble", lambda *_: 1 / 0)
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.push.came)
    (message,) = house.push.came
    assert message.title == "coldside: flat side runs cold"
    assert message.urgent
    assert "coldside alarms ack cold" in message.text
    assert [row.state for row in house.messages] == ["sent"]


async def test_a_snapshot_that_fails_is_a_plain_message_too(monkeypatch):
    house = House()
    house.outbox._snapshot = lambda: 1 / 0
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.push.came)
    assert house.push.came[0].title == "coldside: flat side runs cold"


async def test_a_step_is_used_up_only_once_its_message_is_written(monkeypatch):
    """The look fails once after the ladder was climbed; the next look sends what was due."""
    house = House()
    climb = house.outbox._escalation.look

    def once(*given):
        climb(*given)
        house.outbox._escalation.look = climb
        raise RuntimeError("injected")

    house.outbox._escalation.look = once
    with pytest.raises(RuntimeError):
        house.outbox.look([COLD])
    assert not house.messages
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.push.came)
    assert house.push.told == [("raised", "cold", "Ann")]
    assert house.outbox.open_call(1) is not None, "its number was not used up either"


async def test_a_message_that_cannot_be_queued_goes_at_the_next_look_and_holds_up_no_other():
    house = House()
    put, failed = house.outbox._put, []

    def once(due, message):
        if not failed:
            failed.append(due)
            raise RuntimeError("injected")
        put(due, message)

    house.outbox._put = once
    async with house.at_work():
        house.outbox.look([COLD, SOON])
        await house.until(lambda: house.push.came)
        house.outbox.look([COLD, SOON])
        await house.until(lambda: len(house.push.came) == 2)
    assert {key for _, key, _ in house.push.told} == {"cold", "source/house"}


async def test_a_last_resort_goes_by_each_channel_whatever_becomes_of_another():
    house = House()
    put, tried = house.outbox._put, []

    def choosy(due, message):
        tried.append(due.channel)
        if due.channel == "push" and tried.count("push") < 3:
            raise RuntimeError("injected")
        put(due, message)

    house.outbox._put = choosy
    async with house.at_work():
        for _ in range(3):
            house.outbox.last_resort()
        await house.until(lambda: house.push.came and house.mail.came)
    assert [tried.count(name) for name in ("push", "mail")] == [3, 1], "again where it failed, once where it did not"
