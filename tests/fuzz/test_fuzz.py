"""The fuzz itself: a few seeds of everything, and that what is broken is found, named and kept."""

import random
import re
from types import SimpleNamespace

import pytest

from collector.engine import Engine
from collector.page_view import PageViewer
from tests.fuzz.__main__ import main
from tests.fuzz.coverage import Coverage, lines_of
from tests.fuzz.failures import ROOT, BrokenInvariant, Findings
from tests.fuzz.night import Night
from tests.fuzz.runs import Run, run
from tests.fuzz.seeds import kept
from tests.fuzz.targets import WEIGHTS, played
from tests.fuzz.texts import HOSTILE, check_text


@pytest.mark.parametrize("target", WEIGHTS)
def test_a_seed_does_the_same_every_time(target):
    seed = 3
    once, again = played(target, seed), played(target, seed)
    assert once.counts == again.counts
    assert sum(once.counts.values()) > 3
    assert list(once.found) == list(again.found)


def test_a_view_that_raises_at_some_moment_is_found_and_its_seed_kept(tmp_path, monkeypatch, capsys):
    sound = PageViewer.view

    def broken(self, snapshot):
        if any(alarm.rule == "probe-silent" for alarm in snapshot.alarms):
            raise ZeroDivisionError("a view of a silent probe")
        return sound(self, snapshot)

    monkeypatch.setattr(PageViewer, "view", broken)
    what = Run(30.0, jobs=1, target="night", seed=1, folder=tmp_path, most=12)
    (found,) = [f for f in run(what).failures.values() if "a view of a silent probe" in f.error]
    assert found.location.startswith("tests/fuzz/test_fuzz.py:")
    assert ("night", found.seed) in kept(tmp_path)
    said = (tmp_path / f"night-{found.seed}.txt").read_text()
    assert "ZeroDivisionError" in said
    assert f"night-{found.seed}" in capsys.readouterr().out
    assert main(["--play", f"night-{found.seed}"]) == 1
    assert "a view of a silent probe" in capsys.readouterr().out


def test_what_the_engine_contains_is_a_failure_all_the_same():
    trace = 'Traceback:\n  File "/a/b/collector/model/fire.py", line 3, in look\n    x\nZeroDivisionError\n'
    book = SimpleNamespace(records=(SimpleNamespace(part="fire", count=7, error="ZeroDivisionError", traceback=trace),))
    findings = Findings("night", 1)
    Night._contained(SimpleNamespace(engine=SimpleNamespace(faults=book), _findings=findings))
    (found,) = findings.found.values()
    assert found.location == "collector/model/fire.py:3 look"
    assert "contained in fire" in found.error


def test_kept_seeds_are_played_first(tmp_path):
    for seed in (11, 12):
        (tmp_path / f"payloads-{seed}.txt").write_text("was broken\n")
    result = run(Run(0.0, jobs=1, target="payloads", folder=tmp_path))
    assert result.seeds == {"payloads": 2}, "all of them, though there is no time for others"


def test_a_replay_that_differs_is_found(monkeypatch):
    monkeypatch.setattr(Engine, "advance", _forgetful(Engine.advance))
    locations = {location for seed in range(6) for location in played("night", seed).found}
    assert any(location.startswith("replay: another") for location in locations), locations


def _forgetful(advance):
    """Make an engine lose a look by how often it is asked, which no replay repeats."""
    asked = 0

    def forgetful(self, now_unix):
        nonlocal asked
        asked += 1
        if asked % 7 == 0:
            self._next_look += 5.0
        return advance(self, now_unix)

    return forgetful


@pytest.mark.parametrize("text", ["a\rb", "\a", "\x1b[2J", "\x9b", "\u202eb", "\x7f", "nan", "±inf °C", "a\u2028b"])
def test_what_may_not_go_to_a_screen_is_seen(text):
    with pytest.raises(BrokenInvariant, match=r"^here: "):
        check_text("here", text)


@pytest.mark.parametrize("text", ["banana", "two\nlines", "-12 °F", "info", "öak 牛"])
def test_what_may_go_to_a_screen_passes(text):
    check_text("here", text)


def test_the_hostile_texts_hold_what_ends_a_dashboard():
    assert {"\r", "\a"} <= set("".join(HOSTILE))


def test_coverage_counts_the_lines_that_ran():
    path = ROOT / "collector" / "model" / "slope.py"
    coverage = Coverage()
    coverage.start()
    try:
        played("night", random.Random(1).randrange(100))
    finally:
        coverage.stop()
    ran, can = coverage.seen[str(path)] & lines_of(path), lines_of(path)
    assert 0 < len(ran) <= len(can)
    source = path.read_text(encoding="utf-8").splitlines()
    assert all(not re.match(r"\s*(def|class|import|from) ", source[line - 1]) for line in can)
