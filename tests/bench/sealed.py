"""Rows 5, 6 and 9: a sealed cook of 18 hours and 16 probes a second: its bytes and how fast it is read into arrays.

Against Parquet of the same readings, sorted by probe and time, delta-coded and pressed by zstd; a plain table keyed by
probe and time; and `np.load` of the very arrays that are read. Time stamps jitter by 20 ms, values come in tenths of a
degree, one reading in two hundred is flagged.
"""

import contextlib
import io
import math
import sqlite3
import time
from pathlib import Path

import msgspec
import numpy as np
import pyarrow as pa
from pyarrow import parquet

from collector.snapshot import TrendPoint
from collector.store.archive import Archive
from collector.store.database import Batch, Database
from collector.store.row import Row
from collector.store.sealed import Columns
from tests.bench.measure import Effort, Finding, ratio, turns
from tests.bench.pit import plan_of, scratch
from tui.draw.picture import Picture
from tui.draw.trend import Curve, draw_trend
from tui.draw.trend_log import TrendLog
from tui.draw.view import View

__all__ = ["measure", "sealed_cook"]

START_MS = 1_790_000_000_000
PROBES = 16
JITTER_MS = 20


def measure(effort: Effort) -> list[Finding]:
    """Make the cook, seal it, and hold it against the others."""
    hours = effort.of(18, 3)
    with scratch() as folder:
        path = Path(folder) / "s.db"
        readings = sealed_cook(path, hours)
        with Archive(path) as archive:
            cook = archive.cook("bench")
            columns = archive.columns(cook)
            sealed = archive._connection.execute("SELECT sum(length(bytes)) FROM sealed").fetchone()[0] / readings
            arrays = Path(folder) / "arrays"
            arrays.mkdir()
            for name in Columns.__struct_fields__:
                np.save(arrays / f"{name}.npy", getattr(columns, name))
            ours, floor, charted = turns(
                effort.of(7, 3),
                (
                    lambda: _wall(lambda: archive.columns(cook)),
                    lambda: _wall(lambda: _load(arrays)),
                    lambda: _wall(lambda: _chart(path)),
                ),
            )
        pressed = _parquet(columns) / readings
        plain = _plain(Path(folder) / "plain.db", columns) / readings
    entropy = _entropy(columns)
    middle, low, high = ratio(ours, floor)
    note = f"{sealed:.3f} against {pressed:.3f} bytes a reading, {readings} readings; first-order entropy {entropy:.3f}"
    took = f"{1e3 * sorted(ours)[len(ours) // 2]:.0f} against {1e3 * sorted(floor)[len(floor) // 2]:.0f} ms"
    drawn, least, most = ratio(charted, floor)
    chart = f"{1e3 * sorted(charted)[len(charted) // 2]:.0f} ms, the store opened anew, three zones, 160 x 37 cells"
    return [
        Finding(5, "bytes a reading, sealed / Parquet, delta + zstd", sealed / pressed, "x", 1.1, 1.0, False,
                sealed / pressed, sealed / pressed, note),
        Finding(5, "the same / first-order entropy", sealed / entropy, "x", 1.5, 1.2, False, sealed / entropy,
                sealed / entropy),
        Finding(6, "bytes a reading, sealed / plain table", sealed / plain, "x", 0.1, 0.075, False, sealed / plain,
                sealed / plain, f"{plain:.1f} bytes a reading in a table keyed by probe and time"),
        Finding(9, "load a cook into arrays / np.load of them", middle, "x", 3, 2, False, low, high, took),
        Finding(9, "open a cook to its first drawn chart / np.load", drawn, "x", 2, 1, False, least, most, chart),
    ]  # fmt: skip


def sealed_cook(path: Path, hours: int) -> int:
    """Record a cook of so many hours and seal it; give the number of readings."""
    database = Database(path)
    try:
        cook = database.begin_cook("bench", START_MS - 1, msgspec.json.encode(plan_of()).decode(), "bench")
        random, last, count = np.random.default_rng(5), 0, 0
        names = [(k + 1, "house", f"p{k}") for k in range(PROBES)]
        database.commit(cook, Batch(series=names), full=False)
        for hour in range(hours):
            batch = Batch(rows=_hour(hour, random, last), trend=[_row(hour, k) for k in range(360)])
            last, count = batch.rows[-1][0], count + len(batch.rows)
            database.commit(cook, batch, full=False)
        database.end_cook(cook, START_MS + hours * 3_600_000)
        while database.seal(START_MS / 1000 + 1e6) is not None:
            pass
    finally:
        database.close()
    return count


