"""`coldside scan` and `coldside decode` as their user meets them: against the fake of BlueZ and a real broker."""

import asyncio
import contextlib
import json
import os
import re
import signal
import struct
import sys
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from tests.bluez.bus import PrivateBus, dbus_daemon
from tests.bluez.fake import FakeBluez
from tests.waiting import WAIT_SECONDS, until
from tui.cli import main
from tui.exit_codes import Exit

pytestmark = [
    pytest.mark.skipif(sys.platform != "linux", reason="BlueZ is Linux's"),
    pytest.mark.skipif(dbus_daemon() is None, reason="needs a dbus-daemon (apt install dbus)"),
]

BOX, GARDEN, FORK = "C0:1D:51:DE:00:01", "C0:1D:51:DE:00:02", "C0:1D:51:DE:00:03"
HOSTILE = "garden \x1b[2J\x1b]0;owned\x07\u202eevil"


class Air:
    """What is in the air: a box that follows no standard, a garden sensor that does, a fork to connect to."""

    def __init__(self, fake: FakeBluez, bus: PrivateBus) -> None:
        self.fake, self.bus = fake, bus
        self.celsius, self.sent = 21.0, 0
        self.folder = bus.folder
        adapter = self.adapter = fake.add_adapter("hci0")
        self.box = adapter.add_device(BOX, name="box four")
        self.garden = adapter.add_device(GARDEN, name=HOSTILE, address_type="random")
        self.fork = adapter.add_device(FORK, name="fork")
        own = self.fork.gatt.add_service("fff0")
        self.own = own.add_characteristic("fff1", flags=["notify"])
        sensing = self.fork.gatt.add_service("181a")
        standard = sensing.add_characteristic("2a6e", flags=["read"], value=struct.pack("<h", 2150))
        standard.add_descriptor("2901", b"left \x1b[2J")

    def send(self) -> None:
        self.sent += 1
        raw = round(10 * (self.celsius * 1.8 + 32)) + self.sent % 2
        packet = struct.pack("<BBhhh", 0x10, self.sent % 256, raw, 703, 0x7FFF)
        self.box.advertise(-60, {"fff0": packet})
        self.garden.advertise(-70, {"fcd2": bytes([0x40, 0x00, self.sent % 256, 0x02]) + struct.pack("<h", 2137)})
        self.fork.advertise(-65)
        if self.own.notifying:
            self.own.notify(packet)

    async def run(self) -> None:
        while True:
            self.send()
            await asyncio.sleep(0.03)


@pytest.fixture
async def bus():
    with PrivateBus() as running:
        yield running


@pytest.fixture
async def air(bus):
    fake = await FakeBluez(bus.address).start()
    made = Air(fake, bus)
    sending = asyncio.create_task(made.run())
    yield made
    sending.cancel()
    await fake.stop()


def environment(bus):
    home = str(bus.folder)
    return {
        **os.environ, "DBUS_SYSTEM_BUS_ADDRESS": bus.address, "COLDSIDE_CONFIG": f"{home}/none.toml", "HOME": home,
    }  # fmt: skip


async def begin(bus, *words):
    return await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tui.cli", *words, env=environment(bus), stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip


async def coldside(bus, *words, stdin=b""):
    """Run the command; return exit code, standard output and standard error."""
    running = await begin(bus, *words)
    async with asyncio.timeout(WAIT_SECONDS):
        out, err = await running.communicate(stdin)
    assert b"Traceback" not in err, err.decode()
    return running.returncode, out.decode(), err.decode()


@pytest.fixture
def here(capsys, monkeypatch, tmp_path):
    """Run a command that needs no radio in this process; return as `coldside` does."""
    monkeypatch.setenv("COLDSIDE_CONFIG", str(tmp_path / "none.toml"))

    def run(*words):
        capsys.readouterr()
        code = main([str(word) for word in words])
        return code, *capsys.readouterr()

    return run


def harmless(text):
    return all(c.isprintable() or c == "\n" for c in text)


async def test_what_is_in_the_air(air):
    code, out, err = await coldside(air.bus, "scan", "--seconds", "0.8", "--unit", "C", "--ascii")
    assert code == Exit.OK, err
    assert "3 devices heard in 1 s by hci0, strongest first" in out
    assert out.index(BOX) < out.index(GARDEN)
    assert "byte 1 counts" in out
    assert "at 2 sint16 x 0.1 degF" in out
    assert "temperature 21.4 C" in out
    assert "random address" in out
    assert harmless(out)
    assert out.isascii()
    assert max(map(len, out.splitlines())) <= 100
    assert not air.fake.discovering()


