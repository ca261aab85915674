"""A run of the fuzz: kept seeds first, then new ones until the time is over, in several processes."""

import multiprocessing
import os
import random
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tests.fuzz.coverage import Coverage, lines_of
from tests.fuzz.failures import Failure
from tests.fuzz.seeds import FOLDER, keep, kept
from tests.fuzz.targets import drawn, played

__all__ = ["Result", "Run", "run"]

TRACED_EVERY = 5
"""One in so many nights of a process counts its lines; the first does."""


@dataclass(frozen=True)
class Run:
    """What a run is to do."""

    seconds: float
    jobs: int = 2
    target: str = ""
    """Empty: all, nights most."""
    seed: int = 0
    """From which all others are drawn."""
    folder: Path = FOLDER
    """Of the kept seeds."""
    most: int = 1_000_000_000
    """Seeds in all a process plays."""


@dataclass
class Result:
    """What came of it."""

    seeds: Counter[str] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)
    failures: dict[str, Failure] = field(default_factory=dict)
    """The first of each location."""
    times: Counter[str] = field(default_factory=Counter)
    """In how many seeds each location failed."""
    seen: dict[str, set[int]] = field(default_factory=dict)
    seconds: float = 0.0

    def add(self, other: "Result") -> None:
        self.seeds += other.seeds
        self.counts += other.counts
        self.times += other.times
        for location, failure in other.failures.items():
            first = self.failures.get(location)
            if first is None or failure.seconds < first.seconds:
                self.failures[location] = failure
        for path, lines in other.seen.items():
            self.seen.setdefault(path, set()).update(lines)

    def coverage(self) -> list[tuple[str, int, int]]:
        """List each watched file with its lines that ran, and those that can."""
        return [
            (path, len(lines & lines_of(Path(path))), len(lines_of(Path(path)))) for path, lines in self.seen.items()
        ]


def run(what: Run) -> Result:
    """Run it; new failures are kept as seeds."""
    began = time.monotonic()
    first = [pair for pair in kept(what.folder) if what.target in ("", pair[0])]
    whole = Result()
    if what.jobs == 1:
        whole.add(_work(what, first, 0, began))
    else:
        context = multiprocessing.get_context("fork")
        channels: list[tuple[Any, Any]] = []
        for number in range(what.jobs):
            here, there = context.Pipe(duplex=False)
            share = first[number :: what.jobs]
            worker = context.Process(target=_worker, args=(there, what, share, number, began))
            worker.start()
            there.close()
            channels.append((worker, here))
        for worker, here in channels:
            whole.add(here.recv())
            worker.join()
    there_are = set(kept(what.folder))
    for failure in whole.failures.values():
        if (failure.target, failure.seed) not in there_are:
            keep(failure, what.folder)
    whole.seconds = time.monotonic() - began
    return whole


def _worker(channel: Any, what: Run, first: list[tuple[str, int]], number: int, began: float) -> None:
    channel.send(_work(what, first, number, began))
    channel.close()


def _work(what: Run, first: list[tuple[str, int]], number: int, began: float) -> Result:
    """Play seeds in this process."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    dice, result, coverage = random.Random(f"{what.seed} {number}"), Result(), Coverage()
    until = began + what.seconds
    played_so_far = 0
    while played_so_far < what.most and (played_so_far < len(first) or time.monotonic() < until):
        if played_so_far < len(first):
            target, seed = first[played_so_far]
        else:
            target, seed = what.target or drawn(dice), dice.randrange(10**9)
        traced = target == "night" and result.seeds[target] % TRACED_EVERY == 0
        played_so_far += 1
        if traced:
            coverage.start()
        try:
            findings = played(target, seed)
        finally:
            coverage.stop()
        result.seeds[target] += 1
        result.counts.update({f"{target}: {word}": count for word, count in findings.counts.items()})
        for location, failure in findings.found.items():
            result.times[location] += 1
            if location not in result.failures:
                result.failures[location] = replace(failure, seconds=time.monotonic() - began)
                print(f"{time.monotonic() - began:6.1f} s  {failure.target}-{failure.seed}  {location}", flush=True)
    result.seen = coverage.seen
    return result
