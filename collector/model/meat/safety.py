"""Time and temperature as food law counts them, at the tip of a probe. Pure; it advises, the authority decides.

A probe is not the coldest point of the meat, a table is not a permit: where a number here could be taken for one, the
caller shows `CAUTION` with it.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass

from collector.model.meat.piece import Species

__all__ = [
    "APPENDIX_A_SECONDS",
    "CAUTION",
    "COOL_ONE_SECONDS",
    "COOL_TWO_SECONDS",
    "DANGER_HIGH_CELSIUS",
    "DANGER_LOW_CELSIUS",
    "DANGER_SECONDS",
    "Cooling",
    "has_table",
    "log_reduction_per_second",
]

CAUTION = (
    "A probe is not the coldest point of the meat. Your local code and the authority that licenses you decide what is "
    "safe; this only counts."
)
DANGER_LOW_CELSIUS, DANGER_HIGH_CELSIUS = (41.0 - 32.0) / 1.8, (135.0 - 32.0) / 1.8
"""41 °F and 135 °F: between cold holding and hot holding of the FDA Food Code, 3-501.16."""
DANGER_SECONDS = 4 * 3600.0
"""The four hours of time as a public health control, FDA Food Code 3-501.19 (from memory)."""
COOL_ONE_SECONDS, COOL_TWO_SECONDS = 2 * 3600.0, 6 * 3600.0
COOL_ONE_CELSIUS, COOL_TWO_CELSIUS = (70.0 - 32.0) / 1.8, (41.0 - 32.0) / 1.8
"""FDA Food Code 3-501.14: from 135 °F to 70 °F within two hours, to 41 °F within six in all."""
APPENDIX_A_LOGS = 6.5
APPENDIX_A_SECONDS: tuple[tuple[int, float], ...] = (
    (130, 6720), (131, 5340), (132, 4260), (133, 3360), (134, 2700), (135, 2160), (136, 1680), (137, 1380),
    (138, 1080), (139, 900), (140, 720), (141, 540), (142, 480), (143, 360), (144, 300), (145, 240), (146, 169),
    (147, 134), (148, 107), (149, 85), (150, 67), (151, 54), (152, 43), (153, 34), (154, 27), (155, 22), (156, 17),
    (157, 14),
)  # fmt: skip
"""Degrees Fahrenheit and seconds for 6.5 log reductions of Salmonella in cooked, roast and corned beef: USDA FSIS,
Appendix A to the compliance guidelines, January 1999, updated June 1999. Its later rows say 0 s."""
_CELSIUS = [(fahrenheit - 32.0) / 1.8 for fahrenheit, _ in APPENDIX_A_SECONDS]
_LOG_SECONDS = [math.log(seconds) for _, seconds in APPENDIX_A_SECONDS]


def has_table(species: Species) -> bool:
    """Tell whether there is a table here for the species; that of beef holds for no other."""
    return species is Species.BEEF


def log_reduction_per_second(celsius: float, species: Species) -> float:
    """Give how fast Salmonella dies at a temperature, decimal logarithms a second.

    Between two rows of the table the logarithm of the time is drawn straight; below its first row nothing counts, and
    above its last row no more than that row.

    Raises:
        ValueError: there is no table for the species.
    """
    if not has_table(species):
        raise ValueError(f"there is no table of {species} here")
    if math.isnan(celsius) or celsius < _CELSIUS[0]:
        return 0.0
    at = bisect_right(_CELSIUS, celsius)
    if at == len(_CELSIUS):
        return APPENDIX_A_LOGS / math.exp(_LOG_SECONDS[-1])
    share = (celsius - _CELSIUS[at - 1]) / (_CELSIUS[at] - _CELSIUS[at - 1])
    return APPENDIX_A_LOGS / math.exp(_LOG_SECONDS[at - 1] + share * (_LOG_SECONDS[at] - _LOG_SECONDS[at - 1]))


@dataclass(slots=True)
class Cooling:
    """The two stages of cooling, counted from when the meat passes 135 °F downwards."""

    began_unix: float = math.nan
    reached_70_unix: float = math.nan
    reached_41_unix: float = math.nan

    def look(self, now: float, warmest_celsius: float) -> None:
        """Take note of the warmest part."""
        if math.isnan(warmest_celsius):
            return
        if warmest_celsius >= DANGER_HIGH_CELSIUS and math.isnan(self.reached_70_unix):
            self.began_unix = math.nan  # it is hot, or was made so again
            return
        if math.isnan(self.began_unix):
            self.began_unix = now
        if math.isnan(self.reached_70_unix) and warmest_celsius <= COOL_ONE_CELSIUS:
            self.reached_70_unix = now
        if math.isnan(self.reached_41_unix) and warmest_celsius <= COOL_TWO_CELSIUS:
            self.reached_41_unix = now

    def due_unix(self) -> float:
        """Give when the stage it is in must be over; NaN before it began and when it is done."""
        if math.isnan(self.began_unix) or not math.isnan(self.reached_41_unix):
            return math.nan
        if math.isnan(self.reached_70_unix):
            return self.began_unix + COOL_ONE_SECONDS
        return self.began_unix + COOL_TWO_SECONDS

    def left_seconds(self, now: float) -> float:
        """Give the time left in this stage; less than nothing where one took too long, NaN where none is under way."""
        return -1.0 if self.late() else self.due_unix() - now

    def late(self) -> bool:
        """Tell whether a stage that is over took too long."""
        first = self.reached_70_unix - self.began_unix > COOL_ONE_SECONDS
        return first or self.reached_41_unix - self.began_unix > COOL_TWO_SECONDS