async def test_a_record_decodes_to_the_values_that_were_scanned(air, tmp_path, here):
    record = str(tmp_path / "air.jsonl")
    code, out, _ = await coldside(air.bus, "scan", "--seconds", "0.6", "--json", "--record", record)
    document = json.loads(out)
    assert document["schema"] == 1
    box = next(device for device in document["devices"] if device["address"] == BOX)
    assert box["name"] == "box four"
    assert box["payloads"][0]["candidates"]
    assert box["payloads"][0]["counters"][0]["at"] == 1
    scanned = [
        value["celsius"]
        for device in document["devices"] for payload in device["payloads"] if payload["packet"]
        for value in payload["packet"]["values"]
    ]  # fmt: skip
    assert (code, scanned) == (Exit.OK, [21.37])
    with Path(record).open("a", encoding="utf-8") as file:
        file.write("not a line \x1b[2J\n" + "x" * 50_000 + "\n")
    code, out, err = here("decode", record, "--unit", "C")
    assert code == Exit.OK
    assert f"{GARDEN}  temperature = 21.4 °C" in out
    assert "2 malformed" in out.splitlines()[-1]
    assert err.count("coldside: line ") == 2
    assert harmless(out + err)
    code, out, _ = here("decode", record, "--json")
    document = json.loads(out)
    assert {value["celsius"] for p in document["packets"] for value in p["packet"]["values"]} == set(scanned)
    assert document["summary"]["malformed"] == 2


async def test_two_baths_give_a_layout_that_a_config_takes_and_decode_reads_by(air, tmp_path, here):
    config, record = tmp_path / "coldside.toml", tmp_path / "air.jsonl"
    air.celsius = 0.1
    running = await begin(
        air.bus, "scan", "--two-point", "--toml", "--seconds", "0.8", "--record", str(record), "--address", BOX
    )
    async with asyncio.timeout(WAIT_SECONDS):
        told = b""
        while told.count(b"Press Enter") < 1:
            told += await running.stderr.read(4096)
        running.stdin.write(b"\n")
        while told.count(b"Press Enter") < 2:
            told += await running.stderr.read(4096)
        air.celsius = 99.8
        await asyncio.sleep(0.1)
        running.stdin.write(b"\n")
        out, err = await running.communicate()
    assert running.returncode == Exit.OK, err
    assert b"scald" in told
    toml = out.decode()
    assert 'type = "sint16"\nexponent = -1\nunit = "degF"' in toml
    assert here("init", "-c", config)[0] == Exit.OK
    config.write_text(config.read_text() + "\n" + toml)
    code, out, err = here("check", "--file-only", "-c", str(config))
    assert code == Exit.OK, err
    code, out, _ = here("decode", str(record), "--layout", "box_four", "-c", str(config), "--unit", "C")
    assert code == Exit.OK
    assert f"{BOX}  temperature = 0.1 °C" in out
    assert f"{BOX}  temperature = 99.8 °C" in out


async def test_all_blocks_pass_check(air, tmp_path, here):
    config = tmp_path / "coldside.toml"
    here("init", "-c", str(config))
    for words in (["--device", "*"], ["--connect", FORK, "--listen", "0.3"]):
        code, out, err = await coldside(air.bus, "scan", "--seconds", "0.6", "--toml", "-c", str(config), *words)
        assert code == Exit.OK, err
        assert harmless(out)
        config.write_text(config.read_text() + "\n" + out)
    code, out, err = here("check", "--file-only", "-c", str(config))
    assert code == Exit.OK, err
    assert 'read = "connection"' in config.read_text()
    assert "4 sources" in out
    code, out, _ = await coldside(air.bus, "scan", "--seconds", "0.6", "-c", str(config))
    assert "in your config: source box four" in out


async def test_what_a_device_offers(air, tmp_path, here):
    record = str(tmp_path / "fork.jsonl")
    code, out, err = await coldside(
        air.bus, "scan", "--connect", FORK, "--listen", "0.6", "--unit", "C", "--record", record
    )
    assert code == Exit.OK, err
    assert "service fff0" in out
    assert "by a standard: no layout needed\n    left [2J 21.5 °C" in out
    assert "byte 1 counts" in out
    assert harmless(out)
    assert not air.fake.links()
    code, out, _ = here("decode", record, "--unit", "C")
    assert "left [2J = 21.5 °C" in out


