"""The command line as its user meets it: exit codes, one clear line for a mistake, nothing heavy for `--help`."""

import fcntl
import itertools
import json
import os
import pty
import select
import signal
import sqlite3
import subprocess
import sys
import termios
import time
from contextlib import closing

import pytest

from adapters.recording import readings
from collector.engine import Engine
from collector.store.archive import Archive
from collector.straight import run_straight
from tests.waiting import WAIT_SECONDS
from tui.cli import COMMANDS, main
from tui.commands.init import TEMPLATE
from tui.draw.summary import status_lines
from tui.draw.view import View
from tui.exit_codes import Exit
from tui.nights import SOURCE, night_file, night_settings


def coldside(*words, **more):
    return subprocess.run(
        [sys.executable, "-m", "tui.cli", *words], capture_output=True, text=True, timeout=WAIT_SECONDS, **more
    )


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["--version"],
        ["demo", "--help"],
        ["status", "--help"],
        ["calibrate", "ice", "--help"],
        ["paths"],
        ["cook", "split", "--help"],
        ["import", "--help"],
    ],
)
def test_help_imports_nothing_heavy(words):
    code = (
        "import sys\nfrom tui.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print('HEAVY', sorted({'numpy', 'textual', 'bleak', 'aiohttp', 'paho', 'msgspec'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=WAIT_SECONDS)
    assert out.stdout.strip().endswith("HEAVY []"), out.stdout[-300:] + out.stderr[-300:]


@pytest.mark.parametrize("command", ["status", "mark lid", "watch"])
def test_who_asks_a_collector_of_this_machine_loads_neither_the_network_nor_the_config(command, tmp_path):
    """What a dashboard waits for before it can paint: aiohttp alone takes as long as the whole first picture."""
    code = (
        "import sys; from tui.cli import main\n"
        "if sys.argv[1] == 'watch': import tui.app, tui.client, tui.commands.watch\n"
        "else: assert main(sys.argv[1:]) == 69\n"
        "heavy = {'aiohttp', 'aiomqtt', 'bleak', 'sqlite3', 'tomllib', 'collector.settings.shape'}\n"
        "heavy |= {'collector.engine', 'tui.remote_way'}\n"
        "if sys.argv[1] != 'watch': heavy |= {'numpy', 'textual'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    words = command.split() if command == "watch" else [*command.split(), "--socket", "/nowhere/c.sock"]
    told = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=WAIT_SECONDS,
        env={**os.environ, "XDG_CONFIG_HOME": str(tmp_path)},
    )  # fmt: skip
    assert told.stdout == "[]\n", told.stderr


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command, capsys):
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    assert command in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["init", "pit.toml"], "coldside init: error: not understood: pit.toml; a config is named by -c FILE"),
        (["status", "--soket", "x"], "coldside status: error: not understood: --soket x"),
    ],
)
def test_words_that_are_not_understood_are_told_with_the_usage_of_their_command(words, said, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(words)
    told = capsys.readouterr().err
    assert told.startswith(f"usage: coldside {words[0]} ")
    assert told.splitlines()[-1] == said


def test_no_command_shows_help_and_is_wrong_usage(capsys):
    assert main([]) == Exit.USAGE
    assert "COMMAND" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["demo", "--night", "no-such-night"],
        ["demo", "--speed", "fast"],
        ["rehearse", "--speed", "0"],
        ["rehearse", "--speed", "nan"],
        ["rehearse", "--speed", "-5"],
        ["rehearse", "--speed", "inf"],
        ["rehearse", "--seed", "-1"],
        ["rehearse", "--drill", "nan:fire-out"],
        ["mark", ""],
        ["mark", b"\xff"],
        ["collect", "--cook", b"\xff"],
        ["check", "-c", b"/nowhere/\xff"],
        ["cooks", "--store", __file__],
        ["export", b"\xff", "--store", "/nowhere/cooks.db"],
        ["frobnicate"],
        ["check", "-c", "/nowhere/coldside.toml"],
        ["status", "--socket", "/nowhere/c.sock"],
        ["mark", "hello", "--socket", "/nowhere/c.sock"],
        ["cooks", "--store", "/nowhere/cooks.db"],
        ["export", "x", "--store", "/nowhere/cooks.db"],
        ["rehearse", "-c", "/nowhere/coldside.toml", "--plain"],
        ["rehearse", "--drill", "soon:fire-out"],
        ["collect", "-c", "/nowhere/coldside.toml"],
    ],
)
def test_a_mistake_is_one_clear_line_and_never_a_traceback(words):
    out = coldside(*words)
    assert out.returncode not in (0, 1), out
    assert "Traceback" not in out.stderr
    assert out.stderr.strip()


