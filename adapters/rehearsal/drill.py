"""Faults on command, like a fire drill: what can be asked of a rehearsed pit while it runs."""

import math
from collections.abc import Mapping

from msgspec.structs import replace

from adapters.decode.boiling import boiling_celsius
from adapters.errors import SourceConfigError
from adapters.rehearsal.night import AirLeak, FaultKind, LidOpening, ProbeFault
from adapters.rehearsal.rehearsal import Rehearsal

__all__ = ["call_drill", "check_drill", "drills"]

Arguments = Mapping[str, str | float]

_PIT_DRILLS = {
    "fire-out": "the fire is out and nobody lays a split",
    "fire-fade": "nobody lays another split: the fire burns down",
    "lid-open": "the door stands open, for `seconds` (90)",
    "cold-flat": "cold air leaks in at the flat side, growing over `minutes` (30)",
    "wet-wood": "the wood at hand is wet",
    "wind": "a gusty wind of `speed` m/s (7)",
    "ice-bath": "all tips are in crushed ice and water",
    "boiling-bath": "all tips are in boiling water, `metres` above the sea (0)",
    "bundle": "all tips are tied together at the place of one, the first or `key`",
    "clear": "all drills are over",
}
_PROBE_DRILLS = {f"probe-{kind.value}": kind for kind in FaultKind}
_PROBE_SENTENCES = {
    FaultKind.STUCK: "the probe `key` repeats the value it has",
    FaultKind.DRIFT: "the probe `key` walks off, by `kelvin_per_hour` (6)",
    FaultKind.SPIKE: "the probe `key` gives a wild value now and then",
    FaultKind.OPEN: "the wire of probe `key` is broken",
    FaultKind.SHORT: "the wire of probe `key` is shorted",
    FaultKind.SILENT: "the probe `key` sends nothing",
    FaultKind.SWAPPED: "the plugs of probes `key` and `other` are exchanged",
    FaultKind.WET: "the tip of probe `key` is wet, for `seconds` (240)",
}


def drills() -> dict[str, str]:
    """Return the names of all drills, each with a line that says what happens and which arguments it takes."""
    return _PIT_DRILLS | {name: _PROBE_SENTENCES[kind] for name, kind in _PROBE_DRILLS.items()}


def check_drill(run: Rehearsal, name: str, arguments: Arguments) -> None:
    """See whether a drill can be called.

    Raises:
        SourceConfigError: no such drill, probe or argument.
    """
    if name not in _PROBE_DRILLS and name not in _PIT_DRILLS:
        raise SourceConfigError(f"no drill is called {name!r}; there are {', '.join(drills())}")
    # A drill names its arguments in its own line, between back-ticks.
    if unknown := [argument for argument in arguments if f"`{argument}`" not in drills()[name]]:
        raise SourceConfigError(f"the drill {name} takes no {', '.join(unknown)}")
    for argument in arguments:
        if argument not in ("key", "other"):
            _number(arguments, argument, 0.0)
    if name in _PROBE_DRILLS:
        _probe_fault(run, _PROBE_DRILLS[name], arguments)
    elif name == "bundle":
        _bundled_at(run, arguments)
    elif name == "boiling-bath":
        boiling_celsius(_number(arguments, "metres", 0.0))


def call_drill(run: Rehearsal, name: str, arguments: Arguments) -> None:
    """Let a drill begin now.

    Args:
        run: the night under way.
        name: one of `drills()`.
        arguments: those the drill names; numbers may come as text.

    Raises:
        SourceConfigError: as `check_drill`; nothing has changed then.
    """
    check_drill(run, name, arguments)
    if name in _PROBE_DRILLS:
        run.faults.append(_probe_fault(run, _PROBE_DRILLS[name], arguments))
    else:
        _pit_drill(run, name, arguments)


def _pit_drill(run: Rehearsal, name: str, arguments: Arguments) -> None:
    now = run.now
    match name:
        case "fire-out":
            run.fire.put_out()
            run.unattended.append((now, math.inf))
        case "fire-fade":
            run.unattended.append((now, math.inf))
        case "lid-open":
            run.lids.append(LidOpening(now, _number(arguments, "seconds", 90.0), "drill"))
        case "cold-flat":
            pit, grow = run.night.pit, _number(arguments, "minutes", 30.0) * 60.0
            place = {"x_m": 0.74 * pit.length_m, "y_m": 0.56 * pit.width_m, "reach_m": pit.length_m / 12.0}
            run.leaks.append(AirLeak(now, grow, **place))
        case "wet-wood":
            run.wet_fuel.append((now, math.inf))
        case "wind":
            speed = _number(arguments, "speed", 7.0)
            run.weather = replace(run.weather, wind_metres_per_second=speed, gust_metres_per_second=0.4 * abs(speed))
        case "ice-bath":
            run.bath_celsius = 0.0
        case "boiling-bath":
            run.bath_celsius = boiling_celsius(_number(arguments, "metres", 0.0))
        case "bundle":
            run.bath_celsius, run.bundle_key = None, _bundled_at(run, arguments)
        case _:
            clear(run)


def clear(run: Rehearsal) -> None:
    """End every drill; what the script of the night holds stays."""
    night = run.night
    run.lids[:] = night.lids
    run.leaks[:] = night.leaks
    run.faults[:] = night.faults
    run.unattended[:] = night.unattended
    run.wet_fuel[:] = night.wet_fuel
    run.intake_left[:] = night.intake_left
    run.weather = night.weather
    run.bath_celsius, run.bundle_key = None, None


def _probe_fault(run: Rehearsal, kind: FaultKind, arguments: Arguments) -> ProbeFault:
    key = _key(run, arguments, "key")
    fault = ProbeFault(key, kind, run.now)
    match kind:
        case FaultKind.DRIFT:
            return replace(fault, kelvin=20.0, kelvin_per_hour=_number(arguments, "kelvin_per_hour", 6.0))
        case FaultKind.SPIKE:
            return replace(fault, kelvin=25.0, every_seconds=60.0)
        case FaultKind.WET:
            return replace(fault, end=run.now + _number(arguments, "seconds", 240.0))
        case FaultKind.SWAPPED:
            return replace(fault, other=_key(run, arguments, "other"))
        case _:
            return fault


def _key(run: Rehearsal, arguments: Arguments, argument: str) -> str:
    key = str(arguments.get(argument, ""))
    known = [probe.key for probe in run.night.probes]
    if key not in known:
        raise SourceConfigError(f"{argument} {key!r} is no probe of this pit; there are {', '.join(known)}")
    return key


def _bundled_at(run: Rehearsal, arguments: Arguments) -> str:
    return _key(run, arguments, "key") if "key" in arguments else run.night.probes[0].key


def _number(arguments: Arguments, argument: str, usual: float) -> float:
    given = arguments.get(argument, usual)
    try:
        number = float(given)
    except ValueError as fault:
        raise SourceConfigError(f"{argument} is {given!r}, a number is needed") from fault
    if not math.isfinite(number):
        raise SourceConfigError(f"{argument} is {given!r}, a finite number is needed")
    return number
