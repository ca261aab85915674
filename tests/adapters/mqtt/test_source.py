"""The broker source against a real broker."""

import asyncio
import datetime as dt
import importlib.util
import ipaddress
import json
import math
import subprocess
import time
from pathlib import Path

import cbor2
import paho.mqtt.client as paho
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from adapters.decode.mqtt_payload import PayloadReader
from adapters.errors import LinkReason
from adapters.mqtt.options import Availability, Tls
from adapters.mqtt.source import MqttSource
from adapters.reading import Quality, Reason
from adapters.source import LinkState, Source
from tests.waiting import WAIT_SECONDS

_spec = importlib.util.spec_from_file_location("mqtt_conftest", Path(__file__).with_name("conftest.py"))
_c = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_c)
Hearing, Publisher, options = _c.Hearing, _c.Publisher, _c.options

pytestmark = pytest.mark.broker


def up(source):
    return lambda: source.link.state is LinkState.UP


@pytest.mark.parametrize("version_5", [False, True])
async def test_hears_a_number_and_converts_it(broker, publisher, version_5):
    if version_5 and not broker.real:
        pytest.skip("the embedded broker speaks MQTT 3.1.1 only")
    source = MqttSource(options(broker.port, version_5=version_5))
    assert isinstance(source, Source)
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        before = time.time()
        publisher.publish("pit/flat", "225.0")
        await hearing.until(lambda: hearing.readings)
    r = hearing.readings[0]
    assert (r.source, r.key, r.quality) == ("b", "flat", Quality.GOOD)
    assert r.celsius == pytest.approx(107.2222, abs=1e-4)
    assert before - 1 <= r.received_unix <= time.time() + 1
    assert source.counts.heard == source.counts.yielded == 1


async def test_a_payload_that_is_no_number_is_a_bad_reading_of_its_probe(broker, publisher):
    source = MqttSource(options(broker.port))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        for payload in (b"soup", b"\xff\xfe", b"1_0", b"nan", b""):
            publisher.publish("pit/flat", payload)
        publisher.publish("pit/flat", b"200")
        await hearing.until(lambda: any(r.quality is Quality.GOOD for r in hearing.readings))
    assert [r.reason for r in hearing.readings] == [Reason.UNDECODABLE] * 3 + [Reason.NOT_A_NUMBER, Reason.NONE]
    assert all(math.isnan(r.celsius) for r in hearing.readings[:-1])
    assert "1_0" in source.counts.last_error


async def test_a_retained_message_is_last_known(broker, publisher):
    publisher.publish("pit/flat", "200", retain=True)
    source = MqttSource(options(broker.port))
    async with Hearing(source) as hearing:
        await hearing.until(lambda: hearing.readings)
        publisher.publish("pit/flat", "201")
        await hearing.until(lambda: len(hearing.readings) >= 2)
    assert (hearing.readings[0].quality, hearing.readings[0].reason) == (Quality.UNCERTAIN, Reason.LAST_KNOWN)
    assert hearing.readings[-1].quality is Quality.GOOD


async def test_a_last_will_silences_all_probes_of_the_bridge(broker):
    bridge = Publisher(broker.port, topic="bridge/state", payload="offline", qos=1)
    source = MqttSource(options(broker.port, availability=(Availability("bridge/state"),)), ["flat", "point"])
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        bridge.publish("pit/flat", "200")
        await hearing.until(lambda: hearing.readings)
        bridge.vanish()
        await hearing.until(lambda: len(hearing.readings) >= 3)
    gone = hearing.readings[1:]
    assert {r.key for r in gone} == {"flat", "point"}
    assert {r.reason for r in gone} == {Reason.OFFLINE}


async def test_what_was_not_committed_comes_again_and_is_taken_once(real_broker):
    broker = real_broker.start()
    publisher = Publisher(broker.port)
    first = MqttSource(options(broker.port))
    async with Hearing(first, commit=False) as hearing:
        await hearing.until(up(first))
        for k in range(5):
            publisher.publish("pit/flat", str(200 + k))
        await hearing.until(lambda: len(hearing.readings) == 5)
        first.committed(hearing.readings[1].receipt)
        await asyncio.sleep(0.1)
    stored = [r.receipt for r in hearing.readings[:4]]  # 2 and 3 were committed, their acknowledgement was not sent
    second = MqttSource(options(broker.port))
    second.restore(stored)
    async with Hearing(second) as again:
        await again.until(lambda: again.readings)
        await asyncio.sleep(0.2)
        publisher.publish("pit/flat", "300")
        await again.until(lambda: len(again.readings) == 2)
    assert [round(r.celsius * 1.8 + 32) for r in again.readings] == [204, 300]
    assert second.counts.repeated == 2
    publisher.close()


