"""The file of pits: every mistake at once, and which collector the options of a command mean."""

import argparse
import asyncio
import json
from pathlib import Path

import pytest

from collector import wire
from collector.errors import SettingsError
from collector.feed import Feed
from tests.collector.house import certify, serving
from tests.waiting import until
from tui.cli import main
from tui.commands.options import add_way, way_of, ways_of
from tui.errors import WayError
from tui.exit_codes import Exit
from tui.pits_file import load_pits
from tui.remote_way import RemoteWay
from tui.way import SocketWay

TOKEN = "x" * 43
PRINT = "AB:" * 31 + "AB"


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    for name in ("RUNTIME_DIRECTORY", "COLDSIDE_TOKEN_FILE", "COLDSIDE_CONFIG"):
        monkeypatch.delenv(name, raising=False)
    for name in ("a.token", "b.token"):
        (tmp_path / name).write_text(TOKEN + "\n")
        (tmp_path / name).chmod(0o600)
    certify(tmp_path)
    return tmp_path


def write(folder, text, name="pits.toml"):
    file = folder / name
    file.parent.mkdir(exist_ok=True)
    file.write_text(text)
    return file


GOOD = f"""
[[pit]]
name = "north"
at = "pit.local"
token_file = "a.token"
fingerprint = "{PRINT}"

[[pit]]
name = "south"
at = "10.0.0.7:9000"
token_file = "b.token"
ca = "pit.crt"

[[pit]]
name = "here"
socket = "/run/x.sock"

[[pit]]
name = "tunnel"
at = "http://127.0.0.1:9001"
token_file = "a.token"
"""


def test_a_good_file_gives_each_its_own_way_and_no_token_away(home):
    file = write(home, GOOD)
    ways = [entry.way() for entry in load_pits(file)]
    assert ways == [
        RemoteWay("pit.local", 8765, TOKEN, fingerprint=b"\xab" * 32),
        RemoteWay("10.0.0.7", 9000, TOKEN, ca=home / "pit.crt"),
        SocketWay(Path("/run/x.sock")),
        RemoteWay("127.0.0.1", 9001, TOKEN, tls=False),
    ]
    assert TOKEN not in repr(ways)
    assert TOKEN not in repr(load_pits(file))


MISTAKES = [
    ('[[pit]]\nat = "a"\n', 1, "pit.1.name", "is missing"),
    ('[[pit]]\nname = ""\nat = "a"\n', 2, "pit.1.name", "length >= 1"),
    ('[[pit]]\nname = " a"\nat = "a"\n', 2, "pit.1.name", "no screen shows"),
    ('[[pit]]\nname = "a"\n', 1, "pit.1", "says no place"),
    ('[[pit]]\nname = "a"\nat = "a"\nsocket = "s"\n', 4, "pit.1.socket", "take one of them out"),
    ('[[pit]]\nname = "a"\nat = "a b/c"\n', 3, "pit.1.at", "is no place of a collector"),
    ('[[pit]]\nname = "a"\nat = "http://pit.local"\n', 3, "pit.1.at", "would send the token in clear"),
    ('[[pit]]\nname = "a"\nat = 7\n', 3, "pit.1.at", "expected text in quotes"),
    ('[[pit]]\nname = "a"\nhost = "pit"\nat = "a"\n', 3, "pit.1.host", "unknown key"),
    ('[[pit]]\nname = "a"\nat = "a"\ntokenfile = "t"\n', 4, "pit.1.tokenfile", 'did you mean "token_file"?'),
    ('[[pit]]\nname = "a"\nat = "a"\ntoken_file = "no.token"\n', 4, "pit.1.token_file", "cannot be read"),
    ('[[pit]]\nname = "a"\nat = "a"\ntoken_file = "open.token"\n', 4, "pit.1.token_file", "chmod 600 it"),
    ('[[pit]]\nname = "a"\nat = "a"\ntoken_file = "pit.key"\n', 4, "pit.1.token_file", "is no token"),
    ('[[pit]]\nname = "a"\nat = "a"\nca = "a.token"\n', 4, "pit.1.ca", "holds no certificate"),
    ('[[pit]]\nname = "a"\nat = "a"\nca = "no.crt"\n', 4, "pit.1.ca", "cannot be read"),
    ('[[pit]]\nname = "a"\nat = "a"\nfingerprint = "AB"\n', 4, "pit.1.fingerprint", "64 hexadecimal"),
    (f'[[pit]]\nname = "a"\nat = "a"\nca = "pit.crt"\nfingerprint = "{PRINT}"\n', 5, "pit.1.fingerprint", "ca both"),
    ('[[pit]]\nname = "a"\nat = "http://127.0.0.1"\nca = "pit.crt"\n', 4, "pit.1.ca", "http:// is without it"),
    ('[[pit]]\nname = "a"\nsocket = "s"\ntoken_file = "a.token"\n', 4, "pit.1.token_file", "goes with `at`"),
    ('[[pit]]\nname = "a"\nat = "a"\n[[pit]]\nat = "b"\nname = "a"\n', 6, "pit.2.name", "number 1 is named so too"),
    ("pit = 7\n", 1, "pit", "[[pit]]"),
    ("pit = []\n", 1, "pit", "length >= 1"),
    ("", 0, "pit", "is missing"),
    ('pits = "x"\n[[pit]]\nname = "a"\nat = "a"\n', 1, "pits", 'did you mean "pit"?'),
    ("[[pit]\n", 1, "TOML", "line 1"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "key", "said"), MISTAKES)
