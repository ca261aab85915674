"""Patches: a change that was put there is found again, and nothing is made of noise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model.bumps import OFF_SHARE, on_grid, spread_of, summed
from collector.model.patches import Patches
from collector.snapshot import PatchView

WANDER = 0.5
SEEDS = st.integers(0, 2**32 - 1)
COLUMNS = {6: 3, 8: 4, 9: 3, 10: 5, 12: 4}


def places(probes, rng):
    """Spread probes over a level, none quite where a lattice has it; shares of length and width."""
    columns = COLUMNS[probes]
    rows = probes // columns
    x, y = np.meshgrid((np.arange(columns) + 0.5) / columns, (np.arange(rows) + 0.5) / rows)
    return (
        np.clip(x.ravel() + rng.uniform(-0.05, 0.05, probes), 0, 1),
        np.clip(y.ravel() + rng.uniform(-0.1, 0.1, probes), 0, 1),
    )


def felt(x, y, middle, reach, kelvin):
    return kelvin * np.exp(-0.5 * (((x - middle[0]) / reach[0]) ** 2 + ((y - middle[1]) / reach[1]) ** 2))


def said(changed, x, y):
    """Give what the explanations say of places, each by how likely it is."""
    patches = (p.share * felt(x, y, (p.x, p.y), (p.along, p.across), p.kelvin) for p in changed.patches)
    return changed.shared_kelvin + sum(patches, np.zeros(x.size))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.sampled_from(sorted(COLUMNS)),
    st.tuples(st.floats(0.05, 0.95), st.floats(0.1, 0.9)),
    st.tuples(st.floats(0.15, 0.30), st.floats(0.4, 1.0)),
    st.floats(6.0, 15.0),
    st.sampled_from([-1, 1]),
    SEEDS,
)
def test_a_patch_is_found_and_said_at_the_probes(probes, middle, reach, size, sign, seed):
    rng = np.random.default_rng(seed)
    x, y = places(probes, rng)
    truth = felt(x, y, middle, reach, sign * size)
    changed = Patches(x, y).likely(truth + rng.normal(0, 0.3, probes), WANDER)
    seen = np.ptp(truth)
    assert np.abs(said(changed, x, y) - truth).max() < 0.5 * seen + 3 * WANDER
    if seen > 6.0:
        assert sum(p.share for p in changed.patches) > 0.8
    # a cold half of a level is as well a hot other half; a patch felt by few probes has one sign
    if np.abs(truth).max() > 6.0 > 1.0 > np.median(np.abs(truth)):
        assert np.sign(changed.patches[0].kelvin) == sign


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.sampled_from(sorted(COLUMNS)), st.floats(-20.0, 20.0), SEEDS)
def test_what_all_share_and_noise_are_no_patch(probes, shared, seed):
    rng = np.random.default_rng(seed)
    x, y = places(probes, rng)
    changed = Patches(x, y).likely(shared + rng.normal(0, WANDER, probes), WANDER)
    assert changed.shared_kelvin == pytest.approx(shared, abs=4 * WANDER)
    assert np.abs(said(changed, x, y) - shared).max() < 4 * WANDER
    assert sum(p.share for p in changed.patches) < 0.2


def test_what_is_said_follows_the_size_and_the_shared_part():
    rng = np.random.default_rng(3)
    x, y = places(9, rng)
    patches = Patches(x, y)
    bump = felt(x, y, (0.7, 0.4), (0.2, 0.6), -1.0)
    sizes = [np.ptp(said(patches.likely(k * bump, WANDER), x, y)) for k in (2.0, 5.0, 9.0, 14.0)]
    assert sizes == sorted(sizes)
    plain, raised = patches.likely(9 * bump, WANDER), patches.likely(9 * bump + 7.0, WANDER)
    assert said(raised, x, y) == pytest.approx(said(plain, x, y) + 7.0, abs=1e-6)


def test_a_probe_that_is_not_told_has_no_say_and_is_said_what_the_others_tell():
    rng = np.random.default_rng(4)
    x, y = places(12, rng)
    patches = Patches(x, y)
    truth = felt(x, y, (x[5], y[5]), (0.3, 0.9), -12.0)
    told = np.ones((1, 12))
    told[0, 5] = 0.0
    results = [patches.explain(np.where(np.arange(12) == 5, odd, truth), told, WANDER) for odd in (0.0, -12.0, 90.0)]
    for log, expected in results:
        assert log == pytest.approx(results[0][0])
        assert expected == pytest.approx(results[0][1])
    assert results[0][1][0, 5] == pytest.approx(-12.0, abs=6.0)


VIEWS = st.lists(
    st.builds(
        PatchView,
        st.floats(0, 1.2), st.floats(0, 0.5), st.floats(0.1, 0.4), st.floats(0.1, 0.5), st.floats(-20, 20),
        st.floats(0, 0.3),
    ),
    max_size=3,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(VIEWS)
def test_patches_add_up_by_their_odds(views):
    x, y = np.linspace(0, 1.2, 7), np.linspace(0, 0.5, 4)
    drawn = on_grid(views, x, y)
    by_hand, square = np.zeros((4, 7)), np.zeros((4, 7))
    for p in views:
        each = p.kelvin * np.exp(
            -0.5 * (((x[None, :] - p.x_m) / p.reach_x_m) ** 2 + ((y[:, None] - p.y_m) / p.reach_y_m) ** 2)
        )
        by_hand += p.share * each
        square += p.share * (1 + OFF_SHARE**2) * each**2
    assert drawn.mean_kelvin == pytest.approx(by_hand, abs=1e-9)
    # the deviation is that of a mixture: patch or none, and the patch unsure by a share of itself
    assert drawn.sd_kelvin**2 == pytest.approx(np.maximum(square - by_hand**2, 0), abs=1e-6)
    one_by_one = summed(views, spread_of(views, x[2:3], y[1:2]))
    if views:
        assert one_by_one.mean_kelvin[0] == pytest.approx(drawn.mean_kelvin[1, 2], abs=1e-9)


def test_where_one_half_is_cold_or_the_other_hot_the_cold_half_is_believed():
    """Cold air leaks in more often than a place grows hot: by 1.85 to 0.15, so 12.3 times (common practice, no source).

    A level of two probes along and three across, mirrored: what a cold patch of one half explains, a hot one of the
    other half with a shared part explains exactly as well. The priors alone decide between them.
    """
    x, y = np.repeat([0.25, 0.75], 3), np.tile([0.2, 0.5, 0.8], 2)
    change = np.where(x > 0.5, -4.0, 4.0)
    patches = Patches(x, y).likely(change, WANDER).patches
    cold = [patch for patch in patches if patch.kelvin < 0]
    assert all(patch.x > 0.5 for patch in cold)
    assert sum(patch.share for patch in cold) > 0.8


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_hot_place_needs_no_more_than_a_little_more_evidence_than_a_cold_one(sign):
    """Felt by one probe in nine and well beyond the noise, either is found with its sign."""
    x, y = places(9, np.random.default_rng(8))
    changed = Patches(x, y).likely(sign * felt(x, y, (x[4], y[4]), (0.18, 0.6), 7.0), WANDER)
    assert sum(p.share for p in changed.patches if np.sign(p.kelvin) == sign) > 0.8


def test_a_cold_patch_is_twelve_times_as_likely_as_a_hot_one_before_anything_is_known():
    """The log odds against nothing of the same patch, cold and hot: they differ by log(1.85 / 0.15) = 2.51."""
    x, y = places(12, np.random.default_rng(9))
    patches = Patches(x, y)
    heard = np.ones((1, 12))
    bump = felt(x, y, (x[5], y[5]), (0.18, 0.6), 9.0)
    cold, hot = (float(patches.explain(s * bump, heard, WANDER)[0][0]) for s in (-1.0, 1.0))
    assert cold - hot == pytest.approx(2.51, abs=0.1)
