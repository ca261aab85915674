"""Time and temperature as food law counts them, at the tip of a probe. Pure; it advises, the authority decides.

A probe is not the coldest point of the meat, a table is not a permit: where a number here could be taken for one, the
caller shows `CAUTION` with it.
"""

import math
from bisect import bisect_right

from collector.model.meat.piece import Cut, Part, Piece, Species

__all__ = [
    "APPENDIX_A_SECONDS",
    "CAUTION",
    "COME_UP_HIGH_CELSIUS",
    "COME_UP_LOW_CELSIUS",
    "COME_UP_SECONDS",
    "COME_UP_SOON_SECONDS",
    "DANGER_HIGH_CELSIUS",
    "DANGER_LOW_CELSIUS",
    "DANGER_SECONDS",
    "DANGER_SOON_SECONDS",
    "MINIMUM_CELSIUS",
    "NO_FIVE_LOGS",
    "both_units",
    "done_words",
    "has_table",
    "log_reduction_per_second",
    "minimum_doubts",
    "minimum_words",
]

CAUTION = (
    "A probe is not the coldest point of the meat. Your local code and the authority that licenses you decide what is "
    "safe; this only counts."
)
NO_FIVE_LOGS = "the published table has columns for 6.5 and 7 log reductions, none for 5"
"""Shown where lethality is."""
DANGER_LOW_CELSIUS, DANGER_HIGH_CELSIUS = (41.0 - 32.0) / 1.8, (135.0 - 32.0) / 1.8
"""41 °F and 135 °F: between cold holding and hot holding of the FDA Food Code, 3-501.16."""
DANGER_SOON_SECONDS = 3 * 3600.0
"""From here on it is warned of."""
DANGER_SECONDS = 4 * 3600.0
"""The four hours of time as a public health control, FDA Food Code 3-501.19 (from memory). That rule is about food that
is held without heat or cold, so only time off the fire counts against it."""
COME_UP_LOW_CELSIUS, COME_UP_HIGH_CELSIUS = (50.0 - 32.0) / 1.8, (130.0 - 32.0) / 1.8
"""50 °F and 130 °F: between these the heating come-up time is counted (USDA FSIS, Cooking Guideline for Meat and
Poultry Products, Revised Appendix A, December 2021, from memory)."""
COME_UP_SECONDS = 6 * 3600.0
"""The longest come-up time of that guideline, for the toxin of Staphylococcus aureus survives cooking (from memory)."""
COME_UP_SOON_SECONDS = 5 * 3600.0
"""From here on it is warned of: an hour is left to raise the pit (common practice, no source)."""
MINIMUM_CELSIUS: dict[Species, float] = {
    Species.BEEF: (145.0 - 32.0) / 1.8,
    Species.PORK: (145.0 - 32.0) / 1.8,
    Species.LAMB: (145.0 - 32.0) / 1.8,
    Species.POULTRY: (165.0 - 32.0) / 1.8,
    Species.UNKNOWN: (165.0 - 32.0) / 1.8,
}
"""Safe minimum internal temperatures, USDA: 145 °F and three minutes of rest for whole beef, pork and lamb, 165 °F for
all poultry. Where the species is not said, the strictest."""
APPENDIX_A_LOGS = 6.5
APPENDIX_A_SECONDS: tuple[tuple[int, float], ...] = (
    (130, 6720), (131, 5340), (132, 4260), (133, 3360), (134, 2700), (135, 2160), (136, 1680), (137, 1380),
    (138, 1080), (139, 900), (140, 720), (141, 540), (142, 480), (143, 360), (144, 300), (145, 240), (146, 169),
    (147, 134), (148, 107), (149, 85), (150, 67), (151, 54), (152, 43), (153, 34), (154, 27), (155, 22), (156, 17),
    (157, 14),
)  # fmt: skip
"""Degrees Fahrenheit and seconds for 6.5 log reductions of Salmonella in cooked, roast and corned beef: USDA FSIS,
Appendix A to the compliance guidelines, January 1999, updated June 1999. Its later rows say 0 s. That edition prints
columns for 6.5 and for 7 logs; one for 5 is in later editions, which were not seen, so none is counted here."""
_CELSIUS = [(fahrenheit - 32.0) / 1.8 for fahrenheit, _ in APPENDIX_A_SECONDS]
_LOG_SECONDS = [math.log(seconds) for _, seconds in APPENDIX_A_SECONDS]


def has_table(species: Species, cut: Cut) -> bool:
    """Tell whether the table here is known to be this meat's: it is for whole roasts of beef, and for no other."""
    return species is Species.BEEF and cut is Cut.BRISKET


def both_units(celsius: float) -> str:
    """Write a temperature as the published rules do, for a reader of either unit.

    >>> both_units(MINIMUM_CELSIUS[Species.POULTRY])
    '165 °F (74 °C)'
    """
    return f"{celsius * 1.8 + 32.0:.0f} °F ({celsius:.0f} °C)"


def minimum_words(species: Species) -> str:
    """State the published minimum of a species.

    >>> minimum_words(Species.POULTRY)
    '165 °F (74 °C), the minimum that USDA publishes for poultry'
    """
    celsius = MINIMUM_CELSIUS[species]
    of = "poultry, which it is held to while its species is not said" if species is Species.UNKNOWN else species
    rest = " with a rest of three minutes" if species in (Species.BEEF, Species.PORK, Species.LAMB) else ""
    return f"{both_units(celsius)}{rest}, the minimum that USDA publishes for {of}"


def minimum_doubts(piece: Piece) -> list[str]:
    """Name each part that is to be called done below the published minimum."""
    return [
        f"{part.name} is called done at {both_units(part.done_celsius)}, below {minimum_words(piece.species)}"
        for part in piece.parts
        if _below_minimum(part, piece.species)
    ]


def done_words(piece: Piece) -> str:
    """Say what decides whether a piece that reached its done temperature is done: feel, or a published minimum."""
    if piece.species in (Species.POULTRY, Species.UNKNOWN) or any(
        _below_minimum(p, piece.species) for p in piece.parts
    ):
        return f"not by feel: its coldest point needs {minimum_words(piece.species)}"
    return "probe it, it is done by feel"


def _below_minimum(part: Part, species: Species) -> bool:
    return part.done_celsius < MINIMUM_CELSIUS[species] - 0.05


def log_reduction_per_second(celsius: float) -> float:
    """Give how fast Salmonella dies at a temperature in meat that has the table, decimal logarithms a second.

    Between two rows of the table the logarithm of the time is drawn straight; below its first row nothing counts, and
    above its last row no more than that row.
    """
    if math.isnan(celsius) or celsius < _CELSIUS[0]:
        return 0.0
    at = bisect_right(_CELSIUS, celsius)
    if at == len(_CELSIUS):
        return APPENDIX_A_LOGS / math.exp(_LOG_SECONDS[-1])
    share = (celsius - _CELSIUS[at - 1]) / (_CELSIUS[at] - _CELSIUS[at - 1])
    return APPENDIX_A_LOGS / math.exp(_LOG_SECONDS[at - 1] + share * (_LOG_SECONDS[at] - _LOG_SECONDS[at - 1]))