def test_each_mistake_is_told_with_its_line_and_how_to_mend_it(home, text, line, key, said):
    write(home, TOKEN, "open.token").chmod(0o644)
    with pytest.raises(SettingsError) as found:
        load_pits(write(home, text))
    told = [(p.line, p.key) for p in found.value.problems]
    assert told == [(line, key)]
    assert said in found.value.problems[0].what
    assert TOKEN not in str(found.value)


def test_all_mistakes_are_told_at_once_in_the_order_of_their_lines(home, capsys):
    file = write(
        home,
        '[[pit]]\nnam = "north"\nat = "a/b"\n\n[[pit]]\nname = "s"\nsocket = 7\nca = "no.crt"\n\n'
        '[[pit]]\nname = "s"\nat = "x"\ntoken_file = "no.token"\nfingerprint = "z"\n',
    )
    assert main(["watch", "--pits", str(file)]) == Exit.CONFIG
    told = [line.split(": ")[:2] for line in capsys.readouterr().err.splitlines()]
    assert told == [[f"{file}:{line}", key] for line, key in (
        (1, "pit.1.name"), (2, "pit.1.nam"), (3, "pit.1.at"), (7, "pit.2.socket"), (8, "pit.2.ca"), (8, "pit.2.ca"),
        (11, "pit.3.name"), (13, "pit.3.token_file"), (14, "pit.3.fingerprint"),
    )]  # fmt: skip
    assert main(["check", "--pits", str(file), "--json"]) == Exit.CONFIG
    assert len(json.loads(capsys.readouterr().out)["problems"]) == len(told)


def test_a_file_that_is_not_there_is_told_and_a_good_one_listed(home, capsys):
    assert main(["check", "--pits", str(home / "none.toml")]) == Exit.CONFIG
    assert "is not there; write one: a [[pit]] with name" in capsys.readouterr().err
    assert main(["check", "--pits", str(write(home, GOOD))]) == Exit.OK
    out = capsys.readouterr().out
    assert "pit north: pit.local, port 8765, verified by its fingerprint" in out
    assert "pit tunnel: 127.0.0.1, port 9001, without TLS" in out
    assert main(["paths", "--json"]) == Exit.OK
    assert json.loads(capsys.readouterr().out)["pits"] == {
        "path": str(home / "home/coldside/pits.toml"), "exists": False,
    }  # fmt: skip


def options(*words):
    parser = argparse.ArgumentParser()
    add_way(parser)
    return parser.parse_args(words)


def test_without_a_file_of_pits_all_is_as_for_one(home):
    assert ways_of(options()) == {"": SocketWay(home / "run/coldside/collector.sock")}
    assert ways_of(options("--socket", "x")) == {"": SocketWay(Path("x"))}
    one = options("--at", "pit", "--token-file", str(home / "a.token"))
    assert ways_of(one) == {"pit": RemoteWay("pit", 8765, TOKEN)}


