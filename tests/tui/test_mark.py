"""`coldside mark` against a real feed: what is sent, what is said, what the events look like."""

import asyncio
import json

import pytest
from msgspec.structs import replace

from collector import wire
from collector.feed import Feed
from tui.cli import main
from tui.exit_codes import Exit


@pytest.fixture
async def served(tmp_path, night):
    """A feed of the night that knows its events; gives its socket, what it was asked, and what it shows."""
    asked, shown = [], [night()]

    def command(told):
        asked.append(told)
        known = {m.event for m in shown[0].marks if m.event}
        return "there is no such event" if getattr(told, "event", None) not in {None, *known} else ""

    feed = Feed(command, lambda: shown[0])
    await feed.open(tmp_path / "c.sock")
    yield tmp_path / "c.sock", asked, shown
    await feed.close()


async def said(capsys, socket, *words):
    """Run the command as a person does; give exit code, output and errors."""
    code = await asyncio.to_thread(main, ["mark", *words, "--socket", str(socket)])
    told = capsys.readouterr()
    return code, told.out, told.err


async def test_events_are_listed_with_their_identities_and_what_was_said_of_them(served, capsys):
    socket, _, shown = served
    code, out, _ = await said(capsys, socket, "--events")
    lines = out.splitlines()
    assert code == Exit.OK
    assert [line.split("  ")[1] for line in lines] == ["refuel seen", "lid seen", "refuel seen", "refuel seen"]
    assert lines[0].endswith("refuel/20231114T194320Z")
    assert lines[1].split()[-2:] == ["lid/20231114T201320Z", "confirmed"]
    assert lines[2].split()[-2:] == ["refuel/20231114T205000Z", "deleted"]
    code, out, _ = await said(capsys, socket, "--events", "--json")
    document = json.loads(out)
    assert document["schema"] == 1
    assert [e["verdict"] for e in document["events"]] == [None, "confirmed", "deleted", None]
    assert document["events"][1]["event"] == "lid/20231114T201320Z"
    shown[0] = replace(shown[0], marks=())
    assert (await said(capsys, socket, "--events"))[1] == "the curves show no event yet\n"


@pytest.mark.parametrize(("option", "command"), [("--confirm", wire.Confirm), ("--delete", wire.Delete)])
async def test_an_event_is_judged_by_its_identity_and_a_wrong_one_is_told(served, capsys, option, command):
    socket, asked, _ = served
    code, out, _ = await said(capsys, socket, option, "lid/20231114T201320Z")
    assert (code, out) == (Exit.OK, f"{option[2:]}{'ed' if option == '--confirm' else 'd'}: lid/20231114T201320Z\n")
    assert asked == [command(1, "lid/20231114T201320Z")]
    code, out, err = await said(capsys, socket, option, "lid/x")
    assert (code, out, err) == (Exit.FAILED, "", "coldside: there is no such event\n")
    code, out, _ = await said(capsys, socket, option, "lid/x", "--json")
    assert json.loads(out) == {"schema": 1, "done": False, "why": "there is no such event"}


@pytest.mark.parametrize("words", [["wet oak", "--kind", "split"], ["--kind", "split", "wet oak"]])
async def test_a_text_is_kept_wherever_it_stands(served, capsys, words):
    socket, asked, _ = served
    assert (await said(capsys, socket, *words))[:2] == (Exit.OK, "marked: split wet oak\n")
    assert asked == [wire.AddMark(1, "split", "wet oak")]


@pytest.mark.parametrize("words", [[], ["wet oak", "--events"], ["--confirm", "lid/1", "--delete", "lid/1"]])
def test_one_thing_at_a_time(words):
    with pytest.raises(SystemExit) as left:
        main(["mark", *words])
    assert left.value.code == Exit.USAGE
