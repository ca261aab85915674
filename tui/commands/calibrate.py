"""`coldside calibrate`: what probes show in ice water, in boiling water or side by side, and what is added for it."""

import argparse
import asyncio
import json
import shutil
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tui.commands.options import FOOT, add_config, add_json, add_way, chosen_unit, metres, pascal
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.model.calibration import Kind
    from collector.model.steadiness import Rest
    from collector.snapshot import ProbeView, Snapshot
    from tui.calibrating import Reference, Session
    from tui.draw.calibration import Outcome
    from tui.draw.view import View
    from tui.way import Way

__all__ = ["add_options", "run"]

LONGEST_MINUTES = 240.0
LOWEST_AT_CELSIUS, HIGHEST_AT_CELSIUS = -20.0, 400.0
"""From a freezer to what a probe can measure unless its config says otherwise."""
THERMOMETER_SD_KELVIN = 0.5
"""What a thermometer somebody trusts may be off by, where it is the reference (common practice, no source)."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add what can be done, each with its options."""
    what = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    ice = what.add_parser("ice", help="crushed ice and water: 32 °F, 0 °C", description=_ICE)
    boil = what.add_parser("boil", help="boiling water, by height or pressure", description=_BOIL)
    height = boil.add_mutually_exclusive_group(required=True)
    height.add_argument("--altitude", type=metres, metavar="M", help="height above the sea, '1000 m' or '5280 ft'")
    height.add_argument(
        "--pressure", type=pascal, metavar="P",
        help="what a barometer reads where you stand, '1013 hPa' or '29.92 inHg'; not a weather report's, which is "
        "reduced to the sea",
    )  # fmt: skip
    together = what.add_parser("together", help="all in one place, at any temperature", description=_TOGETHER)
    known = together.add_mutually_exclusive_group()
    known.add_argument("--reference", metavar="PROBE", help="the probe that is right (default: the median is)")
    known.add_argument("--thermometer", metavar="TEMPERATURE", help='what another thermometer says, "235 F"')
    for bath in (ice, boil, together):
        bath.add_argument("--probes", metavar="A,B", help="these alone (default: all)")
        bath.add_argument(
            "--wait", type=_minutes, default=15.0, metavar="MIN", help="give up after so many minutes (default 15)"
        )
        bath.add_argument("--dry-run", action="store_true", help="say what would be added, keep nothing")
        _add_common(bath)
    _add_common(what.add_parser("show", help="list what holds for every probe", description=_SHOW))
    undo = what.add_parser("undo", help="go back to the calibration before", description=_UNDO)
    undo.add_argument("probe", metavar="PROBE", help="its name")
    undo.add_argument("--all", action="store_true", help="back to before its first calibration")
    _add_common(undo)


_ICE = "Calibrate probes in crushed ice and water. Needs a running collector; ends when each probe is steady."
_BOIL = (
    "Calibrate probes in boiling water. Weather moves its temperature: by the height alone it is known to about 1 °F "
    "(0.5 K), by a barometer to half of that."
)
_TOGETHER = (
    "Make probes agree that lie in one place. The median of all is taken for right, or one probe, or what another "
    "thermometer says."
)
_SHOW = "List what holds for every probe: when and how it was calibrated, what is added, how sure that is."
_UNDO = "Go back to the calibration before the last. Nothing is taken off the record."


def _add_common(parser: argparse.ArgumentParser) -> None:
    add_config(parser)
    add_way(parser)
    add_json(parser)
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit")
    parser.add_argument("--ascii", action="store_true", help="plain ASCII characters only")


def _minutes(text: str) -> float:
    try:
        minutes = float(text)
    except ValueError:
        minutes = 0.0
    if not 1.0 <= minutes <= LONGEST_MINUTES:
        raise argparse.ArgumentTypeError(f"{text!r} is no time to wait; 1 to {LONGEST_MINUTES:.0f} minutes")
    return minutes