def test_the_usual_file_is_used_unless_another_place_is_named(home):
    text = GOOD.replace('.token"', f'.token"\n#{home}').replace('"a.token"', f'"{home}/a.token"')
    text = text.replace('"b.token"', f'"{home}/b.token"').replace('"pit.crt"', f'"{home}/pit.crt"')
    write(home, "", "home/x")
    write(home / "home", text, "coldside/pits.toml")
    assert list(ways_of(options())) == ["north", "south", "here", "tunnel"]
    assert list(ways_of(options("--socket", "x"))) == [""]
    assert list(ways_of(options("--pit", "here"))) == ["here"]
    assert way_of(options("--pit", "here")) == SocketWay(Path("/run/x.sock"))
    known = options("--at", "pit.local", "--at", "10.0.0.7:9000")
    assert [(name, way.fingerprint, way.ca) for name, way in ways_of(known).items()] == [
        ("north", b"\xab" * 32, None), ("south", None, home / "pit.crt"),
    ]  # fmt: skip
    with pytest.raises(WayError, match=r"which pit \(north, south, here, tunnel\)\? add --pit NAME, or --socket"):
        way_of(options())
    with pytest.raises(WayError, match="there is no pit 'nord'; there is north, south"):
        way_of(options("--pit", "nord"))


def test_a_fault_of_another_pits_token_does_not_keep_from_this_one(home):
    file = write(home, GOOD)
    (home / "b.token").chmod(0o644)
    assert way_of(options("--pits", str(file), "--pit", "north")).host == "pit.local"
    with pytest.raises(SettingsError, match=r"pits.toml:11: pit.2.token_file: .*chmod 600"):
        ways_of(options("--pits", str(file)))


def test_several_places_share_a_token_and_are_named_by_where_they_are(home):
    token = ("--token-file", str(home / "a.token"))
    ways = ways_of(options("--at", "north", "--at", "south", "--at", "south:9000", *token))
    assert [(name, way.port, way.token) for name, way in ways.items()] == [
        ("north", 8765, TOKEN), ("south:8765", 8765, TOKEN), ("south:9000", 9000, TOKEN),
    ]  # fmt: skip
    with pytest.raises(WayError, match="meant by several --at"):
        ways_of(options("--at", "north", "--at", "north", *token))
    with pytest.raises(WayError, match=r"which pit \(north, south\)\? give --at once"):
        way_of(options("--at", "north", "--at", "south", *token))
    with pytest.raises(WayError, match="a token is needed"):
        ways_of(options("--at", "north", "--at", "south"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--at", "a", "--socket", "s"), "give one of them"),
        (("--pit", "a", "--socket", "s"), "leave out --socket and --at"),
        (("--pit", "a", "--at", "b"), "leave out --socket and --at"),
        (("--token-file", "t"), "go with --at"),
        (("--ca", "t", "--pit", "north"), "go with --at"),
        (("--at", "a", "--at", "b", "--fingerprint", PRINT), "of one certificate"),
        (("--at", "a", "--at", "http://127.0.0.1", "--ca", "c"), "are for TLS"),
    ],
)
def test_options_that_do_not_go_together_are_refused(words, said):
    with pytest.raises(WayError, match=said):
        ways_of(options(*words))


@pytest.fixture
async def two(tmp_path, night):
    """Two feeds on sockets and the file that names them and a third that is away; gives the file and what was asked."""
    asked = {"north": [], "south": []}
    cooks = {"north": night(), "south": night(alarms=(), cook="ribs")}
    feeds = [Feed(lambda told, n=n: asked[n].append(told) or "", lambda n=n: cooks[n]) for n in cooks]
    for name, feed in zip(cooks, feeds, strict=True):
        await feed.open(tmp_path / f"{name}.sock")
    pits = [f'[[pit]]\nname = "{n}"\nsocket = "{n}.sock"\n' for n in ("north", "south", "away")]
    yield write(tmp_path, "".join(pits)), asked
    for feed in feeds:
        await feed.close()


async def said(capsys, *words):
    code = await asyncio.to_thread(main, list(words))
    told = capsys.readouterr()
    return code, told.out, told.err


