"""What a change did, place by place: drawn cooks whose truth is known, and what must cancel."""

import math

import numpy as np
import pytest
from msgspec.structs import replace
from scipy import stats

from collector.model.difference import SOURCES, Difference, Look, PlacedProbe, Question, Stretch, long_run_covariance

LENGTH, WIDTH = 1.2, 0.5
PLACES = [(x, y) for x in (0.1, 0.35, 0.6, 0.85, 1.1) for y in (0.12, 0.38)]


def stretch(cook, field, random, *, offsets=None, ids=None, minutes=240, places=PLACES, level="grate", scale=1.0):
    ids = range(len(places)) if ids is None else ids
    offsets = np.zeros(len(places)) if offsets is None else offsets
    probes = tuple(
        PlacedProbe(f"p{k}", f"id{i}", level, x, y, 1.0) for k, (i, (x, y)) in enumerate(zip(ids, places, strict=False))
    )
    values = 110.0 + np.array([field(x, y) for x, y in places]) + offsets
    saw = 5.0 * np.sin(np.arange(minutes) / 6.0)[:, None]
    return Stretch(cook, probes, values + saw + random.normal(0.0, 0.3, (minutes, len(places))), scale)


def end_question(level=("grate", "grate")):
    """How far the far end lies below the middle."""
    return Question(level, np.array([0.6, 1.1]), np.array([0.25, 0.25]), np.array([1.0, -1.0]))


def tilted(kelvin):
    return lambda x, y: -kelvin * (x / LENGTH - 0.5) + 3.0 * math.sin(9.0 * x) * math.cos(7.0 * y)


@pytest.fixture
def random():
    return np.random.default_rng(8)


def share(look, source):
    return look.variances[SOURCES.index(source)] / sum(look.variances)


def test_a_change_is_found_and_its_parts_add_up(random):
    field = Difference([stretch("a", tilted(10.0), random)], [stretch("b", tilted(22.0), random)], LENGTH, WIDTH)
    look = field.ask(end_question())
    assert look.kelvin == pytest.approx(12.0 * 0.5 / LENGTH, abs=0.4)
    assert look.quantile(0.025) < 5.0 < look.quantile(0.975)
    assert sum(look.variances) == pytest.approx(float(look.shares @ look.sds**2), rel=1e-6)


def test_the_same_probes_in_the_same_places_take_their_errors_with_them(random):
    offsets = random.normal(0.0, 1.0, len(PLACES))
    before = stretch("a", tilted(10.0), random, offsets=offsets)
    same = Difference([before], [stretch("b", tilted(10.0), random, offsets=offsets)], LENGTH, WIDTH)
    others = stretch("b", tilted(10.0), random, offsets=random.normal(0.0, 1.0, 10), ids=range(20, 30))
    other = Difference([before], [others], LENGTH, WIDTH)
    question = end_question()
    assert same.ask(question).kelvin == pytest.approx(0.0, abs=0.15)
    assert share(same.ask(question), "probes that are not the same") < 0.02
    assert share(other.ask(question), "probes that are not the same") > 0.2
    assert other.ask(question).sd_kelvin > same.ask(question).sd_kelvin


def test_more_cooks_make_it_surer_and_cooks_that_differ_make_it_less_sure(random):
    question = end_question()

    def width(moods):
        sides = [[stretch(f"{side}{k}", tilted(10.0 + mood), random) for k, mood in enumerate(moods)] for side in "ab"]
        look = Difference(*sides, LENGTH, WIDTH).ask(question)
        return look.quantile(0.975) - look.quantile(0.025)

    one, three, wild = width([0.0]), width([0.3, 0.0, -0.3]), width([9.0, 0.0, -9.0])
    assert three < 0.7 * one
    assert wild > 1.5 * three


def test_two_stretches_of_one_cook_share_what_it_had_of_its_own(random):
    before, after = stretch("a", tilted(10.0), random), stretch("a", tilted(10.0), random)
    other = Difference([before], [replace(after, cook="b")], LENGTH, WIDTH).ask(end_question())
    same = Difference([before], [after], LENGTH, WIDTH).ask(end_question())
    assert same.sd_kelvin < 0.7 * other.sd_kelvin
    assert share(same, "where the probes were put") < 1e-3


def test_turned_round_it_is_the_same_change_the_other_way(random):
    sides = [stretch("a", tilted(10.0), random)], [stretch("b", tilted(16.0), random)]
    there, back = (Difference(*pair, LENGTH, WIDTH).ask(end_question()) for pair in (sides, sides[::-1]))
    assert there.kelvin == pytest.approx(-back.kelvin, abs=0.4)
    assert there.sd_kelvin == pytest.approx(back.sd_kelvin, rel=0.1)


