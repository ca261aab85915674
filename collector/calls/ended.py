"""What the store knows of calls that have ended: a link of one is used up, also after a restart."""

import contextlib
import logging
import sqlite3
from pathlib import Path

from collector.calls.escalation import Call
from collector.calls.record import MOST_ENDED, CallRow
from collector.snapshot import Priority

__all__ = ["ended_calls"]

log = logging.getLogger(__name__)


def ended_calls(store: Path) -> tuple[CallRow, ...]:
    """Read the newest calls that have ended, oldest first; none, and a word in the log, where that fails."""
    try:
        connection = sqlite3.connect(f"{store.absolute().as_uri()}?mode=ro", uri=True, timeout=2.0)
        with contextlib.closing(connection):
            found = connection.execute(
                "SELECT number, trouble, priority, began_ms, ended_ms, why FROM call WHERE ended_ms IS NOT NULL "
                "ORDER BY number DESC LIMIT ?", (MOST_ENDED,),
            ).fetchall()  # fmt: skip
    except sqlite3.Error as error:
        log.warning("%s: what links of earlier messages stood for cannot be read: %s", store, error)
        return ()
    return tuple(
        CallRow(Call(number, trouble, Priority(priority), began_ms / 1000), ended_ms / 1000, why)
        for number, trouble, priority, began_ms, ended_ms, why in reversed(found)
    )
