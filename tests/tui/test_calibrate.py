"""`coldside calibrate` as its user meets it: against a rehearsed pit whose probes are put into baths on command."""

import json
import math
import subprocess
import sys
import time

import pytest
from msgspec.structs import replace

from adapters.rehearsal.rehearsal import Rehearsal
from collector.model.calibration import Kind, Point, line
from collector.model.steadiness import State
from collector.snapshot import Phase
from tests.waiting import WAIT_SECONDS
from tui.calibrating import Session, constant, median_of, of_itself, one_probe, stated_sd_kelvin
from tui.cli import main
from tui.draw.calibration import Outcome, outcome_lines
from tui.draw.line import plain
from tui.draw.refusals import apart, far_off, no_surer, wrong_bath
from tui.draw.view import View
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
        end = time.monotonic() + WAIT_SECONDS
        while not self.socket.exists() and time.monotonic() < end:
            time.sleep(0.05)

    def drill(self, line):
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def calibrate(self, *words):
        return subprocess.run(
            [sys.executable, "-m", "tui.cli", "calibrate", *words, "--socket", str(self.socket)],
            capture_output=True, text=True, timeout=WAIT_SECONDS,
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
    code, boiled = rehearsed.document("boil", "--altitude", "1000 m")
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
    code, bundled = rehearsed.document("together", "--probes", "flat", "--thermometer", "96.65 C")
    assert code == Exit.OK
    assert abs(bundled["flat"]["now"]["added_kelvin"] + true["flat"]) < 0.6
    assert bundled["flat"]["now"]["kinds"] == ["together"]
    status = subprocess.run(
        [sys.executable, "-m", "tui.cli", "status", "--json", "--socket", str(rehearsed.socket)],
        capture_output=True, text=True, timeout=WAIT_SECONDS,
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
        (["ice", "--probes", ""], "--probes names no probe; there is fire end"),
        (["together", "--thermometer", "warm"], "--thermometer: 'warm' is no temperature"),
        (
            ["together", "--thermometer", "9000 F"],
            "--thermometer: '9000 F' is 9000.0 °F; probes are compared between -4.0 °F and 752.0",
        ),
        (["together", "--thermometer", "235 K"], "--thermometer: '235 K' is -36.7 °F; probes are compared"),
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


@pytest.mark.parametrize("words", [["ice"], ["boil", "--altitude", "0 m"], ["together"], ["show"], ["undo", "flat"]])
def test_no_collector_is_told_with_its_mend(words, capsys):
    assert main(["calibrate", *words, "--socket", "/nowhere/c.sock"]) == Exit.NO_COLLECTOR
    assert "is `coldside collect` running?" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        [], ["boil"], ["boil", "--altitude", "high"], ["boil", "--altitude", "1000"],
        ["boil", "--pressure", "1013"], ["boil", "--pressure", "29 hPa"],
        ["boil", "--altitude", "0 m", "--pressure", "1013 hPa"], ["ice", "--wait", "0"], ["melt"], ["undo"],
        ["together", "--thermometer", "235 F", "--reference", "flat"],
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


NAMES = ("a", "b", "c", "d")


def bathed(night, celsius, reference, *, moved=lambda name, t: 0.0, phase=Phase.COLD, **changes):
    """Play 200 s of four probes that show so many degrees, each with what it moves by itself."""
    some = next(p for p in night().probes if not p.silent)
    cook = night()
    cook = replace(cook, fire=replace(cook.fire, phase=phase))

    def at(t):
        probes = []
        for name, value in zip(NAMES, celsius, strict=True):
            raw = round(value + moved(name, t) + 0.05 * math.sin(t * (1 + len(probes))), 3)
            known = {"line": None, "sd_kelvin": 1.0, "tolerance_class": "", **changes}
            lined = known["line"].celsius(raw) if known["line"] else raw
            heard = cook.now_unix + t
            probes.append(replace(some, name=name, raw_celsius=raw, celsius=lined, heard_unix=heard, **known))
        return replace(cook, now_unix=cook.now_unix + t, probes=tuple(probes))

    session = Session(NAMES, reference, at(0.0))
    for k in range(1, 41):
        session.take(at(5.0 * k))
    return session, at(0.0)


def test_an_unlit_pit_on_a_cool_night_is_no_ice_water(night):
    session, _ = bathed(night, (8.2, 8.6, 8.3, 8.1), constant(0.0))
    assert all(watch.found is not None for watch in session.watches.values())
    why = wrong_bath(Kind.ICE, session, View(fahrenheit=True))
    assert why.startswith("4 probes show 14.6 to 15.5 °F above freezing: is there enough ice?")
    said = [Outcome(n, w.found, float("nan"), why, False, session.newest[n]) for n, w in session.watches.items()]
    text = [plain(one) for one in outcome_lines(Kind.ICE, said, 112.8, View(fahrenheit=True), refusal=why)]
    assert text[-1] == f"nothing kept: {why}"
    assert all(row.endswith("not kept") for row in text[1:5])


def test_one_probe_that_is_far_off_is_asked_about_and_kept(night):
    session, _ = bathed(night, (6.0, 0.4, -0.3, 0.1), constant(0.0))
    assert wrong_bath(Kind.ICE, session, View()) == ""
    probe, found = session.newest["a"], session.watches["a"].found
    assert "was its tip well in the bath?" in far_off(probe, found)
    assert no_surer(Kind.ICE, probe, found, 0.15, View()) == ""
    assert far_off(session.newest["b"], session.watches["b"].found) == ""


def test_water_that_does_not_boil_is_told(night):
    session, _ = bathed(night, (94.0, 94.4, 93.8, 94.1), constant(99.97))
    assert "is it at a rolling boil" in wrong_bath(Kind.BOIL, session, View())


HANGING = (105.6, 110.5, 114.4, 119.4)
"""222 to 247 °F."""


def test_probes_in_their_places_in_a_hot_pit_are_not_together(night):
    session, cook = bathed(night, HANGING, median_of(NAMES), phase=Phase.STEADY)
    why = apart(session, cook, View(fahrenheit=True))
    assert "4 probes show 222." in why
    assert "24.8 °F apart" in why
    assert "Tie all tips together in one place" in why
    session, cook = bathed(night, (112.0, 113.2, 111.5, 112.8), median_of(NAMES), phase=Phase.STEADY)
    assert apart(session, cook, View()) == ""


def test_movements_that_do_not_go_together_are_told(night):
    own = {"a": 0.3, "b": 1.9, "c": 3.4, "d": 5.0}

    def alone(name, t):
        return 1.2 * math.sin(2.0 * math.pi * t / (50.0 + 9.0 * own[name]) + own[name])

    session, cook = bathed(night, (112.0, 113.2, 111.5, 112.8), median_of(NAMES), moved=alone, phase=Phase.STEADY)
    assert "move each by itself" in apart(session, cook, View())
    session, cook = bathed(
        night, (112.0, 113.2, 111.5, 112.8), median_of(NAMES), moved=lambda _, t: 1.2 * math.sin(t / 9.0)
    )
    assert apart(session, cook, View()) == "", "tied together they swing as one"
    assert all(watch.found is not None for watch in session.watches.values())


def test_a_second_together_repairs_the_first(night):
    """Found from probes that hung apart, every line is wrong alike: the median must not rest on them."""
    some = next(p for p in night().probes if not p.silent)
    truth, hung = 112.0, dict(zip(NAMES, (9.0, 9.5, -9.0, -9.6), strict=True))
    probes = []
    for name, wrong in hung.items():
        spoilt = line([Point(Kind.TOGETHER, truth + wrong, truth, 0.3, 1.0)])
        probes.append(replace(some, name=name, raw_celsius=truth, celsius=truth + wrong, line=spoilt))
    assert median_of(NAMES)(night(probes=tuple(probes))) == truth
    by_ice = line([Point(Kind.ICE, 0.0, 1.0, 0.1, 0.0), Point(Kind.BOIL, 100.0, 101.0, 0.2, 0.0),
                   Point(Kind.TOGETHER, 120.0, 112.0, 0.3, 1.0)])  # fmt: skip
    assert of_itself(replace(some, line=by_ice), 113.0) == pytest.approx(112.0), "ice and boiling water still count"
    assert of_itself(replace(some, raw_celsius=110.0, celsius=111.5, line=None), 112.0) == 113.5, "as the config says"


def test_what_is_no_surer_than_what_is_stated_is_not_kept(night):
    session, _ = bathed(night, (112.0, 113.2, 111.5, 112.8), median_of(NAMES))
    probe, found = session.newest["a"], session.watches["a"].found
    why = no_surer(Kind.TOGETHER, probe, found, 1.6, View(fahrenheit=True))
    assert why.startswith("sure to ±5.8 °F only, no better than the ±3.6 °F stated of it")
    assert no_surer(Kind.TOGETHER, probe, found, 0.6, View()) == ""
    outside = line([Point(Kind.ICE, 0.0, 0.7, 0.1, 0.0)])
    assert stated_sd_kelvin(replace(probe, tolerance_class="IEC 60751 AA", line=outside), 0.0) == 1.0
    within = line([Point(Kind.ICE, 0.0, 0.05, 0.1, 0.0)])
    assert stated_sd_kelvin(replace(probe, tolerance_class="IEC 60751 AA", line=within), 0.0) < 0.1
