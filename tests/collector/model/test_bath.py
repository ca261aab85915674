"""Whether what several probes showed can have been one bath."""

import numpy as np
import pytest

from collector.model.bath import far, not_one_place, one_sided, says_no_more


@pytest.mark.parametrize(
    ("off", "said"),
    [
        ([8.1, 8.3, 8.2, 8.6], True),
        ([8.1, 0.2, 7.9, 0.1], True),
        ([-4.0, -4.2], True),
        ([8.1, 0.2, 0.3, -0.1], False),
        ([8.1], False),
        ([1.5, 1.4, 1.6], False),
        ([4.0, -4.0, 0.0], False),
        ([4.0, 4.0, 0.0, 0.1, -0.2], False),
    ],
)
def test_several_that_are_far_off_one_way_are_a_warm_bath(off, said):
    assert one_sided(np.array(off), np.ones(len(off))) is said


def test_what_is_stated_of_a_probe_decides_what_is_far():
    assert not far(2.5, 1.0)
    assert far(2.5, 0.2)
    assert not far(1.5, 0.2)


@pytest.mark.parametrize(
    ("fahrenheit", "hot", "said"),
    [
        ([222, 231, 238, 247], True, True),
        ([222, 231, 238, 247], False, True),
        ([231, 232, 233, 234], True, False),
        ([231, 232, 233, 246], True, True),
        ([231, 232, 233, 246], False, False),
    ],
)
def test_probes_that_hang_in_their_places_are_not_in_one(fahrenheit, hot, said):
    celsius = (np.array(fahrenheit) - 32.0) / 1.8
    assert not_one_place(celsius, np.ones(4), hot=hot) is said


def test_a_calibration_no_surer_than_what_is_stated_says_no_more_unless_it_contradicts():
    assert says_no_more(0.5, 1.2, 1.0)
    assert not says_no_more(0.5, 0.3, 1.0)
    assert not says_no_more(3.0, 1.2, 1.0)
