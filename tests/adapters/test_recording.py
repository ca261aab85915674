"""Recordings played: spacing, speed, loop, and files that are cut off or spoilt."""

import asyncio
import gzip
import lzma
import math

import pytest

from adapters.errors import LinkError, LinkReason
from adapters.reading import Unit
from adapters.recording import Pace, Recording, readings, start_of
from adapters.source import LinkState, Source
from tests.waiting import WAIT_SECONDS

START = 1_790_000_000.0


def stream(count=100, step=1.0):
    rows = [f'{{"n":"p{i % 3}","t":{i * step},"v":{100 + i * 0.1:.1f}}}' for i in range(count)]
    rows[0] = f'{{"bt":{START},"bu":"Cel",' + rows[0][1:]
    return ("[" + ",\n".join(rows) + "]\n").encode()


@pytest.fixture
def write(tmp_path):
    def write(content, name="night.sensml"):
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return write


@pytest.mark.parametrize(
    ("name", "pack"), [("a.sensml", bytes), ("a.sensml.gz", gzip.compress), ("a.sensml.xz", lzma.compress)]
)
def test_every_form_gives_the_same_readings(write, name, pack):
    found = list(readings(write(pack(stream()), name), "night"))
    assert len(found) == 100
    assert found[7].key == "p1"
    assert found[7].celsius == 100.7
    assert found[7].received_unix == found[7].source_unix == START + 7
    assert found[7].source == "night"


def test_a_start_moves_the_whole_recording(write):
    path = write(stream())
    moved = list(readings(path, start_unix=START + 5000.0))
    assert [m.received_unix - r.received_unix for m, r in zip(moved, readings(path), strict=True)] == [5000.0] * 100


def test_the_base_time_is_the_beginning_if_the_first_reading_is_near(write):
    near = write(f'[{{"bt":{START},"bu":"Cel","n":"a","t":2.5,"v":1}}]'.encode())
    assert next(readings(near, start_unix=10.0**9)).received_unix == 10.0**9 + 2.5
    assert start_of(near) == START
    far = write(f'[{{"bt":{START},"bu":"Cel","n":"a","t":7200,"v":1}}]'.encode())
    assert next(readings(far, start_unix=10.0**9)).received_unix == 10.0**9
    assert start_of(far) == START + 7200.0


def test_units_are_turned_to_celsius_and_other_things_passed_over(write):
    path = write(
        b'[{"bt":1790000000,"n":"f","u":"[degF]","v":225},\n{"n":"k","u":"K","v":373.15},\n'
        b'{"n":"h","u":"%RH","v":40},\n{"n":"s","u":"Cel","vs":"hot"},\n{"n":"none","v":3}]'
    )
    found = list(readings(path))
    assert [(r.key, round(r.celsius, 2), r.unit) for r in found] == [
        ("f", 107.22, Unit.FAHRENHEIT),
        ("k", 100.0, Unit.KELVIN),
    ]