async def test_two_baths_over_a_connection(air):
    air.celsius = 0.1
    running = await begin(
        air.bus, "scan", "--connect", FORK, "--two-point", "--listen", "0.4", "--ice-seconds", "0.1",
        "--boiling-seconds", "0.6", "--json",
    )  # fmt: skip
    async with asyncio.timeout(WAIT_SECONDS):
        told = b""
        while b"2. Boiling" not in told:
            told += await running.stderr.read(4096)
        air.celsius = 99.8
        out, _ = await running.communicate()
    (found,) = json.loads(out)["found"]
    assert (found["source"], found["candidates"][0]["at"], found["candidates"][0]["unit"]) == ("notify", 2, "degF")


async def test_baths_that_tell_nothing(air):
    code, out, _ = await coldside(
        air.bus, "scan", "--two-point", "--seconds", "0.3", "--ice-seconds", "0.1", "--boiling-seconds", "0.1"
    )
    assert code == Exit.FAILED
    assert "nothing read near" in out
    code, _, err = await coldside(air.bus, "scan", "--two-point", "--seconds", "0.3")
    assert code == Exit.FAILED, "the input ended before Enter"
    assert "ended before both baths" in err


async def test_ctrl_c_ends_the_scan_early_and_still_prints(air):
    running = await begin(air.bus, "scan", "--seconds", "600")
    async with asyncio.timeout(WAIT_SECONDS):
        while not air.fake.discovering():
            await asyncio.sleep(0.02)
        await asyncio.sleep(0.4)
        await air.fake.drained()
        running.send_signal(signal.SIGINT)
        out, err = await running.communicate()
    assert running.returncode == Exit.OK, err
    assert re.search(rb"3 devices heard in \d{1,2} s", out)
    assert not air.fake.discovering()


def waits(process, number):
    """Tell whether a signal is not taken yet: the next of its kind would be lost."""
    told = Path(f"/proc/{process.pid}/status").read_text()
    return any(
        int(mask, 16) >> (number - 1) & 1 for mask in re.findall(r"^(?:Shd|Sig)Pnd:\s+(\S+)", told, re.MULTILINE)
    )


async def test_a_second_ctrl_c_ends_it_at_once(air):
    air.fake.faults.hang("Connect")
    running = await begin(air.bus, "scan", "--connect", FORK)
    async with asyncio.timeout(WAIT_SECONDS):
        while not air.fake.called("Connect"):
            await asyncio.sleep(0.02)
        running.send_signal(signal.SIGINT)
        await until(lambda: not waits(running, signal.SIGINT))
        await asyncio.sleep(0.1)
        running.send_signal(signal.SIGINT)
        out, err = await running.communicate()
    assert (running.returncode, out) == (Exit.INTERRUPTED, b""), err
    assert b"Traceback" not in err


async def test_a_signal_to_end_leaves_nothing_behind(air):
    running = await begin(air.bus, "scan", "--connect", FORK, "--listen", "60")
    async with asyncio.timeout(WAIT_SECONDS):
        while not air.own.notifying:
            await asyncio.sleep(0.02)
        running.terminate()
        _, err = await running.communicate()
    assert running.returncode == 128 + signal.SIGTERM, err
    assert b"Traceback" not in err
    await air.fake.drained()
    assert not air.fake.links()
    assert not air.fake.discovering()


async def test_a_device_that_is_not_there(air):
    for option in ("--address", "--connect"):
        code, out, err = await coldside(air.bus, "scan", option, "00:00:00:00:00:09", "--seconds", "0.3")
        assert (code, out) == (Exit.FAILED, "")
        assert "00:00:00:00:00:09 was not heard" in err
        assert "packets of other devices" in err


async def test_nothing_in_the_air(bus):
    fake = await FakeBluez(bus.address).start()
    fake.add_adapter("hci0")
    code, out, err = await coldside(bus, "scan", "--seconds", "0.3")
    assert (code, out) == (Exit.FAILED, "")
    assert "nothing was heard in 0 s by hci0" in err
    assert "switched on" in err
    await fake.stop()


