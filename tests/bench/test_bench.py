"""The bench's pure rows run and hold what must be exact; no time is asserted here."""

import asyncio
import contextlib
import json

import pytest

from collector.store.archive import Archive
from tests.adapters.ble.conftest import system_bus  # noqa: F401 - a fixture
from tests.bench.bluetooth import KINDS, Round, readings
from tests.bench.field import Frames
from tests.bench.growth.curve import Curve, exponents
from tests.bench.growth.nights import make_store
from tests.bench.measure import Finding, ratio, turns
from tests.bench.routing import Path
from tests.bench.sealed import sealed_cook
from tests.bench.slope import Records
from tests.bench.store import batches
from tests.bench.table import as_json, as_text
from tests.bluez.traffic import traffic
from tests.waiting import WAIT_SECONDS


def finding(value, *, floor=2.0, stretch=4.0, more=True):
    return Finding(1, "thing", value, "x", floor, stretch, more, value, value, "how")


@pytest.mark.parametrize(("value", "more", "verdict"), [
    (4.0, True, "stretch"), (3.9, True, "floor"), (1.9, True, "MISS"), (4.1, False, "MISS"), (1.0, False, "stretch"),
])  # fmt: skip
def test_a_verdict_follows_the_direction(value, more, verdict):
    goals = {"floor": 2.0, "stretch": 4.0} if more else {"floor": 4.0, "stretch": 2.0}
    assert finding(value, more=more, **goals).verdict == verdict


@pytest.mark.parametrize(
    ("value", "more", "halved"), [(6, True, False), (4, True, True), (19, False, False), (21, False, True)]
)
def test_a_build_server_minds_only_what_halved(value, more, halved):
    assert Finding(1, "m", value, "x", 10, None, more, value, value).halved is halved


def test_turns_reverse_the_order_and_ratios_pair_the_rounds():
    order = []
    figures = turns(2, (lambda: order.append("a") or 6.0, lambda: order.append("b") or 2.0))
    assert order == ["a", "b", "b", "a"]
    assert ratio(*figures) == (3.0, 3.0, 3.0)


def test_table_and_document_say_the_same():
    found = [finding(1.0), finding(5.0)]
    curve = Curve("more", "things", (1, 10), (("cost", "s", (1.0, 10.0)),))
    about = {"machine": "m"}
    text, document = as_text(found, [curve], about), json.loads(as_json(found, [curve], about))
    assert document["growth"][0]["counts"] == [1, 10]
    assert "1.00" in text.splitlines()[-1], "in proportion"
    assert [f["verdict"] for f in document["findings"]] == ["MISS", "stretch"]
    assert all(f["verdict"] in text for f in document["findings"])
    assert text.startswith("machine: m\n")


@pytest.mark.parametrize("probes", [16, 1000])
def test_every_message_finds_its_probe(probes):
    path = Path(probes)
    assert path.run() == max(2000, probes)
    assert not path.pipeline.unplaced
    assert len(path.pipeline.series) == probes


def test_the_frame_is_that_of_the_reference():
    assert Frames().difference(3) <= 1e-9


def test_the_fast_slope_errs_little_more_than_the_exact_one():
    ours, exact = Records(40).errors()
    assert 0 < exact < 0.2
    assert ours <= 1.2 * exact  # the bench holds 1.15 over more records


def test_batches_are_whole_seconds_in_order():
    rows = [row for batch in batches(3) for row in batch]
    assert len(rows) == 48
    assert [r[0] for r in rows] == sorted({r[0] for r in rows})


@pytest.mark.parametrize("kind", KINDS)
async def test_every_signal_of_the_air_is_taken_once_or_counted(kind, system_bus):  # noqa: F811
    count, taken = 1000, []
    sender = traffic(system_bus.address, kind, count=count)
    try:
        assert sender.stdout.readline() == "ready\n"
        async with asyncio.timeout(WAIT_SECONDS), contextlib.aclosing(readings(kind, 4)) as heard:
            async for reading, dropped in heard:
                taken.append(reading)
                if len(taken) + dropped >= 4 * count:
                    break
        assert json.loads(await asyncio.to_thread(sender.stdout.readline))["sent"] == count
    finally:
        sender.terminate()
        sender.communicate(timeout=WAIT_SECONDS)
    assert len(taken) + dropped == 4 * count
    first = [round(100 * r.celsius) for r in taken if r.key == "channel 0"]
    assert first == sorted(set(first) & set(range(11_000, 12_000))), "each once, in order, as it was sent"


def test_the_bare_callback_hears_every_signal(system_bus):  # noqa: F811
    assert Round(system_bus.address, "adverts", 500).run(0)["dropped"] == 0


def test_a_bend_shows_in_the_last_step():
    counts = (1, 10, 100, 1000)
    first, last = exponents(counts, (1.0, 1.0, 1.0, 100.0))
    assert abs(first) < 0.01
    assert last == pytest.approx(2.0)
    assert exponents(counts, [n**0.5 for n in counts]) == pytest.approx((0.5, 0.5))


def test_a_store_of_many_nights_holds_each_once(tmp_path):
    make_store(tmp_path / "s.db", 4)
    with Archive(tmp_path / "s.db") as archive:
        cooks = archive.cooks()
        assert [cook.name for cook in cooks] == ["night 0", "night 1", "night 2", "night 3"]
        assert len({cook.readings for cook in cooks}) == 1
        assert all(len(archive.trend(cook)) == len(archive.trend(cooks[0])) > 100 for cook in cooks)
        assert len(archive.plans(cooks[3])) == 1


def test_a_sealed_cook_is_the_smaller_one_and_reads_the_same(tmp_path):
    readings = sealed_cook(tmp_path / "s.db", 1)
    with Archive(tmp_path / "s.db") as archive:
        cook = archive.cook("bench")
        assert cook.readings == readings == 16 * 3600
        assert archive.columns(cook).ordinal.size == readings
        assert archive._connection.execute("SELECT sum(length(bytes)) FROM sealed").fetchone()[0] < 2 * readings
