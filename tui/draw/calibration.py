"""Calibration in words and lines: what to do, how far each probe is, what came of it, and all that holds."""

from collections.abc import Sequence
from datetime import UTC, datetime

import msgspec

from collector.model.calibration import Kind, Point
from collector.model.steadiness import LEAST_READINGS, BathWatch, Rest, State
from collector.snapshot import ProbeView
from tui.draw.clean import clean
from tui.draw.line import Line, Role
from tui.draw.sensor_class import class_words
from tui.draw.view import View
from tui.draw.words import NOTHING, degree, difference_number, temperature_number

__all__ = [
    "GUIDES",
    "Outcome",
    "outcome_lines",
    "progress_line",
    "show_lines",
    "tenths",
]

GUIDES: dict[Kind, tuple[str, ...]] = {
    Kind.ICE: (
        "Ice water. Fill a deep cup or a bucket with crushed ice, then with water up to",
        "the ice; stir now and then. The tips hang in the middle and touch neither a",
        "piece of ice nor the wall. Ice floating on clear water is too little: below it",
        "the water is warmer.",
    ),
    Kind.BOIL: (
        "Boiling water. A pot at a rolling boil, without salt, the tips well under water,",
        "off its bottom and wall. A probe whose maker forbids it does not belong there.",
        "Boiling water and its steam scald: mind hands and face, and keep children away.",
    ),
    Kind.TOGETHER: (
        "All tips in one place: tied together in the middle of the chamber, in an oven,",
        "or in a stirred bucket, as near to the temperature they will work at as you can.",
        "Leave the lid or door shut.",
    ),
}
"""Common practice, no source."""

WIDTH = 18


class Outcome(msgspec.Struct, frozen=True):
    """What came of one probe."""

    name: str
    rest: Rest | None
    """What it showed; None where it never came to rest in the bath."""
    sd_kelvin: float
    """Of its offset, the reference's own included; NaN without one."""
    why: str
    """Why nothing was stored; empty where it was."""
    kept: bool
    """Whether it is on record now."""
    probe: ProbeView
    """How it stands after that."""
    note: str = ""
    """What to look at all the same."""


def tenths(celsius: float, view: View) -> str:
    """Write a temperature to a tenth, with its unit."""
    return f"{temperature_number(celsius, view):.1f} {degree(view)}" if celsius == celsius else NOTHING


def _off(kelvin: float, view: View) -> str:
    """Write a difference to a tenth, signed; nothing at all has no sign."""
    number = round(difference_number(kelvin, view), 1)
    return f"{number:+.1f} {degree(view)}" if number else f"0.0 {degree(view)}"


def _unsure(sd_kelvin: float, view: View) -> str:
    """Write what holds 95 times of 100: two standard deviations."""
    return f"{'+-' if view.ascii_only else '±'}{difference_number(2.0 * sd_kelvin, view):.1f} {degree(view)}"


def progress_line(name: str, watch: BathWatch, probe: ProbeView, view: View) -> Line:
    """Say how far a probe has come."""
    head = clean(name, WIDTH, ascii_only=view.ascii_only).ljust(WIDTH)
    raw = tenths(probe.raw_celsius, view)
    words, now = str(watch.state), watch.latest
    if watch.state is State.FEW:
        words = f"{words}: {watch.readings}; {LEAST_READINGS} are needed, over two minutes"
    elif watch.state is State.MOVING and now is not None:
        words = f"{words}: {_off(now.drift_kelvin_per_minute, view)} a minute"
    elif watch.state is State.SWINGING and now is not None:
        words = f"{words}: {_unsure(now.noise_kelvin, view)}"
    elif watch.state is State.BATH_MOVING and now is not None:
        words = f"{words}: {_off(now.reference_drift, view)} a minute"
    elif watch.state is State.STEADY and watch.found is not None:
        words = f"steady, {_off(watch.found.raw_celsius - watch.found.reference_celsius, view)} off"
    role: Role = "good" if watch.state is State.STEADY else "plain"
    return ((f"  {head} {raw:>9}  ", "plain"), (words, role))