def test_exit_codes_by_kind():
    assert coldside("status", "--socket", "/nowhere/c.sock").returncode == Exit.NO_COLLECTOR
    assert coldside("check", "-c", "/nowhere/c.toml").returncode == Exit.CONFIG
    assert coldside("cooks", "--store", "/nowhere/c.db").returncode == Exit.STORE
    wrong = coldside("cooks", "--store", "/nowhere/c.db", "--json")
    assert json.loads(wrong.stdout)["exit"] == Exit.STORE


def test_init_then_check_then_init_again(tmp_path):
    config = tmp_path / "pit" / "coldside.toml"
    assert coldside("init", "-c", str(config)).returncode == Exit.OK
    good = coldside("check", "-c", str(config))
    assert good.returncode == Exit.OK
    assert "all right" in good.stdout
    before = config.read_text()
    assert coldside("init", "-c", str(config)).returncode == Exit.FAILED
    assert config.read_text() == before
    config.write_text(before.replace("width = 20", "widht = 20"))
    bad = coldside("check", "-c", str(config))
    assert bad.returncode == Exit.CONFIG
    assert f"{config}:7: chamber.widht" in bad.stderr
    as_json = json.loads(coldside("check", "-c", str(config), "--json").stdout)
    assert {p["key"] for p in as_json["problems"]} == {"chamber.widht", "chamber.width"}


def test_the_meat_of_the_template_is_understood_and_check_tells_how(tmp_path, capsys):
    config = tmp_path / "coldside.toml"
    begins = TEMPLATE.index('# [[probe]]\n# name = "brisket flat"')
    ends = TEMPLATE.index("# Parts of the grate")
    head, meat, rest = TEMPLATE[:begins], TEMPLATE[begins:ends], TEMPLATE[ends:]
    opened = "".join(
        line.removeprefix("# ") if line.startswith("# ") and not line.startswith("# A piece") else line
        for line in meat.splitlines(keepends=True)
    )
    config.write_text(head + opened + rest)
    assert main(["check", "-c", str(config), "--file-only"]) == Exit.OK
    out = capsys.readouterr().out
    for words in (
        "meat brisket: brisket, beef", "mass: 13.0 lb", "whole: injected, bladed, tied open or ground",
        "place: 14-38 in from the fire end, 5-15 in from the back",
        "part flat: probe brisket flat, wrap 165 °F, done 203 °F",
        "part point: probe brisket point, wrap 165 °F, done 205 °F", "serve: 13:00 by this machine's clock, the first",
        "hold: 135 °F", "cooling: FDA Food Code 3-501.14: 135 to 70 °F within 2 h",
    ):  # fmt: skip
        assert words in out, words
    assert main(["check", "-c", str(config), "--file-only", "--json"]) == Exit.OK
    (piece,) = json.loads(capsys.readouterr().out)["meat"]
    assert [part["probe"] for part in piece["parts"]] == ["brisket flat", "brisket point"]
    assert piece["cooling"] == "food-code"


def test_paths_as_json_and_from_the_environment(tmp_path):
    env = {**os.environ, "COLDSIDE_CONFIG": str(tmp_path / "x.toml"), "STATE_DIRECTORY": str(tmp_path)}
    out = json.loads(coldside("paths", "--json", env=env).stdout)
    assert out["config"] == {"path": str(tmp_path / "x.toml"), "exists": False}
    assert out["store"]["path"] == str(tmp_path / "cooks.db")


