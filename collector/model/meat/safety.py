"""Time and temperature as food law counts them, at the tip of a probe. Pure; it advises, the authority decides.

A probe is not the coldest point of the meat, a table is not a permit: where a number here could be taken for one, the
caller shows `CAUTION` with it.
"""

import math
from bisect import bisect_right

from collector.model.meat.piece import Species

__all__ = [
    "APPENDIX_A_SECONDS",
    "CAUTION",
    "DANGER_HIGH_CELSIUS",
    "DANGER_LOW_CELSIUS",
    "DANGER_SECONDS",
    "DANGER_SOON_SECONDS",
    "NO_FIVE_LOGS",
    "has_table",
    "log_reduction_per_second",
]

CAUTION = (
    "A probe is not the coldest point of the meat. Your local code and the authority that licenses you decide what is "
    "safe; this only counts."
)
NO_FIVE_LOGS = "there is no column for 5 log reductions here: the edition at hand prints 6.5 and 7"
"""Shown where lethality is."""
DANGER_LOW_CELSIUS, DANGER_HIGH_CELSIUS = (41.0 - 32.0) / 1.8, (135.0 - 32.0) / 1.8
"""41 °F and 135 °F: between cold holding and hot holding of the FDA Food Code, 3-501.16."""
DANGER_SOON_SECONDS = 3 * 3600.0
"""From here on it is warned of."""
DANGER_SECONDS = 4 * 3600.0
"""The four hours of time as a public health control, FDA Food Code 3-501.19 (from memory)."""
APPENDIX_A_LOGS = 6.5
APPENDIX_A_SECONDS: tuple[tuple[int, float], ...] = (
    (130, 6720), (131, 5340), (132, 4260), (133, 3360), (134, 2700), (135, 2160), (136, 1680), (137, 1380),
    (138, 1080), (139, 900), (140, 720), (141, 540), (142, 480), (143, 360), (144, 300), (145, 240), (146, 169),
    (147, 134), (148, 107), (149, 85), (150, 67), (151, 54), (152, 43), (153, 34), (154, 27), (155, 22), (156, 17),
    (157, 14),
)  # fmt: skip
"""Degrees Fahrenheit and seconds for 6.5 log reductions of Salmonella in cooked, roast and corned beef: USDA FSIS,
Appendix A to the compliance guidelines, January 1999, updated June 1999. Its later rows say 0 s. That edition prints
columns for 6.5 and for 7 logs; one for 5 is in later editions, which were not at hand, so none is counted here."""
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