async def test_a_mark_and_an_acknowledgement_go_to_the_named_pit_alone(two, capsys):
    file, asked = two
    pits = ("--pits", str(file))
    assert (await said(capsys, "mark", "wet oak", *pits, "--pit", "south"))[:2] == (Exit.OK, "marked: note wet oak\n")
    assert (await said(capsys, "alarms", "ack", "cold", *pits, "--pit", "north"))[0] == Exit.OK
    assert asked == {"north": [wire.Acknowledge(1, "cold")], "south": [wire.AddMark(1, "note", "wet oak")]}
    code, _, err = await said(capsys, "mark", "wet oak", *pits)
    assert (code, "which pit (north, south, away)?" in err) == (Exit.FAILED, True)
    assert len(asked["north"]) + len(asked["south"]) == 2


async def test_status_tells_of_every_pit_and_gives_the_worst_exit_code(two, capsys):
    file, _ = two
    code, out, _ = await said(capsys, "status", "--pits", str(file), "--unit", "C")
    north, south, away = out.split("pit         ")[1:]
    assert code == Exit.NO_COLLECTOR
    assert north.startswith("north\ncook        brisket with the new baffle")
    assert "stack end is cold" in north
    assert south.startswith("south\ncook        ribs")
    assert "alarm       none" in south
    assert away.startswith("away\ncollector   no collector answers at ")
    code, out, _ = await said(capsys, "status", "--pits", str(file), "--json")
    told = json.loads(out)
    assert (code, told["exit"]) == (Exit.NO_COLLECTOR, Exit.NO_COLLECTOR)
    assert {name: pit["exit"] for name, pit in told["pits"].items()} == {"north": 3, "south": 0, "away": 69}
    assert told["pits"]["south"]["snapshot"]["cook"] == "ribs"
    assert "no collector answers" in told["pits"]["away"]["error"]


async def test_status_of_one_pit_of_the_file_is_as_without_it(two, tmp_path, capsys):
    file, _ = two
    named = await said(capsys, "status", "--pits", str(file), "--pit", "north", "--unit", "C")
    assert named == await said(capsys, "status", "--socket", str(tmp_path / "north.sock"), "--unit", "C")
    assert named[0] == Exit.ALARM


async def test_status_over_tls_from_several_machines(tmp_path, capsys):
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        folder.mkdir()
    async with serving(folders[0]) as first, serving(folders[1]) as second:
        second.publish(cook="ribs", alarms=())
        text = ""
        for name, served in (("north", first), ("south", second)):
            write(served.folder, served.tokens["look"], "look.token").chmod(0o600)
            text += f'[[pit]]\nname = "{name}"\nat = "127.0.0.1:{served.port}"\n'
            text += f'token_file = "{served.folder}/look.token"\nca = "{served.ca}"\n'
        code, out, _ = await said(capsys, "status", "--pits", str(write(tmp_path, text)), "--json")
        pits = json.loads(out)["pits"]
        assert (code, pits["north"]["exit"], pits["south"]["exit"]) == (Exit.ALARM, Exit.ALARM, Exit.OK)
        assert pits["south"]["snapshot"]["cook"] == "ribs"


async def test_status_goes_on_with_every_pit_and_tells_once_of_one_that_is_away(two, monkeypatch, capsys):
    from tui.commands import status
    from tui.draw.view import View

    monkeypatch.setattr(status, "AGAIN_SECONDS", 0.02)
    file, _ = two
    ways = ways_of(options("--pits", str(file)))
    task = asyncio.create_task(status._follow_all(argparse.Namespace(json=False), ways, View()))
    said = []

    def both():
        said.append(capsys.readouterr().out)
        return all(word in "".join(said) for word in ("north: ", "away: "))

    await until(both)
    await asyncio.sleep(0.2)  # it tries again and again, and says no more of it
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    lines = ("".join(said) + capsys.readouterr().out).splitlines()
    assert sum(line.startswith("away: no collector answers") for line in lines) == 1
    assert any(line.startswith("north: ") and "alarm cold-spot/stack end" in line for line in lines)
    assert any(line.startswith("south: ") and "fire: " in line for line in lines)
