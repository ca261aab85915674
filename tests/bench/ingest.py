"""Row 1: from the socket to a screened and recorded sample, flat out, against a bare loop over aiomqtt and json."""

import json
import statistics

from tests.bench.broker import broker, next_line, python
from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.publisher import publish
from tests.conftest import Broker

__all__ = ["measure"]


class Round:
    """Runs one receiver after the other on one broker, each under topics of its own."""

    def __init__(self, on: Broker, qos: int, version: str, count: int) -> None:
        self._broker, self._qos, self._version, self._count = on, qos, version, count
        self._runs = 0
        self.dropped = 0
        """Messages ours gave up, and counted, over all rounds."""
        self.cpu: dict[str, list[float]] = {"ours": [], "bare": []}
        """Microseconds a message."""

    def rate(self, which: str) -> float:
        """Messages a second."""
        self._runs += 1
        prefix = f"q{self._qos}r{self._runs}"
        receiver = python(
            "tests.bench.receivers", which, self._broker.port, prefix, self._qos, self._count, self._version
        )
        assert next_line(receiver) == "ready"
        sender = publish(self._broker.port, prefix, self._count, self._qos)
        lap = json.loads(next_line(receiver))
        assert (receiver.wait(20), sender.wait(20)) == (0, 0)
        screened = self._count - lap["dropped"]
        self.dropped += lap["dropped"]
        self.cpu[which].append(1e6 * lap["cpu"] / screened)
        return float(screened / lap["seconds"])


def measure(effort: Effort) -> list[Finding]:
    """Compare rates at QoS 0 and QoS 1, both sides on MQTT 3.1.1 and both on MQTT 5."""
    findings = []
    for version, qos in (("3.1.1", 0), ("3.1.1", 1), ("5", 0), ("5", 1)):
        count = effort.of(10_000, 3_000) if qos else effort.of(20_000, 4_000)
        with broker() as b:
            a_round = Round(b, qos, version, count)
            ours, bare = turns(effort.of(4, 3), (lambda: a_round.rate("ours"), lambda: a_round.rate("bare")))  # noqa: B023
        middle, low, high = ratio(ours, bare)
        cpu = {k: statistics.median(v) for k, v in a_round.cpu.items()}
        note = (
            f"{statistics.median(ours):,.0f} against {statistics.median(bare):,.0f} msg/s, "
            f"CPU {cpu['ours']:.0f} against {cpu['bare']:.0f} us/msg; ours with store"
            f"{', acknowledged after the commit' if qos else ''}, "
            f"{a_round.dropped} of {effort.of(4, 3) * count} given up and counted"
        )
        what = f"ingest rate, QoS {qos}, MQTT {version}, ours / aiomqtt"
        findings.append(Finding(1, what, middle, "x", 0.8, 1.5, True, low, high, note))
    return findings
