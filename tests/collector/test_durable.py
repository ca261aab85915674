"""Durable before acknowledged: the kernel's own account of what a collector wrote, synced and sent, in which order."""

import asyncio
import re
import shutil
import subprocess
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from tests.waiting import WAIT_SECONDS, until

pytestmark = [
    pytest.mark.broker,
    pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace (apt install strace)"),
]

MESSAGES = 60
CALLS = "pwrite64,fdatasync,fsync,recvfrom,recv,read,sendto,send,write"
LINE = re.compile(
    r"(\d+) +[\d.]+ "
    r'(?:(\w+)\((?:\d+<(.*?)>(?=[,) ]))?(?:, "((?:\\x..)*)")?|<\.\.\. (\w+) resumed>(?:"((?:\\x..)*)")?)(.*)'
)


def traced(running, to):
    words = ["strace", "-f", "-q", "-yy", "-ttt", "-xx", "-s", "100000", "-e", f"trace={CALLS}", "-o", str(to)]
    return subprocess.Popen([*words, "-p", str(running.process.pid)])


def is_traced(pid):
    """Tell whether a tracer has attached to every thread of a process."""
    told = [(task / "status").read_text() for task in Path(f"/proc/{pid}/task").iterdir()]
    return not any("\nTracerPid:\t0\n" in status for status in told)


def calls(text):
    """Yield each call at its end: at which lines it began and ended, its name, its file, what it wrote or read."""
    begun = {}
    for number, line in enumerate(text.splitlines()):
        found = LINE.match(line)
        if found is None:
            continue
        thread, name, file, data, resumed, later, rest = found.groups()
        if resumed is not None:
            began, name, file, data = begun.pop(thread)
            data = data or later
        else:
            began = number
            if rest.endswith("<unfinished ...>"):
                begun[thread] = number, name, file, data
                continue
        yield began, number, name, unhexed(file or ""), bytes.fromhex((data or "").replace("\\x", ""))


def unhexed(file):
    """Read the path of a file as `strace -xx` writes it."""
    return bytes.fromhex(file.replace("\\x", "")).decode() if file.startswith("\\x") else file


def packets(pieces):
    """Split what went one way over a link into MQTT packets (3.1.1, 2.2): each with the mark of its last piece."""
    stream = b""
    for mark, data in pieces:
        stream += data
        while len(stream) >= 2:
            length, at, shift = 0, 1, 0
            while at < len(stream):
                length |= (stream[at] & 127) << shift
                shift, at = shift + 7, at + 1
                if stream[at - 1] < 128:
                    break
            if len(stream) < at + length:
                break
            yield mark, stream[: at + length], at
            stream = stream[at + length :]


def in_order(text, port):
    """Give writes of the journal, its syncs, messages received and acknowledgements sent, by packet id."""
    writes, syncs, came, went = [], [], [], []
    for began, ended, name, file, data in calls(text):
        if name == "pwrite64" and file.endswith("cooks.db-wal"):
            writes.append((began, ended))
        elif name in ("fdatasync", "fsync") and file.endswith("cooks.db-wal"):
            syncs.append((began, ended))
        elif f"->127.0.0.1:{port}]" in file:
            (came if name in ("recvfrom", "recv", "read") else went).append((began if name[0] in "sw" else ended, data))
    received = {}
    for mark, packet, at in packets(came):
        if packet[0] >> 4 == 3:  # PUBLISH (3.3)
            topic = int.from_bytes(packet[at : at + 2])
            received[int.from_bytes(packet[at + 2 + topic : at + 4 + topic])] = mark
    acknowledged = {
        int.from_bytes(p[at : at + 2]): mark for mark, p, at in packets(went) if p[0] == 0x40
    }  # PUBACK (3.4)
    return writes, syncs, received, acknowledged


async def test_each_acknowledgement_follows_the_sync_of_its_commit(real_broker, collecting, pit_config):
    real_broker.start()
    running = collecting(pit_config(real_broker.port) + "[store]\ncommit_seconds = 0.2\n").start()
    await running.up()
    account = running.folder / "account"
    tracer = traced(running, account)
    await until(lambda: is_traced(running.process.pid))
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", real_broker.port)
    client.loop_start()
    for k in range(MESSAGES):
        client.publish(f"pit/p{k % 8}", f"{k}", 1).wait_for_publish(WAIT_SECONDS)
        await asyncio.sleep(0.05)
    await running.snapshot_when(lambda s: s.sources[0].heard == MESSAGES and not s.store.unsaved)
    await until(lambda: len(in_order(account.read_text(), real_broker.port)[-1]) == MESSAGES, every_seconds=0.2)
    client.disconnect()
    client.loop_stop()
    tracer.terminate()
    tracer.wait(WAIT_SECONDS)
    writes, syncs, received, acknowledged = in_order(account.read_text(), real_broker.port)
    assert len(acknowledged) == len(received) == MESSAGES
    for packet_id, sent in acknowledged.items():
        own = [w for w in writes if received[packet_id] < w[0] and w[1] < sent]
        assert own, f"message {packet_id}: nothing was written before its acknowledgement"
        synced = [s for s in syncs if own[0][1] < s[0] and s[1] < sent]
        assert synced, f"message {packet_id}: its commit was not synced before its acknowledgement"
    assert len({max(s for s in syncs if s[1] < sent) for sent in acknowledged.values()}) > 10, "a sync each 0.2 s"