async def test_no_more_than_the_window_is_taken_unacknowledged(real_broker):
    real_broker.config = "max_inflight_messages 0\nmax_queued_messages 0"
    broker = real_broker.start()
    publisher = Publisher(broker.port)
    source = MqttSource(options(broker.port))
    async with Hearing(source, commit=False) as hearing:
        await hearing.until(up(source))
        for k in range(1000):
            publisher.client.publish("pit/flat", str(k), 1)
        await hearing.until(lambda: len(hearing.readings) >= 256)
        await asyncio.sleep(0.5)
        assert len(hearing.readings) == 256, "the sender is held back"
        done = 0
        while len(hearing.readings) < 1000 or done < 1000:
            fresh = hearing.readings[done:]
            done += len(fresh)
            if fresh:
                source.committed(fresh[-1].receipt)
            await asyncio.sleep(0.02)
    assert [round(r.celsius * 1.8 + 32) for r in hearing.readings] == list(range(1000))
    publisher.close()


async def test_reconnects_for_ever_and_says_why(broker):
    source = MqttSource(options(broker.port))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        broker.stop()
        await hearing.until(lambda: source.link.reason is LinkReason.UNREACHABLE)
        broker.start()
        await hearing.until(up(source))
        p = Publisher(broker.port)
        p.publish("pit/flat", "200")
        await hearing.until(lambda: hearing.readings)
        p.close()
    assert {e.reason for e in hearing.errors} >= {LinkReason.LOST, LinkReason.UNREACHABLE}


async def test_a_session_that_another_client_takes_over_is_told_as_such():
    """By the bytes of MQTT 5 (3.2, 3.14), as not every broker of the tests sends the reason."""

    async def greet_and_take_away(reader, writer):
        await reader.read(1000)
        writer.write(bytes.fromhex("20 03 00 00 00"))
        await reader.read(1000)
        writer.write(bytes.fromhex("e0 02 8e 00"))
        await writer.drain()
        writer.close()

    server = await asyncio.start_server(greet_and_take_away, "127.0.0.1", 0)
    async with server:
        source = MqttSource(options(server.sockets[0].getsockname()[1], version_5=True))
        async with Hearing(source) as hearing:
            await hearing.until(lambda: hearing.errors)
    error = hearing.errors[0]
    assert error.reason is LinkReason.TAKEN_OVER
    assert str(error) == "another client uses our client id: 'test'; give one of the collectors its own client_id"


@pytest.mark.parametrize("version_5", [False, True])
async def test_links_that_never_stand_ask_about_the_client_id(real_broker, version_5):
    real_broker.start()
    first, second = (MqttSource(options(real_broker.port, version_5=version_5)) for _ in range(2))
    async with Hearing(first) as one, Hearing(second):
        await one.until(lambda: any("client id 'test'" in str(error) for error in one.errors))
    assert "another client" not in str(one.errors[0]), "once may be anything"


async def test_a_wrong_password_is_told_as_such(real_broker):
    passwords = real_broker.folder / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(passwords), "pit", "right"], check=True)
    real_broker.config, real_broker.anonymous = f"password_file {passwords}", False
    real_broker.start()
    for version_5 in (False, True):
        bad = MqttSource(options(real_broker.port, version_5=version_5, user="pit", password="wrong"))
        async with Hearing(bad) as hearing:
            await hearing.until(lambda h=hearing: h.errors)
        assert hearing.errors[0].reason is LinkReason.BAD_CREDENTIALS, hearing.errors
        good = MqttSource(options(real_broker.port, version_5=version_5, user="pit", password="right"))
        async with Hearing(good) as hearing:
            await hearing.until(up(good))


@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")  # paho leaves it after a bad handshake
async def test_tls_with_a_client_certificate(real_broker):
    certificates = make_certificates(real_broker.folder)
    real_broker.config = (
        f"cafile {certificates['ca']}\ncertfile {certificates['server']}\nkeyfile {certificates['server_key']}\n"
        "require_certificate true\n"
    )
    real_broker.start()
    tls = Tls(certificates["ca"], certificates["client"], certificates["client_key"])
    source = MqttSource(options(real_broker.port, version_5=True, tls=tls))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        burst = paho.Client(paho.CallbackAPIVersion.VERSION2)
        burst.tls_set(str(tls.ca_file), str(tls.certificate_file), str(tls.key_file))
        burst.connect("127.0.0.1", real_broker.port)
        burst.loop_start()
        for k in range(300):
            burst.publish("pit/flat", str(k), 1).wait_for_publish(WAIT_SECONDS)
        await hearing.until(lambda: len(hearing.readings) == 300)
        burst.disconnect()
        burst.loop_stop()
    stranger = MqttSource(options(real_broker.port, version_5=True, tls=Tls()))
    async with Hearing(stranger) as hearing:
        await hearing.until(lambda: hearing.errors)
    assert hearing.errors[0].reason is LinkReason.TLS