def test_the_map_says_where(random):
    def hole(x, y):
        return -8.0 * math.exp(-(((x - 1.1) / 0.12) ** 2))

    field = Difference(
        [stretch("a", tilted(10.0), random)],
        [stretch("b", lambda x, y: tilted(10.0)(x, y) + hole(x, y), random)], LENGTH, WIDTH,
    )  # fmt: skip
    kelvin, sd = field.grid(12, 3)
    assert kelvin.shape == sd.shape == (3, 12)
    assert kelvin[:, 10].mean() < -4.0
    assert abs(kelvin[:, 4].mean()) < 3.0
    assert np.all(sd > 0.0)
    assert abs(kelvin.mean()) < 1e-9  # against the grate's mean


def test_draws_of_both_sides_agree_with_the_answer(random):
    field = Difference([stretch("a", tilted(10.0), random)], [stretch("b", tilted(22.0), random)], LENGTH, WIDTH)
    look = field.ask(end_question())
    before, after = field.sides([end_question()], draws=8000)
    apart = (after - before)[:, 0]
    assert apart.mean() == pytest.approx(look.kelvin, abs=0.1)
    assert apart.std() == pytest.approx(look.sd_kelvin, rel=0.08)
    again, _ = field.sides([end_question()], draws=8000)
    assert np.array_equal(before, again)


def test_levels_are_told_apart(random):
    tops = [(0.2, 0.25), (0.6, 0.25), (1.0, 0.25)]

    def night(cook, above):
        low = stretch(cook, tilted(10.0), random)
        high = stretch(cook, lambda x, y: above, random, places=tops, level="top", ids=range(50, 53))
        return Stretch(cook, (*low.probes, *high.probes), np.hstack([low.celsius, high.celsius]))

    field = Difference([night("a", 50.0)], [night("b", 20.0)], LENGTH, WIDTH)
    asked = Question(("grate", "top"), np.array([0.6, 0.6]), np.array([0.25, 0.25]), np.array([-1.0, 1.0]))
    look = field.ask(asked)
    assert look.kelvin == pytest.approx(-30.0, abs=2.5)
    assert look.quantile(0.975) < -20.0


def test_a_hotter_night_is_brought_to_the_others(random):
    cold = stretch("a", tilted(10.0), random)
    hot = stretch("b", lambda x, y: 1.2 * tilted(10.0)(x, y), random, scale=1.0 / 1.2)
    assert Difference([cold], [hot], LENGTH, WIDTH).ask(end_question()).kelvin == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [([], ["b"], "no cook before"), (["a"], [], "no cook after"), (["a"], ["one"], "two probes at the grate")],
)
def test_what_cannot_be_compared_is_refused(random, before, after, says):
    def of(name):
        return stretch(name, tilted(1.0), random, places=PLACES[:1] if name == "one" else PLACES)

    with pytest.raises(ValueError, match=says):
        Difference([of(n) for n in before], [of(n) for n in after], LENGTH, WIDTH)


def test_a_mixtures_quantiles_are_scipys_for_one_of_its_parts():
    look = Look(np.array([2.0]), np.array([0.5]), np.array([1.0]), ())
    for p in (0.025, 0.5, 0.975):
        assert look.quantile(p) == pytest.approx(stats.norm.ppf(p, 2.0, 0.5), abs=1e-9)
    two = Look(np.array([-1.0, 3.0]), np.array([0.5, 1.0]), np.array([0.3, 0.7]), ())
    q = two.quantile(0.2)
    assert 0.3 * stats.norm.cdf(q, -1.0, 0.5) + 0.7 * stats.norm.cdf(q, 3.0, 1.0) == pytest.approx(0.2, abs=1e-9)


@pytest.mark.parametrize(("minutes", "least"), [(10, 0.86), (30, 0.8)])
def test_the_noise_of_a_contrast_covers_its_mean(minutes, least):
    """Noise of the first order, five hours of minutes in two series: how often 1.96 deviations hold the truth."""
    random, phi, n = np.random.default_rng(minutes), math.exp(-1.0 / minutes), 300
    held = 0
    for _ in range(150):
        steps = random.standard_normal((n, 2)) * math.sqrt(1 - phi**2)
        series = np.empty((n, 2))
        series[0] = random.standard_normal(2)
        for k in range(1, n):
            series[k] = phi * series[k - 1] + steps[k]
        covariance = long_run_covariance(series)
        variance = covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1]
        held += abs(np.diff(series.mean(axis=0))[0]) < 1.96 * math.sqrt(variance)
    assert held / 150 >= least - 0.06
