"""Zones, levels and map as the chamber estimates them from whatever probes tell."""

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model.bumps import on_grid
from collector.model.chamber import Chamber, model_of
from collector.model.field import Grid
from collector.model.scales import Scales
from collector.snapshot import PatchView
from tui.nights import night_settings

PLAN = night_settings().plan
PROBES = len(PLAN.probes)
IN_AIR = np.array([p.duty == "chamber" for p in PLAN.probes])
GRATE = np.array([p.level == "grate" and p.duty == "chamber" for p in PLAN.probes])
TOP = np.array([p.level == "top" for p in PLAN.probes])
ZONE_ON_GRATE = np.array([z.level == "grate" for z in PLAN.zones])
NOBODY = np.zeros(PROBES, dtype=bool)
BOUNDED = settings(max_examples=40, deadline=None)

MASKS = st.lists(st.booleans(), min_size=PROBES, max_size=PROBES).map(lambda bits: np.array(bits) & IN_AIR)
SCALES = st.builds(
    Scales, st.floats(1.0, 10.0), st.floats(0.15, 0.5), st.floats(0.3, 1.0), st.floats(0.0, 1.5), st.floats(-0.5, 0.8)
)
PATCHES = st.lists(
    st.builds(
        PatchView,
        st.floats(0, 1.2), st.floats(0, 0.5), st.floats(0.1, 0.4), st.floats(0.1, 0.5), st.floats(-15, 15),
        st.floats(0, 0.5),
    ),
    max_size=2,
).map(tuple)  # fmt: skip


def flat(grate, top):
    return np.where(TOP, top, np.where(GRATE, grate, 5.0))


def random_field(seed):
    rng = np.random.default_rng(seed)
    x = np.array([p.x_m if p.x_m is not None else 0.0 for p in PLAN.probes])
    return flat(110.0, 150.0) - 8 * x + rng.normal(0, 4, PROBES)


@BOUNDED
@given(MASKS, MASKS, SCALES, st.floats(20, 200), st.floats(20, 250))
def test_a_constant_is_kept_whoever_tells_it(usable, remembered, scales, grate, top):
    """Weights of a zone sum to one over its own level and to nothing over the other; a deficit's to nothing."""
    chamber = Chamber(PLAN, scales)
    told = usable | remembered
    change = np.zeros(PROBES)
    found = chamber.estimate(flat(grate, top), change, chamber.bumps([(), ()]), usable, remembered)
    for level, at, here in ((GRATE, grate, ZONE_ON_GRATE), (TOP, top, ~ZONE_ON_GRATE)):
        k = int(level is TOP)
        if not usable.any() or not (told & level).any():
            assert np.isnan(found.zone_celsius[here]).all()
            assert np.isnan(found.level_celsius[k])
            continue
        assert found.zone_celsius[here] == pytest.approx(np.full(here.sum(), at), abs=1e-6)
        assert found.level_celsius[k] == pytest.approx(at, abs=1e-6)
        assert found.deficit_kelvin[here] == pytest.approx(np.zeros(here.sum()), abs=1e-6)
        assert found.standing_kelvin[here] == pytest.approx(np.zeros(here.sum()), abs=1e-6)
        assert np.isfinite(found.zone_sd_kelvin[here]).all()


@BOUNDED
@given(MASKS.filter(lambda m: (m & GRATE).any()), SCALES, st.integers(0, 99))
def test_a_deficit_is_the_level_less_the_zone(usable, scales, seed):
    chamber = Chamber(PLAN, scales)
    found = chamber.estimate(random_field(seed), np.zeros(PROBES), chamber.bumps([(), ()]), usable, NOBODY)
    level = np.where(ZONE_ON_GRATE, found.level_celsius[0], found.level_celsius[1])
    assert found.deficit_kelvin == pytest.approx(level - found.zone_celsius, abs=1e-8, nan_ok=True)
    # zones that tile the level average out to it, each by its length; the points of both differ
    length = np.array([z.x1_m - z.x0_m for z in PLAN.zones])
    here = ZONE_ON_GRATE
    assert length[here] @ found.deficit_kelvin[here] / length[here].sum() == pytest.approx(0.0, abs=0.2)


def test_who_is_remembered_tells_less_than_who_is_heard_and_more_than_nobody():
    chamber = Chamber(PLAN)
    stack = np.array([p.name == "grate stack" for p in PLAN.probes])
    values, nothing = random_field(1), np.zeros(PROBES)
    effect = chamber.bumps([(), ()])
    zone = [z.name for z in PLAN.zones].index("stack end")
    heard = chamber.estimate(values, nothing, effect, IN_AIR, NOBODY)
    kept = chamber.estimate(values, nothing, effect, IN_AIR & ~stack, stack)
    gone = chamber.estimate(values, nothing, effect, IN_AIR & ~stack, NOBODY)
    assert heard.zone_sd_kelvin[zone] < kept.zone_sd_kelvin[zone] < gone.zone_sd_kelvin[zone]
    told = [chamber.estimate(values + 9 * stack, nothing, effect, *who).zone_celsius[zone] for who in (
        (IN_AIR, NOBODY), (IN_AIR & ~stack, stack), (IN_AIR & ~stack, NOBODY))]  # fmt: skip
    moved = np.array(told) - [e.zone_celsius[zone] for e in (heard, kept, gone)]
    assert moved[0] > moved[1] > 1.0
    assert moved[2] == 0.0


