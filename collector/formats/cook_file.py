"""A whole cook as one ZIP file that is imported without loss: what was recorded, what was added, what was edited.

The layout, version 1: `cook.json` (what the cook is, and the SHA-256 of every other member), `plans.json`,
`readings.csv`, the tables of `collector.formats.tables_csv` as `NAME.csv`, and `photos/N.jpg` or `.png`. Left out are
who was told of alarms, and receipts of brokers. Equal cooks give equal bytes.
"""

import hashlib
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

import msgspec

from collector.formats.lines import TextSink
from collector.formats.readings_csv import write_readings
from collector.formats.tables_csv import TABLES, write_table
from collector.model.plan import Plan
from collector.store.record import Cook, Record
from collector.store.schema import SEQUENCE_BITS

__all__ = [
    "EXTENSIONS", "FORMAT", "READINGS", "VERSION", "CookDocument", "EditOnFile", "NoteOnFile", "PartOnFile",
    "PhotoOnFile", "PlanOnFile", "write_cook_file",
]  # fmt: skip

FORMAT = "coldside cook"
VERSION = 1
READINGS = "readings.csv"
EXTENSIONS = {"jpeg": "jpg", "png": "png"}
LINES_AT_A_TIME = 1000
_LONG_AGO = (1980, 1, 1, 0, 0, 0)
"""The earliest a ZIP file can say: no member's bytes depend on the clock."""


class NoteOnFile(msgspec.Struct, forbid_unknown_fields=True):
    """Words about a cook."""

    time_ms: int
    text: str


class PhotoOnFile(msgspec.Struct, forbid_unknown_fields=True):
    """A photo; its bytes are the member `file`."""

    time_ms: int
    file: str
    kind: str
    name: str
    text: str


class PartOnFile(msgspec.Struct, forbid_unknown_fields=True):
    """A stretch that one engine judged, see `collector.store.keepsake.Part`."""

    from_ms: int
    began_ms: int
    readings: int


class EditOnFile(msgspec.Struct, forbid_unknown_fields=True):
    """What was changed of the cook, for whoever reads it."""

    time_ms: int
    kind: str
    name: str
    text: str


class PlanOnFile(msgspec.Struct, forbid_unknown_fields=True):
    """A set-up, and the ordinal from which on it held: milliseconds, and number within them."""

    from_ms: int
    from_number: int
    plan: msgspec.Raw


class CookDocument(msgspec.Struct, forbid_unknown_fields=True):
    """`cook.json`. Times are milliseconds since the epoch, UTC."""

    format: str
    version: int
    coldside: str
    """Version that recorded it."""
    name: str
    started_ms: int
    ended_ms: int | None
    tags: list[str]
    notes: list[NoteOnFile]
    photos: list[PhotoOnFile]
    parts: list[PartOnFile]
    edits: list[EditOnFile]
    files: dict[str, str]
    """SHA-256 of every other member, by its name."""


def write_cook_file(record: Record, cook: Cook, path: Path) -> int:
    """Write a whole cook to a file that is not there yet; return how many readings.

    Raises:
        FileExistsError: the file is there already.
    """
    with path.open("xb") as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        members: dict[str, str] = {}

        def put(name: str, write: Callable[[TextSink], int]) -> int:
            with archive.open(_member(name), "w", force_zip64=True) as raw:
                member = _Member(raw)
                count = write(member)
                member.flush()
            members[name] = member.digest.hexdigest()
            return count

        readings = put(READINGS, lambda text: write_readings(record, cook, text))
        for name, table in TABLES.items():
            put(f"{name}.csv", lambda text, table=table: write_table(table, record, cook, text))  # type: ignore[misc]
        put("plans.json", lambda text: _write_plans(record.plans(cook), text))
        photos = []
        for k, photo in enumerate(record.photos(cook), 1):
            name = f"photos/{k}.{EXTENSIONS[photo.kind]}"
            content = record.picture(photo)
            members[name] = hashlib.sha256(content).hexdigest()
            archive.writestr(_member(name), content, zipfile.ZIP_STORED)
            photos.append(PhotoOnFile(_ms(photo.time_unix), name, photo.kind, photo.name, photo.text))
        document = CookDocument(
            FORMAT, VERSION, cook.coldside, cook.name, _ms(cook.started_unix),
            None if cook.ended_unix is None else _ms(cook.ended_unix), list(cook.tags),
            [NoteOnFile(_ms(note.time_unix), note.text) for note in record.notes(cook)], photos, _parts(record, cook),
            [EditOnFile(_ms(e.time_unix), e.kind, e.name, e.text) for e in record.edits(cook)], members,
        )  # fmt: skip
        text = msgspec.json.format(msgspec.json.encode(document), indent=1)
        archive.writestr(_member("cook.json"), text, zipfile.ZIP_DEFLATED)
    return readings


def _parts(record: Record, cook: Cook) -> list[PartOnFile]:
    return [
        PartOnFile(part.from_id >> SEQUENCE_BITS, _ms(part.began_unix), part.readings) for part in record.parts(cook)
    ]


def _write_plans(plans: list[tuple[int, Plan]], file: TextSink) -> int:
    mask = (1 << SEQUENCE_BITS) - 1
    told = [
        PlanOnFile(from_id >> SEQUENCE_BITS, from_id & mask, msgspec.Raw(msgspec.json.encode(plan)))
        for from_id, plan in plans
    ]
    file.write(msgspec.json.format(msgspec.json.encode(told), indent=1).decode())
    return len(told)


def _ms(unix: float) -> int:
    return round(unix * 1000)


def _member(name: str) -> zipfile.ZipInfo:
    member = zipfile.ZipInfo(name, _LONG_AGO)
    member.compress_type = zipfile.ZIP_DEFLATED
    member.external_attr = 0o644 << 16
    return member


class _Member:
    """Takes the text of a member, and hashes it."""

    def __init__(self, into: IO[bytes]) -> None:
        self._into = into
        self._waiting: list[str] = []
        self.digest = hashlib.sha256()

    def write(self, text: str) -> None:
        self._waiting.append(text)
        if len(self._waiting) >= LINES_AT_A_TIME:
            self.flush()

    def flush(self) -> None:
        """Hand over what waits."""
        content = "".join(self._waiting).encode()
        self._waiting.clear()
        self.digest.update(content)
        self._into.write(content)