def _hour(hour: int, random: np.random.Generator, last: int) -> list[Row]:
    seconds = np.arange(3600) + 3600 * hour
    ms, series, values, flags = [], [], [], []
    for k in range(PROBES):
        ms.append(START_MS + 1000 * seconds + 60 * k + random.integers(0, 2 * JITTER_MS + 1, 3600))
        series.append(np.full(3600, k + 1))
        swing = 113.0 + 4.0 * np.sin(seconds / 420.0 + k) + np.linspace(8, -8, PROBES)[k]
        values.append((1000 * np.round(swing + random.normal(0.0, 0.1, 3600), 1)).round().astype(int))
        flags.append(np.where(random.random(3600) < 0.005, 1 << 12 | 5 << 14, 0))
    joined = [np.concatenate(parts) for parts in (ms, series, values, flags)]
    order = np.argsort(joined[0], kind="stable")
    rows: list[Row] = []
    for at, number, value, flag in zip(*(part[order].tolist() for part in joined), strict=True):
        last = max(last + 1, at << 12)
        rows.append((last, number, value, flag, None, None))
    return rows


def _row(hour: int, k: int) -> TrendPoint:
    """Give a row of the trend, one every ten seconds, as the engine writes it."""
    at = 3600 * hour + 10 * k
    swing = math.sin(at / 420.0)
    probes = tuple(113.0 + 4.0 * math.sin(at / 420.0 + k) for k in range(PROBES))
    return TrendPoint(START_MS / 1000 + at, (116.0 + swing, 113.0 + swing, 110.0 + swing), 6.0, 113.0 + swing, probes)


def _chart(path: Path) -> Picture:
    """Open a store, find the cook, and draw its zones over the whole of it."""
    with Archive(path) as archive:
        cook = archive.cook("last")
        log = TrendLog()
        log.replace(archive.trend_stretches(cook))
    view = View(fahrenheit=False)
    curves = tuple(Curve(f"zone {k}", log.zone_celsius(k)) for k in range(3))
    return draw_trend(log.time_unix, curves, (), (cook.started_unix, cook.last_unix), view, 160, 37)


def _wall(work: object) -> float:
    began = time.perf_counter()
    work()  # type: ignore[operator]
    return time.perf_counter() - began


def _load(folder: Path) -> list[np.ndarray]:
    return [np.load(path) for path in sorted(folder.glob("*.npy"))]


def _parquet(columns: Columns) -> int:
    """Give the bytes of the same readings as Parquet, each column in the encoding that suits it best."""
    table = pa.table({
        "ms": columns.ordinal >> 12, "series": columns.series.astype(np.int32),
        "value": (columns.millicelsius // 100).astype(np.int32), "flags": columns.flags.astype(np.int32),
    })  # fmt: skip
    out = io.BytesIO()
    parquet.write_table(
        table, out, compression="zstd", compression_level=9, use_dictionary=["series", "flags"],
        column_encoding={"ms": "DELTA_BINARY_PACKED", "value": "DELTA_BINARY_PACKED"},
    )  # fmt: skip
    return out.getbuffer().nbytes


def _plain(path: Path, columns: Columns) -> int:
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute(
            "CREATE TABLE r (probe INTEGER, ts INTEGER, v INTEGER, q INTEGER, PRIMARY KEY (probe, ts)) WITHOUT ROWID"
        )
        told = (columns.series, columns.ordinal, columns.millicelsius // 100, columns.flags)
        db.executemany("INSERT INTO r VALUES (?, ?, ?, ?)", zip(*(part.tolist() for part in told), strict=True))
        db.commit()
    return path.stat().st_size


def _entropy(columns: Columns) -> float:
    """Give bytes a reading by the first-order entropy of value steps, time jitter and flags."""
    steps, jitter = [], []
    for number in np.unique(columns.series):
        here = columns.series == number
        steps.append(np.diff(columns.millicelsius[here] // 100))
        ms = columns.ordinal[here] >> 12
        jitter.append(ms - np.arange(len(ms)) * 1000 - (ms[0] // 1000) * 1000)
    parts = (np.concatenate(steps), np.concatenate(jitter), columns.flags)
    return sum(_bits(part) for part in parts) / 8.0


def _bits(values: "np.ndarray") -> float:
    _, counts = np.unique(values, return_counts=True)
    share = counts / counts.sum()
    return -float(share @ np.log2(share)) if len(counts) > 1 else math.nan
