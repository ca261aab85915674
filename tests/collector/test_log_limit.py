"""A flood of one kind of line is cut down and counted, and hides no other kind and no other peer."""

import logging

import pytest

from collector.log_limit import BURST_LINES, MOST_KINDS, REFILL_SECONDS, LogLimit


class Log:
    """A logger with the limit, by a clock that is set by hand."""

    def __init__(self):
        self.now, self.lines = 0.0, []
        handler = logging.Handler()
        handler.emit = lambda record: self.lines.append(record.getMessage())
        self.limit = LogLimit(lambda: self.now)
        handler.addFilter(self.limit)
        self.log = logging.getLogger("log limit under test")
        self.log.propagate = False
        self.log.handlers = [handler]

    def strange(self, peer=""):
        self.log.warning("strange %s", "frame", extra={"peer": peer})

    def other(self):
        self.log.warning("the fire fades")


@pytest.fixture
def log():
    return Log()


def test_a_flood_is_cut_to_a_burst_and_then_a_line_now_and_then_with_its_count(log):
    for _ in range(17_000):
        log.strange()
        log.now += 5.0 / 17_000
    assert log.lines == ["strange frame"] * BURST_LINES
    log.now += REFILL_SECONDS
    log.strange()
    assert log.lines[-1] == f"strange frame ({17_000 - BURST_LINES} more like it were left out)"
    for _ in range(2 * 3600):
        log.now += 1.0
        log.strange()
    assert len(log.lines) <= 2 * BURST_LINES + 2 * 3600 / REFILL_SECONDS + 2


def test_it_hides_no_other_line_and_no_other_peer(log):
    for _ in range(1000):
        log.strange("10.0.0.1")
    log.other()
    log.strange("10.0.0.2")
    assert log.lines[-2:] == ["the fire fades", "strange frame"]


def test_ever_new_peers_take_no_more_memory(log):
    for k in range(3 * MOST_KINDS):
        log.strange(f"10.0.{k // 256}.{k % 256}")
    assert len(log.limit._kinds) <= MOST_KINDS
