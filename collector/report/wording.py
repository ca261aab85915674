"""Numbers and times of a report as its reader wants them: his unit, his clock. Pure.

A difference is converted as a difference: 10 K apart is 18 °F apart, never 50.
"""

import datetime as dt

import msgspec

__all__ = ["NOTHING", "Words"]

NOTHING = "–"
"""Stands for a number that is not known."""
SOON_SECONDS = 90.0


class Words(msgspec.Struct, frozen=True):
    """Writes numbers in one unit and times of one zone; what must not be torn apart holds no-break spaces.

    Times are told in `zone`, the machine's own where it is None.
    """

    fahrenheit: bool = True
    zone: dt.tzinfo | None = None

    @property
    def degree(self) -> str:
        """Name the unit."""
        return "°F" if self.fahrenheit else "°C"

    def degrees(self, celsius: float) -> float:
        """Convert a temperature."""
        return celsius * 1.8 + 32.0 if self.fahrenheit else celsius

    def apart(self, kelvin: float) -> float:
        """Convert a difference."""
        return kelvin * 1.8 if self.fahrenheit else kelvin

    def temperature(self, celsius: float | None) -> str:
        """Write a temperature in whole degrees with its unit."""
        return NOTHING if celsius is None else f"{self.degrees(celsius):.0f} {self.degree}"

    def number(self, celsius: float | None) -> str:
        """Write a temperature in whole degrees without its unit."""
        return NOTHING if celsius is None else f"{self.degrees(celsius):.0f}"

    def difference(self, kelvin: float | None, *, signed: bool = True, digits: int = 0) -> str:
        """Write a difference without its unit; zero carries no sign."""
        if kelvin is None:
            return NOTHING
        value = round(self.apart(kelvin), digits) + 0.0
        return f"{value:{'+' if signed and value else ''}.{digits}f}".replace("-", "−")

    def dose(self, kelvin_minutes: float | None) -> str:
        """Write degree-minutes in whole ones, without their unit."""
        return NOTHING if kelvin_minutes is None else f"{self.apart(kelvin_minutes):,.0f}"

    def local(self, unix: float) -> dt.datetime:
        """Give the local time."""
        return dt.datetime.fromtimestamp(unix, dt.UTC).astimezone(self.zone)

    def clock(self, unix: float | None) -> str:
        """Tell the local time to the minute."""
        return NOTHING if unix is None else self.local(unix).strftime("%H:%M")

    def day(self, unix: float) -> str:
        """Tell the local day and time: `Fri 9 Oct 2026, 19:30`."""
        at = self.local(unix)
        return f"{at:%a} {at.day} {at:%b} {at.year}, {at:%H:%M}"

    def zone_name(self, unix: float) -> str:
        """Name the local time's distance to UTC: `UTC−05:00`."""
        name = self.local(unix).strftime("%z")
        return f"UTC{name[:3].replace('-', '−')}:{name[3:5]}" if name.strip("+-0") else "UTC"

    @staticmethod
    def span(seconds: float | None) -> str:
        """Say how long: `40 s`, `12 min`, `1 h 05`."""
        if seconds is None:
            return NOTHING
        if seconds < SOON_SECONDS:
            return f"{max(0.0, seconds):.0f}\u00a0s"
        minutes = round(seconds / 60.0)
        return f"{minutes}\u00a0min" if minutes < 60 else f"{minutes // 60}\u00a0h\u00a0{minutes % 60:02d}"

    @staticmethod
    def percent(share: float | None) -> str:
        """Write a share; what is not none and not all is never rounded to that."""
        if share is None:
            return NOTHING
        if 0.0 < share < 0.005:
            return "<1\u00a0%"
        return ">99\u00a0%" if 0.995 <= share < 1.0 else f"{100.0 * share:.0f}\u00a0%"

    def measured(self, value: float | None, unit: str) -> str:
        """Write a value of an alarm in its own unit."""
        if value is None:
            return NOTHING
        if unit == "celsius":
            return self.temperature(value)
        if unit == "kelvin":
            return f"{self.difference(value, signed=False)} {self.degree}"
        if unit == "seconds":
            return self.span(value)
        return f"{value:.0f} %" if unit == "percent" else f"{value:g}"
