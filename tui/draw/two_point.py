"""What the two baths told, in lines: the payloads in ice and in boiling water, and what reads both."""

from collections.abc import Sequence

import msgspec

from adapters.ble.recognise import Recognised
from adapters.ble.survey import Device, Group, Place
from adapters.decode.candidates import Candidate, Findings, find, two_point
from tui.draw.clean import clean
from tui.draw.line import Line
from tui.draw.scan import exact_temperature, payload_lines, place_words, reading_words
from tui.draw.scan_blocks import alike
from tui.draw.view import View

__all__ = ["GUIDE_BOILING", "GUIDE_ICE", "SCALDING", "Bathed", "bathed", "two_point_lines"]

GUIDE_ICE = (
    "1. Ice water. Fill a deep cup with crushed ice, then with water up to the ice.",
    "   Put the probe's tip in the middle, off the wall, stir, give it two minutes.",
)
GUIDE_BOILING = (
    "2. Boiling water. Put the same probe's tip into water at a rolling boil, off",
    "   the pot's bottom and wall, and give it a minute.",
)
SCALDING = "   Boiling water and its steam scald: mind hands and face, and keep children away."
MOST_SHOWN = 5


class Bathed(msgspec.Struct, frozen=True):
    """One place of a device with what it sent in both baths."""

    device: Device
    place: Place
    ice: Group
    boiling: Group
    candidates: tuple[Candidate, ...]
    """What reads both baths right, best first."""

    def recognised(self) -> Recognised:
        """Give it in the form that blocks are made of."""
        # Apart, because a counter went on counting between the baths.
        ice, boiling = find(self.ice.history), find(self.boiling.history)
        findings = Findings(boiling.length, self.candidates, boiling.counters or ice.counters)
        return Recognised(self.boiling, findings=findings)


def bathed(
    ice: Sequence[tuple[Device, Group]],
    boiling: Sequence[tuple[Device, Group]],
    boiling_celsius: float,
    tolerance_kelvin: float,
) -> list[Bathed]:
    """Put together what was sent in both baths, the place with the best candidate first.

    Args:
        ice: every place heard in ice water, with its device.
        boiling: likewise in boiling water.
        boiling_celsius: at what the water boils here.
        tolerance_kelvin: how far off a reading may be.
    """
    cold = {(device.address, group.place): group for device, group in ice}
    found = []
    for device, group in boiling:
        before = cold.get((device.address, group.place))
        if before is None:
            continue
        in_ice, in_boiling = ([payload for _, payload in g.history] for g in (before, group))
        candidates = two_point(in_ice, in_boiling, boiling_celsius, tolerance_kelvin=tolerance_kelvin)
        found.append(Bathed(device, group.place, before, group, tuple(candidates)))
    found.sort(key=lambda b: b.candidates[0].doubt if b.candidates else float("inf"))
    return found


def two_point_lines(found: Sequence[Bathed], boiling_celsius: float, view: View) -> list[Line]:
    """Draw the places that have a candidate; where none has, say so and what to try."""
    lines: list[Line] = []
    good = [one for one in found if one.candidates]
    for one in good[:MOST_SHOWN]:
        lines += [*_bathed_lines(one, view), ()]
    if good:
        return lines
    boiling = exact_temperature(boiling_celsius, view)
    ice = exact_temperature(0.0, view)
    if not found:
        return [(("no device sent anything in both baths", "warn"),)]
    return [
        ((f"nothing read near {ice} in the one and near {boiling} in the other", "warn"),),
        (("  Was the same probe in both, and settled? A meat probe may stop short of boiling.", "plain"),),
        (('  Is the height right (--altitude)? Try --tolerance "5 K". If it stays so, the device', "plain"),),
        (("  may encrypt, or send to a connection only: --connect ADDRESS --two-point.", "plain"),),
    ]


def _bathed_lines(one: Bathed, view: View) -> list[Line]:
    name = clean(one.device.name, 26, ascii_only=view.ascii_only) or "no name"
    head = f"{clean(one.device.address, 36, ascii_only=True)}  {name}"
    lines: list[Line] = [((head, "strong"),), ((f"  {place_words(one.place)}", "plain"),)]
    ice, boiling = one.ice.last, one.boiling.last
    changed = [at for at, (a, b) in enumerate(zip(ice, boiling, strict=False)) if a != b]
    lines += [(("    in ice water", "faint"),), *payload_lines(ice)]
    lines += [(("    in boiling water", "faint"),), *payload_lines(boiling, changed)]
    best = one.candidates[0]
    same = alike(best, one.candidates[1:])
    lines += [_reading(c, ice, boiling, view, "it is") for c in sorted((best, *same), key=lambda c: c.at)]
    unlike = [c for c in one.candidates[1:] if c not in same]
    return lines + [_reading(c, ice, boiling, view, "or") for c in unlike[:MOST_SHOWN]]


def _reading(candidate: Candidate, ice: bytes, boiling: bytes, view: View, lead: str) -> Line:
    cold, hot = (exact_temperature(candidate.read(payload), view) for payload in (ice, boiling))
    head = f"    {lead:5} {reading_words(candidate)}: "
    return ((head, "plain"), (f"ice {cold}, boiling {hot}", "plain" if lead == "or" else "strong"))
