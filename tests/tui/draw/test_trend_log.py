import numpy as np

from collector.snapshot import TrendPoint
from tui.draw.trend_log import TrendLog


def row(time, *zones, probes=()):
    return TrendPoint(time, zones, 5.0, 100.0, probes)


def test_rows_come_back_in_their_columns():
    log = TrendLog()
    log.replace([row(10.0, 1.0, 2.0, probes=(7.0,)), row(20.0, 3.0, 4.0, probes=(8.0,))])
    assert log.time_unix.tolist() == [10.0, 20.0]
    assert log.zone_celsius(1).tolist() == [2.0, 4.0]
    assert log.probe_celsius(0).tolist() == [7.0, 8.0]
    assert log.spread_kelvin.tolist() == [5.0, 5.0]
    assert log.zone_celsius(2).size == 0


def test_a_row_that_comes_twice_is_kept_once():
    log = TrendLog()
    for time in (10.0, 20.0, 20.0, 15.0, 30.0):
        log.add(row(time, 1.0))
    assert log.time_unix.tolist() == [10.0, 20.0, 30.0]


def test_it_never_grows_beyond_its_capacity_and_keeps_the_newest():
    log = TrendLog(capacity=1000)
    for i in range(5000):
        log.add(row(float(i), float(i)))
        assert log.time_unix.size <= 1000
    assert log.time_unix[-1] == 4999.0
    assert (np.diff(log.time_unix) == 1.0).all()
    np.testing.assert_array_equal(log.time_unix, log.zone_celsius(0))


def test_another_number_of_zones_begins_anew():
    log = TrendLog()
    log.add(row(1.0, 1.0))
    log.add(row(2.0, 1.0, 2.0))
    assert log.time_unix.tolist() == [2.0]