def outcome_lines(
    kind: Kind, outcomes: Sequence[Outcome], target_celsius: float, view: View, *, told: str = "", refusal: str = ""
) -> list[Line]:
    """Say what came of a bath, a line a probe.

    Args:
        kind: of the bath.
        outcomes: one a probe.
        target_celsius: where its correction matters.
        view: how numbers are written.
        told: what the bath was taken to be.
        refusal: why nothing of it is kept, said once for all.
    """
    lines: list[Line] = [((text, "plain"),) for text in told.split("\n")[:1] if text]
    lines += [
        ((f"{'probe':{WIDTH}}  {'bath':>9} {'showed':>9} {'adds':>9}  {'sure to':>8}", "faint"),),
    ]
    for one in outcomes:
        head = clean(one.name, WIDTH, ascii_only=view.ascii_only).ljust(WIDTH)
        if refusal:
            showed = one.probe.raw_celsius if one.rest is None else one.rest.raw_celsius
            lines.append(((f"{head}  {'':9} {tenths(showed, view):>9}  ", "plain"), ("not kept", "warn")))
            continue
        if one.rest is None or one.why:
            lines.append(((f"{head}  ", "plain"), (f"not calibrated: {one.why}", "warn")))
            continue
        rest = one.rest
        numbers = (
            f"{tenths(rest.reference_celsius, view):>9} {tenths(rest.raw_celsius, view):>9} "
            f"{_off(rest.reference_celsius - rest.raw_celsius, view):>9}  {_unsure(one.sd_kelvin, view):>8}"
        )
        point = Point(kind, rest.reference_celsius, rest.raw_celsius, one.sd_kelvin, 0.0)
        words, fit = class_words((point,), one.probe.tolerance_class)
        words = f"{words}; {one.note}" if one.note else words
        lines.append(((f"{head}  {numbers}  ", "plain"), (words, "plain" if fit and not one.note else "warn")))
    if refusal:
        lines += [(), (("nothing kept: ", "warn"), (refusal, "warn"))]
    kept = [one for one in outcomes if one.kept and one.probe.line is not None]
    if kept:
        at = tenths(target_celsius, view)
        lines += [(), ((f"on record; from now on, at {at}:", "strong"),)]
        lines += [_standing_line(one.probe, target_celsius, view) for one in kept]
    return lines


def _standing_line(probe: ProbeView, at_celsius: float, view: View) -> Line:
    line = probe.line
    assert line is not None
    raw = line.raw(at_celsius)
    gain = f", gain {line.gain:.4f}" if line.gain != 1.0 else ""
    head = clean(probe.name, WIDTH, ascii_only=view.ascii_only).ljust(WIDTH)
    return (
        (f"  {head}  adds {_off(at_celsius - raw, view)}, {_unsure(probe.sd_kelvin, view)}{gain}", "plain"),
        (f"  ({_by(probe)})", "faint"),
    )


def _by(probe: ProbeView) -> str:
    return " + ".join(point.kind for point in probe.line.points) if probe.line is not None else ""


def show_lines(probes: Sequence[ProbeView], target_celsius: float, view: View) -> list[Line]:
    """List what holds for every probe."""
    sign = "+-" if view.ascii_only else "±"
    at = tenths(target_celsius, view)
    lines: list[Line] = [
        ((f"{'probe':{WIDTH}}  {'calibrated':16}  {'by':20} {'adds':>9}  {'sure to':>8}  class, uncorrected", "faint"),)
    ]
    for probe in probes:
        head = clean(probe.name, WIDTH, ascii_only=view.ascii_only).ljust(WIDTH)
        sure = _unsure(probe.sd_kelvin, view)
        line = probe.line
        if line is None:
            added = _off(probe.celsius - probe.raw_celsius, view) if probe.celsius == probe.celsius else NOTHING
            lines.append(((f"{head}  {'never':16}  {'the config':20} {added:>9}  {sure:>8}", "faint"),))
            continue
        when = datetime.fromtimestamp(line.time_unix, UTC).astimezone(view.zone)
        added = _off(target_celsius - line.raw(target_celsius), view)
        words, fit = class_words(line.points, probe.tolerance_class)
        lines.append(
            (
                (f"{head}  {when:%Y-%m-%d %H:%M}  {_by(probe):20} {added:>9}  {sure:>8}  ", "plain"),
                (words, "plain" if fit else "warn"),
            )
        )
    lines.append(((f"adds: at {at}; {sign}: 95 times of 100 at {at}, drift since included", "faint"),))
    return lines