def run(options: argparse.Namespace) -> int:
    """Do it on the running collector."""
    from tui.commands.ways import way_of

    does = {"show": _show, "undo": _undo}.get(options.what, _bathe)
    return asyncio.run(does(options, way_of(options), _view(options)))


def _view(options: argparse.Namespace) -> "View":
    from tui.draw.view import View

    return View(fahrenheit=chosen_unit(options) == "F", ascii_only=options.ascii)


async def _newest(way: "Way") -> "Snapshot":
    """Give the cook as it stands now."""
    from tui.once import snapshots

    async with aclosing(snapshots(way)) as coming:
        return await anext(coming)


async def _show(options: argparse.Namespace, way: "Way", view: "View") -> int:
    from tui.commands.printing import print_lines
    from tui.draw.calibration import show_lines

    snapshot = await _newest(way)
    if options.json:
        probes = [_probe_document(probe, snapshot.target_celsius) for probe in snapshot.probes]
        print(json.dumps({"schema": 1, "at_celsius": snapshot.target_celsius, "probes": probes, "exit": int(Exit.OK)}))
    else:
        print_lines(show_lines(snapshot.probes, snapshot.target_celsius, view))
    return Exit.OK


async def _undo(options: argparse.Namespace, way: "Way", view: "View") -> int:
    from collector.wire import UndoCalibration
    from tui.commands.printing import print_lines
    from tui.draw.calibration import show_lines
    from tui.once import ask

    reply = await ask(way, UndoCalibration(1, options.probe, options.all))
    code = Exit.OK if reply.done else Exit.FAILED
    if options.json:
        print(json.dumps({"schema": 1, "done": reply.done, "why": reply.why, "exit": int(code)}))
    elif reply.done:
        snapshot = await _newest(way)
        print_lines(show_lines([p for p in snapshot.probes if p.name == options.probe], snapshot.target_celsius, view))
    else:
        print(f"coldside: {reply.why}", file=sys.stderr)
    return code


@dataclass(frozen=True, slots=True)
class _Bath:
    """What the probes are held against."""

    kind: "Kind"
    names: tuple[str, ...]
    reference: "Reference"
    sd: Callable[["Session"], float]
    """Standard deviation of the reference, once the session is over, kelvin."""
    told: str
    """What it is, in words."""
    right: "ProbeView | None" = None
    """The probe the others are held against."""
    compared: bool = False
    """Probes are held against probes, so their movements must go together."""


async def _bathe(options: argparse.Namespace, way: "Way", view: "View") -> int:
    from tui.calibrating import Session
    from tui.commands.printing import print_lines
    from tui.draw.calibration import GUIDES, outcome_lines
    from tui.draw.refusals import apart, wrong_bath

    first = await _newest(way)
    bath = _bath(options, first, view)
    # Guidance goes to standard error, so that standard output holds the result alone.
    print("\n".join((*GUIDES[bath.kind], *([bath.told] if bath.told else []), "")), file=sys.stderr, flush=True)
    session = Session(bath.names, bath.reference, first)
    await _watch(session, way, view, options.wait * 60.0)
    refusal = wrong_bath(bath.kind, session, view)
    if bath.compared:
        refusal = refusal or apart(session, first, view, reference=bath.right)
    outcomes = await _keep(options, way, bath, session, refusal, view)
    code = Exit.FAILED if any(one.why for one in outcomes) else Exit.OK
    if options.json:
        probes = [_outcome_document(one, first.target_celsius) for one in outcomes]
        document = {"schema": 1, "kind": bath.kind, "bath": bath.told, "refused": refusal, "probes": probes}
        print(json.dumps(document | {"exit": int(code)}))
    else:
        print_lines(outcome_lines(bath.kind, outcomes, first.target_celsius, view, told=bath.told, refusal=refusal))
    return code


