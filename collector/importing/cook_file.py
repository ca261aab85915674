"""A whole cook out of a file that `collector.formats.cook_file` wrote, on record as it was: nothing is judged anew."""

import csv
import hashlib
import io
import time
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import IO, Any

import msgspec
from msgspec.structs import replace

from collector.errors import EditError, IntakeError
from collector.formats.cook_file import EXTENSIONS, FORMAT, READINGS, VERSION, CookDocument, PlanOnFile
from collector.formats.lines import bounded_lines
from collector.formats.readings_csv import COLUMNS, row_of_fields
from collector.formats.tables_csv import TABLES, read_table
from collector.importing.intake import begin, finish, free_name, make_sure_of_room, unmade
from collector.model.action import Action, ActionKind
from collector.model.plan import Plan
from collector.store.archive import Archive
from collector.store.database import Batch, Database
from collector.store.editor import checked_note, checked_tag
from collector.store.keepsake import MOST_PHOTO_BYTES, MOST_PHOTOS, picture_kind
from collector.store.record import Cook, Record, plan_of
from collector.store.row import Row
from collector.store.schema import SEQUENCE_BITS
from collector.store.schema import VERSION as STORE_VERSION

__all__ = ["CookFile"]

MOST_MS = 7_258_118_400_000
"""The year 2200."""
MOST_DOCUMENT_BYTES = 16_000_000
MOST_MEMBER_BYTES = 8_000_000_000
ROWS_AT_A_TIME = 5000
READ_CHARACTERS = 1 << 16
BATCH_FIELDS = {
    "actions": "actions", "vitals": "vitals", "alarm_log": "transitions", "marks": "marks", "trend": "trend",
}  # fmt: skip
"""Of each table but the calibrations, where a batch has its rows."""
MOST_CALIBRATIONS = 100_000
"""Held in memory together, unlike all other rows."""


