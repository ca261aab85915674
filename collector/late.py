"""What a clock wrote that was behind, dated anew between two runs of the collector."""

import logging
from pathlib import Path

import msgspec

from collector.errors import StoreError
from collector.store.database import Database

__all__ = ["Late", "date_anew"]

log = logging.getLogger(__name__)


class Late(msgspec.Struct, frozen=True):
    """The clock was behind until now."""

    since_ms: int
    """All on record from here on was written by it; milliseconds since the epoch, as it told them."""
    step_ms: int
    text: str
    """What happened, for the record."""


def date_anew(store: Path, late: Late) -> None:
    """Date what a clock wrote that was behind, between two runs of the collector; what cannot be is left as it is."""
    try:
        database = Database(store)
        try:
            moved = database.redate(late.since_ms, late.step_ms)
        finally:
            database.close()
    except StoreError as error:
        log.error("what was written by the wrong clock stays dated by it: %s", error)  # noqa: TRY400 - it is said
        return
    log.warning("what was written since the machine started is dated %d min later", moved // 60_000)
