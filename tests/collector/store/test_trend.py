"""Rows of the trend as bytes and back."""

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.snapshot import TrendPoint, TrendStretch
from collector.store.trend import points, table
from tests.trend import packed

CELSIUS = st.floats(-60.0, 900.0, width=32) | st.just(float("nan"))
ROWS = st.builds(
    TrendPoint, st.floats(1e9, 3e9), st.lists(CELSIUS, max_size=4).map(tuple), CELSIUS, CELSIUS,
    st.lists(CELSIUS, max_size=4).map(tuple),
)  # fmt: skip


@given(st.lists(ROWS, max_size=12))
def test_every_row_comes_back_as_it_was_also_over_the_wire(rows):
    sent = msgspec.msgpack.decode(msgspec.msgpack.encode(packed(rows)), type=tuple[TrendStretch, ...])
    assert repr(list(points(sent))) == repr(rows)
    shapes = [(len(row.zones), len(row.probes)) for row in rows]
    assert len(sent) == sum(a != b for a, b in zip(shapes, [None, *shapes], strict=False)), "no more than there must be"


def test_a_stretch_is_read_into_arrays_at_once():
    rows = [TrendPoint(10.0 * k, (1.0, 2.0), 3.0, float(k), (5.0,)) for k in range(4)]
    times, values = table(packed(rows)[0])
    assert times.tolist() == [0.0, 10.0, 20.0, 30.0]
    np.testing.assert_array_equal(values[:, 0], [0.0, 1.0, 2.0, 3.0])
    np.testing.assert_array_equal(values[:, 1:], np.tile(np.float32([3.0, 1.0, 2.0, 5.0]), (4, 1)))


@pytest.mark.parametrize(
    ("zones", "times", "rows"),
    [(0, 0, 0), (1, 8, 8), (0, 7, 8), (0, 16, 12), (-1, 8, 8), (0, 8, 0), (0, 8, 9), (2**31, 8, 16)],
)
def test_bytes_that_are_no_rows_are_a_message_that_cannot_be_read(zones, times, rows):
    sent = msgspec.msgpack.encode({"zones": zones, "times": bytes(times), "rows": bytes(rows)})
    with pytest.raises(msgspec.ValidationError, match="are no rows with"):
        msgspec.msgpack.decode(sent, type=TrendStretch)
