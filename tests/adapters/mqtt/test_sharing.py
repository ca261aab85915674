"""Shared subscriptions against a real broker: each message once among the members of a group, none lost by one."""

import asyncio
import contextlib
import importlib.util
import socket
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import LinkReason, SourceConfigError
from adapters.mqtt import session
from adapters.mqtt.options import Availability
from adapters.mqtt.sharing import check_share, wanted
from adapters.mqtt.source import MqttSource
from adapters.reading import Reason
from adapters.source import LinkState
from tests.conftest import Broker, free_port
from tests.waiting import WAIT_SECONDS

_spec = importlib.util.spec_from_file_location("mqtt_conftest", Path(__file__).with_name("conftest.py"))
_c = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_c)
Hearing, Publisher, options = _c.Hearing, _c.Publisher, _c.options


def member(port, client_id, *, share="kitchen", **more):
    return MqttSource(replace(options(port, version_5=True, share=share, **more), client_id=client_id))


def up(*sources):
    return lambda: all(source.link.state is LinkState.UP for source in sources)


def numbers(*hearings):
    """What was published, by all that was heard; the readings are in °C."""
    return sorted(round(r.celsius * 1.8 + 32) for hearing in hearings for r in hearing.readings)


def publish(publisher, values, topic="pit/flat"):
    infos = [publisher.client.publish(topic, str(k), 1) for k in values]
    for info in infos:
        info.wait_for_publish(WAIT_SECONDS)


# ---- names and filters


@pytest.mark.parametrize("name", ["kitchen", "a", "two words", "küche", "x" * 128])
def test_a_group_may_be_named_so(name):
    check_share(name)


@pytest.mark.parametrize("name", ["", "a/b", "+", "a#", "\0", "a\nb", "x" * 129, "ü" * 65, "\ud800"])
def test_a_group_may_not_be_named_so(name):
    with pytest.raises(SourceConfigError):
        check_share(name)


@given(st.text())
def test_what_is_a_name_of_a_group_keeps_its_filter_whole(name):
    with contextlib.suppress(SourceConfigError):
        check_share(name)
        assert f"$share/{name}/pit/+".split("/", 2) == ["$share", name, "pit/+"]


def test_readings_are_shared_and_the_word_that_a_bridge_is_gone_is_not():
    told = options(1, ("pit/+", "pit/#", "other/x"), availability=(Availability("pit/bridge"), Availability("b")))
    assert wanted(told) == [("pit/#", 1), ("other/x", 1), ("b", 1)]
    shared = wanted(replace(told, share="kitchen"))
    assert shared == [("$share/kitchen/pit/#", 1), ("$share/kitchen/other/x", 1), ("pit/bridge", 1), ("b", 1)]


# ---- at a real broker


@pytest.mark.broker
async def test_each_of_a_thousand_messages_comes_to_one_member_and_to_whoever_does_not_share(real_broker):
    real_broker.config = "max_queued_messages 0"
    port = real_broker.start().port
    one, two, alone = member(port, "one"), member(port, "two"), member(port, "alone", share="")
    async with Hearing(one) as first, Hearing(two) as second, Hearing(alone) as third:
        await first.until(up(one, two, alone))
        publisher = Publisher(port)
        await asyncio.to_thread(publish, publisher, range(1000))
        await first.until(lambda: len(first.readings) + len(second.readings) >= 1000 <= len(third.readings))
        await asyncio.sleep(0.2)
        publisher.close()
    assert numbers(first, second) == list(range(1000))
    assert min(len(first.readings), len(second.readings)) > 200, "both do their part"
    assert numbers(third) == list(range(1000))
    assert {r.key for r in first.readings} == {"flat"}, "routed by the topic, which comes without the group"


@pytest.mark.broker
async def test_what_a_member_had_not_acknowledged_when_it_was_killed_waits_for_it_and_nothing_is_lost(real_broker):
    real_broker.config = "max_queued_messages 0"
    port = real_broker.start().port
    two = member(port, "two")
    publisher = Publisher(port)
    async with Hearing(two) as second:
        async with Hearing(member(port, "one"), commit=False) as first:
            await first.until(up(first.source, two))
            await asyncio.to_thread(publish, publisher, range(100))
            await first.until(lambda: len(first.readings) == 20)
            kept = first.readings[:10]
            first.source.committed(kept[-1].receipt)
            await first.until(lambda: len(first.readings) >= 30)  # Mosquitto 2.0.11 goes beyond the 20 we allow
            first.source._session._client.socket().shutdown(socket.SHUT_RDWR)  # kill -9: not a word of farewell
            await asyncio.sleep(0.05)
        before = len(second.readings)
        await asyncio.to_thread(publish, publisher, range(100, 200))
        await second.until(lambda: len(second.readings) > before)
        again = member(port, "one")
        again.restore([r.receipt for r in kept])
        async with Hearing(again) as third:
            await third.until(lambda: len(kept) + len(second.readings) + len(third.readings) >= 200)
            await asyncio.sleep(0.2)
            await asyncio.to_thread(publish, publisher, range(200, 220))
            await third.until(lambda: len(kept) + len(second.readings) + len(third.readings) >= 220)
            committed = [round(r.celsius * 1.8 + 32) for r in kept]
            assert sorted(committed + numbers(second, third)) == list(range(220))
    publisher.close()


