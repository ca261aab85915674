"""Medians and quantiles against numpy's own."""

import subprocess
import sys
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from collector.model.robust import median, quantiles

VALUES = st.floats(-1e6, 1e6) | st.just(float("nan"))


@given(arrays(np.float64, array_shapes(min_dims=1, max_dims=3, max_side=9), elements=VALUES))
def test_the_median_is_numpys_with_nan_left_out(values):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        expected = np.nanmedian(values, axis=-1)
    assert np.array_equal(median(values), expected, equal_nan=True)


@given(arrays(np.float64, st.integers(1, 40), elements=st.floats(-1e6, 1e6)))
def test_the_quantiles_are_numpys(values):
    shares = (0.0, 0.04, 0.5, 0.96, 1.0)
    assert quantiles(values, shares) == pytest.approx(np.percentile(values, [100 * s for s in shares]), abs=1e-6)


def test_nothing_has_no_median():
    assert np.isnan(median(np.array([])))
    assert np.isnan(median(np.empty((3, 0)))).all()


def test_the_engine_does_not_bring_masked_arrays():
    code = (
        "import sys; from tui.nights import night_settings; from collector.engine import Engine\n"
        "from adapters.reading import Reading\n"
        "e = Engine(night_settings().plan, 'n', 0.0)\n"
        "for t in range(0, 9000, 30):\n"
        "    for p in e.plan.probes: e.take(Reading(p.source, p.key, 110.0 + t % 90 / 30, t), t)\n"
        "e.snapshot(); print('numpy.ma' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "False"
