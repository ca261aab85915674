"""What the cook says of events, through the pipeline onto the record and back: counted so, and replayed exactly."""

import math

import msgspec
import pytest

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.engine import Engine
from collector.model.action import Action, ActionKind
from collector.pipeline import Pipeline
from collector.replay import differences, rebuild
from collector.snapshot import Mark, Verdict
from collector.store.archive import Archive
from collector.store.database import Database
from tui.nights import night_settings

START = 1_790_000_000.0
HOUR = 3600.0
PERIOD = 2400.0
LID = 4.55 * HOUR
PLAN = night_settings().plan


def level(seconds):
    """Warm up for 50 minutes, then a saw-tooth; the lid is opened once."""
    phase = (seconds % PERIOD) / PERIOD
    saw = 8.0 * ((phase * 3 if phase < 1 / 3 else (1 - phase) * 1.5) - 0.5)
    since = seconds - LID
    dip = 22.0 * math.exp(-since / 700.0) * min(since / 60.0, 1.0) if since > 0 else 0.0
    return min(15.0 + 98.0 * seconds / 3000.0, 113.0 + saw) - dip


def feed(pipeline, start, stop):
    """Feed every probe each twenty seconds, each a little off the next."""
    for k in range(int(start), int(stop), 20):
        for i, probe in enumerate(PLAN.probes):
            wave = 0.2 * math.sin(k / 37.0 + i)
            pipeline.take(Reading(probe.source, probe.key, level(k) - 0.5 * i + wave, START + k + i * 0.01))


def events_of(engine, kind):
    return [m for m in engine.snapshot().marks if m.kind == kind]


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """Play seven hours in which the cook confirms, deletes and marks; give store, engine, events and what he named."""
    path = tmp_path_factory.mktemp("events") / "s.db"
    database = Database(path)
    opened = open_cook(database, PLAN, START, name="n", coldside="test")
    engine, happened = opened.engine, []
    pipeline = Pipeline(engine, database.series, opened.last_ordinal, happened.append)
    counts = {}
    feed(pipeline, 0, 5 * HOUR)
    lid = events_of(engine, "seen-lid")[-1]
    first, second = events_of(engine, "seen-refuel")[:2]
    counts["before"] = engine.snapshot().fire
    pipeline.act(Action(ActionKind.DELETE, lid.event), START + 5 * HOUR)
    pipeline.act(Action(ActionKind.DELETE, first.event), START + 5 * HOUR + 1)
    pipeline.act(Action(ActionKind.CONFIRM, second.event), START + 5 * HOUR + 2)
    counts["after"] = engine.snapshot().fire
    feed(pipeline, 5 * HOUR + 10, 5.6 * HOUR)
    newest = events_of(engine, "seen-refuel")[-1]
    told = engine.snapshot().fire.refuels
    pipeline.act(Action(ActionKind.MARK, "split"), START + 5.6 * HOUR)
    counts["told"] = (told, engine.snapshot().fire.refuels)
    feed(pipeline, 5.6 * HOUR + 10, 7 * HOUR)
    pipeline.advance(START + 7 * HOUR)
    database.commit(opened.number, pipeline.cut(), full=True)
    yield path, engine, happened, (lid, first, second, newest), counts
    database.close()


def test_a_deleted_event_counts_no_more_and_stays_among_the_marks(night):
    _, engine, _, (lid, first, second, newest), counts = night
    before, after = counts["before"], counts["after"]
    assert after.lid_openings == before.lid_openings - 1
    assert after.refuels == before.refuels - 1
    verdicts = {m.event: m.verdict for m in engine.snapshot().marks if m.event}
    assert verdicts[lid.event] is Verdict.DELETED
    assert verdicts[first.event] is Verdict.DELETED
    assert verdicts[second.event] is Verdict.CONFIRMED
    assert verdicts[newest.event] is Verdict.CONFIRMED, "the split that was marked near it is the same"
    assert counts["told"][0] == counts["told"][1]


def test_the_next_split_is_due_a_period_after_the_last(night):
    fire = night[1].snapshot().fire
    assert fire.refuel_due_unix == pytest.approx(fire.last_refuel_unix + fire.refuel_period_seconds)
    assert fire.refuel_period_seconds == pytest.approx(PERIOD, rel=0.15)


def test_a_replay_gives_the_same_events_verdicts_and_counts(night):
    path, engine, happened, _, _ = night
    with Archive(path) as archive:
        cook = archive.cook("last")
        assert differences(archive, cook) == []
        again, events = rebuild(archive, cook, PLAN)
        events += again.advance(START + 7 * HOUR)
        assert repr(again.snapshot()) == repr(engine.snapshot())
        marks = [e for e in events if isinstance(e, Mark)]
        assert marks == [e for e in happened if isinstance(e, Mark)]


def test_under_an_edited_plan_the_named_events_may_be_missing_and_the_cook_goes_on(night):
    path, _, _, (lid, *_), _ = night
    with Archive(path) as archive:
        cook = archive.cook("last")
        bare = msgspec.structs.replace(PLAN, probes=PLAN.probes[:1], zones=())
        engine, _ = rebuild(archive, cook, bare)
        assert engine.now_unix > lid.time_unix


@pytest.mark.parametrize("kind", [ActionKind.CONFIRM, ActionKind.DELETE])
@pytest.mark.parametrize("event", ["", "refuel/19700101T000000Z", "cold-spot/flat side"])
def test_an_unknown_event_is_refused_and_changes_nothing(kind, event):
    engine = Engine(PLAN, "n", 0.0)
    with pytest.raises(KeyError):
        engine.act(Action(kind, event), 900.0)
    assert engine.now_unix == 0.0
