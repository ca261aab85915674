"""The rehearsed pit as a source, and its drills."""

import math

import pytest

from adapters.errors import LinkReason, SourceConfigError
from adapters.rehearsal.layout import PROBES
from adapters.rehearsal.source import RehearsalPit, drills
from adapters.source import LinkState, Source

START = 1_790_000_000.0
HOT = 2.0 * 3600.0


def pit(start_unix=START, **options):
    return RehearsalPit("rehearsal", PROBES, seed=3, speed=math.inf, start_unix=start_unix, **options)


async def play(source, seconds):
    """Return the readings of the next `seconds` of the night."""
    end = source.run.now + seconds
    found = []
    async for reading in source:
        found.append(reading)
        if source.run.now >= end:
            break
    return found


def newest(found):
    return {reading.key: reading.celsius for reading in found}


async def test_it_is_a_source_that_goes_on_where_it_stopped():
    source = pit()
    assert isinstance(source, Source)
    assert source.link.reason is LinkReason.NOT_STARTED
    first = await play(source, 60.0)
    second = await play(source, 60.0)
    assert source.link.state is LinkState.UP
    times = [reading.received_unix for reading in first + second]
    assert times == sorted(times)
    assert START <= times[0] < START + 6.0
    assert 100.0 < times[-1] - START <= 124.0
    assert source.counts.yielded == len(first) + len(second)


async def test_skipped_it_begins_hot_at_the_time_asked_for():
    found = await play(pit(skip_seconds=HOT, start_unix=START + 9.0), 30.0)
    assert found[0].received_unix == pytest.approx(START + 9.0, abs=6.0)
    assert newest(found)["grate-mid-back"] > 95.0


async def test_twice_the_same_seed_is_the_same_pit():
    assert await play(pit(), 120.0) == await play(pit(), 120.0)


@pytest.mark.parametrize(
    ("name", "arguments", "key", "least"),
    [
        ("fire-out", {}, "grate-mid-back", 15.0),
        ("lid-open", {"seconds": "120"}, "top-mid", 20.0),
        ("cold-flat", {"minutes": 1}, "grate-flat-front", 5.0),
    ],
)
async def test_a_drill_cools_what_it_should(name, arguments, key, least):
    calm, drilled = pit(skip_seconds=HOT), pit(skip_seconds=HOT)
    drilled.drill(name, **arguments)
    seconds = 100.0 if name == "lid-open" else 2400.0
    assert newest(await play(calm, seconds))[key] - newest(await play(drilled, seconds))[key] > least


async def test_a_probe_drill_silences_one_probe_and_clear_ends_it():
    source = pit(skip_seconds=600.0)
    source.drill("probe-silent", key="top-mid")
    silenced = newest(await play(source, 60.0))
    assert "top-mid" not in silenced
    assert len(silenced) == len(PROBES) - 1
    source.drill("clear")
    assert "top-mid" in newest(await play(source, 60.0))


@pytest.mark.parametrize("name", [name for name in drills() if name.startswith("probe-")])
def test_every_probe_drill_can_be_called(name):
    source = pit()
    other = {"other": "top-stack"} if name == "probe-swapped" else {}
    source.drill(name, key="top-mid", **other)
    source.run.step()
    assert [fault.key for fault in source.run.faults] == ["top-mid"]


@pytest.mark.parametrize("name", [name for name in drills() if not name.startswith("probe-")])
def test_every_pit_drill_can_be_called_and_cleared(name):
    source = pit()
    source.drill(name)
    source.run.step()
    source.drill("clear")
    run = source.run
    assert not (run.lids or run.leaks or run.faults or run.unattended or run.wet_fuel)
    assert run.weather == run.night.weather
    assert (run.bath_celsius, run.bundle_key) == (None, None)


@pytest.mark.parametrize(
    ("name", "arguments", "celsius"),
    [("ice-bath", {}, 0.0), ("boiling-bath", {}, 99.97), ("boiling-bath", {"metres": "1000"}, 96.65)],
)
async def test_in_a_bath_every_probe_shows_it_but_for_what_it_is_off_by(name, arguments, celsius):
    source = pit(skip_seconds=HOT)
    source.drill(name, **arguments)
    await play(source, 600.0)
    shown = await play(source, 300.0)
    for row, probe in enumerate(source.run.night.probes):
        values = [r.celsius for r in shown if r.key == probe.key]
        off = float(source.run.sensing.offset[row])
        assert sum(values) / len(values) == pytest.approx(celsius + off, abs=0.2), probe.key


async def test_a_bundle_is_at_one_place_and_clear_unties_it():
    source = pit(skip_seconds=HOT)
    source.drill("bundle", key="grate-mid-back")
    tips = source.run.tips()
    assert len(set(tips.tolist())) == 1
    source.drill("clear")
    assert tips[0] in source.run.tips()
    assert len(set(source.run.tips().tolist())) > 3


@pytest.mark.parametrize(
    ("name", "arguments", "says"),
    [
        ("flood", {}, "no drill is called 'flood'"),
        ("probe-stuck", {}, "is no probe of this pit"),
        ("probe-stuck", {"key": "nobody"}, "'nobody' is no probe"),
        ("lid-open", {"seconds": "long"}, "a number is needed"),
        ("lid-open", {"seconds": "inf"}, "finite"),
        ("fire-out", {"seconds": 3}, "takes no seconds"),
        ("bundle", {"key": "nobody"}, "'nobody' is no probe"),
        ("boiling-bath", {"metres": 20_000}, "no height to cook at"),
    ],
)
def test_a_drill_that_cannot_be_says_why(name, arguments, says):
    source = pit()
    with pytest.raises(SourceConfigError, match=says):
        source.drill(name, **arguments)
    run = source.run
    assert not (run.lids or run.leaks or run.faults or run.unattended), "a refused drill changes nothing"


def test_a_speed_must_be_positive():
    with pytest.raises(ValueError, match="speed"):
        RehearsalPit("n", PROBES, speed=0.0)


async def test_a_drill_may_be_ordered_ahead():
    source = pit(skip_seconds=600.0)
    source.drill("probe-open", key="top-mid", at_unix=START + 300.0)
    source.drill("clear", at_unix=START + 600.0)
    shown = [
        (reading.received_unix - START, reading.celsius)
        for reading in await play(source, 900.0)
        if reading.key == "top-mid"
    ]
    assert {value for at, value in shown if 304.0 < at < 596.0} == {850.0}
    assert max(value for at, value in shown if not 296.0 < at < 604.0) < 200.0


async def test_two_sources_of_one_seed_stand_in_one_pit():
    back, front = (
        RehearsalPit(name, PROBES[row : row + 1], seed=3, speed=math.inf, start_unix=START, skip_seconds=HOT)
        for row, name in enumerate(("back", "front"))
    )
    assert back.run.grate_celsius == front.run.grate_celsius
    assert back.knows("grate-fire-back")
    assert not front.knows("grate-fire-back")
