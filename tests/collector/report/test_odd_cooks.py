"""Cooks that are odd give a report, or one clear sentence, and no traceback."""

import datetime as dt
import math

import pytest
from msgspec.structs import replace

from adapters.reading import Quality, Reading, Reason
from collector.errors import StoreError
from collector.report.document import document_of
from collector.report.facts import tell
from collector.report.page import page_of
from collector.report.played import play
from collector.report.wording import Words
from collector.store.archive import Archive
from tests.evening import (
    CHAMBER,
    MEAT,
    MINUTE,
    PLAN,
    PROBES,
    START,
    close,
    feed,
    pipeline_of,
    plan_of,
)  # fmt: skip

WORDS = Words(True, dt.UTC)


def reported(path):
    """Give facts and page of the cook in a store."""
    with Archive(path) as archive:
        told = tell(play(archive, archive.cook("last")))
    document_of(told.facts)
    return told.facts, page_of(told, WORDS).decode()


def recorded(path, plan, minutes=10, *, ended=True, name="odd"):
    database, opened, pipeline, _ = pipeline_of(path, plan, name)
    feed(pipeline, plan, 0, minutes * MINUTE)
    close(database, opened, pipeline, ended=ended)
    return path


def test_ten_minutes_that_were_never_warm(tmp_path):
    facts, page = reported(recorded(tmp_path / "s.db", PLAN))
    assert facts.steady_from_unix is None
    assert facts.survey is None
    assert "was never steady" in page
    assert "no steady half hour to survey" in page
    assert "No alarm was raised" in page


def test_one_probe_no_zone_no_meat_and_it_runs_still(tmp_path):
    facts, page = reported(recorded(tmp_path / "s.db", plan_of(PROBES[:1]), ended=False))
    assert facts.cook.ended_unix is None
    assert "it has not ended" in page
    assert facts.zones == facts.meat == ()
    assert [p.name for p in facts.probes] == ["fire"]


def test_a_pit_of_meat_probes_alone_has_no_map(tmp_path):
    facts, page = reported(recorded(tmp_path / "s.db", plan_of(MEAT)))
    assert facts.maps == ()
    assert "There is no map" in page
    assert facts.meat_probes == ("meat flat", "meat point")


def test_numbers_that_are_none(tmp_path):
    plan = plan_of(PROBES, PLAN.zones)
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", plan)
    for k in range(0, 600, 20):
        for probe in plan.probes:
            pipeline.take(
                Reading(
                    probe.source, probe.key, math.nan, START + k, None, quality=Quality.BAD, reason=Reason.NOT_A_NUMBER
                )
            )
    close(database, opened, pipeline)
    facts, page = reported(tmp_path / "s.db")
    assert {p.bad_share for p in facts.probes} == {1.0}
    assert all(gap.whole for gap in facts.gaps)
    assert len(facts.gaps) == len(plan.probes)
    assert "nan" not in page.lower().replace("nano", "")


def test_a_cook_without_a_reading_says_so(tmp_path):
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", PLAN, "nothing")
    pipeline.advance(START + 60.0)
    close(database, opened, pipeline)
    with (
        Archive(tmp_path / "s.db") as archive,
        pytest.raises(StoreError, match="nothing was recorded in the cook nothing"),
    ):
        play(archive, archive.cook("last"))


def test_the_set_up_was_changed_in_mid_cook(tmp_path):
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", plan_of(PROBES[:2], PLAN.zones))
    feed(pipeline, plan_of(PROBES[:2]), 0, 5 * MINUTE)
    close(database, opened, pipeline, ended=False)
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", plan_of(PROBES[:3], PLAN.zones[:1]), "", 6 * MINUTE)
    feed(pipeline, plan_of(PROBES[:3]), 6 * MINUTE, 12 * MINUTE)
    close(database, opened, pipeline)
    facts, page = reported(tmp_path / "s.db")
    assert len(facts.cook.set_up_changes_unix) == 1
    assert [z.name for z in facts.zones] == ["firebox end"]
    assert "The set-up was changed at" in page


def test_a_clock_that_leaps_by_years(tmp_path):
    plan = plan_of(PROBES[:3], PLAN.zones)
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", plan)
    feed(pipeline, plan, 0, 3 * MINUTE)
    for k in range(0, 180, 20):
        for probe in plan.probes:
            pipeline.take(Reading(probe.source, probe.key, 60.0, START + 2e8 + k))
    close(database, opened, pipeline)
    facts, _ = reported(tmp_path / "s.db")
    assert facts.cook.told_until_unix - facts.cook.started_unix > 1e8
    assert len(facts.half_hours) < 10, "rows only where something is known"


def test_names_are_text_and_never_more(tmp_path):
    names = ("<script>alert(1)</script>", '$\\frac{1}{0}$ & "co"', "π 🍖 \\")
    probes = tuple(replace(p, name=f"{p.name} {name}") for p, name in zip(PROBES, names, strict=False))
    zones = tuple(replace(z, name=name) for z, name in zip(PLAN.zones, names, strict=True))
    plan = replace(plan_of(probes, zones), chamber=replace(CHAMBER, name=" ".join(names)))
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", plan, " ".join(names))
    for k in range(0, 300, 20):
        for probe in probes:
            pipeline.take(Reading(probe.source, probe.key, 80.0, START + k))
    close(database, opened, pipeline)
    _, page = reported(tmp_path / "s.db")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "$\\frac{1}{0}$" in page
