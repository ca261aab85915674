"""The fire: wood dries, gives off gas that burns, and leaves charcoal that burns slowly.

Each stage is a first-order step of the mass left in it; heats of combustion are those of wood gas and charcoal
(about 14 and 30 MJ/kg), so a kilogram of dry wood gives some 17 MJ. A split first costs heat (its water), then
flares, then glows: the saw-tooth of an offset.
"""

from adapters.rehearsal.pit import Pit

__all__ = ["WOOD_JOULES", "Firebox"]

_DRYING_SECONDS, _GAS_SECONDS, _CHAR_SECONDS = 300.0, 780.0, 5000.0
_GAS_SHARE, _CHAR_SHARE = 0.73, 0.27
_GAS_JOULES, _CHAR_JOULES, _VAPOUR_JOULES = 14.0e6, 30.0e6, 2.45e6

WOOD_JOULES = _GAS_SHARE * _GAS_JOULES + _CHAR_SHARE * _CHAR_JOULES
"""Heat of a kilogram of dry wood."""


class Firebox:
    """Fuel and temperature of the firebox; masses in kilograms."""

    def __init__(self, pit: Pit, ambient_celsius: float) -> None:
        self._pit = pit
        self.celsius = ambient_celsius
        self.drying = 0.0
        """Dry mass of wood that has not yet caught."""
        self.water = 0.0
        self.gas = 0.0
        """Mass still to burn as flame."""
        self.char = 0.0
        self.watts = 0.0

    def add_wood(self, kilograms: float, moisture: float) -> None:
        """Lay a split of the given mass, of which `moisture` is water, on the embers."""
        self.drying += kilograms * (1.0 - moisture)
        self.water += kilograms * moisture

    def add_embers(self, kilograms: float) -> None:
        """Tip lit charcoal into the box."""
        self.char += kilograms

    @property
    def bed_joules(self) -> float:
        """Heat still to come from what lies in the box."""
        gas = self.gas + _GAS_SHARE * self.drying
        char = self.char + _CHAR_SHARE * self.drying
        return gas * _GAS_JOULES + char * _CHAR_JOULES

    def put_out(self) -> None:
        """Take the fire away, as a drill does."""
        self.drying = self.water = self.gas = self.char = 0.0

    def step(self, seconds: float, draught: float, flow_capacity: float, ambient_celsius: float) -> None:
        """Burn for `seconds`.

        Args:
            seconds: length of the step, well below a minute.
            draught: air drawn in against the reference, 1 on a usual night.
            flow_capacity: W/K carried off to the chamber by the flue gas.
            ambient_celsius: air outside.
        """
        warmth = min(1.0, max(0.35, (self.celsius - 40.0) / 180.0))
        wetness = 1.0 + 4.0 * self.water / (self.drying + self.water + 0.3)
        dried = self.drying * seconds * warmth / (_DRYING_SECONDS * wetness)
        boiled = self.water * seconds * warmth / (_DRYING_SECONDS * wetness)
        flamed = self.gas * seconds * draught**0.5 / _GAS_SECONDS
        glowed = self.char * seconds * draught / _CHAR_SECONDS
        self.drying -= dried
        self.water -= boiled
        self.gas += _GAS_SHARE * dried - flamed
        self.char += _CHAR_SHARE * dried - glowed
        heat = flamed * _GAS_JOULES + glowed * _CHAR_JOULES - boiled * _VAPOUR_JOULES
        self.watts = heat / seconds
        lost = (flow_capacity + self._pit.firebox_loss) * (self.celsius - ambient_celsius)
        self.celsius += (heat - lost * seconds) / self._pit.firebox_capacity
