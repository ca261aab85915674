"""`coldside meat` against a real collector over its socket: what is added, told, read by hand, refused, on record."""

import asyncio
import datetime as dt
import json
import time

import pytest

from adapters.reading import Reading
from collector.daemon import Collector
from collector.replay import differences
from collector.store.archive import Archive
from tests.waiting import until
from tui.cli import main
from tui.commands.init import TEMPLATE
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
    assert "on the fire, at most 6 h by the published guideline" in out
    assert (await said("wrap", "brisket"))[:2] == (Exit.OK, "brisket: wrapped\n")
    code, _, err = await said("wrap", "ham")
    assert code == Exit.FAILED
    assert "piece" in err
    assert (await said("spot", "flat, thin end", "198 F"))[:2] == (Exit.OK, "on record: flat, thin end\n")
    code, out, _ = await said("bread", "by the stack", "4", "--x", "48 in", "--y", "25 cm")
    assert (code, out) == (Exit.OK, "on record, and on the map: by the stack\n")
    code, _, err = await said("bread", "by the stack", "4", "--x", "1.2", "--y", "0.25")
    assert code != Exit.OK
    assert "'1.2' is no length; write a number and its unit" in err, "no config here tells a unit"
    inches = folder / "pit.toml"
    inches.write_text(TEMPLATE)
    words = ("--x", "20", "--y", "10", "-c", str(inches))
    assert (await said("spot", "in the middle", "200 F", *words))[0] == Exit.OK
    assert (await said("bread", "by the stack", "4", "--x", "48 in"))[2].strip().endswith("--x and --y go together")
    zone = PLAN.zones[0]
    assert (await said("bread", zone.name, "2"))[1] == f"on record, and on the map: {zone.name}\n"
    spots = collector.snapshot().spots
    assert [(s.x_m, s.y_m) for s in spots] == [
        (None, None), (pytest.approx(1.2192), 0.25), (pytest.approx(0.508), pytest.approx(0.254)),
        ((zone.x0_m + zone.x1_m) / 2, (zone.y0_m + zone.y1_m) / 2),
    ]  # fmt: skip
    code, out, _ = await said("list", "--unit", "F", "--ascii")
    assert out.isascii()
    assert "wrapped since" in out
    assert "flat, thin end: 198 F" in out
    assert "by the stack: bread 4 of 5" in out

    def all_on_record():  # with the next commit
        with Archive(folder / "s.db") as archive:
            return differences(archive, archive.cook("n")) == []

    await until(all_on_record, every_seconds=0.2)


async def test_a_piece_is_added_described_anew_and_named_where_there_are_several(said):
    words = ("add", "pork", "--part", "middle=meat flat", "--cut", "pork shoulder", "--mass", "8 lb", "--done", "203 F")
    code, _, err = await said(*words)
    assert code == Exit.FAILED
    assert "the probe 'meat flat' is in brisket already" in err
    assert (await said("off", "brisket"))[0] == Exit.OK
    code, out, _ = await said(*words, "--unit", "F")
    assert code == Exit.OK
    assert out.startswith(
        "the cook has the piece pork: cut pork shoulder; species pork; mass 8.0 lb; part middle probe meat "
    )
    assert "not said" not in out
    assert "when it is cooled: FDA Food Code 3-501.14: 135 to 70 °F within 2 h, to 41 °F within 6 h in all" in out
    assert "served" not in out
    code, _, err = await said("on")
    assert code != Exit.OK
    assert "which piece? there is brisket, pork" in err
    assert (await said("on", "pork"))[0] == Exit.OK
    code, out, _ = await said("list", "--json")
    document = json.loads(out)
    assert [(m["name"], m["cut"], m["phase"]) for m in document["meat"]] == [
        ("brisket", "brisket", "off"), ("pork", "pork shoulder", "cooking"),
    ]  # fmt: skip


async def test_what_is_not_said_again_of_a_piece_is_kept_and_that_is_told(pit, said, monkeypatch):
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    collector, _ = pit
    was = PLAN.meat[0]
    later = dt.datetime.fromtimestamp(START + 3600.0, dt.UTC).strftime("%H:%M")
    code, out, _ = await said(
        "add", "brisket", "--done", "205 F", "--serve", later, "--cooling", "appendix-b", "--unit", "F"
    )
    assert code == Exit.OK
    changed, kept, *rest = out.splitlines()
    assert "done 205 °F, was" in changed
    assert f"serve {later}" in changed
    assert "cooling USDA FSIS Appendix B, was FDA Food Code 3-501.14" in changed
    assert kept.startswith("  kept: cut brisket; species beef; mass 13.0 lb; ")
    assert any(
        line.startswith("  to be served tomorrow") and "of today would be less than 4 h" in line for line in rest
    )
    piece = collector.snapshot().meat[0].described
    assert [(p.name, p.probe, p.wrap_at) for p in piece.parts] == [(p.name, p.probe, p.wrap_at) for p in was.parts]
    assert piece.mass_kg == was.mass_kg
    assert piece.rest_seconds == was.rest_seconds
    first = was.parts[0].name
    code, out, _ = await said("add", "brisket", "--no-part", first, "--unit", "F")
    assert f"no part {first}, was" in out.splitlines()[0]
    assert [p.name for p in collector.snapshot().meat[0].described.parts] == [p.name for p in was.parts[1:]]
    code, _, err = await said("add", "brisket", "--no-part", "tail")
    assert "there is no part 'tail'" in err
    assert (await said("add", "brisket"))[1].splitlines()[0] == "brisket: changed: nothing"


async def test_a_piece_that_is_added_late_is_told_what_is_assumed(pit, said):
    collector, _ = pit
    assert (await said("off"))[0] == Exit.OK
    for minute in range(1, 61):
        for probe in PLAN.probes:
            celsius = 20.0 + minute / 2 if probe.duty == "meat" else 110.0
            collector._pipeline.take(Reading(probe.source, probe.key, celsius, START + 60.0 * minute))
    code, out, _ = await said("add", "pork", "--part", "middle=meat flat", "--cut", "pork shoulder")
    assert code == Exit.OK
    assert "by its probe it is on for" in out
    assert "say forget, then on" in out
    (piece,) = [m for m in collector.snapshot().meat if m.name == "pork"]
    assert piece.parts[0].danger_seconds > 3000.0
    code, _, err = await said("add", "ham")
    assert "'ham' is no piece of this cook: to add one, say at least one --part" in err
    assert "'brisket' is off: to add one" in (await said("add", "brisket"))[2]


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