def test_completion_names_the_command_that_is_typed():
    for shell in ("bash", "zsh", "fish"):
        out = coldside("completion", shell)
        assert out.returncode == 0
        assert "coldside" in out.stdout
        assert "rehearse" in out.stdout


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    store = tmp_path_factory.mktemp("demo") / "demo.db"
    out = coldside("demo", "--night", "stack-before", "--json", "--store", str(store))
    assert out.returncode == 0, out.stderr
    return json.loads(out.stdout), store


def test_the_demo_as_one_document(demo):
    document, _ = demo
    assert document["schema"] == 1
    assert {t["key"] for t in document["alarm_log"] if t["after"] == "unacknowledged"} == {"cold-spot/stack end"}
    assert sum(document["qualities"].values()) == document["readings"] > 100_000
    assert len(document["end"]["zones"]) == 7


def test_the_demo_is_on_record(demo):
    document, store = demo
    listed = json.loads(coldside("cooks", "--store", str(store), "--json").stdout)
    assert listed["cooks"][0]["readings"] == document["readings"]


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """The first hour of a night on record: its readings and its store."""
    store = tmp_path_factory.mktemp("evening") / "s.db"
    some = itertools.islice(readings(night_file("stack-before"), SOURCE), 11_000)
    return run_straight(night_settings().plan, some, store, cook="evening").readings, store


def test_a_cook_replays_and_is_exported(evening, tmp_path):
    count, store = evening
    replay = coldside("cooks", "--store", str(store), "--replay", "last")
    assert replay.returncode == 0
    assert "the same alarm log" in replay.stdout
    csv = tmp_path / "night.csv"
    assert coldside("export", "last", "--store", str(store), "-o", str(csv)).returncode == 0
    with csv.open() as file:
        assert file.readline().startswith("time_utc,probe,source,key,raw_celsius,quality")
        assert sum(1 for _ in file) == count
    again = coldside("export", "last", "--store", str(store), "-o", str(csv))
    assert again.returncode == 1, "an export never writes over a file"
    assert again.stderr == f"coldside: {csv} is there already; it is left as it is\n"


def test_an_export_in_sensml_plays_again_to_the_same_values(evening, tmp_path):
    _, store = evening
    out = tmp_path / "night.sensml"
    assert coldside("export", "last", "--store", str(store), "--format", "sensml", "-o", str(out)).returncode == 0
    with Archive(store) as archive:
        cook = archive.cook("last")
        rows = [(row[0] >> 12, row[2]) for row in archive.rows(cook) if row[2] is not None]
    again = [(round(r.received_unix * 1000), round(r.celsius * 1000)) for r in readings(out)]
    assert again == rows


def test_paths_that_are_not_text_are_printed_all_the_same():
    out = coldside("paths", "-c", b"/nowhere/\xff")
    assert out.returncode == 0, out.stderr
    assert "/nowhere/\\udcff" in out.stdout


def test_no_collector_is_said_in_a_cooks_words(capsys):
    assert main(["mark", "wrapped", "--socket", "/nowhere/c.sock"]) == Exit.NO_COLLECTOR
    said = capsys.readouterr().err
    assert said == "coldside: no collector answers at /nowhere/c.sock; is `coldside collect` running?\n"


@pytest.mark.parametrize(
    "script",
    ["CREATE TABLE song (name TEXT)", "PRAGMA user_version = 1; CREATE TABLE cook (x)", "PRAGMA user_version = 9"],
)
@pytest.mark.parametrize("words", [["cooks"], ["export", "last"], ["cooks", "--replay", "last"]])
def test_a_foreign_database_is_no_store(tmp_path, script, words, capsys):
    with closing(sqlite3.connect(tmp_path / "songs.db")) as database:
        database.executescript(script)
    assert main([*words, "--store", str(tmp_path / "songs.db")]) == Exit.STORE
    assert "is no store of coldside" in capsys.readouterr().err


def test_a_damaged_store_is_told(demo, tmp_path, capsys):
    _, store = demo
    damaged = tmp_path / "damaged.db"
    pages = bytearray(store.read_bytes())
    pages[4096 * 4 :] = b"\x55" * (len(pages) - 4096 * 4)
    damaged.write_bytes(pages)
    assert main(["cooks", "--store", str(damaged)]) == Exit.STORE
    assert "cannot be read" in capsys.readouterr().err