class CookFile:
    """A file that holds a whole cook.

    Raises:
        IntakeError: it is none, or of a later coldside.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        with self._opened() as archive:
            self.document = self._document(archive)
            self._members = archive.namelist()
        missing = {READINGS, "plans.json", *(f"{name}.csv" for name in TABLES)} - set(self.document.files)
        if missing:
            raise self._fault(f"lacks {', '.join(sorted(missing))}")

    def _fault(self, what: str, member: str = "") -> IntakeError:
        return IntakeError(f"{self._path.name}{f'/{member}' if member else ''}", what)

    @contextmanager
    def _opened(self) -> Iterator[zipfile.ZipFile]:
        try:
            with zipfile.ZipFile(self._path) as archive:
                yield archive
        except OSError as error:
            raise self._fault(f"cannot be read: {error.strerror or error}") from error
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
            raise self._fault(f"is no ZIP file, or a broken one: {error}") from error

    def _document(self, archive: zipfile.ZipFile) -> CookDocument:
        content = self._content(archive, "cook.json", MOST_DOCUMENT_BYTES)
        try:
            found = msgspec.json.decode(content)
            if not isinstance(found, dict) or found.get("format") != FORMAT:
                raise self._fault("is no cook of coldside's", "cook.json")
            if found.get("version") != VERSION:
                raise self._fault(
                    f"is of version {found.get('version')}, this coldside reads {VERSION}; take a newer one",
                    "cook.json",
                )
            return self._checked(msgspec.convert(found, CookDocument))
        except EditError as error:
            raise self._fault(str(error), "cook.json") from error
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise self._fault(str(error), "cook.json") from error

    def _checked(self, document: CookDocument) -> CookDocument:
        """Look whether what people wrote is text as it is kept, and every time one that can be."""
        for tag in document.tags:
            checked_tag(tag)
        for note in document.notes:
            checked_note(note.text)
        times = {
            "started_ms": [document.started_ms],
            "ended_ms": [] if document.ended_ms is None else [document.ended_ms],
            "notes": [note.time_ms for note in document.notes],
            "photos": [photo.time_ms for photo in document.photos],
            "parts": [ms for part in document.parts for ms in (part.from_ms, part.began_ms)],
        }
        for member, found in times.items():
            if any(not 0 <= ms <= MOST_MS for ms in found):
                raise self._fault(f"{member}: a time lies beyond the years 1970 to 2200", "cook.json")
        if document.ended_ms is not None and document.ended_ms < document.started_ms:
            raise self._fault("ended_ms: it ends before it begins", "cook.json")
        return document

    def _content(self, archive: zipfile.ZipFile, member: str, most: int, digest: str = "") -> bytes:
        """Give the bytes of a member."""
        try:
            with archive.open(member) as file:
                content = file.read(most + 1)
        except KeyError as error:
            raise self._fault("is not in the file: is it a cook of coldside's?", member) from error
        if len(content) > most:
            raise self._fault(f"is larger than {most / 1e6:.0f} MB", member)
        if digest and hashlib.sha256(content).hexdigest() != digest:
            raise self._fault("is not what was written: its SHA-256 is another", member)
        return content

    @contextmanager
    def _text(self, archive: zipfile.ZipFile, member: str) -> Iterator[IO[str]]:
        """Open a member as text; when all of it was read, hold it against its hash."""
        try:
            if archive.getinfo(member).file_size > MOST_MEMBER_BYTES:
                raise self._fault(f"is larger than {MOST_MEMBER_BYTES / 1e9:.0f} GB", member)
            with archive.open(member) as raw:
                hashed = _Hashed(raw)
                with io.TextIOWrapper(io.BufferedReader(hashed), encoding="utf-8", newline="") as text:
                    yield text
                    while text.read(READ_CHARACTERS):
                        pass
        except (KeyError, ValueError) as error:
            raise self._fault(str(error), member) from error
        if hashed.digest.hexdigest() != self.document.files[member]:
            raise self._fault("is not what was written: its SHA-256 is another", member)

    def survey(self) -> tuple[int, float, float]:
        """Look through the readings; give how many, and the times of the first and the last of all that happened."""
        count = 0
        first, last = self.document.started_ms, self.document.ended_ms or self.document.started_ms
        with self._opened() as archive:
            for row in self._rows(archive, _Series({})):
                count += 1
                last = max(last, row[0] >> SEQUENCE_BITS)
            for name in TABLES:
                for value in self._table(archive, name):
                    last = max(last, _moment_ms(value))
        if not count:
            raise self._fault("there is no reading in it", READINGS)
        return count, first / 1000, last / 1000

    def _rows(self, archive: zipfile.ZipFile, series: "_Series") -> Iterator[Row]:
        """Yield the rows of the readings; each after the one before it, none before the cook."""
        least = self.document.started_ms << SEQUENCE_BITS
        with self._text(archive, READINGS) as file:
            lines = csv.reader(bounded_lines(file), strict=True)
            try:
                if tuple(next(lines, ())) != COLUMNS:
                    raise ValueError(f"the columns are to be {','.join(COLUMNS)}")
                for texts in lines:
                    if len(texts) != len(COLUMNS):
                        raise ValueError(f"{len(texts)} fields, {len(COLUMNS)} are needed")
                    fields = dict(zip(COLUMNS, texts, strict=True))
                    row = row_of_fields(fields, series.number(fields["source"], fields["key"]))
                    if row[0] < least:
                        raise ValueError("time goes back, or lies before the cook")
                    least = row[0] + 1
                    yield row
            except (ValueError, csv.Error) as error:
                raise IntakeError(f"{self._path.name}/{READINGS}", str(error), line=lines.line_num) from error

    def _table(self, archive: zipfile.ZipFile, name: str) -> Iterator[Any]:
        """Yield the rows of a table, one after the other: a small file can unpack to more than memory holds."""
        with self._text(archive, f"{name}.csv") as file:
            for value in read_table(TABLES[name], file):
                if name != "marks" and _moment_ms(value) < self.document.started_ms:
                    raise self._fault("something lies before the cook", f"{name}.csv")
                yield value

    def take_in(self, store: Path, *, name: str, origin: str) -> Cook:
        """Put the cook on record.

        Args:
            store: path of the store; made where there is none.
            name: of the cook; empty: the one it had.
            origin: JSON of where it came from.

        Raises:
            IntakeError: something in it cannot be read; nothing was written.
            EditError: there is no room for it; nothing was written.
            StoreError: a collector holds the store, or the disk refuses; nothing was written.
        """
        count, first, last = self.survey()
        document = self.document
        with unmade(store):
            return self._take_in(Database(store), name, origin, (count, first, last), document)

    def _take_in(
        self, database: Database, name: str, origin: str, found: tuple[int, float, float], document: CookDocument
    ) -> Cook:
        count, first, last = found
        try:
            with database.together() as connection, self._opened() as archive:
                record = Record(connection, STORE_VERSION)
                following = make_sure_of_room(record, first, last, time.time())
                name = free_name(record, first, name or document.name)
                number = begin(connection, name, document.started_ms, following, document.coldside, origin)
                self._put_plans(connection, archive, number)
                self._put_readings(database, archive, number)
                told = self._put_tables(database, connection, archive, number)
                self._put_additions(connection, archive, number)
                finish(connection, number, name, document.started_ms, round(last * 1000), f"{count} readings")
                ended = document.ended_ms or round(last * 1000)
                connection.execute("UPDATE cook SET ended_ms = ? WHERE id = ?", (ended, number))
                self._make_sure(record, record.cook(name), {READINGS: count, **told})
        finally:
            database.close()
        with Archive(database.path) as on_record:
            return on_record.cook(name)

    def _put_plans(self, connection: Any, archive: zipfile.ZipFile, number: int) -> None:
        content = self._content(archive, "plans.json", MOST_DOCUMENT_BYTES, self.document.files["plans.json"])
        try:
            plans = msgspec.json.decode(content, type=list[PlanOnFile])
            checked: list[Plan] = [plan_of(bytes(plan.plan).decode()) for plan in plans]
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise self._fault(str(error), "plans.json") from error
        if not checked or plans[0].from_ms or plans[0].from_number:
            raise self._fault("the first plan is to hold from the beginning", "plans.json")
        connection.executemany(
            "INSERT INTO plan VALUES (?, ?, ?)",
            [(number, p.from_ms << SEQUENCE_BITS | p.from_number, msgspec.json.encode(plan).decode())
             for p, plan in zip(plans, checked, strict=True)],
        )  # fmt: skip

    def _put_readings(self, database: Database, archive: zipfile.ZipFile, number: int) -> None:
        series = _Series(database.series)
        rows: list[Row] = []
        for row in self._rows(archive, series):
            rows.append(row)
            if len(rows) == ROWS_AT_A_TIME:
                database.write(number, Batch(series=series.cut(), rows=rows))
                rows = []
        database.write(number, Batch(series=series.cut(), rows=rows))

    def _put_tables(self, database: Database, connection: Any, archive: zipfile.ZipFile, number: int) -> dict[str, int]:
        calibrations = dict(islice(self._table(archive, "calibrations"), MOST_CALIBRATIONS + 1))
        if len(calibrations) > MOST_CALIBRATIONS:
            raise self._fault(f"more than {MOST_CALIBRATIONS} calibrations", "calibrations.csv")
        there = {
            ordinal
            for ordinal in calibrations
            if connection.execute("SELECT 1 FROM calibration WHERE id = ?", (ordinal,)).fetchone()
        }
        counts = {}
        for name, field in BATCH_FIELDS.items():
            rows = self._table(archive, name)
            if name == "actions":
                rows = self._with_calibrations(rows, calibrations)
            counts[name] = 0
            while some := list(islice(rows, ROWS_AT_A_TIME)):
                counts[name] += len(some)
                batch = Batch()
                setattr(batch, field, some)
                database.write(number, batch)
        connection.executemany("INSERT INTO elsewhere VALUES (?)", [(n,) for n in calibrations if n not in there])
        return counts

    def _with_calibrations(
        self, actions: Iterator[tuple[int, Action]], calibrations: dict[int, Any]
    ) -> Iterator[tuple[int, Action]]:
        """Give each action the calibration that belongs to it."""
        for ordinal, action in actions:
            whole = replace(action, calibration=calibrations.get(ordinal))
            if (whole.kind is ActionKind.CALIBRATE) is not (whole.calibration is not None):
                raise self._fault("calibrations and actions do not belong together", "calibrations.csv")
            yield ordinal, whole

    def _put_additions(self, connection: Any, archive: zipfile.ZipFile, number: int) -> None:
        """Put tags, notes, photos and parts on record."""
        document = self.document
        run = connection.execute
        for tag in document.tags:
            run("INSERT OR IGNORE INTO tag VALUES (?, ?)", (number, tag))
        for note in document.notes:
            run("INSERT INTO note (cook, time_ms, text) VALUES (?, ?, ?)", (number, note.time_ms, note.text))
        if len(document.photos) > MOST_PHOTOS:
            raise self._fault(f"{len(document.photos)} photos; at most {MOST_PHOTOS} are kept", "cook.json")
        for photo in document.photos:
            content = self._content(archive, photo.file, MOST_PHOTO_BYTES, self.document.files.get(photo.file, "none"))
            if picture_kind(content) != photo.kind or photo.kind not in EXTENSIONS:
                raise self._fault("is no picture of the kind it is said to be", photo.file)
            run(
                "INSERT INTO photo (cook, time_ms, kind, name, text, bytes) VALUES (?, ?, ?, ?, ?, ?)",
                (number, photo.time_ms, photo.kind, photo.name, photo.text, content),
            )
        if [(p.from_ms, p.began_ms) for p in document.parts] != [(document.started_ms, document.started_ms)]:
            for part in document.parts:
                run(
                    "INSERT INTO part VALUES (?, ?, ?, ?)",
                    (number, part.from_ms << SEQUENCE_BITS, part.began_ms, part.readings),
                )

    def _make_sure(self, record: Record, cook: Cook, told: dict[str, int]) -> None:
        """Hold what is on record now against what the file holds: nothing may have been taken for there already.

        Raises:
            EditError: it is less.
        """
        found = {
            READINGS: cook.readings, "actions": len(record.actions(cook)), "vitals": len(record.vitals(cook)),
            "alarm_log": len(record.alarm_log(cook)), "marks": len(record.marks(cook)),
            "trend": len(record.trend(cook)),
        }  # fmt: skip
        short = [f"{name}: {found[name]} of {count}" for name, count in told.items() if found[name] != count]
        if short:
            raise EditError(
                f"some of it would be lost, as something is on record at the same moments ({', '.join(short)}); "
                "import it into a store of its own: --store FILE"
            )


class _Series:
    """Numbers of the series, those on disk and new ones."""

    def __init__(self, known: dict[tuple[str, str], int]) -> None:
        self._known = dict(known)
        self._next = max(known.values(), default=0) + 1
        self._fresh: list[tuple[int, str, str]] = []

    def number(self, source: str, key: str) -> int:
        """Give the number of a series."""
        found = self._known.get((source, key))
        if found is None:
            found, self._next = self._next, self._next + 1
            self._known[source, key] = found
            self._fresh.append((found, source, key))
        return found

    def cut(self) -> list[tuple[int, str, str]]:
        """Hand over those that are not on disk yet."""
        fresh, self._fresh = self._fresh, []
        return fresh


class _Hashed(io.RawIOBase):
    """Passes on what is read, and hashes it."""

    def __init__(self, source: IO[bytes]) -> None:
        self._source = source
        self.digest = hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        content = self._source.read(len(buffer))
        self.digest.update(content)
        buffer[: len(content)] = content
        return len(content)


def _moment_ms(value: Any) -> int:
    """Give the time of a value of a table, milliseconds since the epoch."""
    if isinstance(value, tuple):
        return int(value[0] >> SEQUENCE_BITS)
    return int(value.time_unix * 1000 + 0.5)
