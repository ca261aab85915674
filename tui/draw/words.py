"""Numbers as a person reads them: temperatures in his unit, ages, clock times, arrows, alarm sentences.

A difference is converted as a difference: 10 K apart is 18 °F apart, never 50.
"""

import math
from datetime import UTC, datetime

from collector.snapshot import AlarmView
from collector.words import MEANT, PRIORITY_WORDS, STATE_WORDS
from tui.draw.view import View

__all__ = [
    "NOTHING",
    "PRIORITY_WORDS",
    "STATE_WORDS",
    "age",
    "alarm_sentence",
    "alarm_sentences",
    "arrow",
    "clock",
    "clock_seconds",
    "degree",
    "difference",
    "difference_number",
    "measured",
    "number",
    "slope",
    "temperature",
    "temperature_number",
    "within",
]

NOTHING = "--"


def degree(view: View) -> str:
    """Name the unit on show."""
    letter = "F" if view.fahrenheit else "C"
    return letter if view.ascii_only else f"°{letter}"


def temperature_number(celsius: float, view: View) -> float:
    """Convert to the unit on show."""
    return celsius * 1.8 + 32.0 if view.fahrenheit else celsius


def difference_number(kelvin: float, view: View) -> float:
    """Convert a difference to the unit on show."""
    return kelvin * 1.8 if view.fahrenheit else kelvin


def number(celsius: float, view: View) -> str:
    """Round a temperature to whole degrees, without its unit."""
    return NOTHING if math.isnan(celsius) else f"{temperature_number(celsius, view):.0f}"


def temperature(celsius: float, view: View) -> str:
    """Write a temperature with its unit."""
    return f"{number(celsius, view)} {degree(view)}"


def difference(kelvin: float, view: View, *, signed: bool = True) -> str:
    """Round a difference to whole degrees, without its unit; zero carries no sign."""
    if math.isnan(kelvin):
        return NOTHING
    whole = round(difference_number(kelvin, view))
    return f"{whole:+d}" if signed and whole else f"{whole:d}"


def within(sd_kelvin: float, view: View) -> str:
    """Write what holds 95 times of 100, two standard deviations, to whole degrees; never less than one."""
    if math.isnan(sd_kelvin):
        return ""
    whole = max(1, round(difference_number(2.0 * sd_kelvin, view)))
    return f"{'+-' if view.ascii_only else '±'}{whole}"


def slope(kelvin_per_hour: float, view: View) -> str:
    """Write a slope with its unit."""
    return f"{difference(kelvin_per_hour, view)} {degree(view)}/h"


def age(seconds: float) -> str:
    """Say how long ago: `12 s`, `3 min`, `1 h 05`."""
    if not math.isfinite(seconds):
        return NOTHING
    whole = int(max(0.0, seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60:02d}"


def clock(unix: float, view: View) -> str:
    """Tell local time to the minute."""
    return datetime.fromtimestamp(unix, UTC).astimezone(view.zone).strftime("%H:%M")


def clock_seconds(unix: float, view: View) -> str:
    """Tell local time to the second."""
    return datetime.fromtimestamp(unix, UTC).astimezone(view.zone).strftime("%H:%M:%S")


ARROWS: tuple[tuple[float, str, str], ...] = (
    (20.0, "⇈", "++"),
    (4.0, "↗", "+ "),
    (-4.0, "→", "= "),
    (-20.0, "↘", "- "),
    (-math.inf, "⇊", "--"),
)
"""Slope from which a sign stands, kelvin per hour; the sign; the sign in ASCII."""


def arrow(kelvin_per_hour: float, view: View) -> str:
    """Point where a value is going, two cells wide."""
    if math.isnan(kelvin_per_hour):
        return "  "
    for bound, sign, ascii_sign in ARROWS:
        if kelvin_per_hour >= bound:
            return ascii_sign if view.ascii_only else sign.ljust(2)
    return "  "


def measured(value: float, unit: str, view: View) -> str:
    """Write a value of an alarm in its own unit."""
    if unit == "celsius":
        return temperature(value, view)
    if unit == "kelvin":
        return f"{difference(value, view, signed=False)} {degree(view)}"
    if unit == "kelvin_per_hour":
        return slope(value, view)
    if unit == "seconds":
        return age(value)
    if unit == "percent":
        return f"{value:.0f} %"
    return f"{value:g} {unit.replace('_', ' ')}".strip()


def alarm_sentence(alarm: AlarmView, view: View) -> str:
    """Say what stands, in the unit on show, against which limit; what to look at comes last."""
    return alarm_sentences(alarm, view)[0]


def alarm_sentences(alarm: AlarmView, view: View) -> tuple[str, ...]:
    """Say what stands, the longest sentence first: then without advice, limit, and what its number is measured from.

    Which place and how much are in all of them.
    """
    said = alarm.message or f"{alarm.rule} {alarm.subject}"
    cut = min((at for at in (said.find(":"), said.find(";")) if at >= 0), default=len(said))
    text, advice = said[:cut], said[cut:]
    named = advice if advice.startswith(":") and text.startswith(tuple("0123456789")) else ""
    """The places of a trouble that has several: they are no advice."""
    named = named.partition(";")[0]
    leading, *others = named.split(", ")
    fewer = f"{leading} +{len(others)}" if others else named
    if not math.isfinite(alarm.value):
        return _different(text + advice, text + named)
    if alarm.unit == "seconds" and not alarm.active:  # how long it has been over is no measure of anything
        return _different(text + advice, text + named)
    number = measured(alarm.value, alarm.unit, view)
    meant = alarm.unit in ("kelvin", "seconds", "percent")
    long = MEANT.get(alarm.rule, "{}").format(number) if meant else number
    short = _MEANT_SHORT.get(alarm.rule, "{}").format(number) if meant else number
    limit = ""
    if alarm.limit and math.isfinite(alarm.limit) and alarm.unit != "seconds":
        limit = f" (limit {measured(alarm.limit, alarm.unit, view)})"
    return _different(
        f"{text}, {long}{limit}{advice}", f"{text}, {long}{limit}{named}", f"{text}, {long}{named}",
        f"{text}, {short}{named}", f"{text}, {short}{fewer}",
    )  # fmt: skip


def _different(*sentences: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(sentences))


_MEANT_SHORT = {
    "cold-spot": "{} low", "drift": "{} off", "pit-low": "{} low", "spread": "{} apart", "lid-open": "{} lost",
    "source-silent": "for {}", "probe-silent": "for {}", "probe-lying": "for {}", "battery-low": "{} left",
}  # fmt: skip
"""What an alarm's number is, in one word: where the whole of it finds no room."""