def _bath(options: argparse.Namespace, snapshot: "Snapshot", view: "View") -> _Bath:
    """Put together what the options ask for.

    Raises:
        TuiError: there is no such probe, or the temperature is none.
    """
    from adapters.decode.boiling import boiling_celsius, saturation_celsius
    from collector.model import calibration as model
    from tui.calibrating import constant
    from tui.draw.calibration import tenths

    names = _names(options, snapshot)
    if options.what == "ice":
        return _Bath(model.Kind.ICE, names, constant(0.0), lambda _: model.ICE_SD_KELVIN, "")
    if options.what == "together":
        return _together(options, snapshot, names, view)
    if options.pressure is not None:
        celsius, sd, by = (
            saturation_celsius(options.pressure),
            model.BOILING_BY_PRESSURE_SD_KELVIN,
            f"{options.pressure / 100.0:.1f} hPa",
        )
    else:
        celsius, sd = boiling_celsius(options.altitude), model.BOILING_BY_ALTITUDE_SD_KELVIN
        by = f"{options.altitude:.0f} m ({options.altitude / FOOT:.0f} ft) above the sea"
    told = f"At {by} water boils at {tenths(celsius, view)}, {_plus_minus(sd, view)}: weather moves it."
    if options.pressure is None:
        told += "\nA barometer (--pressure) would tell it better."
    return _Bath(model.Kind.BOIL, names, constant(celsius), lambda _: sd, told)


def _plus_minus(sd_kelvin: float, view: "View") -> str:
    from tui.draw.words import degree, difference_number

    return f"give or take {difference_number(2.0 * sd_kelvin, view):.1f} {degree(view)}"


def _names(options: argparse.Namespace, snapshot: "Snapshot") -> tuple[str, ...]:
    from tui.errors import TuiError

    if any(probe.celsius == probe.celsius and probe.raw_celsius != probe.raw_celsius for probe in snapshot.probes):
        raise TuiError("the collector is an older coldside, which cannot calibrate; stop it and start it again")
    known = [probe.name for probe in snapshot.probes]
    if options.probes is None:
        return tuple(known)
    asked = tuple(dict.fromkeys(name.strip() for name in options.probes.split(",") if name.strip()))
    strange = [name for name in asked if name not in known]
    if not asked:
        raise TuiError(f"--probes names no probe; there is {', '.join(known)}; leave it out for all")
    if strange:
        raise TuiError(f"--probes: there is no probe {', '.join(strange)}; there is {', '.join(known)}")
    return asked


def _together(options: argparse.Namespace, snapshot: "Snapshot", names: tuple[str, ...], view: "View") -> _Bath:
    from collector.model.calibration import Kind
    from collector.settings.quantity import QuantityError, parse_temperature
    from tui.calibrating import LEAST_FOR_MEDIAN, constant, median_of, one_probe
    from tui.draw.calibration import tenths
    from tui.errors import TuiError

    if options.thermometer is not None:
        try:
            celsius = parse_temperature(options.thermometer)
        except QuantityError as error:
            raise TuiError(f"--thermometer: {error}") from error
        if not LOWEST_AT_CELSIUS <= celsius <= HIGHEST_AT_CELSIUS:
            low, high = tenths(LOWEST_AT_CELSIUS, view), tenths(HIGHEST_AT_CELSIUS, view)
            raise TuiError(
                f"--thermometer: {options.thermometer!r} is {tenths(celsius, view)}; "
                f"probes are compared between {low} and {high}"
            )
        told = f"Held against {tenths(celsius, view)} of your thermometer, {_plus_minus(THERMOMETER_SD_KELVIN, view)}."
        return _Bath(Kind.TOGETHER, names, constant(celsius), lambda _: THERMOMETER_SD_KELVIN, told)
    if options.reference is not None:
        right = next((probe for probe in snapshot.probes if probe.name == options.reference), None)
        if right is None:
            known = ", ".join(probe.name for probe in snapshot.probes)
            raise TuiError(f"--reference: there is no probe {options.reference!r}; there is {known}")
        told = f"Held against {right.name}, {_plus_minus(right.sd_kelvin, view)}."
        others = tuple(name for name in names if name != right.name)
        if not others:
            raise TuiError(f"--probes: there is none to hold against {right.name}")
        sd = right.sd_kelvin
        return _Bath(Kind.TOGETHER, others, one_probe(right.name), lambda _: sd, told, right, compared=True)
    if len(names) < LEAST_FOR_MEDIAN:
        raise TuiError("a median needs three probes; with fewer, say which is right: --reference or --thermometer")
    told = "Held against the median of all, which may itself be off: --reference or --thermometer would be surer."
    return _Bath(Kind.TOGETHER, names, median_of(names), _sd_of_median, told, compared=True)