@BOUNDED
@given(SCALES, PATCHES, st.floats(60, 140))
def test_a_patch_in_a_flat_field_is_that_patch_and_nothing_else(scales, patches, grate):
    """The probes feel it, the zones get its mean, and the field under it stays flat."""
    chamber = Chamber(PLAN, scales)
    effect = chamber.bumps([patches, ()])
    values = flat(grate, 150.0) + effect.probes_kelvin
    found = chamber.estimate(values, effect.probes_kelvin, effect, IN_AIR, NOBODY)
    here = ZONE_ON_GRATE
    assert found.zone_celsius[here] == pytest.approx(grate + effect.zones_kelvin[here], abs=1e-6)
    assert found.deficit_kelvin == pytest.approx(effect.deficit_kelvin, abs=1e-6)
    assert found.standing_kelvin == pytest.approx(np.zeros(len(PLAN.zones)), abs=1e-6)
    assert effect.zones_kelvin[~here].tolist() == [0.0, 0.0]
    for i, zone in enumerate(PLAN.zones):
        if here[i]:
            x = np.linspace(zone.x0_m, zone.x1_m, 41)[:-1] + (zone.x1_m - zone.x0_m) / 80
            y = np.linspace(zone.y0_m, zone.y1_m, 41)[:-1] + (zone.y1_m - zone.y0_m) / 80
            assert effect.zones_kelvin[i] == pytest.approx(on_grid(patches, x, y).mean_kelvin.mean(), abs=0.15)
    members = list(chamber.members[0])
    x, y = (np.array([getattr(PLAN.probes[i], axis) for i in members]) for axis in ("x_m", "y_m"))
    assert chamber.mean_at(values, effect, IN_AIR, NOBODY, x, y) == pytest.approx(values[members], abs=1e-6)


@BOUNDED
@given(MASKS.filter(lambda m: (m & GRATE).any()), MASKS, SCALES, PATCHES, st.integers(0, 99))
def test_what_is_handed_out_for_drawing_draws_the_same_map(usable, remembered, scales, patches, seed):
    chamber = Chamber(PLAN, scales)
    effect = chamber.bumps([patches, ()])
    values = random_field(seed)
    view = chamber.view("grate", values, effect, usable, remembered)
    assert view is not None
    x, y = np.linspace(0, 1.2, 13), np.linspace(0, 0.5, 5)
    added = on_grid(view.patches, x, y)
    drawn = Grid(model_of(view, PLAN.chamber), x, y, view.drawn).mean(np.array(view.celsius)) + added.mean_kelvin
    xx, yy = np.meshgrid(x, y)
    direct = chamber.mean_at(values, effect, usable, remembered, xx.ravel(), yy.ravel())
    assert drawn.ravel() == pytest.approx(direct, abs=1e-6)


@BOUNDED
@given(MASKS.filter(lambda m: (m & GRATE).any()), PATCHES, st.integers(0, 99))
def test_the_extremes_are_the_maps_own(usable, patches, seed):
    chamber = Chamber(PLAN)
    effect = chamber.bumps([patches, ()])
    values = random_field(seed)
    view = chamber.view("grate", values, effect, usable, NOBODY)
    x, y = np.meshgrid(np.linspace(0.025, 1.175, 24), np.linspace(1 / 36, 17 / 36, 9))
    fine = chamber.mean_at(values, effect, usable, NOBODY, x.ravel(), y.ravel())
    assert view.coldest.celsius == pytest.approx(fine.min(), abs=1e-6)
    assert view.hottest.celsius == pytest.approx(fine.max(), abs=1e-6)
    assert view.difference_sd_kelvin >= 0.0


def test_a_level_without_probes_is_not_drawn():
    chamber = Chamber(PLAN)
    effect = chamber.bumps([(), ()])
    assert chamber.view("top", flat(110, 150), effect, GRATE, NOBODY) is None
    assert chamber.view("grate", flat(110, 150), effect, NOBODY, NOBODY) is None
    assert np.isnan(chamber.mean_at(flat(110, 150), effect, NOBODY, NOBODY, np.zeros(2), np.zeros(2))).all()


