"""Row 2: what it costs to find a message's subscription and probe, with 1,000 of each against 16.

The part after the network: from paho's message to a screened row, one subscription a probe. No broker, no clock.
"""

from itertools import cycle, islice

import msgspec
from paho.mqtt.client import MQTTMessage

from adapters.decode.mqtt_payload import PayloadReader
from adapters.mqtt.options import BrokerOptions, Subscription
from adapters.mqtt.source import MqttSource
from collector.engine import Engine
from collector.model.plan import Probe
from collector.pipeline import Pipeline
from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.pit import plan_of

__all__ = ["Path", "measure"]

NOW = 1_790_000_000.0


class Path:
    """A source and a pipeline that know so many probes."""

    def __init__(self, probes: int) -> None:
        names = [f"pit/{k:04d}" for k in range(probes)]
        reader = PayloadReader("json", value="/t", key="topic")
        options = BrokerOptions("house", "nowhere", tuple(Subscription(n, 0, reader) for n in names))
        self._source = MqttSource(options, names, clock=lambda: NOW)
        plan = msgspec.structs.replace(
            plan_of(), zones=(), probes=tuple(Probe(n, "house", n, duty="ambient") for n in names)
        )
        self.pipeline = Pipeline(Engine(plan, "bench", NOW), {})
        messages = [_message(n) for n in names]
        self._messages = list(islice(cycle(messages), max(2000, probes)))
        self.run()

    def run(self) -> int:
        """Take every message once; give how many rows came of them."""
        source, take = self._source, self.pipeline.take
        for message in self._messages:
            source._hear(message)
            reading = source._inbox.get()
            assert reading is not None
            take(reading)
        return len(self.pipeline.cut().rows)

    def microseconds(self) -> float:
        """CPU time a message."""
        import time

        began = time.process_time()
        rows = self.run()
        return 1e6 * (time.process_time() - began) / rows


def _message(topic: str) -> MQTTMessage:
    message = MQTTMessage(0, topic.encode())
    message.payload = b'{"t": 113.4}'
    return message


def measure(effort: Effort) -> list[Finding]:
    """Compare the two."""
    many, few = Path(1000), Path(16)
    above, below = turns(effort.of(31, 11), (many.microseconds, few.microseconds))
    middle, low, high = ratio(above, below)
    note = f"{min(above):.1f} against {min(below):.1f} us a message (least), from paho's message to the screened row"
    return [Finding(2, "routing 1,000 probes / 16", middle, "x", 1.2, None, False, low, high, note)]
