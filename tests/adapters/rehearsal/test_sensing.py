"""What probes say against what is true, whole and faulty."""

import numpy as np
import pytest

from adapters.rehearsal.night import FaultKind, ProbeFault
from adapters.rehearsal.pit import RehearsalProbe
from adapters.rehearsal.sensing import OPEN_CELSIUS, SHORT_CELSIUS, Sensing

A = RehearsalProbe("a", lag_seconds=20.0, noise_kelvin=0.3, interval_seconds=4.0)
B = RehearsalProbe("b", lag_seconds=5.0, noise_kelvin=0.3, interval_seconds=2.0)


def listen(faults=(), until=3600.0, truth=(100.0, 150.0), probes=(A, B), seed=5):
    sensing = Sensing(probes, np.random.default_rng(seed), np.array(truth))
    sent = []
    for step in range(1, int(until / 2) + 1):
        sent += sensing.sample(step * 2.0, 2.0, np.array(truth), faults)
    return sensing, sent


def values(sent, key, after=0.0, before=np.inf):
    return np.array([value for at, name, value in sent if name == key and after <= at < before])


def test_whole_probes_are_near_the_truth():
    sensing, sent = listen()
    assert values(sent, "a").mean() - 100.0 == pytest.approx(sensing.offset[0], abs=0.3)
    assert 0.3 < values(sent, "a").std() < 1.2


def test_values_are_tenths_and_times_stand_about_their_interval():
    _, sent = listen()
    assert all(round(value, 1) == value for _, _, value in sent)
    gaps = np.diff([at for at, key, _ in sent if key == "a"])
    assert gaps.mean() == pytest.approx(4.0, abs=0.02)
    assert 0.02 < gaps.std() < 0.5


def test_a_tip_lags_by_its_time_constant():
    probe = RehearsalProbe("m", duty="meat", lag_seconds=30.0, noise_kelvin=0.0, interval_seconds=2.0)
    sensing = Sensing([probe], np.random.default_rng(1), np.array([20.0]))
    for step in range(1, 16):
        sensing.sample(step * 2.0, 2.0, np.array([120.0]), ())
    assert sensing._tip[0] == pytest.approx(120.0 - 100.0 * np.exp(-1.0))


@pytest.mark.parametrize(("kind", "shown"), [(FaultKind.OPEN, OPEN_CELSIUS), (FaultKind.SHORT, SHORT_CELSIUS)])
def test_a_broken_wire_reads_an_end_of_the_table_while_it_lasts(kind, shown):
    _, sent = listen([ProbeFault("a", kind, 1000.0, 2000.0)])
    assert set(values(sent, "a", 1004.0, 1996.0)) == {shown}
    assert abs(values(sent, "a", 2004.0) - 100.0).max() < 6.0
    assert abs(values(sent, "b") - 150.0).max() < 6.0


def test_a_stuck_probe_repeats_itself():
    _, sent = listen([ProbeFault("a", FaultKind.STUCK, 1000.0)])
    assert len(set(values(sent, "a", 1004.0))) == 1
    assert len(set(values(sent, "a", 0.0, 996.0))) > 5


def test_a_silent_probe_sends_nothing_and_then_goes_on():
    _, sent = listen([ProbeFault("a", FaultKind.SILENT, 1000.0, 2000.0)])
    assert len(values(sent, "a", 1002.0, 1998.0)) == 0
    assert len(values(sent, "a", 2004.0)) > 300


def test_a_drift_grows_to_its_end():
    _, sent = listen([ProbeFault("a", FaultKind.DRIFT, 0.0, kelvin=5.0, kelvin_per_hour=10.0)])
    _, plain = listen()
    walked = values(sent, "a") - values(plain, "a")
    assert walked[: len(walked) // 4].mean() == pytest.approx(1.25, abs=0.1)
    assert walked[-100:] == pytest.approx(5.0, abs=0.11)


def test_spikes_are_few_and_far_off():
    _, sent = listen([ProbeFault("b", FaultKind.SPIKE, 0.0, kelvin=25.0, every_seconds=60.0)])
    off = abs(values(sent, "b") - 150.0) > 10.0
    assert 30 <= off.sum() <= 100


def test_swapped_plugs_swap_values():
    _, sent = listen([ProbeFault("a", FaultKind.SWAPPED, 0.0, other="b")])
    assert values(sent, "a").mean() == pytest.approx(150.0, abs=2.0)
    assert values(sent, "b").mean() == pytest.approx(100.0, abs=2.0)


def test_a_wet_tip_reads_far_too_cold():
    _, sent = listen([ProbeFault("a", FaultKind.WET, 0.0)])
    assert 60.0 < values(sent, "a").mean() < 80.0


def test_a_fault_of_an_unknown_probe_harms_none():
    assert listen([ProbeFault("nobody", FaultKind.SILENT, 0.0)])[1] == listen()[1]
