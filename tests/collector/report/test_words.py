"""Numbers and times as the report's reader wants them."""

import datetime as dt

import numpy as np
import pytest

from collector.report.health import Absence, gaps_of
from collector.report.quantities import known
from collector.report.wording import NOTHING, Words
from tests.evening import PROBES, START

F, C = Words(True, dt.UTC), Words(False, dt.UTC)


def test_a_difference_is_converted_as_a_difference():
    assert (F.temperature(100.0), F.difference(10.0)) == ("212 °F", "+18")
    assert (C.temperature(100.0), C.difference(-10.0)) == ("100 °C", "−10")
    assert F.difference(-0.2) == "0", "zero carries no sign"
    assert F.dose(60.0) == "108"


def test_nothing_known_is_said_so():
    assert {F.temperature(None), F.difference(None), F.clock(None), F.span(None), F.percent(None), F.dose(None)} == {
        NOTHING
    }
    assert known(float("nan")) is known(float("inf")) is known(None) is None


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.0, "0 s"), (89.0, "89 s"), (90.0, "2 min"), (3599.0, "1 h 00"), (7500.0, "2 h 05")]
)
def test_spans(seconds, said):
    assert F.span(seconds).replace("\u00a0", " ") == said


@pytest.mark.parametrize(("share", "said"), [(0.0, "0 %"), (0.001, "<1 %"), (0.9999, ">99 %"), (1.0, "100 %")])
def test_a_share_that_is_not_all_is_not_called_all(share, said):
    assert F.percent(share).replace("\u00a0", " ") == said


def test_times_are_local_and_say_of_where():
    there = Words(True, dt.timezone(dt.timedelta(hours=-5)))
    assert there.clock(0.0) == "19:00"
    assert there.day(0.0) == "Wed 31 Dec 1969, 19:00"
    assert (there.zone_name(0.0), F.zone_name(0.0)) == ("UTC−05:00", "UTC")


def test_a_silence_is_the_probes_own_only_while_the_collector_listened():
    probe, heard = PROBES[0], START + np.array([0.0, 100.0, 700.0, 800.0])
    assert [g.start_unix - START for g in gaps_of(probe, heard, START, START + 900.0, ())] == [100.0]
    away = (Absence(START + 110.0, START + 700.0, ""),)
    assert gaps_of(probe, heard, START, START + 900.0, away) == ()
    part = (Absence(START + 110.0, START + 400.0, ""),)
    assert [g.seconds for g in gaps_of(probe, heard, START, START + 900.0, part)] == [310.0]
    (never,) = gaps_of(probe, np.zeros(0), START, START + 900.0, ())
    assert (never.whole, never.seconds) == (True, 900.0)
    assert gaps_of(probe, START + np.array([10.0]), START, START + 500.0, ())[0].end_unix == START + 500.0
