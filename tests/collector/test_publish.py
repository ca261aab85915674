"""The cook over MQTT again, at a real Mosquitto: retained documents, last will, no ghosts; and the sign of life."""

import asyncio
import contextlib
import json
import math

import aiomqtt
import msgspec
import pytest
from aiohttp import web
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.mqtt.options import BrokerAddress
from adapters.reading import Quality, Reading, Reason
from collector.engine import Engine
from collector.errors import SettingsError
from collector.faults import FaultBook
from collector.heartbeat import Heartbeat, HeartbeatOptions
from collector.publish.documents import documents, slug
from collector.publish.options import PublishOptions
from collector.publish.publisher import Publisher
from collector.settings.load import parse
from tests.waiting import WAIT_SECONDS
from tui.nights import night_settings

PUBLISH = """
[publish]
host = "127.0.0.1"
port = {port}
base = "house/pit"
every = 1
"""


async def kept(port, base="house/pit", until=lambda found: True):
    """Give what the broker keeps under a base, by topic below it, once it has come to that."""
    async with asyncio.timeout(WAIT_SECONDS):
        while True:
            found = {}
            async with aiomqtt.Client("127.0.0.1", port) as client:
                await client.subscribe(f"{base}/#", qos=1)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(0.4):
                        async for message in client.messages:
                            if message.retain:
                                found[message.topic.value.removeprefix(base + "/")] = message.payload
            if until(found):
                return found
            await asyncio.sleep(0.1)


async def send(port, *messages, retain=False):
    async with aiomqtt.Client("127.0.0.1", port) as client:
        for topic, payload in messages:
            await client.publish(topic, payload, 1, retain=retain)


@pytest.mark.broker
async def test_the_house_is_told_at_once_loses_no_alarm_and_is_left_no_ghost(real_broker, collecting, pit_config):
    port = real_broker.start().port
    ghosts = [("house/pit/probe/old-name", b'{"value": 1}'), ("house/pit/zone/shed", b"{}"), ("house/other", b"mine")]
    await send(port, *ghosts, retain=True)
    text = pit_config(port).replace('name = "p0"', 'name = "Fire end, left"\nkey = "p0"')
    running = collecting(text + PUBLISH.format(port=port)).start()
    await running.up()
    await send(port, *((f"pit/p{k}", f"{100 + k}") for k in range(8)))
    found = await kept(port, until=lambda f: b'"value":100' in f.get("probe/fire-end-left", b""))
    assert found["availability"] == b"online"
    probe = json.loads(found["probe/fire-end-left"])
    assert {k: probe[k] for k in ("schema", "name", "unit", "quality", "reason", "duty")} == {
        "schema": 1, "name": "Fire end, left", "unit": "C", "quality": "good", "reason": "", "duty": "chamber",
    }  # fmt: skip
    assert math.isclose(probe["value"], 100.0, abs_tol=0.01)
    assert probe["time"] is not None
    zone = json.loads(found["zone/flat-side"])
    assert zone["unit"] == "C"
    assert "probe/old-name" not in found
    assert "zone/shed" not in found
    assert set(await kept(port, "house")) >= {"other"}, "what is not ours stays"

    running.kill()
    await kept(port, until=lambda f: f.get("availability") == b"offline")
    running.start()
    await kept(port, until=lambda f: f.get("availability") == b"online")
    assert await asyncio.to_thread(running.stop) == 0
    assert (await kept(port))["availability"] == b"offline"


@pytest.mark.broker
async def test_the_pit_is_available_only_while_it_is_really_watched(real_broker):
    port = real_broker.start().port
    unwell = ["no good value of any configured probe comes in"]
    options = PublishOptions(BrokerAddress("127.0.0.1", port), "house/pit", 60.0)
    publisher = Publisher(options, silent_pit, unwell=lambda: unwell[0])
    running = asyncio.create_task(publisher.run())
    await kept(port, until=lambda f: f.get("availability") == b"offline")
    unwell[0] = ""
    await kept(port, until=lambda f: f.get("availability") == b"online")
    unwell[0] = "the alarms are not judged"
    await kept(port, until=lambda f: f.get("availability") == b"offline")
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)


@pytest.mark.broker
async def test_a_fault_of_ours_in_the_middle_of_a_link_leaves_the_pit_offline(real_broker):
    """The link ends in an orderly way, so the broker sends no last will; nobody is to read `online` for ever."""
    port = real_broker.start().port
    options, fault = PublishOptions(BrokerAddress("127.0.0.1", port), "house/pit", 60.0), []

    def snapshot():
        if fault:
            raise KeyError("injected")
        return silent_pit()

    publisher = Publisher(options, snapshot)
    running = asyncio.create_task(publisher.run())
    await kept(port, until=lambda f: f.get("availability") == b"online" and "cook" in f)
    fault.append(1)
    with pytest.raises(KeyError):
        await asyncio.wait_for(running, WAIT_SECONDS)
    assert not publisher.up
    await kept(port, until=lambda f: f.get("availability") == b"offline")


