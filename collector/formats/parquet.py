"""Readings as Parquet: typed columns, units in the schema. Needs the extra `parquet`."""

from pathlib import Path
from typing import Any

from adapters.reading import Quality, Reason
from collector.errors import CollectorError
from collector.formats.readings_csv import names_of
from collector.store.record import Cook, Record
from collector.store.row import Row
from collector.store.schema import SEQUENCE_BITS

__all__ = ["write_parquet"]

ROWS_AT_A_TIME = 65_536
_QUALITY = [quality.name.lower() for quality in Quality]
_REASON = [reason.name.lower() for reason in Reason]
assert [reason.value for reason in Reason] == list(range(len(_REASON))), "a reason's number is its place"
_UNITS = ["C", "F", "K"]
VERSION = "1"
"""Of the columns, in the metadata of the schema."""


def write_parquet(record: Record, cook: Cook, path: Path) -> int:
    """Write the readings of a cook to a file that is not there yet; return how many.

    Raises:
        CollectorError: pyarrow is not installed.
        FileExistsError: the file is there already.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise CollectorError("Parquet needs the extra: pip install 'coldside[parquet]'") from error
    series, names = record.series(), names_of(record, cook)
    schema = _schema(pa, cook)
    count = 0
    with path.open("xb") as file, parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        some: list[Row] = []
        for row in record.rows(cook):
            some.append(row)
            if len(some) == ROWS_AT_A_TIME:
                writer.write_batch(_batch(pa, schema, some, series, names))
                count, some = count + len(some), []
        if some:
            writer.write_batch(_batch(pa, schema, some, series, names))
    return count + len(some)


def _schema(pa: Any, cook: Cook) -> Any:
    """Give the columns with their units."""
    when = pa.timestamp("ms", tz="UTC")
    word = pa.dictionary(pa.int32(), pa.string())
    celsius = {"unit": "degree Celsius", "ucum": "Cel", "calibration": "none: as the probe said"}
    number = {"meaning": "order within the millisecond, over readings, actions and vitals"}
    fields = [
        pa.field("time", when, nullable=False, metadata={"meaning": "when it was heard"}),
        pa.field("probe", word),
        pa.field("source", word, nullable=False),
        pa.field("key", word, nullable=False),
        pa.field("raw_celsius", pa.float64(), metadata=celsius),
        pa.field("quality", word, nullable=False, metadata={"meaning": "by the screening"}),
        pa.field("reason", word, nullable=False),
        pa.field("source_time", when, metadata={"meaning": "when the probe says it measured"}),
        pa.field("unit", word, nullable=False, metadata={"meaning": "in which the value came"}),
        pa.field("came_quality", word, nullable=False, metadata={"meaning": "as the source gave it"}),
        pa.field("came_reason", word, nullable=False),
        pa.field("number", pa.int16(), nullable=False, metadata=number),
    ]
    about = {"coldside": cook.coldside, "columns": VERSION, "cook": cook.name, "tags": ", ".join(cook.tags)}
    return pa.schema(fields, metadata=about)


def _batch(
    pa: Any, schema: Any, rows: list[Row], series: dict[int, tuple[str, str]], names: dict[tuple[str, str], str]
) -> Any:
    """Turn rows into a batch of columns."""
    ms = [row[0] >> SEQUENCE_BITS for row in rows]
    flags = [row[3] for row in rows]
    told = [series[row[1]] for row in rows]

    def words(values: list[str | None]) -> Any:
        return pa.array(values, pa.string()).dictionary_encode()

    def times(values: list[int | None]) -> Any:
        return pa.array(values, pa.timestamp("ms", tz="UTC"))

    columns = [
        times([*ms]),
        words([names.get(who) for who in told]),
        words([source for source, _ in told]),
        words([key for _, key in told]),
        pa.array([None if row[2] is None else row[2] / 1000 for row in rows], pa.float64()),
        words([_QUALITY[f >> 12 & 3] for f in flags]),
        words([_REASON[f >> 14 & 63] for f in flags]),
        times([None if row[4] is None else at + row[4] for at, row in zip(ms, rows, strict=True)]),
        words([_UNITS[f >> 8 & 15] for f in flags]),
        words([_QUALITY[f & 3] for f in flags]),
        words([_REASON[f >> 2 & 63] for f in flags]),
        pa.array([row[0] & (1 << SEQUENCE_BITS) - 1 for row in rows], pa.int16()),
    ]
    return pa.record_batch(columns, schema=schema)
