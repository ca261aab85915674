"""What is usual in this pit, as lines of text. Pure."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime

from collector.usual import COOKS, WEATHERS, CookUsual, ZoneUsual
from tui.draw.view import View
from tui.draw.words import NOTHING, degree, difference_number, temperature, temperature_number

__all__ = ["usual_lines"]


def usual_lines(pit: str, zones: Sequence[ZoneUsual], told: Sequence[CookUsual], cooks: int, view: View) -> list[str]:
    """Lay out what is usual, zone by zone, then the cooks it was learned from.

    Args:
        pit: its name.
        zones: what is usual.
        told: the cooks that tell of it, oldest first.
        cooks: how many were looked at.
        view: how it is shown.
    """
    if not zones:
        return [
            f"{pit}: {cooks} cooks on record tell nothing: the grate was within its band for less than an hour,",
            "or zones and measures of the pit were others.",
        ]  # fmt: skip
    wide = max(len("zone"), *(len(zone.name) for zone in zones))
    unit = degree(view)
    kinds = "".join(f"{_kind(k, low, high, view):>15}" for k, low, high in WEATHERS)
    lines = [
        f"{pit}: how far each zone of the grate lies below its mean (minus: above), {unit}",
        f"{'zone':{wide}}  usual  +-sd  cooks{kinds}",
    ]
    for zone in zones:
        weather = "".join(f"{_pair(value, count, view):>15}" for _, value, count in zone.by_weather)
        lines.append(
            f"{zone.name:{wide}}  {_signed(zone.deficit_kelvin, view):>5}  {_plain(zone.sd_kelvin, view):>4}  "
            f"{zone.cooks:>5}{weather}"
        )
    lines += [*_weather(zones, view), ""]
    lines += [_cook(cook, view) for cook in told]
    if len(told) < cooks:
        lines.append(f"{cooks - len(told)} more tell nothing: too short within the band, or another pit or zones.")
    lines.append(
        f'With [alarm.cold-spot] against = "usual" a new cook is held against the median of the newest {COOKS}.'
    )
    return lines


def _weather(zones: Sequence[ZoneUsual], view: View) -> list[str]:
    """Say where the air outside makes a difference that is shown."""
    if all(zone.per_kelvin is None for zone in zones):
        return ["What the weather does cannot be told: that takes six cooks, with a probe outside, in unlike weather."]
    lines = []
    step = 10.0 / 1.8 if view.fahrenheit else 10.0
    for zone in zones:
        if zone.per_kelvin is None or zone.per_kelvin[1] <= 0.0 <= zone.per_kelvin[2]:
            continue
        slope, low, high = (difference_number(step * value, view) for value in zone.per_kelvin)
        lines.append(
            f"{zone.name}: {abs(slope):.1f} {degree(view)} {'colder' if slope > 0 else 'less cold'} with each 10 "
            f"{degree(view)} of warmer air outside (95 %: {low:+.1f} to {high:+.1f})"
        )
    return lines or ["The weather makes no difference that is shown."]


def _cook(cook: CookUsual, view: View) -> str:
    began = datetime.fromtimestamp(cook.started_unix, UTC).astimezone(view.zone)
    air = "not recorded" if math.isnan(cook.ambient_celsius) else temperature(cook.ambient_celsius, view)
    return (
        f"{cook.name:24} {began:%Y-%m-%d}  {cook.hours:4.1f} h in its band, grate "
        f"{temperature(cook.grate_celsius, view)}, air outside {air}"
    )


def _kind(kind: str, low: float, high: float, view: View) -> str:
    edges = [f"{temperature_number(edge, view):.0f}" for edge in (low, high) if math.isfinite(edge)]
    return f"{kind} {'-'.join(edges) if len(edges) == 2 else ('<' if math.isinf(low) else '>') + edges[0]}"


def _pair(kelvin: float, count: int, view: View) -> str:
    return NOTHING if not count else f"{_signed(kelvin, view)} ({count})"


def _signed(kelvin: float, view: View) -> str:
    return f"{difference_number(kelvin, view):+.1f}"


def _plain(kelvin: float, view: View) -> str:
    return NOTHING if math.isnan(kelvin) else f"{difference_number(kelvin, view):.1f}"
