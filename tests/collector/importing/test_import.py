"""Files from elsewhere: taken whole, or refused with where and how to mend it; never by half."""

import contextlib
import gzip
import hashlib
import json
import signal
import subprocess
import sys
import zipfile
from importlib.resources import files

import cbor2
import pytest

from collector.importing.values import number, unit_in_name
from collector.replay import cut_off, differences
from collector.store.archive import Archive
from collector.store.database import Database
from collector.store.editor import Editor
from collector.store.upkeep import check
from tests.collector.stores import HOUR, START, asked, cook_one, copied, strays
from tests.waiting import WAIT_SECONDS
from tui.cli import main

PIT = str(files("sample_streams") / "pit.toml")
T = "2026-05-01T20:00:00Z"
HEAD = "time,grate point,meat flat\n"
C = ["--unit", "C"]
FALL = "time,grate point\n2025-11-02 01:20,100\n2025-11-02 01:30,101\n2025-11-02 01:30,102\n2025-11-02 02:10,102\n"
CHICAGO = ["--timezone", "America/Chicago", *C]
WARM = "time,grate point\n" + "".join(f"2026-05-01T20:{m:02d}:00Z,{225 + m % 3}\n" for m in range(30))


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    path = tmp_path_factory.mktemp("two") / "cooks.db"
    for k, name in enumerate(("first", "second")):
        cook_one(path, name, START + k * 20 * HOUR)
    with Editor(path) as editor:
        first = editor.record.cook("first")
        editor.tag(first, "oak")
        editor.note(first, "windy")
        editor.photo(first, "x.jpg", b"\xff\xd8\xff\xe0 and so on", "bark")
    return path


@pytest.fixture(scope="module")
def whole(two, tmp_path_factory):
    path = tmp_path_factory.mktemp("whole") / "first.zip"
    assert main(["export", "first", "--store", str(two), "--format", "zip", "-o", str(path)]) == 0
    return path


@pytest.fixture
def taken(tmp_path, capsys):
    """Import a file of this content; give exit code, what was said, and the store."""

    def take(content, *words, name="f.csv", store=None):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        store = store or tmp_path / "new.db"
        capsys.readouterr()
        places = [] if "--no-places" in words else ["-c", PIT]
        code = main(["import", str(path), "--store", str(store), *places, *words])
        out = capsys.readouterr()
        return code, out.err or out.out, store

    return take


def values(store):
    with Archive(store) as a:
        names = {(p.source, p.key): p.name for p in a.plans(a.cook("last"))[0][1].probes}
        series = a.series()
        return [(names[series[r[1]]], r[0] >> 12, r[2]) for r in a.rows(a.cook("last"))]


MAY = 1_777_665_600_000


