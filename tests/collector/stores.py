"""Small stores with cooks in them, as a collector would have written them."""

import math
import shutil
import sqlite3
from contextlib import closing

from adapters.reading import Quality, Reading, Reason
from collector.cooks import open_cook
from collector.model.action import Action, ActionKind
from collector.model.calibration import Calibration, Kind, Point, line
from collector.model.vitals import DeviceVitals
from collector.pipeline import Pipeline
from collector.store.database import Database
from tui.nights import night_settings

START = 1_770_000_000.0
HOUR = 3600.0


def cook_one(path, name, start, seconds=1200, every=20, ended=True, own_times=True):
    """Record a cook: probes that fall silent and come back, a mark, an acknowledgement, a calibration, vitals."""
    plan = night_settings().plan
    database = Database(path)
    opened = open_cook(database, plan, start, name=name, coldside="test")
    pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)

    def feed(since, until):
        for k in range(since, until, every):
            for i, probe in enumerate(plan.probes):
                at = start + k + i * 0.01
                value = 110 + 5 * math.sin(k / 400) - i + (0.1 if k % 40 else 0.0)
                pipeline.take(Reading(probe.source, probe.key, value, at, at - 1.5 if i % 2 and own_times else None))

    feed(0, seconds // 2)
    pipeline.act(Action(ActionKind.MARK, "split", text=f'oak, "dry"\r\nof {name}'), start + seconds // 2)
    pipeline.note(DeviceVitals("night", -70, 41.5, 12.5), start + seconds // 2 + 1)
    feed(seconds // 2 + 400, seconds)  # everything was silent
    flat = plan.probes[0]
    pipeline.take(Reading("night", 'an odd;key\r"x"', 20.0, start + seconds))
    pipeline.take(Reading(flat.source, flat.key, math.nan, start + seconds, None, quality=Quality.BAD,
                          reason=Reason.NOT_A_NUMBER))  # fmt: skip
    pipeline.act(Action(ActionKind.ACKNOWLEDGE, ""), start + seconds)
    point = Point(Kind.ICE, 0.0, 0.6, 0.05, start)
    step = Calibration(flat.source, flat.key, point, line=line((point,)))
    pipeline.act(Action(ActionKind.CALIBRATE, flat.name, text="ice", calibration=step), start + seconds + 1)
    feed(seconds + 10, seconds + 60)
    pipeline.advance(start + seconds + 120)
    database.commit(opened.number, pipeline.cut(), full=True)
    if ended:
        database.end_cook(opened.number, round((start + seconds + 120) * 1000))
    database.close()


def copied(store, to):
    shutil.copy(store, to)
    return to


def asked(path, query, *parameters):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(query, parameters).fetchall()


def strays(path):
    """Count rows of tables by time that belong to no cook."""
    return sum(
        asked(
            path,
            f"SELECT count(*) FROM {table} WHERE NOT EXISTS (SELECT 1 FROM cook LEFT JOIN extent ON cook = cook.id "
            f"WHERE {table}.id >= started_ms << 12 AND {table}.id < coalesce(until_ms, 1 << 50) << 12)",
        )[0][0]
        for table in ("reading", "action", "vitals")
    )
