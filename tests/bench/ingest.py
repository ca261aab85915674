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

    def __init__(self, on: Broker, qos: int, count: int) -> None:
        self._broker, self._qos, self._count = on, qos, count
        self._runs = 0
        self.dropped = 0
        """Messages ours gave up, and counted, over all rounds."""
        self.cpu: dict[str, list[float]] = {"ours": [], "bare": []}
        """Microseconds a message."""

    def rate(self, which: str) -> float:
        """Messages a second."""
        self._runs += 1
        prefix = f"q{self._qos}r{self._runs}"
        receiver = python("tests.bench.receivers", which, self._broker.port, prefix, self._qos, self._count)
        assert next_line(receiver) == "ready"
        sender = publish(self._broker.port, prefix, self._count, self._qos)
        lap = json.loads(next_line(receiver))
        assert (receiver.wait(20), sender.wait(20)) == (0, 0)
        screened = self._count - lap["dropped"]
        self.dropped += lap["dropped"]
        self.cpu[which].append(1e6 * lap["cpu"] / screened)
        return float(screened / lap["seconds"])


def measure(effort: Effort) -> list[Finding]:
    """Compare rates at QoS 0 and QoS 1."""
    findings = []
    for qos, count in ((0, effort.of(20_000, 4_000)), (1, effort.of(10_000, 3_000))):
        with broker() as b:
            a_round = Round(b, qos, count)
            ours, bare = turns(effort.of(5, 3), (lambda: a_round.rate("ours"), lambda: a_round.rate("bare")))  # noqa: B023
        middle, low, high = ratio(ours, bare)
        cpu = {k: statistics.median(v) for k, v in a_round.cpu.items()}
        note = (
            f"{statistics.median(ours):,.0f} against {statistics.median(bare):,.0f} msg/s, CPU {cpu['ours']:.0f} against "
            f"{cpu['bare']:.0f} us/msg; ours with store, {a_round.dropped} of {effort.of(5, 3) * count} given up and counted"
            f"{', acknowledged after the commit' if qos else ''}"
        )
        what = f"ingest rate QoS {qos}, ours / aiomqtt + json"
        findings.append(Finding(1, what, middle, "x", 0.8, 1.5, True, low, high, note))
    return findings