@pytest.mark.parametrize(
    ("content", "words", "name"),
    [
        (f"{HEAD}{T},100.5,5\n", C, "f.csv"),
        (f"\N{BYTE ORDER MARK}{HEAD}{T},100.5,5\n", C, "f.csv"),
        (f"{HEAD}{T},100.5,5\n".replace(",", ";").replace("\n", "\r\n"), C, "f.csv"),
        (f"{HEAD}{T},100.5,5\n".replace(",", ";").replace(".5", ",5"), [*C, "--decimal", ","], "f.csv"),
        (f"time\tgrate point (°C)\tmeat flat [°F]\n{T}\t100.5\t41\n", [], "f.csv"),
        (gzip.compress(f"{HEAD}{T},100.5,5\n".encode(), mtime=0), C, "f.csv.gz"),
        (f"A,B,C,when\n100.5,5,x,{T}\n",
         ["--probe", "A=grate point", "--probe", "B=meat flat", "--time-column", "when", *C], "f.csv"),
        (f"time,sensor,value\n{T},grate point,100.5\n{T},meat flat,5\n", ["--probe-column", "sensor", *C], "f.csv"),
        (f"time,id,t\n{T},1,100.5\n{T},2,5\n",
         ["--probe-column", "id", "--value-column", "t", "--probe", "1=grate point", "--probe", "2=Meat Flat", *C],
         "f.csv"),
        ("logger 7\n\ntime,grate point,meat flat\n01.05.2026 15:00,100.5,5\n",
         ["--skip-lines", "2", "--time-format", "%d.%m.%Y %H:%M", *CHICAGO], "f.csv"),
        ("date,time,grate point,meat flat\n2026-05-01,20:00,100.5,5\n",
         ["--date-column", "date", "--timezone", "UTC", *C], "f.csv"),
        (f"time,grate point,meat flat\n{MAY},100.5,\n{MAY // 1000}.000,,5\n", C, "f.csv"),
        ('[{"bt":1777665600,"n":"grate-point","u":"Cel","v":100.5},\n{"n":"meat-flat","u":"Cel","v":5}]', [],
         "f.sensml"),
        ('[\n {"bt":1777665600,\n"n":"grate-point","u":"Cel","v":100.5}, {"n":"meat-flat","u":"K","v":278.15}]', [],
         "f.json"),
        (cbor2.dumps([{-3: MAY // 1000, 0: "grate-point", 1: "Cel", 2: 100.5}, {0: "meat-flat", 1: "Cel", 2: 5}]), [],
         "f.cbor"),
    ],
)  # fmt: skip
def test_however_it_is_written_it_is_the_same_two_readings(taken, content, words, name):
    code, said, store = taken(content, *words, name=name)
    assert code == 0, said
    assert "2 readings" in said
    assert values(store) == [("grate point", MAY, 100_500), ("meat flat", MAY, 5_000)]
    assert (check(store).complaints, strays(store)) == ((), 0)


@pytest.mark.parametrize(
    ("content", "words", "why"),
    [
        ("", C, "f.csv: is empty"),
        (HEAD, C, "no reading in it"),
        (f"{HEAD}{T},100,5\n", [], "column 'grate point': in which unit is it? --unit F, or --unit C"),
        (f"{HEAD}yesterday,100,5\n", C, "f.csv:2: column 'time': 'yesterday' is no time"),
        (f"{HEAD}2026-05-01 20:00,100,5\n", C, "f.csv:2: column 'time': 2026-05-01 20:00:00 tells no zone"),
        (f"{HEAD}{T},100,5\n", [*C, "--timezone", "Mars/Olympus"], "there is no time zone 'Mars/Olympus'"),
        (f"{HEAD}{T},100,5\n{T[:-3]}20Z,100,x5\n", C, "f.csv:3: column 'meat flat': 'x5' is no number"),
        (f"{HEAD}{T},100,1e9\n", C, "'1e9' is no temperature"),
        (f"{HEAD}{T};100,5;5\n".replace(HEAD, HEAD.replace(",", ";")), C,
         "'100,5' is no number; with a decimal comma say"),
        (f"{HEAD}{T},100,5,5,1\n", C, "f.csv:2: 5 fields, and the header has 3; do the numbers have decimal commas?"),
        (f"time,foo\n{T},100\n", C, "no column is a probe of the config: there is foo"),
        (f"time,sensor,value\n{T},zzz,100\n", [*C, "--probe-column", "sensor"],
         "f.csv:2: column 'sensor': 'zzz' is no probe"),
        (f"{HEAD}{T},100,5\n", [*C, "--probe", "grate point=nix"],
         "the config has no probe 'nix'; it has grate fire back"),
        (f"{HEAD}{T[:-3]}10Z,100,5\n{T},101,5\n", C, "f.csv:3: grate-point: time goes back by 10.000 s; --sort"),
        (f"{HEAD}{T},100,5\n{T},101,5\n", C, "f.csv:3: grate-point has a second value at one time"),
        (f"{HEAD}{T}/100/5\n".replace(HEAD, HEAD.replace(",", "/")), C, "one column only"),
        (f"{HEAD}{T},100,5\n".encode("utf-16"), C, "is UTF-16; save it as UTF-8"),
        ("time,Fühler\n".encode("latin-1"), C, "f.csv:1: byte 7 is not UTF-8 (0xfc)"),
        (b"time,grate point\n\0,1\n", C, "f.csv:2: holds a NUL"),
        (FALL, CHICAGO, "f.csv:2: column 'time': 2025-11-02 01:20:00 came twice"),
        ("time,grate point\n2026-03-08 02:30,100\n", CHICAGO, "was never: clocks went forward"),
        (WARM, C, "that looks like °F: --unit F, or --sure"),
        (WARM.replace(",22", ",10"), ["--unit", "F"], "that looks like °C: --unit C, or --sure"),
        (WARM.replace("point", "point (°C)"), ["--unit", "F"], "its name says °C, and --unit F; which is it?"),
        (f"time,grate point,grate point\n{T},1,2\n", C, "f.csv:1: column 'grate point': stands twice"),
        (f'{HEAD}{T},"100,5\n', C, "f.csv:2: is not CSV"),
        ("time,grate point\n2036-05-01T20:00:00Z,100\n", C, "in the future by this machine's clock"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_with_where_and_how_to_mend_it(taken, content, words, why):
    code, said, store = taken(content, *words)
    assert code == 1
    assert why in said
    assert not store.exists(), "and nothing is left behind"


@pytest.mark.parametrize(
    ("content", "name", "why"),
    [
        ('[{"n":"grate-point","u":"Cel","v":100}]', "f.sensml", "f.sensml:1: grate-point has a time relative to now"),
        ('[{"bt":1777665600,"n":"grate-point","u":"Cel","v":1},\n{"n":"gra', "f.sensml", "f.sensml:2: SensML line"),
        ('[{"bt":1777665600,"n":"nix","u":"Cel","v":1}]', "f.sensml", "f.sensml:1: nix: 'nix' is no probe"),
        ('[{"bt":1e300,"n":"grate-point","u":"Cel","v":100}]', "f.sensml", "a time of 1e+300 s since 1970"),
        (b"\x9f\xff\x00", "f.cbor", "bytes after its end"),
        ("nix", "f.zip", "is no ZIP file"),
    ],
)
def test_other_files_are_refused_as_clearly(taken, content, name, why):
    code, said, store = taken(content, name=name)
    assert (code, why in said) == (1, True), said
    assert not store.exists()


def test_a_value_beyond_every_temperature_is_taken_as_the_hottest_on_record(taken):
    code, said, store = taken('[{"bt":1777665600,"n":"grate-point","u":"Cel","v":-1.7e308}]', name="f.sensml")
    assert code == 0, said
    assert values(store) == [("grate point", MAY, -10_000_000)]


def test_where_clocks_were_set_back_the_order_of_lines_may_tell(taken):
    code, said, store = taken(FALL, *CHICAGO, "--fold", "order")
    assert code == 0, said
    assert [(ms - 1_762_064_400_000) / 60_000 for _, ms, _ in values(store)] == [0.0, 10.0, 70.0, 110.0]


def test_a_mapping_may_be_written_down(taken, tmp_path):
    (tmp_path / "map.toml").write_text('time = "when"\nunit = "C"\n[probes]\nA = "grate point"\nB = "meat flat"\n')
    code, said, store = taken(f"when,A,B,C\n{T},100.5,5,1\n", "--map", str(tmp_path / "map.toml"))
    assert code == 0, said
    assert "not taken: C" in said
    assert values(store) == [("grate point", MAY, 100_500), ("meat flat", MAY, 5_000)]
    (tmp_path / "map.toml").write_text('tyme = "when"\n')
    code, said, _ = taken("x", "--map", str(tmp_path / "map.toml"))
    assert "unknown field `tyme`; a mapping knows time, date" in said


def test_units_in_names_and_numbers_of_others():
    assert unit_in_name("grate (°F)") == ("grate", "F")
    assert unit_in_name("Grate_degC") == ("Grate", "C")
    assert unit_in_name("meat °c") == ("meat", "C")
    assert unit_in_name("Celsius probe") == ("Celsius probe", "")
    assert unit_in_name("probe C") == ("probe C", ""), "that is its name"
    assert number(" 1e2 ", ".", ()) == 100.0
    for wrong in ("1.234,5", "10.5x", "1,5,5"):
        with pytest.raises(ValueError, match="is no number"):
            number(wrong, ",", ())
    assert number("107,5", ",", ()) == 107.5


def test_no_value_is_on_record_as_none_and_an_empty_field_as_nothing(taken):
    code, _, store = taken(f"{HEAD}{T},--,\n{T[:-3]}10Z,101,5\n", *C)
    assert code == 0
    assert [(name, value) for name, _, value in values(store)] == [
        ("grate point", None), ("grate point", 101_000), ("meat flat", 5_000),
    ]  # fmt: skip


def test_without_a_config_it_asks_for_the_places_or_takes_curves_alone(taken, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "nothing"))
    (tmp_path / "f.csv").write_text(f"time,left,right\n{T},100,5\n")
    assert main(["import", str(tmp_path / "f.csv"), "--store", str(tmp_path / "x.db"), *C]) == 1
    assert "where do its probes lie?" in capsys.readouterr().err
    code, said, store = taken(f"time,left,right\n{T},100,5\n", "--no-places", *C)
    assert code == 0, said
    with Archive(store) as a:
        plan = a.plans(a.cook("last"))[0][1]
        assert [(p.name, p.x_m) for p in plan.probes] == [("left", None), ("right", None)]
        assert differences(a, a.cook("last")) == []


def test_a_whole_cook_comes_back_as_it_was(two, whole, tmp_path, capsys):
    store = tmp_path / "new.db"
    assert main(["import", str(whole), "--store", str(store), "--dry-run"]) == 0
    assert "would be imported as first" in capsys.readouterr().out
    assert not store.exists()
    assert main(["import", str(whole), "--store", str(store)]) == 0
    with Archive(two) as there, Archive(store) as here:
        was, cook = there.cook("first"), here.cook("first")
        assert (cook.tags, cook.notes, cook.photos, cook.imported) == (("oak",), ("windy",), 1, True)
        assert (cook.started_unix, cook.ended_unix, cook.readings) == (was.started_unix, was.ended_unix, was.readings)
        for told in (Archive.actions, Archive.vitals, Archive.alarm_log, Archive.marks, Archive.trend, Archive.plans):
            assert repr(told(here, cook)) == repr(told(there, was))
        assert here.picture(here.photos(cook)[0]) == there.picture(there.photos(was)[0])
        assert differences(here, cook) == []
        assert here.calibrations() == [], "a probe of that name elsewhere is another probe"
        assert [e.kind for e in here.edits(cook)] == ["import"]
        assert [e["kind"] for e in json.loads(here.origin(cook))["edits"]] == ["tag", "note", "photo"]
    again = tmp_path / "again.zip"
    assert main(["export", "first", "--store", str(store), "--format", "zip", "-o", str(again)]) == 0
    with zipfile.ZipFile(whole) as a, zipfile.ZipFile(again) as b:
        for name in set(a.namelist()) - {"cook.json"}:
            assert a.read(name) == b.read(name), name
    assert (check(store).complaints, strays(store)) == ((), 0)


@pytest.mark.parametrize("form", ["csv", "sensml"])
def test_readings_alone_come_back_to_the_same_file_and_alarms(two, tmp_path, form, capsys):
    """But for what else the engine was told: there is none in a cook without actions."""
    plain = tmp_path / f"x.{form}"
    assert main(["export", "second", "--store", str(two), "--format", form, "-o", str(plain)]) == 0
    store = tmp_path / "new.db"
    assert main(["import", str(plain), "--store", str(store), "-c", PIT, "--name", "again"]) == 0
    with Archive(two) as there, Archive(store) as here:
        rows, again = list(there.rows(there.cook("second"))), list(here.rows(here.cook("again")))
        names, theirs = there.series(), here.series()
        assert [(r[0] >> 12, names[r[1]], r[2], r[3] & 0xFFF, r[4]) for r in rows] == [
            (r[0] >> 12, theirs[r[1]], r[2], r[3] & 0xFFF, r[4]) for r in again
        ]
        assert differences(here, here.cook("again")) == []


def test_a_half_that_was_split_off_says_what_its_replay_cannot_tell(two, tmp_path):
    store = copied(two, tmp_path / "s.db")
    with Editor(store) as editor:
        second = editor.record.cook("second")
        editor.split(second, second.started_unix + 600.0)
    half, new = tmp_path / "half.zip", tmp_path / "new.db"
    assert main(["export", "second-2", "--store", str(store), "--format", "zip", "-o", str(half)]) == 0
    assert main(["import", str(half), "--store", str(new)]) == 0
    with Archive(new) as a:
        assert (len(cut_off(a, a.cook("second-2"))), differences(a, a.cook("second-2"))) == (1, [])


def test_what_overlaps_is_refused_and_a_gap_is_filled(two, whole, tmp_path, capsys):
    store = copied(two, tmp_path / "s.db")
    before = asked(store, "SELECT * FROM reading")
    assert main(["import", str(whole), "--store", str(store), "--name", "x"]) == 1
    assert "overlaps with the cook 'first', 2026-02-02 02:40 UTC to" in capsys.readouterr().err
    with Editor(store) as editor:
        editor.delete(editor.record.cook("first"))
    assert main(["import", str(whole), "--store", str(store)]) == 0
    assert asked(store, "SELECT id, millicelsius, flags, source_ms FROM reading") == [
        (r[0], r[2], r[3], r[4]) for r in before
    ]
    with Archive(store) as a:
        assert [c.name for c in a.cooks()] == ["first", "second"]
        for cook in a.cooks():
            assert differences(a, cook) == []
        assert len(a.calibrations()) == 2, "those of a cook that was here say something of the probes here"
    assert (check(store).complaints, strays(store)) == ((), 0)
    cook_one(store, "third", START + 40 * HOUR, seconds=60)
    between = f"time,grate point\n{'2026-02-02T10:00:00Z'},100\n"
    (tmp_path / "b.csv").write_text(between)
    assert main(["import", str(tmp_path / "b.csv"), "--store", str(store), "-c", PIT, *C]) == 0
    with Archive(store) as a:
        assert [c.readings for c in a.cooks()] == [a.cook("first").readings, 1, a.cook("second").readings,
                                                    a.cook("third").readings]  # fmt: skip
        assert differences(a, a.cook("first")) == []


def test_a_running_collector_keeps_the_store_to_itself(two, whole, tmp_path, capsys):
    store = copied(two, tmp_path / "s.db")
    with Editor(store) as editor:
        editor.delete(editor.record.cook("first"))
    with contextlib.closing(Database(store)):
        assert main(["import", str(whole), "--store", str(store)]) == 74
        assert "another collector is writing here" in capsys.readouterr().err
    assert asked(store, "SELECT name FROM cook") == [("second",)]


@pytest.mark.parametrize(
    "how", ["a bit", "a member less", "a later version", "another cook's table", "before the cook"]
)
def test_a_file_that_was_tampered_with_is_refused_and_leaves_nothing(whole, tmp_path, how, capsys):
    with zipfile.ZipFile(whole) as file:
        members = {name: file.read(name) for name in file.namelist()}
    if how == "a bit":
        members["readings.csv"] = members["readings.csv"].replace(b"110", b"111", 1)
    elif how == "a member less":
        del members["photos/1.jpg"]
    elif how == "a later version":
        members["cook.json"] = members["cook.json"].replace(b'"version": 1', b'"version": 2')
    elif how == "another cook's table":
        members["marks.csv"] += b"2026-02-02T02:40:00.000Z,split,more\n"
    else:
        members["cook.json"] = members["cook.json"].replace(b'"started_ms": 1770', b'"started_ms": 1771')
    bad, store = tmp_path / "bad.zip", tmp_path / "new.db"
    with zipfile.ZipFile(bad, "w") as file:
        for name, content in members.items():
            file.writestr(name, content)
    assert main(["import", str(bad), "--store", str(store)]) == 1
    assert capsys.readouterr().err.startswith("coldside: bad.zip/")
    assert not store.exists() or asked(store, "SELECT count(*) FROM cook") == [(0,)]


KILLED = """
import os, signal, sys
from collector.pipeline import Pipeline
from collector.importing import cook_file, intake
from tui.cli import main
cook_file.ROWS_AT_A_TIME = intake.ROWS_AT_A_TIME = 100
from collector.store.database import Database
left, write = int(sys.argv[1]), Database.write
def some(self, cook, batch):
    global left
    left -= 1
    if left < 0:
        os.kill(os.getpid(), signal.SIGKILL)
    write(self, cook, batch)
Database.write = some
sys.exit(main(sys.argv[2:]))
"""


def test_killed_in_the_middle_nothing_is_there(two, whole, tmp_path):
    store = copied(two, tmp_path / "s.db")
    with Editor(store) as editor:
        editor.delete(editor.record.cook("first"))
    before = asked(store, "SELECT count(*) FROM reading"), asked(store, "SELECT * FROM cook")
    words = ["import", str(whole), "--store", str(store)]
    done = subprocess.run([sys.executable, "-c", KILLED, "3", *words], timeout=WAIT_SECONDS, capture_output=True)
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    assert (asked(store, "SELECT count(*) FROM reading"), asked(store, "SELECT * FROM cook")) == before
    assert strays(store) == 0
    assert main(words) == 0
    with Archive(store) as a:
        assert differences(a, a.cook("first")) == []


def test_a_disk_that_is_full_leaves_the_record_as_it_was(two, whole, tmp_path):
    store = copied(two, tmp_path / "s.db")
    with Editor(store) as editor:
        editor.delete(editor.record.cook("first"))
    before = asked(store, "SELECT count(*) FROM reading"), asked(store, "SELECT * FROM cook")
    done = subprocess.run(
        ["bash", "-c", 'trap "" XFSZ; ulimit -f 60; exec "$@"', "-", sys.executable, "-m", "tui.cli",
         "import", str(whole), "--store", str(store)],
        capture_output=True, text=True, timeout=WAIT_SECONDS,
    )  # fmt: skip
    assert done.returncode == 74, done.stderr
    assert "Traceback" not in done.stderr
    assert (asked(store, "SELECT count(*) FROM reading"), asked(store, "SELECT * FROM cook")) == before
    assert (check(store).complaints, strays(store)) == ((), 0)


def with_member(whole, path, name, content):
    """Write the ZIP again with another member, its hash made right."""
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        document = json.loads(old.read("cook.json"))
        document["files"][name] = hashlib.sha256(content).hexdigest()
        for member in old.namelist():
            fresh = {"cook.json": json.dumps(document).encode(), name: content}.get(member)
            new.writestr(member, old.read(member) if fresh is None else fresh)
    return path


BOMBS = {
    "one line without an end": lambda: b"time_utc,kind,text\n" + b"x" * 200_000_000,
    "ever more rows, the last of them wrong": lambda: (
        b"time_utc,kind,text\n" + b"2030-01-01T00:00:00.000Z,note,x\n" * 3_000_000 + b"no time,note,x\n"
    ),
}


@pytest.mark.parametrize("kind", BOMBS)
def test_a_small_file_that_unpacks_to_very_much_is_refused_in_little_memory(whole, tmp_path, kind):
    bomb = with_member(whole, tmp_path / "bomb.zip", "marks.csv", BOMBS[kind]())
    assert bomb.stat().st_size < 1_500_000
    words = ["import", str(bomb), "--store", str(tmp_path / "new.db")]
    code = "import sys; from tui.cli import main; code = main(sys.argv[1:]); "
    code += "print(next(s.split()[1] for s in open('/proc/self/status') if s.startswith('VmHWM'))); sys.exit(code)"
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "marks.csv" in done.stderr
    assert int(done.stdout.split()[-1]) < 150_000, "kilobytes; a Python with coldside loaded takes a third of it"
    assert not (tmp_path / "new.db").exists()
