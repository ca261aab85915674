"""The line that says how far a long job is."""

import io

import pytest

from tests.collector.stores import START, cook_one
from tui.cli import main
from tui.commands import progress
from tui.commands.progress import Progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


def terminal_of(monkeypatch):
    """Put a terminal where errors go; pytest's own is put there anew before each test."""
    made = Terminal()
    monkeypatch.setattr("sys.stderr", made)
    return made


def test_it_is_one_line_that_is_gone_at_the_end_also_of_a_job_that_fails(monkeypatch):
    terminal = terminal_of(monkeypatch)
    with pytest.raises(KeyError), Progress() as line:
        line.begin("reading")
        line.follow("too soon after")
        raise KeyError
    assert terminal.getvalue() == "\r\x1b[Kreading\r\x1b[K"


def test_nothing_is_said_where_there_is_no_terminal_or_where_it_is_not_wanted(monkeypatch):
    terminal = terminal_of(monkeypatch)
    with Progress(quiet=True) as line:
        line.begin("reading")
    plain = io.StringIO()
    monkeypatch.setattr("sys.stderr", plain)
    with Progress() as line:
        line.begin("reading")
    assert (terminal.getvalue(), plain.getvalue()) == ("", "")


def test_a_report_says_how_far_it_is(monkeypatch, tmp_path):
    terminal = terminal_of(monkeypatch)
    monkeypatch.setattr(progress, "APART_SECONDS", 0.0)
    cook_one(tmp_path / "c.db", "night", START)
    words = ["report", "night", "--store", str(tmp_path / "c.db"), "-o", str(tmp_path / "n.json")]
    assert main([*words, "--format", "json"]) == 0
    said = terminal.getvalue().split("\r\x1b[K")
    assert said[1].startswith("night: read ")
    assert said[-2:] == ["night: drawing", f"night: {tmp_path / 'n.json'}\n"]
    shares = [int(one.split()[2]) for one in said[1:-2]]
    assert shares == sorted(shares)
    assert shares[-1] >= 90
