"""`coldside calibrate` as its user meets it: against a rehearsed pit whose probes are put into baths on command."""

import json
import math
import subprocess
import sys
import time
from dataclasses import replace

import pytest

from adapters.rehearsal.rehearsal import Rehearsal
from collector.model.steadiness import State
from tui.calibrating import Session, constant, median_of, one_probe
from tui.cli import main
from tui.exit_codes import Exit

PIT = """
[chamber]
length = 48
width = 20
unit = "in"
[cook]
target = "235 F"
[[source]]
name = "house"
kind = "rehearsal"
"""
PLACES = (("fire end", 6), ("middle", 24), ("flat", 34), ("stack end", 43))


class Rehearsed:
    """`coldside rehearse --plain`, and what its probes are truly off by."""

    def __init__(self, folder, speed=60):
        self.config, self.socket = folder / "pit.toml", folder / "c.sock"
        text = PIT + "".join(f'[[probe]]\nname = "{n}"\nsource = "house"\nx = {x}\ny = 10\n' for n, x in PLACES)
        self.config.write_text(text.replace("x = 6\n", 'x = 6\ntolerance_class = "IEC 60751 AA"\n'))
        words = [sys.executable, "-m", "tui.cli", "rehearse", "-c", str(self.config), "--socket", str(self.socket)]
        self.process = subprocess.Popen(
            [*words, "--plain", "--speed", str(speed), "--drill", "ice-bath"],
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        end = time.monotonic() + 20
        while not self.socket.exists() and time.monotonic() < end:
            time.sleep(0.05)

    def drill(self, line):
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def calibrate(self, *words):
        return subprocess.run(
            [sys.executable, "-m", "tui.cli", "calibrate", *words, "--socket", str(self.socket)],
            capture_output=True, text=True, timeout=90,
        )  # fmt: skip

    def document(self, *words):
        done = self.calibrate(*words, "--json")
        assert done.stdout, done.stderr
        return done.returncode, {p["name"]: p for p in json.loads(done.stdout)["probes"]}


@pytest.fixture
def rehearsed(tmp_path):
    made = Rehearsed(tmp_path)
    yield made
    made.process.kill()
    made.process.communicate()


def true_offsets():
    """What the probes of the rehearsal's first seed are off by."""
    from adapters.rehearsal.night import Night
    from adapters.rehearsal.pit import RehearsalProbe

    run = Rehearsal(Night("r", 1, 0.0, 60.0, tuple(RehearsalProbe(name) for name, _ in PLACES)))
    return dict(zip([name for name, _ in PLACES], run.sensing.offset, strict=True))


def test_ice_then_boiling_water_then_together_then_undo(rehearsed):
    true = true_offsets()
    shown = rehearsed.calibrate("ice", "--unit", "C", "--ascii")
    assert shown.returncode == Exit.OK, shown.stderr
    assert "crushed ice" in shown.stderr
    assert "on record; from now on, at 112.8 C:" in shown.stdout
    assert "IEC 60751" in shown.stdout
    code, now = rehearsed.document("show")
    assert code == Exit.OK
    for name, off in true.items():
        point = now[name]["line"]["points"][0]
        assert abs(-point["raw_celsius"] + off) <= 3.0 * point["sd_kelvin"], name
        assert now[name]["kinds"] == ["ice"]
    assert now["fire end"]["within_stated_class"] is False
    rehearsed.drill("boiling-bath metres=1000")
    code, boiled = rehearsed.document("boil", "--altitude", "1000")
    assert code == Exit.OK
    for name, off in true.items():
        one = boiled[name]
        assert one["reference_celsius"] == pytest.approx(96.65, abs=0.02)
        assert one["now"]["kinds"] == ["ice", "boil"]
        assert abs(one["now"]["added_kelvin"] + off) <= 3.0 * one["now"]["sd_kelvin"]
    assert rehearsed.calibrate("undo", "flat").returncode == Exit.OK
    assert rehearsed.document("show")[1]["flat"]["kinds"] == ["ice"]
    assert rehearsed.calibrate("undo", "flat", "--all").returncode == Exit.OK
    again = rehearsed.calibrate("undo", "flat")
    assert again.returncode == Exit.FAILED
    assert again.stderr == "coldside: flat has no calibration to undo\n"
    code, bundled = rehearsed.document("together", "--probes", "flat", "--at", "96.65 C")
    assert code == Exit.OK
    assert abs(bundled["flat"]["now"]["added_kelvin"] + true["flat"]) < 0.6
    assert bundled["flat"]["now"]["kinds"] == ["together"]
    status = subprocess.run(
        [sys.executable, "-m", "tui.cli", "status", "--json", "--socket", str(rehearsed.socket)],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    probes = json.loads(status.stdout)["snapshot"]["probes"]
    assert all(p["calibrated_unix"] and 0.3 < p["sd_kelvin"] < 1.0 for p in probes)


def test_what_is_not_in_the_bath_is_refused_and_nothing_is_kept(rehearsed):
    rehearsed.drill("probe-silent flat")
    code, found = rehearsed.document("boil", "--pressure", "1013.25 hPa", "--wait", "5")
    assert code == Exit.FAILED
    assert not any(one["kept"] for one in found.values())
    assert "was its tip in the bath?" in found["middle"]["why"]
    assert "not heard" in found["flat"]["why"]
    assert all(one["now"]["line"] is None for one in found.values())
    code, found = rehearsed.document("ice", "--dry-run", "--probes", "middle")
    assert code == Exit.OK
    assert not found["middle"]["kept"]
    assert found["middle"]["now"]["line"] is None
    code, found = rehearsed.document("ice", "--wait", "1", "--probes", "middle")
    assert code == Exit.FAILED
    assert "too few readings" in found["middle"]["why"] or "not steady" in found["middle"]["why"]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["ice", "--probes", "nobody"], "--probes: there is no probe nobody; there is fire end"),
        (["together", "--reference", "nobody"], "--reference: there is no probe 'nobody'"),
        (["together", "--at", "warm"], "--at: 'warm' is no temperature"),
        (["together", "--probes", "flat,middle"], "a median needs three probes"),
        (["undo", "nobody"], "there is no probe 'nobody'"),
    ],
)
def test_a_mistake_is_told_in_a_line(shared, words, why):
    done = shared.calibrate(*words)
    assert done.returncode == Exit.FAILED
    assert why in done.stderr
    assert "Traceback" not in done.stderr


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    made = Rehearsed(tmp_path_factory.mktemp("shared"))
    yield made
    made.process.kill()
    made.process.communicate()


