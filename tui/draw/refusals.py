"""Why nothing is kept of a bath, or of one probe in it, with what to do about it."""

import math
from collections.abc import Sequence

import numpy as np

from collector.model.bath import far, not_one_place, one_sided, says_no_more
from collector.model.calibration import Kind
from collector.model.robust import median
from collector.model.steadiness import Rest, State
from collector.snapshot import Phase, ProbeView, Snapshot
from tui.calibrating import LEAST_FOR_MEDIAN, Session, of_itself, own_sd_kelvin, stated_sd_kelvin
from tui.draw.view import View
from tui.draw.words import degree, difference_number, temperature_number

__all__ = ["apart", "far_off", "is_lit", "no_surer", "wrong_bath"]

LIT_CELSIUS = 60.0
"""Above this a chamber is warm from its fire, and not from the sun (common practice, no source)."""

_WRONG_BATH = {
    (Kind.ICE, True): "above freezing: is there enough ice? Fill up with crushed ice, stir, wait, and begin again",
    (Kind.ICE, False): "below freezing: is there salt in the water? Use tap water, and begin again",
    (Kind.BOIL, True): "above where water boils here: is the height or pressure right, and no salt in the water?",
    (Kind.BOIL, False): "below where water boils here: is it at a rolling boil, and is the height or pressure right?",
}


def wrong_bath(kind: Kind, session: Session, view: View) -> str:
    """Say why this is no ice water, or no boiling water; empty where it may be."""
    told = [(session.newest[name], rest) for name, rest in _found(session)]
    if kind is Kind.TOGETHER or not told:
        return ""
    off = np.array([rest.raw_celsius - rest.reference_celsius for _, rest in told])
    stated = [stated_sd_kelvin(probe, rest.reference_celsius) for probe, rest in told]
    if not one_sided(off, np.array(stated)):
        return ""
    above = float(off.sum()) > 0.0
    beyond = [abs(o) for o, sd in zip(off, stated, strict=True) if far(o, sd) and (o > 0.0) == above]
    least, most = (f"{difference_number(float(one), view):.1f}" for one in (min(beyond), max(beyond)))
    return f"{len(beyond)} probes show {least} to {most} {degree(view)} {_WRONG_BATH[kind, above]}"


def apart(session: Session, snapshot: Snapshot, view: View, *, reference: ProbeView | None = None) -> str:
    """Say why probes do not lie in one place; empty where they may.

    Args:
        session: what each showed.
        snapshot: the cook before it.
        view: how numbers are written.
        reference: the probe the others are held against; None for their median.
    """
    restless = [name for name, watch in session.watches.items() if watch.state is State.SWINGING]
    placed = [w for w in session.watches.values() if w.state not in (State.SILENT, State.ELSEWHERE)]
    mend = "Tie all tips together in one place, and begin again"
    if len(restless) >= 2 and 2 * len(restless) >= len(placed):
        moved = max(w.latest.noise_kelvin for n, w in session.watches.items() if n in restless and w.latest is not None)
        swing = f"by up to {difference_number(moved, view):.1f} {degree(view)}"
        return (
            f"{len(restless)} of {len(placed)} probes move each by itself, {swing}: they are not in one place. {mend}"
        )
    told = [(session.newest[name], rest) for name, rest in _found(session)]
    if not told:
        return ""
    base = float(median(np.array([rest.reference_celsius for _, rest in told])))
    shown = [base + of_itself(probe, rest.raw_celsius) - rest.reference_celsius for probe, rest in told]
    probes = [probe for probe, _ in told]
    if reference is not None:
        shown, probes = [*shown, base], [*probes, reference]
    if len(shown) < LEAST_FOR_MEDIAN:
        return ""
    celsius, sd = np.array(shown), np.array([own_sd_kelvin(probe, base) for probe in probes])
    if not not_one_place(celsius, sd, hot=is_lit(snapshot, float(median(celsius)))):
        return ""
    low, high = (f"{temperature_number(float(one), view):.1f}" for one in (celsius.min(), celsius.max()))
    spread = f"{difference_number(float(np.ptp(celsius)), view):.1f} {degree(view)}"
    return (
        f"{len(shown)} probes show {low} to {high} {degree(view)}, {spread} apart, more than is stated of them: "
        f"they are not in one place. {mend}; one that is truly far off is left out with --probes"
    )


def is_lit(snapshot: Snapshot, celsius: float) -> bool:
    """Tell whether a fire is lit and this is what it warms."""
    return snapshot.fire.phase in (Phase.WARMING, Phase.STEADY, Phase.LID_OPEN) and celsius > LIT_CELSIUS


def _found(session: Session) -> Sequence[tuple[str, Rest]]:
    return [(name, watch.found) for name, watch in session.watches.items() if watch.found is not None]


def no_surer(kind: Kind, probe: ProbeView, rest: Rest, sd_kelvin: float, view: View) -> str:
    """Say that a calibration is no surer than what is stated of its probe, uncalibrated; empty where it is."""
    stated = stated_sd_kelvin(probe, rest.reference_celsius)
    if not math.isfinite(stated) or not says_no_more(rest.raw_celsius - rest.reference_celsius, sd_kelvin, stated):
        return ""
    sign = "+-" if view.ascii_only else "±"
    sure, known = (f"{sign}{difference_number(2.0 * sd, view):.1f} {degree(view)}" for sd in (sd_kelvin, stated))
    mend = {
        Kind.ICE: "stir, and wait until it is still",
        Kind.BOIL: "a barometer (--pressure) would tell more than the height",
        Kind.TOGETHER: "more probes, or a better reference (--reference, --thermometer), would tell more",
    }[kind]
    return f"sure to {sure} only, no better than the {known} stated of it: {mend}"


def far_off(probe: ProbeView, rest: Rest) -> str:
    """Ask about a probe that is farther off than what is stated of it explains; empty where it is not."""
    stated = stated_sd_kelvin(probe, rest.reference_celsius)
    return "far off: was its tip well in the bath?" if far(rest.raw_celsius - rest.reference_celsius, stated) else ""