def test_a_kind_of_document_that_cannot_be_written_leaves_the_others():
    faults, snapshot = FaultBook(), silent_pit()
    ill = msgspec.structs.replace(snapshot, meat=(None,))
    found = documents(ill, faults)
    assert any(topic.startswith("trouble/") for topic in found)
    assert not any(topic.startswith("meat/") for topic in found)
    assert [fault.part for fault in faults.records] == ["MQTT documents of meat"]


START = 1_750_000_000.0


def silent_pit():
    """Give a snapshot of a pit all of whose probes were heard for a minute and then fell silent."""
    plan = night_settings().plan
    engine = Engine(plan, "tonight", START)
    for k, probe in enumerate(plan.probes):
        engine.take(Reading(probe.source, probe.key, 110.0 + k, START + 60.0, None), START + 60.0)
    engine.advance(START + 900.0)
    return engine.snapshot()


def test_an_alarm_is_a_document_and_null_says_what_is_not_known():
    snapshot = silent_pit()
    found = {topic: json.loads(payload) for topic, payload in documents(snapshot).items()}
    assert found["cook"]["name"] == snapshot.cook
    meat = found["meat/brisket"]
    assert (meat["phase"], meat["done"], [part["name"] for part in meat["parts"]]) == (
        "not on yet",
        None,
        ["flat", "point"],
    )
    assert meat["parts"][0]["target"] == pytest.approx(95.0)
    assert meat["caution"].startswith("A probe is not the coldest point of the meat.")
    assert (meat["cooling_limits"], meat["cool_by"]) == ("FDA Food Code 3-501.14", None)
    assert meat["in_time"] in ("late", "in hand", "just in time", None)
    assert found["grate"]["unit"] == "C"
    alarm = next(fields for topic, fields in found.items() if topic.startswith("alarm/"))
    assert set(alarm) >= {"state", "active", "since", "value", "limit", "unit", "message", "priority", "time"}
    probe = msgspec.structs.replace(
        snapshot.probes[0], celsius=math.nan, quality=Quality.BAD, reason=Reason.OPEN_OR_SHORT, silent=False
    )
    told = json.loads(documents(msgspec.structs.replace(snapshot, probes=(probe, probe)))[f"probe/{slug(probe.name)}"])
    assert (told["value"], told["quality"], told["reason"]) == (None, "bad", "open_or_short")
    assert f"probe/{slug(probe.name)}-2" in documents(msgspec.structs.replace(snapshot, probes=(probe, probe)))


@given(st.text(max_size=40))
@settings(max_examples=100, deadline=None)
def test_a_name_becomes_one_level_of_a_topic_whatever_is_in_it(name):
    level = slug(name)
    assert level
    assert not set(level) - set("abcdefghijklmnopqrstuvwxyz0123456789-")


def problems(text, path):
    with pytest.raises(SettingsError) as raised:
        parse(text, path)
    return str(raised.value)


def test_what_is_published_must_not_come_back_as_readings(pit_config, tmp_path):
    text = pit_config(1884).replace('filter = "pit/+"', 'filter = "house/#"') + PUBLISH.format(port=1884)
    told = problems(text.replace('key = "level 2"', 'key = "topic"'), tmp_path / "c.toml")
    assert "publish.base" in told
    assert "would take it for readings" in told


def test_the_address_of_the_heartbeat_is_checked_and_kept_secret(pit_config, tmp_path):
    text = pit_config(1884) + '\n[heartbeat]\nurl_file = "beat.url"\n'
    assert "is not there" in problems(text, tmp_path / "c.toml")
    secret = tmp_path / "beat.url"
    secret.write_text("beat me")
    secret.chmod(0o600)
    assert "holds no address" in problems(text, tmp_path / "c.toml")
    secret.write_text("https://alive.example/secret-key\n")
    secret.chmod(0o644)
    assert "chmod 600" in problems(text, tmp_path / "c.toml")
    secret.chmod(0o600)
    parse(text, tmp_path / "c.toml")


@pytest.fixture
async def listener():
    """A service that is called while all is well; it may refuse."""
    heard = []
    answer = {"status": 200}

    async def handle(request):
        heard.append(request.path)
        return web.Response(status=answer["status"])

    runner = web.ServerRunner(web.Server(handle))
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    yield heard, answer, f"http://127.0.0.1:{runner.addresses[0][1]}/secret-key"
    await runner.cleanup()


async def test_the_sign_of_life_comes_only_while_all_is_well(listener, caplog):
    heard, answer, url = listener
    trouble = [""]
    beat = Heartbeat(HeartbeatOptions(url, 0.02), lambda: trouble[0])
    running = asyncio.create_task(beat.run())

    async def until(ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ready():
                await asyncio.sleep(0.01)

    await until(lambda: len(heard) >= 2)
    trouble[0] = "the store is not written"
    await until(lambda: beat.held_back)
    count = len(heard)
    await asyncio.sleep(0.1)
    assert len(heard) == count
    trouble[0] = ""
    await until(lambda: len(heard) > count)
    answer["status"] = 500
    await until(lambda: "500" in beat.fault)
    answer["status"] = 200
    await until(lambda: not beat.fault)
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    assert "secret-key" not in caplog.text