@pytest.mark.parametrize("words", [["ice"], ["boil", "--altitude", "0"], ["together"], ["show"], ["undo", "flat"]])
def test_no_collector_is_told_with_its_mend(words, capsys):
    assert main(["calibrate", *words, "--socket", "/nowhere/c.sock"]) == Exit.NO_COLLECTOR
    assert "is `coldside collect` running?" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        [], ["boil"], ["boil", "--altitude", "high"], ["boil", "--pressure", "1013"], ["boil", "--pressure", "29 hPa"],
        ["boil", "--altitude", "0", "--pressure", "1013 hPa"], ["ice", "--wait", "0"], ["melt"], ["undo"],
        ["together", "--at", "235 F", "--reference", "flat"],
    ],
)  # fmt: skip
def test_wrong_usage(words, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["calibrate", *words])
    assert ended.value.code == Exit.USAGE
    assert capsys.readouterr().err


def test_a_session_takes_what_was_heard_since_and_ends_when_nothing_more_can_come(night):
    before = night()
    names = [probe.name for probe in before.probes]
    session = Session(names, constant(122.0), before)
    unix = before.now_unix
    for k in range(60):
        probes = tuple(
            p if p.silent else replace(p, heard_unix=unix + 5.0 * k, raw_celsius=p.celsius) for p in before.probes
        )
        session.take(night(unix + 5.0 * k, probes=probes))
        if session.over:
            break
    states = {name: watch.state for name, watch in session.watches.items()}
    assert session.over
    assert states["point"] is State.STEADY
    assert states["stack"] is State.ELSEWHERE
    assert states["door"] is State.SILENT
    assert 96.0 <= session.seconds < 200.0


def test_references(night):
    cook = night(probes=tuple(replace(p, raw_celsius=p.celsius - 1.0) for p in night().probes))
    assert one_probe("point")(cook) == 122.0
    assert math.isnan(one_probe("door")(cook)), "it is silent"
    assert median_of(["point", "middle", "flat"])(cook) == 117.0
    assert math.isnan(median_of(["point", "middle", "door"])(cook)), "two are no median"
