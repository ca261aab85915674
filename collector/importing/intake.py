"""An imported cook goes on record: in one transaction, so that all of it is there or nothing. Blocks."""

import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
from msgspec.structs import replace

from adapters.reading import Reading
from collector.calibrations import lines_of
from collector.engine import Engine
from collector.errors import EditError, StoreBusyError
from collector.importing.survey import Survey
from collector.model.plan import Plan
from collector.pipeline import Pipeline
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.editor import checked_name, log_edit
from collector.store.extent import bound_before, next_number
from collector.store.keepsake import EditKind
from collector.store.record import END, Cook, Record
from collector.store.schema import SEQUENCE_BITS, VERSION
from collector.usual import COOKS, usual_deficits
from collector.version import VERSION as COLDSIDE

__all__ = ["begin", "finish", "free_name", "make_sure_of_room", "take_in", "unmade"]

ROWS_AT_A_TIME = 5000
AHEAD_SECONDS = 60.0


def make_sure_of_room(record: Record | None, first_unix: float, last_unix: float, now_unix: float) -> int | None:
    """Make sure that nothing is on record in a stretch of time.

    Args:
        record: what is on record; None: nothing yet.
        first_unix: beginning of the stretch.
        last_unix: its end.
        now_unix: the time.

    Returns:
        When the next cook begins, milliseconds since the epoch; None where none does.

    Raises:
        EditError: something is, or the stretch lies in the future; the message says what.
    """
    if last_unix > now_unix + AHEAD_SECONDS:
        raise EditError(
            f"it goes on to {_utc(last_unix)}, which is in the future by this machine's clock, {_utc(now_unix)}: "
            "is the time zone right, and the clock?"
        )
    following = None
    if record is None:
        return None
    for cook in record.cooks():
        ended = _content_end(record, cook)
        if first_unix <= ended and last_unix >= cook.started_unix:
            goes_on = "" if cook.ended_unix is not None else "; it goes on"
            raise EditError(
                f"it overlaps with the cook {cook.name!r}, {_utc(cook.started_unix)} to {_utc(min(ended, now_unix))}"
                f"{goes_on}: one pit cooks one cook at a time; import it into a store of its own (--store FILE), or "
                "delete that one"
            )
        if cook.started_unix > last_unix and following is None:
            following = round(cook.started_unix * 1000)
    return following


def _content_end(record: Record, cook: Cook) -> float:
    """Give the time up to which anything of a cook is on record."""
    if cook.ended_unix is None:
        return float("inf")
    times = [cook.ended_unix, record.alive_unix(cook)]
    times += [told[0] / 1000 / (1 << SEQUENCE_BITS) for told in (*record.actions(cook)[-1:], *record.vitals(cook)[-1:])]
    times += [step.time_unix for step in record.alarm_log(cook)[-1:]]
    return max(times)


def _utc(unix: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(unix))


def free_name(record: Record | None, started_unix: float, name: str) -> str:
    """Give the name of an imported cook: the one that is wished, else its day.

    Raises:
        EditError: it is no name, or taken.
    """
    if name:
        return name if record is None else checked_name(name, record)
    day = time.strftime("%Y-%m-%d", time.localtime(started_unix))
    taken = set() if record is None else set(record.names())
    return next(n for n in (day, *(f"{day}-{k}" for k in range(2, 10_000))) if n not in taken)


def take_in(store: Path, plan: Plan, readings: Iterable[Reading], found: Survey, *, name: str, origin: str,
            as_raw: bool) -> Cook:  # fmt: skip
    """Judge readings as they would have been judged when they came, and put them on record as an ended cook.

    Args:
        store: its path; made where there is none.
        plan: the set-up.
        readings: in the order of time.
        found: what a look through them told.
        name: of the cook; empty: its day.
        origin: JSON of where it came from.
        as_raw: they are raw values of these very probes: the calibrations from before the cook are applied.

    Raises:
        EditError: there is no room for it; nothing was written.
        IntakeError: a reading cannot be read; nothing was written.
        StoreError: a collector holds the store, or the disk refuses; nothing was written.
    """
    with unmade(store):
        return _take_in(Database(store), plan, readings, found, name, origin, as_raw=as_raw)


@contextmanager
def unmade(store: Path) -> Iterator[None]:
    """Take a store away again that was made for an import which came to nothing."""
    was_there = store.exists()
    try:
        yield
    except StoreBusyError:  # somebody made it meanwhile: it is his
        raise
    except BaseException:
        if not was_there:
            for end in ("", "-wal", "-shm", ".lock"):
                Path(f"{store}{end}").unlink(missing_ok=True)
        raise


def _take_in(database: Database, plan: Plan, readings: Iterable[Reading], found: Survey, name: str, origin: str, *,
             as_raw: bool) -> Cook:  # fmt: skip
    try:
        first_ms, last_ms = int(found.first_unix * 1000), round(found.last_unix * 1000)
        with database.together() as connection:
            record = Record(connection, VERSION)
            following = make_sure_of_room(record, found.first_unix, found.last_unix, time.time())
            name = free_name(record, found.first_unix, name)
            if as_raw:
                plan = plan.calibrated(lines_of(record.calibrations_before(first_ms << SEQUENCE_BITS)))
            earlier = record.cooks(newest=COOKS, before_unix=found.first_unix)
            plan = replace(plan, usual_kelvin=usual_deficits(record, earlier, plan))
            number = begin(connection, name, first_ms, following, COLDSIDE, origin)
            connection.execute("INSERT INTO plan VALUES (?, 0, ?)", (number, msgspec.json.encode(plan).decode()))
            pipeline = Pipeline(Engine(plan, name, first_ms / 1000), database.series)
            for reading in readings:
                pipeline.take(reading)
                if len(pipeline.batch.rows) >= ROWS_AT_A_TIME:
                    database.write(number, pipeline.cut())
            database.write(number, pipeline.cut())
            last_ms = max(last_ms, round(pipeline.engine.now_unix * 1000))
            finish(connection, number, name, first_ms, last_ms, f"{found.readings} readings")
    finally:
        database.close()
    with Archive(database.path) as archive:
        return archive.cook(name)


def begin(
    connection: sqlite3.Connection, name: str, started_ms: int, following_ms: int | None, coldside: str, origin: str
) -> int:
    """Put an imported cook among the others, inside its transaction; return its number.

    Args:
        connection: the open store, held against a collector.
        name: of the cook; free.
        started_ms: when it began; there is room.
        following_ms: when the next one began; None where there is none.
        coldside: version that recorded it.
        origin: JSON of where it came from.
    """
    number = next_number(connection)
    bound_before(connection, started_ms)
    connection.execute(
        "INSERT INTO cook (id, name, started_ms, coldside) VALUES (?, ?, ?, ?)", (number, name, started_ms, coldside)
    )
    connection.execute("INSERT INTO extent VALUES (?, ?, ?)", (number, following_ms, origin))
    return number


def finish(connection: sqlite3.Connection, number: int, name: str, first_ms: int, last_ms: int, text: str) -> None:
    """End an imported cook, and put on record that it was imported; inside its transaction."""
    connection.execute("UPDATE cook SET ended_ms = ? WHERE id = ?", (last_ms, number))
    bounds = first_ms << SEQUENCE_BITS, min(END, (last_ms + 1) << SEQUENCE_BITS)
    log_edit(connection, EditKind.IMPORT, number, name, text, time.time(), bounds=bounds)
