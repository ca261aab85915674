"""`coldside meat` against a real collector over its socket: what is added, told, read by hand, refused, on record."""

import asyncio
import json

import pytest

from adapters.reading import Reading
from collector.daemon import Collector
from collector.replay import differences
from collector.store.archive import Archive
from tui.cli import main
from tui.exit_codes import Exit
from tui.nights import night_settings

START = 1_790_000_000.0
PLAN = night_settings().plan


@pytest.fixture
async def pit(tmp_path):
    """A collector whose time the test moves: the pit is hot, the meat cold."""
    made = Collector(PLAN, [], tmp_path / "s.db", tmp_path / "c.sock", cook="n", playback=True, start_unix=START)
    running = asyncio.create_task(made.run())
    await made.ready.wait()
    hear(made, 0.0)
    yield made, tmp_path
    made.stop()
    assert await running == 0


def hear(collector, at):
    for probe in PLAN.probes:
        celsius = 8.0 if probe.duty == "meat" else 110.0
        collector._pipeline.take(Reading(probe.source, probe.key, celsius, START + at))


@pytest.fixture
def said(pit, capsys):
    """Run the command as a person does; give exit code, output and errors."""

    async def run(*words):
        code = await asyncio.to_thread(main, ["meat", *words, "--socket", str(pit[1] / "c.sock")])
        told = capsys.readouterr()
        return code, told.out, told.err

    return run


async def test_a_piece_is_told_through_its_night_and_stands_in_the_list(pit, said):
    collector, folder = pit
    code, out, _ = await said("list", "--unit", "F")
    assert (code, out.splitlines()[0]) == (Exit.OK, "brisket, 13.0 lb, not on yet")
    assert await said("on") == (Exit.OK, "brisket: cooking\n", "")
    hear(collector, 60.0)
    code, out, _ = await said("list", "--unit", "F")
    assert "brisket, 13.0 lb, cooking since" in out
    assert "46/203 °F" in out
    assert "time not known: " in out
    assert "intact" in out
    assert (await said("wrap", "brisket"))[:2] == (Exit.OK, "brisket: wrapped\n")
    code, _, err = await said("wrap", "ham")
    assert code == Exit.FAILED
    assert "piece" in err
    assert (await said("spot", "flat, thin end", "198 F"))[:2] == (Exit.OK, "on record: flat, thin end\n")
    assert (await said("bread", "stack end", "4", "--x", "1.2", "--y", "0.25"))[0] == Exit.OK
    code, out, _ = await said("list", "--unit", "F", "--ascii")
    assert out.isascii()
    assert "wrapped since" in out
    assert "flat, thin end: 198 F" in out
    assert "stack end: bread 4 of 5" in out
    await asyncio.sleep(1.1)  # until the next commit
    with Archive(folder / "s.db") as archive:
        assert differences(archive, archive.cook("n")) == []


async def test_a_piece_is_added_described_anew_and_named_where_there_are_several(said):
    words = ("add", "pork", "--part", "middle=meat flat", "--cut", "pork shoulder", "--mass", "8 lb", "--done", "203 F")
    code, _, err = await said(*words)
    assert code == Exit.FAILED
    assert "the probe 'meat flat' is in brisket already" in err
    assert (await said("off", "brisket"))[0] == Exit.OK
    assert (await said(*words))[:2] == (Exit.OK, "the cook has the piece pork; what was not said is not known of it\n")
    code, _, err = await said("on")
    assert code != Exit.OK
    assert "which piece? there is brisket, pork" in err
    assert (await said("on", "pork"))[0] == Exit.OK
    code, out, _ = await said("list", "--json")
    document = json.loads(out)
    assert [(m["name"], m["cut"], m["phase"]) for m in document["meat"]] == [
        ("brisket", "brisket", "off"), ("pork", "pork shoulder", "cooking"),
    ]  # fmt: skip
    assert (await said("add", "pork", "--part", "middle=meat point", "--serve", "13:00"))[0] == Exit.OK
    assert "serve " in (await said("list", "--unit", "C"))[1]


@pytest.mark.parametrize(
    ("words", "why"),
    [(("add", "ham", "--part", "middle=no such probe"), "there is no meat probe 'no such probe'"),
     (("add", "ham", "--part", "a=meat flat", "--done", "hot"), "no temperature"),
     (("add", "ham", "--part", "a=meat flat", "--mass", "much"), "much"),
     (("add", "ham", "--part", "a=meat flat", "--serve", "later"), "later"),
     (("spot", "flat", "2000 F"), "no thermometer reads that"), (("spot", "flat", "198"), "no temperature"),
     (("bread", "flat", "9"), "scored from 1")],
)  # fmt: skip
async def test_what_cannot_be_is_refused_with_the_reason(said, words, why):
    code, out, err = await said(*words)
    assert code != Exit.OK
    assert out == ""
    assert why in err


def test_a_part_without_its_probe_is_no_part(capsys):
    with pytest.raises(SystemExit) as left:
        main(["meat", "add", "ham", "--part", "flat"])
    assert left.value.code == Exit.USAGE
    assert "flat=meat probe 1" in capsys.readouterr().err


@pytest.mark.parametrize("x_m", ["nan", "inf", "-1", "wide"])
def test_a_place_outside_every_pit_is_refused(capsys, x_m):
    with pytest.raises(SystemExit) as left:
        main(["meat", "spot", "flat", "198 F", f"--x={x_m}", "--y=0.2"])
    assert left.value.code == Exit.USAGE
    assert "is no place in a pit" in capsys.readouterr().err