def test_what_has_changed_is_found_in_metres_and_too_few_say_nothing():
    chamber = Chamber(PLAN)
    members = chamber.members[0]
    x = np.array([PLAN.probes[i].x_m for i in members])
    y = np.array([PLAN.probes[i].y_m for i in members])
    truth = -12.0 * np.exp(-0.5 * (((x - 0.9) / 0.2) ** 2 + ((y - 0.25) / 0.3) ** 2))
    shared, patches = chamber.changed(0, truth, np.ones(len(members), dtype=bool), 0.4)
    assert sum(p.share for p in patches) > 0.9
    effect = chamber.bumps([patches, ()])
    assert effect.probes_kelvin[list(members)] + shared == pytest.approx(truth, abs=4.0)
    zones = dict(zip((z.name for z in PLAN.zones), effect.deficit_kelvin, strict=True))
    assert max(zones, key=zones.get) == "flat side"
    assert chamber.changed(0, truth, np.arange(len(members)) < 3, 0.4) == (0.0, ())


def test_learned_scales_widen_the_map_where_the_pit_is_uneven():
    away = np.where(IN_AIR, 0.0, np.nan)
    even, uneven = Chamber(PLAN), Chamber(PLAN)
    rng = np.random.default_rng(2)
    even.learn_scales(away + rng.normal(0, 0.5, PROBES))
    uneven.learn_scales(away + rng.normal(0, 9.0, PROBES))
    assert even.scales.sigma_kelvin < Chamber(PLAN).scales.sigma_kelvin < uneven.scales.sigma_kelvin
    sds = [
        c.estimate(flat(110, 150), np.zeros(PROBES), c.bumps([(), ()]), IN_AIR, NOBODY).zone_sd_kelvin
        for c in (even, uneven)
    ]
    assert (sds[0] < sds[1]).all()
    few = Chamber(PLAN)
    few.learn_scales(np.where(np.arange(PROBES) < 3, 4.0, np.nan))
    assert few.scales == Chamber(PLAN).scales


def test_probes_without_a_place_are_no_part_of_the_field():
    lost = tuple(msgspec.structs.replace(p, x_m=None, y_m=None) if p.name == "grate point" else p for p in PLAN.probes)
    chamber = Chamber(msgspec.structs.replace(PLAN, probes=lost))
    assert len(chamber.members[0]) == GRATE.sum() - 1
    point = np.array([p.name == "grate point" for p in PLAN.probes])
    values = random_field(3)
    effect = chamber.bumps([(), ()])
    with_it = chamber.estimate(values + 50 * point, np.zeros(PROBES), effect, IN_AIR, NOBODY)
    without = chamber.estimate(values, np.zeros(PROBES), effect, IN_AIR & ~point, NOBODY)
    assert with_it.zone_celsius.tolist() == without.zone_celsius.tolist()


def extremes(tolerance, patches=()):
    """Give the coldest and the hottest place of a sloping grate whose probes may be off by so much."""
    plan = msgspec.structs.replace(
        PLAN, probes=tuple(msgspec.structs.replace(p, tolerance_kelvin=tolerance) for p in PLAN.probes)
    )
    chamber = Chamber(plan)
    x = np.array([p.x_m if p.x_m is not None else 0.0 for p in PLAN.probes])
    effect = chamber.bumps([patches, ()])
    return chamber.view("grate", flat(110.0, 150.0) - 8 * x + effect.probes_kelvin, effect, IN_AIR, NOBODY)


def test_the_better_the_probes_the_surer_the_extremes_and_their_difference():
    views = [extremes(tolerance) for tolerance in (0.05, 0.5, 1.0, 2.0, 5.0)]
    for sds in (
        [v.coldest.sd_kelvin for v in views],
        [v.hottest.sd_kelvin for v in views],
        [v.difference_sd_kelvin for v in views],
    ):
        assert sds == sorted(sds)
        assert 0.1 < sds[0] < 0.8 * sds[-1], "what lies between good probes is still not known"
        assert sds[-1] < 10.0, "and bad ones do not undo what is usual in such a pit"
    for v in views:
        assert v.difference_sd_kelvin < v.coldest.sd_kelvin + v.hottest.sd_kelvin


def test_a_patch_makes_the_extreme_it_stands_on_less_sure():
    """By hand: a patch of -20 K that is there for sure is off by a quarter of itself: 5 K at its middle.

    One that is there by even odds is 20 K or nothing: its mean is 10 K, its mean square 0.5 x (400 + 25), so its
    standard deviation is sqrt(212.5 - 100) = 10.6 K. What a place far away from it says stays as sure as it was.
    """
    plain = extremes(1.0)
    assert plain.coldest.x_m > 1.0 > 0.2 > plain.hottest.x_m
    at, across = plain.coldest.x_m, plain.coldest.y_m
    for share, alone in ((1.0, 5.0), (0.5, 10.6)):
        view = extremes(1.0, (PatchView(at, across, 0.15, 0.3, -20.0, share),))
        assert (view.coldest.x_m, view.coldest.y_m) == pytest.approx((at, across), abs=0.06)
        assert view.coldest.sd_kelvin == pytest.approx(np.hypot(plain.coldest.sd_kelvin, alone), rel=0.03)
        assert view.hottest.sd_kelvin == pytest.approx(plain.hottest.sd_kelvin, rel=0.03)
        assert view.difference_sd_kelvin == pytest.approx(np.hypot(plain.difference_sd_kelvin, alone), rel=0.03)
