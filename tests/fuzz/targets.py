"""What can be fuzzed, and one seed of it played: with its warnings, its time limit, and its folder."""

import importlib
import logging
import random
import signal
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.fuzz.failures import PRODUCT, ROOT, Findings

__all__ = ["WEIGHTS", "drawn", "played"]

WEIGHTS = {"night": 12, "config": 2, "frames": 2, "imports": 2, "payloads": 2}
"""How often each is drawn; a target is the module of its name, whose `run` plays a seed."""
MOST_SECONDS = 90
MEMORY = Path("/dev/shm")
"""Where there is one, stores of a second or two stay in memory: no disk need see them."""


def drawn(dice: random.Random) -> str:
    """Draw a target."""
    return dice.choices(list(WEIGHTS), list(WEIGHTS.values()))[0]


def played(target: str, seed: int) -> Findings:
    """Play one seed; the same seed does the same."""
    findings = Findings(target, seed)
    run = importlib.import_module(f"tests.fuzz.{target}").run
    logging.disable(logging.CRITICAL)
    base = str(MEMORY) if MEMORY.is_dir() else None
    try:
        with tempfile.TemporaryDirectory(dir=base, prefix="coldside-fuzz-") as folder, _warned(findings), _limited():
            run(random.Random(f"{target} {seed}"), findings, Path(folder))
    except Exception as error:
        findings.add("the fuzz", error)
    finally:
        logging.disable(logging.NOTSET)
    return findings


@contextmanager
def _warned(findings: Findings) -> Iterator[None]:
    """Take a warning that the product causes for a failure, as the suite does; but let what caused it go on."""

    def show(message: Warning | str, category: type[Warning], filename: str, lineno: int, *_: object) -> None:
        path = Path(filename)
        place = str(path.relative_to(ROOT)) if path.is_relative_to(ROOT) else filename
        if PRODUCT.match(f'File "{place}", line {lineno}, in x'):
            findings.warned(f"{category.__name__}: {message}", f"{place}:{lineno} warning")

    with warnings.catch_warnings():
        warnings.simplefilter("always", RuntimeWarning)
        warnings.showwarning = show
        yield


@contextmanager
def _limited() -> Iterator[None]:
    """Let a seed that takes too long fail."""

    def late(*_: object) -> None:
        raise TimeoutError(f"a seed took more than {MOST_SECONDS} s")

    try:
        before = signal.signal(signal.SIGALRM, late)
    except ValueError:  # not the main thread
        yield
        return
    signal.alarm(MOST_SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