def make_certificates(folder):
    """Make a certificate authority, and a server and a client certificate signed by it."""
    now = dt.datetime.now(dt.UTC)
    keys = {who: ec.generate_private_key(ec.SECP256R1()) for who in ("ca", "server", "client")}
    name = {who: x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, who)]) for who in keys}
    files = {}
    for who, key in keys.items():
        certificate = (
            x509.CertificateBuilder()
            .subject_name(name[who])
            .issuer_name(name["ca"])
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - dt.timedelta(days=1))
            .not_valid_after(now + dt.timedelta(days=1))
            .add_extension(x509.BasicConstraints(ca=who == "ca", path_length=None), critical=True)
            .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), False)
            .sign(keys["ca"], hashes.SHA256())
        )
        files[who] = folder / f"{who}.pem"
        files[who].write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
        files[f"{who}_key"] = folder / f"{who}.key"
        files[f"{who}_key"].write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        )
    return files


async def test_json_with_key_unit_and_time_from_the_payload(broker, publisher):
    reader = PayloadReader("json", value="/t", unit_pointer="/u", time_pointer="/at", key="/probe")
    source = MqttSource(options(broker.port, ("pit/json",), reader=reader))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        publisher.publish("pit/json", '{"probe": 3, "t": "225", "u": "°F", "at": "2026-11-01T04:00:00Z"}')
        await hearing.until(lambda: hearing.readings)
    r = hearing.readings[0]
    assert (r.key, r.source_unix) == ("3", 1793505600.0)
    assert r.celsius == pytest.approx(107.222, abs=1e-3)


SENML = '[{"bn":"pit/","bt":1793505600,"bu":"Cel","n":"flat","v":107.5},{"n":"point","v":113},{"n":"door","vb":true}]'


@pytest.mark.parametrize("kind", ["senml", "senml-cbor"])
async def test_a_senml_pack_is_one_message_of_several_readings(broker, publisher, kind):
    payload = SENML.encode()
    if kind == "senml-cbor":
        labels = {"bn": -2, "bt": -3, "bu": -4, "n": 0, "v": 2, "vb": 4}  # RFC 8428, section 6
        payload = cbor2.dumps([{labels[k]: v for k, v in record.items()} for record in json.loads(SENML)])
    source = MqttSource(options(broker.port, ("pit/pack",), reader=PayloadReader(kind)))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        publisher.publish("pit/pack", payload)
        await hearing.until(lambda: len(hearing.readings) == 2)
    assert [(r.key, r.celsius, r.source_unix) for r in hearing.readings] == [
        ("pit/flat", 107.5, 1793505600.0),
        ("pit/point", 113.0, 1793505600.0),
    ]
    assert len({r.receipt for r in hearing.readings}) == 1


async def test_a_broker_that_forgot_us_is_not_taken_for_one_that_repeats_itself(real_broker):
    """Mosquitto without its memory begins its packet ids anew: what we knew of them must not hide a new message."""
    real_broker.start()
    source = MqttSource(options(real_broker.port))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        publisher = Publisher(real_broker.port)
        publisher.publish("pit/flat", "225")
        await hearing.until(lambda: len(hearing.readings) == 1)
        publisher.close()
        assert source._safe
        real_broker.stop()
        real_broker.start()
        await hearing.until(lambda: source.link.state is not LinkState.UP)
        await hearing.until(up(source))
        assert not source._safe
        assert not source._pending
        publisher = Publisher(real_broker.port)
        publisher.publish("pit/flat", "225")
        await hearing.until(lambda: len(hearing.readings) == 2)
        publisher.close()
    assert source.counts.repeated == 0


async def test_no_payload_stops_the_source(broker, publisher):
    reader = PayloadReader("json", value="/v", time_pointer="/t", key="level 2")
    source = MqttSource(options(broker.port, reader=reader))
    hostile = [b'{"v": 1, "t": ' + b"9" * 400 + b"}", b'{"v": ' + b"9" * 400 + b', "t": 1}', b'{"v": 1, "t": 1e308}']
    hostile += [b'{"v": 1, "t": "9999-99-99"}', b'{"v": [1], "t": null}', b"[" * 60_000, b'"\xed\xa0\x80"']
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        for payload in hostile:
            publisher.publish("pit/flat", payload)
        publisher.publish("pit/flat", b'{"v": 110, "t": 1793505600}')
        await hearing.until(lambda: any(r.celsius == 110 for r in hearing.readings))
    assert len(hearing.readings) == len(hostile) + 1
    assert not hearing.errors


@pytest.mark.parametrize("version_5", [False, True])
async def test_a_message_under_two_filters_comes_once(real_broker, version_5):
    real_broker.start()
    publisher = Publisher(real_broker.port)
    source = MqttSource(options(real_broker.port, ("pit/+", "pit/#", "pit/flat"), version_5=version_5))
    async with Hearing(source) as hearing:
        await hearing.until(up(source))
        for k in range(10):
            publisher.publish("pit/flat", str(200 + k))
        await hearing.until(lambda: len(hearing.readings) >= 10)
        await asyncio.sleep(0.2)
    assert [round(r.celsius * 1.8 + 32) for r in hearing.readings] == list(range(200, 210))
    publisher.close()