async def test_a_radio_that_cannot_be_used_says_why_and_what_to_do(bus, tmp_path):
    code, out, err = await coldside(bus, "scan")
    assert (code, out) == (Exit.FAILED, "")
    assert "the Bluetooth service does not run" in err
    assert "bluetooth" in err.splitlines()[1]
    fake = await FakeBluez(bus.address).start()
    fake.add_adapter("hci0", powered=False)
    code, out, _ = await coldside(bus, "scan", "--json")
    document = json.loads(out)
    assert (code, document["exit"]) == (Exit.FAILED, 1)
    assert "bluetoothctl power on" in document["mend"]
    code, _, err = await coldside(bus, "scan", "--adapter", "hci7")
    assert "no Bluetooth adapter (no hci7; there is hci0)" in err
    await fake.stop()
    bus.stop()
    code, _, err = await coldside(bus, "scan", "--two-point")
    assert code == Exit.FAILED
    assert "no system D-Bus" in err


@pytest.mark.parametrize(
    "words",
    [
        ["--seconds", "0"], ["--seconds", "nan"], ["--address", "nobody"], ["--connect", ""], ["--altitude", "high"],
        ["--altitude", "20000 m"], ["--altitude", "nan m"], ["--altitude", "1000"],
        ["--altitude", "1 m", "--boiling", "99 C"],
    ],
)  # fmt: skip
def test_wrong_words(words, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["scan", *words])
    assert ended.value.code == Exit.USAGE
    assert "usage: coldside scan" in capsys.readouterr().err


def test_wrong_words_of_the_second_kind(here, tmp_path):
    for words in (
        ["scan", "--two-point", "--boiling", "20 C"], ["scan", "--two-point", "--boiling", "hot"],
        ["scan", "--two-point", "--tolerance", "-1 K"], ["scan", "--mqtt", "h:99999"],
        ["scan", "--mqtt", "h", "--filter", "a#"], ["decode", str(tmp_path / "none")],
    ):  # fmt: skip
        code, out, err = here(*words)
        assert (code, out) == (Exit.FAILED, "")
        assert err.startswith("coldside: ")


def test_nothing_to_decode(tmp_path, here):
    (tmp_path / "empty").write_text("")
    code, out, _ = here("decode", str(tmp_path / "empty"))
    assert (code, out) == (Exit.FAILED, "0 read by the standards\n")


@contextlib.contextmanager
def publishing(port):
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        for n in (1, 2):
            client.publish(f"pit/probe/{n}", "225.5", 1, True).wait_for_publish(WAIT_SECONDS)
        document = json.dumps({"temperature": 21.5, "unit": "C", "battery": 88})
        client.publish("yard/\u202eevil", document, 1, True).wait_for_publish(WAIT_SECONDS)
        client.publish("cam", b"\x1b[2J" * 1000, 1, True).wait_for_publish(WAIT_SECONDS)
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


async def test_the_topics_of_a_broker(bus, broker):
    with publishing(broker.port):
        code, out, err = await coldside(bus, "scan", "--mqtt", f"127.0.0.1:{broker.port}", "--seconds", "0.4")
    assert code == Exit.OK, err
    assert "pit/probe/1  number, 1 message, 1 retained" in out
    assert "/temperature             21.5 C  looks like a temperature" in out
    assert harmless(out)


@pytest.mark.parametrize("version", ["3.1.1", "5"])
async def test_topics_become_blocks_that_pass_check(bus, broker, tmp_path, version, here):
    if version == "5" and not broker.real:
        pytest.skip("the embedded broker speaks 3.1.1 only")
    config, place = tmp_path / "coldside.toml", f"127.0.0.1:{broker.port}"
    with publishing(broker.port):
        words = ["scan", "--mqtt", place, "--seconds", "0.4", "--toml", "--mqtt-version", version]
        code, toml, err = await coldside(bus, *words)
    assert code == Exit.OK, err
    assert 'filter = "pit/probe/+"' in toml
    assert ('version = "3.1.1"' in toml) is (version == "3.1.1")
    here("init", "-c", config)
    config.write_text(config.read_text() + "\n" + toml)
    code, _, err = here("check", "--file-only", "-c", config)
    assert code == Exit.OK, err


async def test_a_broker_that_does_not_answer(bus):
    code, out, err = await coldside(bus, "scan", "--mqtt", "127.0.0.1:1", "--seconds", "3600")
    assert (code, out) == (Exit.FAILED, "")
    assert "nobody answers at that address" in err


async def test_a_broker_that_wants_a_password(bus, real_broker, tmp_path):
    real_broker.anonymous = False
    real_broker.start()
    code, _, err = await coldside(bus, "scan", "--mqtt", f"127.0.0.1:{real_broker.port}", "--seconds", "0.3")
    assert code == Exit.FAILED
    assert "user name or password is wrong" in err