def test_a_count_of_one_is_singular(tmp_path, capsys):
    config = tmp_path / "pit.toml"
    assert main(["init", "-c", str(config)]) == Exit.OK
    assert main(["check", "-c", str(config)]) == Exit.OK
    assert "  1 source, 4 probes, 3 zones\n" in capsys.readouterr().out


def test_a_probe_never_heard_is_not_called_uncertain_for_no_reason():
    snapshot = Engine(night_settings().plan, "n", 1_790_000_000.0).snapshot()
    lines = [line for line in status_lines(snapshot, View(fahrenheit=False)) if line.startswith("probe ")]
    assert lines
    assert all(line.endswith("never heard") for line in lines), lines


def dashboard(words, tmp_path):
    """Start a dashboard on a pseudo-terminal; give process, terminal and the terminal's state before."""
    master, slave = pty.openpty()
    before = termios.tcgetattr(master)
    process = subprocess.Popen(
        [sys.executable, "-m", "tui.cli", *words], stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color", "TMPDIR": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path)},
    )  # fmt: skip
    os.close(slave)
    return process, master, before


def read_on(master, until):
    """Read what the terminal gets until it holds some bytes or the program has let go of it."""
    got, end = b"", time.monotonic() + WAIT_SECONDS
    while time.monotonic() < end and until not in got:
        if select.select([master], [], [], 0.05)[0]:
            try:
                got += os.read(master, 65536)
            except OSError:
                break
    return got


@pytest.mark.parametrize(
    ("words", "number"),
    [(["demo"], signal.SIGTERM), (["demo"], signal.SIGHUP), (["watch", "--socket", "/nowhere/c"], signal.SIGTERM)],
)
def test_a_signal_leaves_terminal_and_disk_as_they_were(words, number, tmp_path):
    process, master, before = dashboard(words, tmp_path)
    try:
        assert b"\x1b[?1049h" in read_on(master, b"\x1b[?2004h"), "the last thing set up is how text is pasted"
        during = termios.tcgetattr(master)
        process.send_signal(number)
        rest = read_on(master, b"\x1b[?1004l")
        assert process.wait(WAIT_SECONDS) == 128 + number
        assert during != before, "or there was nothing to put back"
        assert termios.tcgetattr(master) == before
        assert b"\x1b[?1049l" in rest
        assert b"\x1b[?25h" in rest
        assert list(tmp_path.glob("coldside-*")) == []
    finally:
        process.kill()
        process.wait()
        os.close(master)


@pytest.mark.parametrize("how", ["asked", "its terminal closes"])
def test_collect_stops_when_asked_or_when_its_terminal_closes(how, tmp_path):
    config, path, log = tmp_path / "pit.toml", tmp_path / "c.sock", tmp_path / "log"
    assert main(["init", "-c", str(config)]) == Exit.OK
    config.write_text(config.read_text().replace('host = "localhost"', 'host = "127.0.0.1"\nport = 9'))
    words = ["collect", "-c", str(config), "--store", str(tmp_path / "c.db"), "--socket", str(path)]
    terminal, its_end = pty.openpty()
    with log.open("w") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "tui.cli", *words], stdin=its_end, stderr=said, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )  # fmt: skip
    os.close(its_end)
    try:
        end = time.monotonic() + WAIT_SECONDS
        while not path.exists() and process.poll() is None and time.monotonic() < end:
            time.sleep(0.05)
        if how == "asked":
            process.terminate()
        else:
            os.close(terminal)
        assert process.wait(WAIT_SECONDS) == Exit.OK, log.read_text()
    finally:
        process.kill()
        process.wait()
        if how == "asked":
            os.close(terminal)
    assert not path.exists()


def test_a_demo_is_not_put_into_a_store_that_goes_on_later(evening):
    _, store = evening
    again = coldside("demo", "--headless", "--night", "stack-before", "--store", str(store))
    assert again.returncode == 74
    assert "a recording is kept in a store of its own" in again.stderr
