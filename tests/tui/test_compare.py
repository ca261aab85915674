"""`coldside compare` as its user meets it."""

import datetime as dt
import json
import re

import pytest

from tests.evening import LID, START
from tui.cli import main
from tui.exit_codes import Exit


def utc(seconds):
    return f"{dt.datetime.fromtimestamp(START + seconds, dt.UTC):%Y-%m-%dT%H:%M:%SZ}"


FIRST = f"evening@{utc(0)}/{utc(LID)}"
SECOND = f"evening@{utc(LID)}/{utc(3.4 * 3600)}"


@pytest.fixture
def compare(evening, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("COLDSIDE_CONFIG", str(tmp_path / "none.toml"))
    monkeypatch.setattr("os.cpu_count", lambda: 1)  # another process would cost more than it saves here

    def run(*words):
        code = main(["compare", "--store", str(evening[0]), *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_two_stretches_of_one_evening_as_json_and_as_a_page(compare, tmp_path):
    page = tmp_path / "change.html"
    code, out, err = compare(FIRST, "--", SECOND, "-o", str(page), "--json")
    assert (code, err) == (Exit.OK, "")
    document = json.loads(out)
    assert document["schema"] == 1
    assert document["quantities"][0]["what"] == "flat side below the grate's mean"
    assert len(document["map"]["kelvin"]) == document["map"]["columns"] * document["map"]["rows"]
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert text.count('role="img"') == 6
    assert "<script" not in text
    assert not re.search(r'(src|href)="(?!#|data:)', text.replace("xlink:href", "href"))
    code, _, err = compare(FIRST, "--", SECOND, "-o", str(page))
    assert code == Exit.FAILED
    assert "is there already; it is left as it is" in err


def test_the_plan_before_a_change(compare):
    code, out, _ = compare("--plan", "--effect", "20 F", "evening", "--unit", "F", "--ascii")
    assert code == Exit.OK
    assert re.match(r"To show a change of 20 F nine times of ten takes (one cook|\d+ cooks) a side\.", out)
    assert "To make the largest less:" in out
    assert out.isascii()


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["evening"], Exit.FAILED, "name the cooks before the change, then --, then those after it"),
        (["--", "evening"], Exit.FAILED, "name the cooks before the change, then --"),
        (["evening", "--", "evening"], Exit.FAILED, "are the same cook, or overlap"),
        (["evening", "--", "a", "--", "b"], Exit.FAILED, "there are two sides, so -- stands once"),
        (["evening", "--", "nobody"], Exit.FAILED, "there is no cook named 'nobody'; there is evening"),
        (["evening@22:00", "--", "evening"], Exit.FAILED, "a stretch is two times with a hyphen"),
        (["evening@25:00-26:00", "--", "evening"], Exit.FAILED, "is no time of day"),
        ([SECOND, "--", FIRST, "--nonsense"], Exit.FAILED, "there is no option --nonsense"),
        (["--effect", "10", "evening", "--", "b"], Exit.FAILED, "--effect: '10' is no temperature"),
        (["--effect", "0 F", "evening", "--", "b"], Exit.FAILED, "is no size of a change"),
        (["--plan", "evening", "--", "b"], Exit.FAILED, "--plan takes the cooks before the change only"),
        (["--plan", "-o", "x.html", "evening"], Exit.FAILED, "a page is of a comparison; --plan has none"),
        ([f"evening@{utc(0)}/{utc(2000)}", "--", SECOND], Exit.FAILED, "steady minutes, of which it takes 30"),
    ],
)
def test_what_cannot_be_compared_is_said_in_a_line(compare, words, code, says):
    found, out, err = compare(*words)
    assert (found, out) == (code, "")
    assert says in err
    assert err.count("\n") == 1