@pytest.mark.parametrize(("name", "pack"), [("a.sensml.gz", gzip.compress), ("a.sensml.xz", lzma.compress)])
def test_a_cut_off_archive_gives_what_came_before(write, name, pack):
    whole = pack(stream(40_000))
    found = []
    with pytest.raises(LinkError) as caught:
        for reading in readings(write(whole[: len(whole) // 2], name)):
            found.append(reading)
    assert caught.value.reason is LinkReason.UNREADABLE
    assert f"{name}, after line" in caught.value.detail
    assert 1_000 < len(found) < 40_000
    assert [r.received_unix - START for r in found] == list(range(len(found)))


@pytest.mark.parametrize(
    "spoil",
    [
        b"{rubbish",
        b'{"n":"p1","t":50.0,"v":',
        b'{"n":"p1"},',
        b'{"n":"p 1","v":1},',
        b'{"n":"p","v":1,"x_":1},',
        b"\x00\xff",
    ],
)
def test_a_spoilt_line_is_named(write, spoil):
    rows = stream().split(b"\n")
    rows[50] = spoil
    found = []
    with pytest.raises(LinkError, match="line 51") as caught:
        for reading in readings(write(b"\n".join(rows))):
            found.append(reading)
    assert caught.value.reason is LinkReason.UNREADABLE
    assert len(found) == 50


def test_a_stream_still_being_written_is_read_to_its_last_whole_line(write):
    whole = stream().removesuffix(b"]\n")
    assert len(list(readings(write(whole)))) == 100


@pytest.mark.parametrize(
    ("content", "name"),
    [(b"", "a.sensml"), (b"[]", "a.sensml"), (b"not xz", "a.sensml.xz"), (b"not gz", "a.sensml.gz")],
)
def test_a_file_without_readings_is_unreadable(write, content, name):
    with pytest.raises(LinkError, match="recording cannot be read"):
        next(readings(write(content, name)))


def test_a_missing_file_is_unreadable(tmp_path):
    with pytest.raises(LinkError, match=r"gone\.sensml"):
        next(readings(tmp_path / "gone.sensml"))


def test_a_line_without_end_is_refused_before_it_fills_the_memory(write):
    with pytest.raises(LinkError, match="line 1: longer than"):
        next(readings(write(gzip.compress(b" " * 5_000_000), "a.sensml.gz")))


async def test_flat_out_it_plays_all_and_ends(write):
    recording = Recording("night", write(stream()), speed=math.inf)
    assert isinstance(recording, Source)
    assert (recording.link.state, recording.link.reason) == (LinkState.DOWN, LinkReason.NOT_STARTED)
    states = [recording.link.state async for _ in recording]
    assert set(states) == {LinkState.UP}
    assert recording.link.state is LinkState.ENDED
    assert recording.counts.heard == recording.counts.yielded == 100


async def test_flat_out_it_lets_others_have_their_turn(write):
    turns = 0

    async def other():
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    task = asyncio.create_task(other())
    async for _ in Recording("night", write(stream(2_000)), speed=math.inf):
        pass
    task.cancel()
    assert turns >= 7


async def test_twice_as_fast_takes_half_as_long(write, monkeypatch):
    now = [0.0]

    async def sleep(seconds):
        now[0] += seconds

    monkeypatch.setattr(asyncio, "sleep", sleep)
    for speed in (200.0, 400.0):
        began = now[0]
        async for _ in Recording("night", write(stream(61)), speed=speed, clock=lambda: now[0]):
            pass
        assert now[0] - began == pytest.approx(60 / speed, abs=0.01)


async def test_a_late_consumer_is_not_made_to_wait_again(write):
    clock = iter([0.0, *[1e6] * 200])
    recording = Recording("night", write(stream(step=600.0)), speed=1.0, clock=lambda: next(clock))
    async with asyncio.timeout(WAIT_SECONDS):
        assert len([reading async for reading in recording]) == 100


async def test_looped_the_times_run_on(write):
    found = []
    async for reading in Recording("night", write(stream(10)), speed=math.inf, loop=True, start_unix=START):
        found.append(reading.received_unix)
        if len(found) == 35:
            break
    assert found == [START + i for i in range(35)]


async def test_a_spoilt_file_takes_the_link_down(write):
    recording = Recording("night", write(stream() + b"{"), speed=math.inf)
    heard = 0
    with pytest.raises(LinkError):
        async for _ in recording:
            heard += 1
    assert heard == 100
    assert recording.link.state is LinkState.DOWN
    assert recording.link.reason is LinkReason.UNREADABLE
    assert "line 101" in recording.link.detail


@pytest.mark.parametrize("speed", [0.0, -1.0, math.nan])
def test_a_speed_must_be_positive(tmp_path, speed):
    with pytest.raises(ValueError, match="speed"):
        Recording("night", tmp_path / "a.sensml", speed=speed)


async def test_pace_waits_by_its_speed():
    loop = asyncio.get_running_loop()
    pace = Pace(10.0)
    began = loop.time()
    await pace.until(0.5)
    assert loop.time() - began == pytest.approx(0.05, abs=0.03)
