"""`coldside report` as its user meets it."""

import json
import subprocess
import sys

import pytest

from tests.evening import MINUTE, PLAN, START, close, feed, pipeline_of
from tests.waiting import WAIT_SECONDS
from tui.cli import main
from tui.exit_codes import Exit


@pytest.fixture
def store(tmp_path, monkeypatch):
    """A store with a cook of twelve minutes, in a folder where the user stands."""
    database, opened, pipeline, _ = pipeline_of(tmp_path / "s.db", PLAN, "friday / brisket")
    feed(pipeline, PLAN, 0, 12 * MINUTE)
    close(database, opened, pipeline)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLDSIDE_CONFIG", str(tmp_path / "none.toml"))
    return tmp_path / "s.db"


def report(store, *words):
    return main(["report", "last", "--store", str(store), "-c", str(store.parent / "none.toml"), "--unit", "C", *words])


def test_the_page_is_written_beside_the_user_and_never_over_a_file(store, tmp_path, capsys):
    assert report(store) == Exit.OK
    page = tmp_path / "friday-brisket.html"
    assert "friday-brisket.html" in capsys.readouterr().err
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert "friday / brisket" in text
    assert "°C" in text
    assert "°F;" not in text
    page.write_text("mine")
    assert report(store) == Exit.FAILED
    assert "is there already; it is left as it is" in capsys.readouterr().err
    assert page.read_text() == "mine"
    assert report(store, "--overwrite", "--json", "--format", "json", "-o", page.name) == Exit.OK
    told = json.loads(capsys.readouterr().out)
    assert told["file"] == "friday-brisket.html"
    assert told["bytes"] == len(page.read_bytes()) > 1000


def test_the_other_formats(store, tmp_path, capsysbinary):
    for name, begins in (("pdf", b"%PDF-"), ("png", b"\x89PNG")):
        file = tmp_path / f"out.{name}"
        assert report(store, "--format", name, "-o", str(file), "--paper", "letter") == Exit.OK
        assert file.read_bytes().startswith(begins)
    again = tmp_path / "again.pdf"
    assert report(store, "--format", "pdf", "-o", str(again), "--paper", "letter") == Exit.OK
    assert again.read_bytes() == (tmp_path / "out.pdf").read_bytes(), "the same cook gives the same bytes"
    capsysbinary.readouterr()
    assert report(store, "--format", "json", "-o", "-", "--reference", "target") == Exit.OK
    document = json.loads(capsysbinary.readouterr().out)
    assert document["schema"] == 1
    assert document["cook"]["name"] == "friday / brisket"
    assert document["cook"]["started_unix"] == START
    assert len(document["probes"]) == len(PLAN.probes)


def test_mistakes_are_told_in_a_line(store, capsys):
    assert report(store, "--at", "half past two") == Exit.FAILED
    assert "--at: 'half past two' is no time" in capsys.readouterr().err
    assert report(store, "--at", "2001-01-01T02:00") == Exit.FAILED
    assert "is not within the cook" in capsys.readouterr().err
    assert report(store, "--json", "-o", "-") == Exit.USAGE
    assert report(store, "-o", "nowhere/page.html") == Exit.FAILED
    assert "nowhere: there is no such folder" in capsys.readouterr().err
    assert main(["report", "nobody's", "--store", str(store)]) == Exit.FAILED
    assert "there is no cook named" in capsys.readouterr().err


def test_without_the_extra_it_says_which(store, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert report(store) == Exit.FAILED
    assert "coldside[report]" in capsys.readouterr().err


def test_neither_help_nor_the_daemon_nor_the_document_loads_matplotlib():
    code = (
        "import sys\nimport collector.daemon, collector.report.document, tui.commands.report, tui.commands.collect\n"
        "print(sorted({'matplotlib', 'jinja2'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=WAIT_SECONDS)
    assert out.stdout.strip() == "[]", out.stderr[-500:]
