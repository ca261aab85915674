"""What the fuzz found, grouped by where it was raised."""

import re
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

__all__ = ["BrokenInvariant", "Failure", "Findings", "must"]

ROOT = Path(__file__).parents[2]
PRODUCT = re.compile(r'File "(?:[^"]*/)?((?:adapters|collector|tui)/[^"]+\.py)", line (\d+), in (\S+)')
OURS = re.compile(r'File "(?:[^"]*/)?(tests/[^"]+\.py)", line (\d+), in (\S+)')


class BrokenInvariant(Exception):  # noqa: N818 - it is one, and no error of the program under test
    """Something that must hold does not.

    Args:
        where: what was looked at, the same for every case of one cause: failures are grouped by it.
        what: this case.
    """

    def __init__(self, where: str, what: str) -> None:
        super().__init__(where, what)
        self.where, self.what = where, what

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


def must(holds: object, where: str, what: str = "") -> None:
    """Raise where something does not hold."""
    if not holds:
        raise BrokenInvariant(where, what)


@dataclass(frozen=True)
class Failure:
    """One failure of one seed."""

    target: str
    seed: int
    step: str
    location: str
    """Innermost line of the product, or what was looked at: failures with one location count as one."""
    error: str
    trace: str
    seconds: float = 0.0
    """Since the run began."""


class Findings:
    """Collects the failures of one seed, each location once.

    Args:
        target: what is fuzzed.
        seed: the seed.
    """

    def __init__(self, target: str, seed: int) -> None:
        self.target, self.seed = target, seed
        self.step = "set-up"
        self.found: dict[str, Failure] = {}
        self.counts: dict[str, int] = {}
        """What the seed did, by word, for whoever reads the summary."""

    def count(self, word: str) -> None:
        self.counts[word] = self.counts.get(word, 0) + 1

    @contextmanager
    def guard(self, what: str) -> Iterator[None]:
        """Turn whatever is raised inside into a failure, and go on behind."""
        try:
            yield
        except Exception as error:
            self.add(what, error)

    def add(self, what: str, error: BaseException) -> None:
        trace = "".join(traceback.format_exception(error))
        location = error.where if isinstance(error, BrokenInvariant) else location_of(trace)
        self._add(location, f"{type(error).__name__}: {error}", f"in {what}\n{trace}")

    def contained(self, part: str, error: str, trace: str) -> None:
        """Add what the engine itself contained and recorded."""
        self._add(location_of(trace), f"contained in {part}: {error}", trace)

    def warned(self, message: str, place: str) -> None:
        """Add a warning of the product, which its own tests take for an error."""
        self._add(place, message, "".join(traceback.format_stack(limit=20)))

    def _add(self, location: str, error: str, trace: str) -> None:
        failure = Failure(self.target, self.seed, self.step, location, error[:1000], trace[-8000:])
        self.found.setdefault(location, failure)


def location_of(trace: str) -> str:
    """Give the innermost line of the product in a traceback; of the tests where there is none."""
    places = PRODUCT.findall(trace) or OURS.findall(trace)
    if not places:
        return (trace.strip().splitlines() or ["nowhere"])[-1][:120]
    path, line, function = places[-1]
    return f"{path}:{line} {function}"
