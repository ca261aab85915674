"""A config in which a piece got another name, while its cook goes on."""

import logging

import pytest
from msgspec.structs import replace

from adapters.reading import Reading
from collector.cooks import open_cook
from collector.model.action import Action, ActionKind
from collector.pipeline import Pipeline
from collector.replay import differences
from collector.store.archive import Archive
from collector.store.database import Database
from tui.nights import night_settings

START = 1_770_000_000.0
PLAN = night_settings().plan
(BRISKET,) = PLAN.meat


@pytest.fixture
def go_on(tmp_path):
    """Go on with the cook under a config whose meat this is; give its pieces, what a replay would differ in."""
    path = tmp_path / "s.db"
    now = START

    def run(*meat):
        nonlocal now
        database = Database(path)
        opened = open_cook(database, replace(PLAN, meat=meat), now, coldside="test")
        pipeline = Pipeline(opened.engine, database.series, opened.last_ordinal)
        if not opened.resumed:
            pipeline.act(Action(ActionKind.MEAT_PHASE, BRISKET.name, text="cooking"), now)
        for _ in range(8):
            now += 60.0
            for probe in PLAN.probes:
                pipeline.take(
                    Reading(probe.source, probe.key, 20.0 + (now - START) / 600 if probe.duty == "meat" else 110.0, now)
                )
        shown = opened.engine.snapshot().meat
        database.commit(opened.number, pipeline.cut(), full=True)
        database.close()
        with Archive(path) as archive:
            assert differences(archive, archive.cooks()[-1]) == []
        return shown

    return run


def test_its_phase_and_clocks_go_on_and_that_is_logged(go_on, caplog):
    caplog.set_level(logging.WARNING)
    (before,) = go_on(BRISKET)
    assert before.parts[0].danger_seconds == pytest.approx(480.0, abs=61.0)
    for name in ("packer", "packer"):
        (now,) = go_on(replace(BRISKET, name=name))
        assert (now.name, now.phase, now.on_unix) == (name, "cooking", before.on_unix)
        assert now.parts[0].danger_seconds == before.parts[0].danger_seconds + 480.0
        before = now
    said = [record.message for record in caplog.records if "piece" in record.message]
    assert said == [
        "the piece brisket is now called packer: its phase and its clocks go on",
    ]


def test_what_is_lost_is_logged(go_on, caplog):
    caplog.set_level(logging.WARNING)
    go_on(BRISKET)
    flat, point = BRISKET.parts
    shown = go_on(replace(BRISKET, name="a", parts=(flat,)), replace(BRISKET, name="b", parts=(point,)))
    assert [piece.name for piece in shown] == ["a", "b"]
    assert f"the piece {BRISKET.name} is no longer in the config: its phase, its clocks" in caplog.text