@pytest.mark.broker
async def test_when_the_session_of_the_dead_is_over_the_others_get_everything(real_broker):
    port = real_broker.start().port
    two = member(port, "two")
    publisher = Publisher(port)
    async with Hearing(two) as second:
        async with Hearing(member(port, "one", session_expiry_seconds=1)) as first:
            await first.until(up(first.source, two))
        await asyncio.sleep(2.5)  # the broker looks at what has expired by the second
        await asyncio.to_thread(publish, publisher, range(50))
        await second.until(lambda: len(second.readings) == 50)
    assert numbers(second) == list(range(50))
    publisher.close()


@pytest.mark.broker
async def test_a_group_gets_nothing_that_was_retained_and_every_member_hears_that_a_bridge_is_gone(real_broker):
    port = real_broker.start().port
    publisher = Publisher(port)
    publisher.publish("pit/flat", "200", retain=True)
    bridge = Publisher(port, topic="bridge/state", payload="offline", qos=1)
    publisher.publish("porch/state", "offline", retain=True)
    words = (Availability("bridge/state", keys=("flat",)), Availability("porch/state", keys=("point",)))
    one, two = (member(port, name, availability=words) for name in ("one", "two"))
    alone = member(port, "alone", share="")
    async with Hearing(one) as first, Hearing(two) as second, Hearing(alone) as third:
        await third.until(lambda: third.readings)
        await first.until(lambda: up(one, two)() and first.readings and second.readings)
        bridge.vanish()
        await first.until(lambda: len(first.readings) == len(second.readings) == 2)
        for hearing in (first, second):
            assert [r.key for r in hearing.readings] == ["point", "flat"]
            assert {r.reason for r in hearing.readings} == {Reason.OFFLINE}
    publisher.close()


@pytest.mark.broker
async def test_who_begins_to_share_gets_only_a_part_from_then_on(real_broker):
    """The broker has kept the session, and with it what was subscribed to before."""
    port = real_broker.start().port
    alone = member(port, "one", share="")
    async with Hearing(alone) as hearing:
        await hearing.until(up(alone))
    one, two = member(port, "one"), member(port, "two")
    publisher = Publisher(port)
    async with Hearing(one) as first, Hearing(two) as second:
        await first.until(up(one, two))
        await asyncio.to_thread(publish, publisher, range(40))
        await first.until(lambda: len(first.readings) + len(second.readings) >= 40)
        await asyncio.sleep(0.1)
    assert numbers(first, second) == list(range(40))
    publisher.close()


def test_each_group_has_a_session_of_its_own():
    names = {MqttSource(replace(options(1, share=share), client_id=""))._client_id for share in ("", "a", "b")}
    assert len(names) == 3


# ---- brokers that cannot


CANNOT = "needs a broker with shared subscriptions (MQTT 5): use one, or take share away"


@pytest.mark.parametrize(
    ("greeting", "answer", "why"),
    [
        ("20 05 00 00 02 2a 00", "", "it says that it does not share subscriptions"),  # 3.2.2.3.13
        ("20 03 00 00 00", "90 04 00 01 00 9e", "filter '$share/kitchen/pit/+': Shared subscription not supported"),
        ("20 03 00 84 00", "", "Unsupported protocol version"),
        ("20 02 00 01", "", "Unsupported protocol version"),  # as a broker of 3.1.1 says it (there: 3.2.2.3)
        ("", "", "the broker hung up without a greeting"),
    ],
)
async def test_a_broker_that_cannot_share_is_told_by_what_it_says(greeting, answer, why):
    """By the bytes of MQTT 5 (3.2, 3.9), as no broker of the tests says so."""

    async def talk(reader, writer):
        await reader.read(1000)
        if greeting:
            writer.write(bytes.fromhex(greeting))
            await reader.read(1000)
        if answer:
            writer.write(bytes.fromhex(answer))
            await reader.read(1000)
        writer.close()

    server = await asyncio.start_server(talk, "127.0.0.1", 0)
    async with server:
        source = member(server.sockets[0].getsockname()[1], "one")
        async with Hearing(source) as hearing:
            await hearing.until(lambda: hearing.errors)
    error = hearing.errors[0]
    assert error.reason is LinkReason.REFUSED
    assert why in error.detail
    assert CANNOT in error.detail


@pytest.mark.broker
async def test_a_broker_of_3_1_1_is_told_as_such(tmp_path, monkeypatch):
    monkeypatch.setattr(session, "TIMEOUT_SECONDS", 1.0)  # this one takes our properties for a client id, and waits
    broker = Broker(tmp_path, free_port(), real=False).start()
    try:
        async with Hearing(member(broker.port, "one")) as hearing:
            await hearing.until(lambda: hearing.errors)
        assert hearing.errors[0].reason is LinkReason.REFUSED
        assert CANNOT in hearing.errors[0].detail
    finally:
        broker.stop()
