import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from collector.snapshot import TrendPoint
from tests.trend import packed
from tui.draw.trend_log import TrendLog


def row(time, *zones, probes=()):
    return TrendPoint(time, zones, 5.0, 100.0, probes)


def test_rows_come_back_in_their_columns():
    log = TrendLog()
    log.replace(packed([row(10.0, 1.0, 2.0, probes=(7.0,)), row(20.0, 3.0, 4.0, probes=(8.0,))]))
    assert log.time_unix.tolist() == [10.0, 20.0]
    assert log.zone_celsius(1).tolist() == [2.0, 4.0]
    assert log.probe_celsius(0).tolist() == [7.0, 8.0]
    assert log.spread_kelvin.tolist() == [5.0, 5.0]
    assert log.zone_celsius(2).size == 0


@given(
    st.lists(st.integers(0, 60), max_size=90), st.integers(1, 40),
    st.lists(st.tuples(st.integers(1, 3), st.integers(0, 2)), min_size=1, max_size=3),
)  # fmt: skip
def test_all_at_once_is_the_same_as_row_by_row(times, capacity, shapes):
    """Rows may come twice or out of order, and the config may change between them."""
    rows = [
        row(float(t), *(t + 0.5 * k for k in range(shapes[i * len(shapes) // len(times)][0])),
            probes=(7.0,) * shapes[i * len(shapes) // len(times)][1])
        for i, t in enumerate(times)
    ]  # fmt: skip
    at_once, one_by_one = TrendLog(capacity=1000), TrendLog(capacity=1000)
    at_once.replace(packed(rows))
    for one in rows:
        one_by_one.add(one)
    assert at_once.time_unix.tolist() == one_by_one.time_unix.tolist()
    for k in range(4):
        assert at_once.zone_celsius(k).tolist() == one_by_one.zone_celsius(k).tolist()
        assert at_once.probe_celsius(k).tolist() == one_by_one.probe_celsius(k).tolist()
    small = TrendLog(capacity=capacity)
    small.replace(packed(rows))
    assert small.time_unix.tolist() == at_once.time_unix.tolist()[-capacity:]
    small.add(row(99.0, 1.0))
    assert small.time_unix[-1] == 99.0


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
