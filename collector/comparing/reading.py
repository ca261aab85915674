"""Reads the cooks of a comparison off the record, several at a time: each is played once more, which takes seconds."""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import msgspec

from collector.comparing.told import CookTold, tell
from collector.errors import CollectorError
from collector.records import open_record
from collector.report.played import play

__all__ = ["Asked", "ComparisonError", "read_cooks"]


class ComparisonError(CollectorError):
    """These cooks cannot be compared."""


class Asked(msgspec.Struct, frozen=True):
    """A cook that is asked for, or a stretch of it."""

    name: str
    """As it was asked for."""
    cook: str
    start_unix: float = -math.inf
    end_unix: float = math.inf


def read_cooks(where: str, asked: Sequence[Asked], done: Callable[[Asked], None] = lambda _: None) -> list[CookTold]:
    """Read cooks, in the order in which they are asked for.

    Args:
        where: the record, as `open_record` takes it.
        asked: which.
        done: told of each that is read.

    Raises:
        StoreError: the record cannot be read; `UnknownCookError` where there is no such cook.
        ComparisonError: a cook has too little that is steady.
    """
    jobs = min(len(asked), os.cpu_count() or 1)
    if jobs < 2:
        found = []
        for one in asked:
            found.append(_read(where, one))
            done(one)
        return found
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        under_way = [(one, pool.submit(_read, where, one)) for one in asked]
        found = []
        for one, future in under_way:
            found.append(future.result())
            done(one)
        return found


def _read(where: str, asked: Asked) -> CookTold:
    with open_record(where) as record:
        played = play(record, record.cook(asked.cook))
    try:
        return tell(played, asked.name, asked.start_unix, asked.end_unix)
    except ValueError as error:
        raise ComparisonError(str(error)) from error
