"""The command line as its user meets it: exit codes, one clear line for a mistake, nothing heavy for `--help`."""

import json
import subprocess
import sys

import pytest

from tui.cli import COMMANDS, main
from tui.exit_codes import Exit


def coldside(*words, **more):
    return subprocess.run([sys.executable, "-m", "tui.cli", *words], capture_output=True, text=True, timeout=60, **more)


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["demo", "--help"], ["status", "--help"], ["paths"]])
def test_help_imports_nothing_heavy(words):
    code = (
        "import sys\nfrom tui.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print('HEAVY', sorted({'numpy', 'textual', 'bleak', 'aiohttp', 'paho', 'msgspec'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60)
    assert out.stdout.strip().endswith("HEAVY []"), out.stdout[-300:] + out.stderr[-300:]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command, capsys):
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    assert command in capsys.readouterr().out


def test_no_command_shows_help_and_is_wrong_usage(capsys):
    assert main([]) == Exit.USAGE
    assert "COMMAND" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["demo", "--night", "no-such-night"],
        ["demo", "--speed", "fast"],
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


def test_paths_as_json_and_from_the_environment(tmp_path):
    import os

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


def test_the_demo_is_on_record_replays_and_is_exported(demo, tmp_path):
    document, store = demo
    listed = json.loads(coldside("cooks", "--store", str(store), "--json").stdout)
    assert listed["cooks"][0]["readings"] == document["readings"]
    replay = coldside("cooks", "--store", str(store), "--replay", "last")
    assert replay.returncode == 0
    assert "the same alarm log" in replay.stdout
    csv = tmp_path / "night.csv"
    assert coldside("export", "last", "--store", str(store), "-o", str(csv)).returncode == 0
    with csv.open() as file:
        assert file.readline().startswith("time_utc,probe,source,key,raw_celsius,quality")
        assert sum(1 for _ in file) == document["readings"]
    again = coldside("export", "last", "--store", str(store), "-o", str(csv))
    assert again.returncode == 1, "an export never writes over a file"
    assert "Traceback" not in again.stderr


def test_an_export_in_sensml_plays_again_to_the_same_values(demo, tmp_path):
    from adapters.recording import readings
    from collector.store.archive import Archive

    _, store = demo
    out = tmp_path / "night.sensml"
    assert coldside("export", "last", "--store", str(store), "--format", "sensml", "-o", str(out)).returncode == 0
    with Archive(store) as archive:
        cook = archive.cook("last")
        rows = [(row[0] >> 12, row[2]) for row in archive.rows(cook) if row[2] is not None]
    again = [(round(r.received_unix * 1000), round(r.celsius * 1000)) for r in readings(out)]
    assert again == rows


def test_headless_text_says_what_a_cook_wants_to_know():
    out = coldside("demo", "--night", "quiet-night", "--headless")
    assert "no alarm at all" in out.stdout
    assert "alarms      none" in out.stdout
