"""How a figure is taken: two contenders in turn, in one run, and the median of their ratios."""

import os
import platform
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TypeVar

__all__ = [
    "Effort",
    "Finding",
    "cpu_seconds",
    "machine",
    "noise_percent",
    "ratio",
    "resident_mb",
    "seconds_of",
    "turns",
]

Count = TypeVar("Count", int, tuple[int, ...])
LIBRARIES = ("aiomqtt", "paho-mqtt", "numpy", "scipy", "textual", "msgspec")


@dataclass(frozen=True, slots=True)
class Effort:
    """How much time a run may take."""

    quick: bool = False

    def of(self, full: Count, quick: Count) -> Count:
        """Choose a count, or several."""
        return quick if self.quick else full


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the table."""

    row: int
    what: str
    value: float
    """The median where several rounds were run."""
    unit: str
    floor: float
    stretch: float | None
    more_is_better: bool
    low: float
    """Least of the rounds."""
    high: float
    """Greatest of the rounds."""
    note: str = ""
    """The figures behind the ratio, and how they were taken."""

    @property
    def verdict(self) -> str:
        """Say which goal it meets: `stretch`, `floor` or `MISS`."""
        if self._meets(self.stretch):
            return "stretch"
        return "floor" if self._meets(self.floor) else "MISS"

    @property
    def halved(self) -> bool:
        """Tell whether it is worse than its floor by a factor of two."""
        return self.value < self.floor / 2.0 if self.more_is_better else self.value > self.floor * 2.0

    def _meets(self, goal: float | None) -> bool:
        if goal is None:
            return False
        return self.value >= goal if self.more_is_better else self.value <= goal


def turns(rounds: int, contenders: Sequence[Callable[[], float]]) -> list[list[float]]:
    """Run contenders in turn, the order reversed each round; give each one's figures, round by round."""
    figures: list[list[float]] = [[0.0] * rounds for _ in contenders]
    for k in range(rounds):
        order = range(len(contenders)) if k % 2 == 0 else range(len(contenders) - 1, -1, -1)
        for i in order:
            figures[i][k] = contenders[i]()
    return figures


def ratio(above: Sequence[float], below: Sequence[float]) -> tuple[float, float, float]:
    """Give median, least and greatest of the ratios, round by round."""
    ratios = [a / b for a, b in zip(above, below, strict=True)]
    return statistics.median(ratios), min(ratios), max(ratios)


def seconds_of(work: Callable[[], object], times: int) -> float:
    """CPU seconds one call takes, over so many calls."""
    began = time.process_time()
    for _ in range(times):
        work()
    return (time.process_time() - began) / times


def cpu_seconds(pid: int) -> float:
    """CPU seconds all threads of a process have had, to the nanosecond (Linux)."""
    return sum(int(f.read_text().split()[0]) for f in Path(f"/proc/{pid}/task").glob("*/schedstat")) / 1e9


def resident_mb(pid: int, field: str = "VmRSS") -> float:
    """Megabytes of memory a process has resident (`VmHWM`: had at most)."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    line = next(line for line in status.splitlines() if line.startswith(field + ":"))
    return int(line.split()[1]) / 1024


def noise_percent(times: int = 25) -> float:
    """Tell how much the same piece of work varies in wall time now: (90th - 10th percentile) / median, percent."""

    def spin() -> float:
        began = time.perf_counter()
        sum(range(200_000))
        return time.perf_counter() - began

    spans = sorted(spin() for _ in range(times))
    return 100 * (spans[times * 9 // 10] - spans[times // 10]) / spans[times // 2]


def machine() -> dict[str, str]:
    """Say where and with what the figures were taken."""
    import sqlite3

    cpu = next(
        (line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line),
        platform.machine(),
    )
    return {
        "machine": f"{len(os.sched_getaffinity(0))} x {cpu}, {platform.system()} {platform.release()}",
        "versions": ", ".join(
            [
                f"Python {platform.python_version()}",
                f"SQLite {sqlite3.sqlite_version}",
                *(f"{n} {version(n)}" for n in LIBRARIES),
            ]
        ),
        "load": " ".join(f"{x:.2f}" for x in os.getloadavg()),
        "noise": f"{noise_percent():.0f} % (90th less 10th percentile of one piece of work, over its median)",
    }