def _sd_of_median(session: "Session") -> float:
    """Give how sure the median is of the probes that came to rest; NaN with fewer than three."""
    import numpy as np

    from collector.model.steadiness import median_sd_kelvin
    from tui.calibrating import LEAST_FOR_MEDIAN, of_itself, own_sd_kelvin

    found = []
    for name, watch in session.watches.items():
        if watch.found is not None:
            probe = session.newest[name]
            reference = watch.found.reference_celsius
            off = of_itself(probe, watch.found.raw_celsius) - reference
            found.append((off, own_sd_kelvin(probe, reference)))
    return median_sd_kelvin(*np.array(found).T) if len(found) >= LEAST_FOR_MEDIAN else float("nan")


async def _watch(session: "Session", way: "Way", view: "View", longest_seconds: float) -> None:
    """Watch until every probe is steady, time is over, or Ctrl-C ends it; show how it goes on standard error."""
    from tui.commands.listening import interruptible
    from tui.once import snapshots

    shown = _Shown(view)
    async with interruptible() as stop, aclosing(snapshots(way)) as coming:
        while not stop.is_set() and not session.over and session.seconds <= longest_seconds:
            snapshot = await _next(coming, stop)
            if snapshot is not None:
                session.take(snapshot)
                shown.show(session)


async def _next(coming: "AsyncIterator[Snapshot]", stop: asyncio.Event) -> "Snapshot | None":
    """Wait for the next snapshot; None when `stop` was set before."""

    async def take() -> "Snapshot":
        return await anext(coming)

    following, stopped = asyncio.create_task(take(), name="snapshot"), asyncio.create_task(stop.wait(), name="Ctrl-C")
    try:
        await asyncio.wait((following, stopped), return_when=asyncio.FIRST_COMPLETED)
        return following.result() if following.done() else None
    finally:
        for task in (following, stopped):
            task.cancel()
        await asyncio.wait((following, stopped))


class _Shown:
    """Progress on standard error: in place on a terminal, else a line whenever a probe has come further."""

    def __init__(self, view: "View") -> None:
        self._view = view
        self._live = sys.stderr.isatty()
        self._rows = shutil.get_terminal_size().lines
        self._lines = 0
        self._states: dict[str, str] = {}

    def show(self, session: "Session") -> None:
        from tui.commands.printing import print_lines
        from tui.draw.calibration import progress_line

        lines = {
            name: progress_line(name, watch, session.newest[name], self._view)
            for name, watch in session.watches.items()
        }
        if self._live and len(lines) + 2 < self._rows:
            back = f"\x1b[{self._lines}A\x1b[J" if self._lines else ""
            print(back, end="", file=sys.stderr)
            foot = f"  {session.seconds / 60.0:.1f} min  (Ctrl-C ends it; what is steady is kept)"
            print_lines([*lines.values(), ((foot, "faint"),)], sys.stderr)
            self._lines = len(lines) + 1
            return
        for name, watch in session.watches.items():
            if self._states.get(name) != watch.state:
                self._states[name] = watch.state
                print_lines([lines[name]], sys.stderr)


