"""Receivers of one stream, each a process of its own: ours with all that follows, and a bare loop over aiomqtt.

`python -m tests.bench.receivers ours|bare|sockets PORT PREFIX QOS COUNT VERSION`: says `ready` once subscribed, and
after COUNT messages how long they took from the first to the last. COUNT 0: until it is stopped. `sockets` is what
nothing on paho comes below: its sockets on the loop, which reads, acknowledges and throws away.
"""

import asyncio
import json
import sys
import time
from pathlib import Path
from random import Random

import numpy as np  # noqa: F401 - the peer carries what any program that works out a field must carry

__all__: list[str] = []


class Lap:
    """From the first message to the last: wall and CPU time."""

    def __init__(self, count: int) -> None:
        self.count, self.heard = count, 0
        self._wall = self._cpu = 0.0

    def heard_one(self, dropped: int = 0) -> bool:
        """Count a message; tell whether it, beside those dropped, was the last."""
        if not self.heard:
            self._wall, self._cpu = time.perf_counter(), time.process_time()
        self.heard += 1
        return self.heard + dropped == self.count

    def tell(self, dropped: int = 0) -> None:
        """Say how long it took, and how many of them were given up."""
        wall, cpu = time.perf_counter() - self._wall, time.process_time() - self._cpu
        print(json.dumps({"seconds": wall, "cpu": cpu, "dropped": dropped}), flush=True)


async def bare(port: int, prefix: str, qos: int, count: int, version: str) -> None:
    """Loop over aiomqtt's messages and parse them."""
    import aiomqtt

    protocol = aiomqtt.ProtocolVersion.V5 if version == "5" else aiomqtt.ProtocolVersion.V311
    lap = Lap(count)
    newest: dict[str, float] = {}
    async with aiomqtt.Client("127.0.0.1", port, protocol=protocol) as client:
        await client.subscribe(f"{prefix}/+", qos)
        print("ready", flush=True)
        async for message in client.messages:
            newest[message.topic.value] = json.loads(message.payload)["t"]
            if lap.heard_one():
                lap.tell()
                return


async def sockets(port: int, prefix: str, qos: int, version: str) -> None:
    """Let the loop call paho when there is something to read, and do nothing with it."""
    import paho.mqtt.client as paho

    loop = asyncio.get_running_loop()
    protocol = paho.MQTTv5 if version == "5" else paho.MQTTv311
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=protocol)
    client.on_socket_open = lambda client, _, socket: loop.add_reader(socket, client.loop_read)
    client.on_socket_register_write = lambda client, _, socket: loop.add_writer(socket, client.loop_write)
    client.on_socket_unregister_write = lambda _client, _, socket: loop.remove_writer(socket)
    client.on_connect = lambda client, *_: client.subscribe(f"{prefix}/+", qos)
    client.on_subscribe = lambda *_: print("ready", flush=True)
    client.connect("127.0.0.1", port)
    while True:
        await asyncio.sleep(1.0)
        client.loop_misc()


async def ours(port: int, prefix: str, qos: int, count: int, version: str, folder: Path) -> None:
    """Source, supervisor, pipeline, engine and recorder as the daemon wires them."""
    from adapters.reading import Reading
    from collector.engine import Engine
    from collector.pipeline import Pipeline
    from collector.recorder import Recorder
    from collector.settings.load import parse
    from collector.sources import build_sources
    from collector.store.database import Database
    from collector.supervisor import Supervision, supervise
    from tests.bench.pit import config_text

    settings = parse(config_text(port, qos=qos, version=version, prefix=prefix), folder / "bench.toml")
    source = build_sources(settings, time.time, time.time())[0]
    pipeline = Pipeline(Engine(settings.plan, "bench", time.time()), {})
    database = Database(folder / "bench.db")
    cook = database.begin_cook("bench", 0, "{}", "bench")
    recorder = Recorder(database, cook, pipeline, on_committed=lambda _, receipt: source.committed(receipt))
    lap, done = Lap(count), asyncio.Event()

    def take(reading: Reading) -> bool:
        pipeline.take(reading)
        if lap.heard_one(source.counts.dropped):
            lap.tell(source.counts.dropped)
            done.set()
        return recorder.noticed(receipt=reading.receipt is not None)

    tasks = [
        asyncio.create_task(recorder.run()),
        asyncio.create_task(supervise(Supervision(source), take, recorder.room, random=Random(1))),
    ]
    while source.link.state != "up":
        await asyncio.sleep(0.01)
    print("ready", flush=True)
    await done.wait()
    for task in tasks:
        task.cancel()
    await recorder.close()


def main(which: str, port: int, prefix: str, qos: int, count: int, version: str) -> None:
    """Receive."""
    if which == "bare":
        asyncio.run(bare(port, prefix, qos, count, version))
        return
    if which == "sockets":
        asyncio.run(sockets(port, prefix, qos, version))
        return
    from tests.bench.pit import scratch

    with scratch() as folder:
        asyncio.run(ours(port, prefix, qos, count, version, Path(folder)))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3], int(sys.argv[4]), int(sys.argv[5]), sys.argv[6])
