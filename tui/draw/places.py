"""The coldest and the hottest place of a level in words: how warm, how surely, and where in the chamber."""

import msgspec

from collector.snapshot import ChamberView, FieldView, PlaceView
from tui.draw.view import View
from tui.draw.words import degree, difference, number, within

__all__ = ["NO_TELLING", "Places", "told_apart"]

NO_TELLING = "no telling which place is coldest"


def told_apart(field: FieldView) -> bool:
    """Tell whether the coldest place is surely colder than the hottest: by two standard deviations of both."""
    return field.hottest.celsius - field.coldest.celsius >= 2.0 * field.difference_sd_kelvin


class Places(msgspec.Struct, frozen=True):
    """Words for the places of one level."""

    field: FieldView
    chamber: ChamberView
    view: View
    reference_celsius: float = float("nan")
    """Values are told as differences from this; NaN: as temperatures."""

    @property
    def signs(self) -> tuple[str, str]:
        """Give what marks the coldest and the hottest place on the map."""
        return ("[c]", "[h]") if self.view.ascii_only else ("◇", "◆")

    def long(self) -> list[str]:
        """Say each place in a line of its own; one line where they cannot be told apart."""
        return [
            f"{sign} {name} {self._value(place)} {degree(self.view)} {_where(place, self.chamber)}"
            for sign, name, place in self._both()
        ] or [NO_TELLING]

    def short(self) -> list[str]:
        """Say each place in as little as it takes."""
        return [f"{sign} {name} {self._value(place)}" for sign, name, place in self._both()] or [NO_TELLING]

    def plain(self) -> str:
        """Say both in a sentence without signs."""
        return ", ".join(
            f"{name} {self._value(place)} {degree(self.view)} {_where(place, self.chamber)}"
            for _, name, place in self._both()
        ) or NO_TELLING  # fmt: skip

    def _both(self) -> list[tuple[str, str, PlaceView]]:
        if not told_apart(self.field):
            return []
        cold, hot = self.signs
        return [(cold, "coldest", self.field.coldest), (hot, "hottest", self.field.hottest)]

    def _value(self, place: PlaceView) -> str:
        if self.reference_celsius == self.reference_celsius:
            value = difference(place.celsius - self.reference_celsius, self.view)
        else:
            value = number(place.celsius, self.view)
        return f"{value} {within(place.sd_kelvin, self.view)}"


def _where(place: PlaceView, chamber: ChamberView) -> str:
    """Say where a place lies, by thirds of the chamber."""
    along, across = place.x_m / chamber.length_m, place.y_m / chamber.width_m
    end = "by the fire" if along < 1 / 3 else "by the stack" if along > 2 / 3 else ""
    side = "near the back" if across < 1 / 3 else "near the door" if across > 2 / 3 else ""
    return f"{side} {end or 'midway'}".strip() if side or end else "in the middle"
