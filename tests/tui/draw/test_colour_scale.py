from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.draw.colour_scale import difference_scale, temperature_scale, xterm_rgb


def lightness(rgb):
    """CIE 1976 L* of an sRGB colour."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in rgb)]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def test_temperature_grows_lighter_all_the_way():
    steps = [lightness(c) for c in temperature_scale("truecolor").colours]
    assert len(steps) == 64
    assert all(b > a for a, b in pairwise(steps))
    assert steps[-1] - steps[0] > 60


def test_difference_is_lightest_in_the_middle_and_falls_to_both_sides():
    steps = [lightness(c) for c in difference_scale("truecolor").colours]
    middle = len(steps) // 2
    assert max(steps) == pytest.approx(steps[middle], abs=1.5)
    assert all(b > a - 0.3 for a, b in pairwise(steps[:middle]))
    assert all(b < a + 0.3 for a, b in pairwise(steps[middle:]))


@pytest.mark.parametrize("make", [temperature_scale, difference_scale])
def test_256_colours_are_all_different_and_exist_in_the_palette(make):
    colours = make("256").colours
    assert len(set(colours)) == len(colours) >= 7
    assert set(colours) <= {xterm_rgb(i) for i in range(16, 256)}


@pytest.mark.parametrize("depth", ["16", "none"])
def test_few_colours_mean_glyphs(depth):
    scale = temperature_scale(depth)
    assert scale.colours == ()
    assert len(set(scale.ramp)) == len(scale.ramp) >= 5


def test_ascii_means_ascii_glyphs_whatever_the_colours():
    scale = temperature_scale("truecolor", ascii_only=True)
    assert scale.colours == ()
    assert scale.ramp.isascii()


@given(st.lists(st.floats(-50, 400), min_size=1), st.floats(0, 100), st.floats(1, 100))
def test_steps_keep_the_order_and_stay_within_the_scale(values, low, width):
    scale = temperature_scale("truecolor")
    step = scale.index(np.sort(np.array(values)), low, low + width)
    assert (np.diff(step) >= 0).all()
    assert step.min() >= 0
    assert step.max() < scale.steps


def test_both_ends_are_reached():
    scale = temperature_scale("256")
    assert scale.index(np.array([90.0, 140.0, np.nan]), 90.0, 140.0).tolist() == [0, 7, 0]