async def _keep(
    options: argparse.Namespace, way: "Way", bath: _Bath, session: "Session", refusal: str, view: "View"
) -> "list[Outcome]":
    """Put on record what was found, unless the bath as a whole is refused; say of each probe what came of it."""
    from tui.draw.calibration import Outcome
    from tui.draw.refusals import far_off, no_surer

    reference_sd = bath.sd(session)
    outcomes = []
    for name, watch in session.watches.items():
        sd, why, kept, note = float("nan"), refusal, False, ""
        if refusal:
            pass
        elif watch.found is None:
            why = _why_not(session, name, view)
        elif reference_sd != reference_sd:
            why = "a median needs three probes that came to rest"
        else:
            sd = (watch.found.sd_kelvin**2 + reference_sd**2) ** 0.5
            probe = session.newest[name]
            why, note = no_surer(bath.kind, probe, watch.found, sd, view), far_off(probe, watch.found)
            if not why and not options.dry_run:
                why, kept = await _store(way, bath.kind, name, watch.found, sd)
        outcomes.append(Outcome(name, watch.found, sd, why, kept, session.newest[name], note))
    if not any(one.kept for one in outcomes):
        return outcomes
    now = {probe.name: probe for probe in (await _newest(way)).probes}
    from msgspec.structs import replace

    return [replace(one, probe=now.get(one.name, one.probe)) for one in outcomes]


async def _store(way: "Way", kind: "Kind", name: str, rest: "Rest", sd: float) -> tuple[str, bool]:
    """Send one probe's point; return why it was refused, and whether it is kept."""
    from collector.wire import Calibrate
    from tui.once import ask

    reply = await ask(way, Calibrate(1, name, kind, rest.reference_celsius, rest.raw_celsius, sd))
    return reply.why, reply.done


def _why_not(session: "Session", name: str, view: "View") -> str:
    from collector.model.steadiness import State
    from tui.draw.calibration import tenths

    state, raw = session.watches[name].state, session.newest[name].raw_celsius
    if state is State.SILENT and session.reference_celsius != session.reference_celsius:
        return "its reference was not heard, or no three probes for a median"
    if state is State.SILENT:
        return "not heard; `coldside status` tells of its source"
    if state is State.ELSEWHERE:
        return f"at {tenths(raw, view)}, over 10 K (18 °F) off: was its tip in the bath?"
    if state is State.BATH_MOVING:
        return "the place moved by over 1 K (2 °F) a minute; let it settle"
    if state is State.SWINGING:
        return "swings to and fro; keep its tip still in the middle of the bath, and wait"
    if state is State.FEW:
        return "too few readings: eight over two minutes are needed"
    return "not steady: over 0.1 K (0.2 °F) a minute; wait longer, stir"


def _outcome_document(one: "Outcome", at_celsius: float) -> dict[str, Any]:
    rest, known = one.rest, one.sd_kelvin == one.sd_kelvin
    document: dict[str, Any] = {"name": one.name, "kept": one.kept, "why": one.why, "note": one.note}
    if rest is not None:
        document |= {
            "reference_celsius": round(rest.reference_celsius, 4),
            "raw_celsius": round(rest.raw_celsius, 4),
            "offset_kelvin": round(rest.reference_celsius - rest.raw_celsius, 4),
            "sd_kelvin": round(one.sd_kelvin, 4) if known else None,
            "readings": rest.readings,
        }
    return document | {"now": _probe_document(one.probe, at_celsius)}


def _probe_document(probe: "ProbeView", at_celsius: float) -> dict[str, Any]:
    import msgspec

    from tui.draw.sensor_class import class_words

    line = probe.line
    words, fits = ("", True) if line is None else class_words(line.points, probe.tolerance_class)
    return {
        "name": probe.name,
        "calibrated_unix": probe.calibrated_unix,
        "kinds": [] if line is None else [point.kind for point in line.points],
        "added_kelvin": None if line is None else round(at_celsius - line.raw(at_celsius), 4),
        "sd_kelvin": round(probe.sd_kelvin, 4),
        "class": words,
        "within_stated_class": fits if line is not None and probe.tolerance_class else None,
        "line": msgspec.to_builtins(line),
    }
