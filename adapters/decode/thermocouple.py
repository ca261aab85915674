"""Thermocouples of types E, J, K, N and T by the ITS-90 reference functions.

Source: NIST Monograph 175 / SRD 60 (= ASTM E230, IEC 60584-1), the direct polynomials. The inverse solves them exactly
rather than using NIST's inverse polynomials, which are off by up to 0.06 °C: each type's emf rises strictly over its
whole range, so it has one temperature.
"""

import itertools
import math
from bisect import bisect_right
from functools import cache
from typing import Literal, NamedTuple

__all__ = ["RANGES", "Letter", "celsius", "emf_millivolts"]

Letter = Literal["E", "J", "K", "N", "T"]


class _Piece(NamedTuple):
    """One polynomial: lowest and highest temperature in °C, coefficients in mV from the constant term up."""

    low: float
    high: float
    coefficients: tuple[float, ...]


_PIECES: dict[str, tuple[_Piece, ...]] = {
    "E": (
        _Piece(-270.0, 0.0, (
            0.0, 0.058665508708, 4.5410977124e-05, -7.7998048686e-07, -2.5800160843e-08, -5.9452583057e-10,
            -9.3214058667e-12, -1.0287605534e-13, -8.0370123621e-16, -4.3979497391e-18, -1.6414776355e-20,
            -3.9673619516e-23, -5.5827328721e-26, -3.4657842013e-29,
        )),
        _Piece(0.0, 1000.0, (
            0.0, 0.05866550871, 4.5032275582e-05, 2.8908407212e-08, -3.3056896652e-10, 6.502440327e-13,
            -1.9197495504e-16, -1.2536600497e-18, 2.1489217569e-21, -1.4388041782e-24, 3.5960899481e-28,
        )),
    ),
    "J": (
        _Piece(-210.0, 760.0, (
            0.0, 0.050381187815, 3.047583693e-05, -8.568106572e-08, 1.3228195295e-10, -1.7052958337e-13,
            2.0948090697e-16, -1.2538395336e-19, 1.5631725697e-23,
        )),
        _Piece(760.0, 1200.0, (
            296.45625681, -1.4976127786, 0.0031787103924, -3.1847686701e-06, 1.5720819004e-09, -3.0691369056e-13,
        )),
    ),
    "K": (
        _Piece(-270.0, 0.0, (
            0.0, 0.039450128025, 2.3622373598e-05, -3.2858906784e-07, -4.9904828777e-09, -6.7509059173e-11,
            -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23,
        )),
        _Piece(0.0, 1372.0, (
            -0.017600413686, 0.038921204975, 1.8558770032e-05, -9.9457592874e-08, 3.1840945719e-10, -5.6072844889e-13,
            5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26,
        )),
    ),
    "N": (
        _Piece(-270.0, 0.0, (
            0.0, 0.026159105962, 1.0957484228e-05, -9.3841111554e-08, -4.6412039759e-11, -2.6303357716e-12,
            -2.2653438003e-14, -7.6089300791e-17, -9.3419667835e-20,
        )),
        _Piece(0.0, 1300.0, (
            0.0, 0.025929394601, 1.571014188e-05, 4.3825627237e-08, -2.5261169794e-10, 6.4311819339e-13,
            -1.0063471519e-15, 9.9745338992e-19, -6.0863245607e-22, 2.0849229339e-25, -3.0682196151e-29,
        )),
    ),
    "T": (
        _Piece(-270.0, 0.0, (
            0.0, 0.038748106364, 4.4194434347e-05, 1.1844323105e-07, 2.0032973554e-08, 9.0138019559e-10,
            2.2651156593e-11, 3.6071154205e-13, 3.8493939883e-15, 2.8213521925e-17, 1.4251594779e-19,
            4.8768662286e-22, 1.079553927e-24, 1.3945027062e-27, 7.9795153927e-31,
        )),
        _Piece(0.0, 400.0, (
            0.0, 0.038748106364, 3.329222788e-05, 2.0618243404e-07, -2.1882256846e-09, 1.0996880928e-11,
            -3.0815758772e-14, 4.547913529e-17, -2.7512901673e-20,
        )),
    ),
}  # fmt: skip
_K_BUMP = (0.1185976, -1.183432e-4, 126.9686)
"""a0, a1, a2 of the term a0 × exp(a1 × (t - a2)²) that type K has besides, above 0 °C: mV, 1/°C², °C."""

RANGES: dict[str, tuple[float, float]] = {letter: (p[0].low, p[-1].high) for letter, p in _PIECES.items()}
"""Lowest and highest temperature of each type, °C."""

_CELL_CELSIUS = 10.0
_ENOUGH_CELSIUS = 1e-9
_MOST_STEPS = 60


def emf_millivolts(celsius: float, letter: Letter) -> float:
    """Return the emf of a thermocouple whose cold junction is at 0 °C.

    Args:
        celsius: temperature of the measuring junction.
        letter: its type.

    Returns:
        Millivolts; NaN outside `RANGES`.
    """
    low, high = RANGES[letter]
    if not low <= celsius <= high:
        return math.nan
    first, second = _PIECES[letter]
    piece = first if celsius < first.high else second
    return _emf_and_slope(celsius, piece.coefficients, bump=piece is _PIECES["K"][1])[0]


def celsius(emf: float, letter: Letter, cold_celsius: float = 0.0) -> float:
    """Return the temperature of the measuring junction, exact to 1e-6 °C wherever a pit can be.

    Args:
        emf: measured, millivolts.
        letter: the type.
        cold_celsius: temperature of the cold junction; what is added is its emf, never the temperature itself.

    Returns:
        Degrees Celsius; NaN outside `RANGES`, of either junction.
    """
    total = emf + emf_millivolts(cold_celsius, letter) if cold_celsius else emf
    edges, cells = _cells(letter)
    if not edges[0] <= total <= edges[-1]:
        return math.nan
    low, high, coefficients, bump = cells[min(bisect_right(edges, total), len(cells)) - 1]
    at = (low + high) / 2
    for _ in range(_MOST_STEPS):
        found, slope = _emf_and_slope(at, coefficients, bump=bump)
        if found > total:
            high = at
        else:
            low = at
        step = (total - found) / slope
        if not low <= at + step <= high:  # Newton left the bracket: halve it
            step = (low + high) / 2 - at
        at += step
        if abs(step) < _ENOUGH_CELSIUS:
            break
    return at


def _emf_and_slope(celsius: float, coefficients: tuple[float, ...], *, bump: bool) -> tuple[float, float]:
    emf = slope = 0.0
    for coefficient in reversed(coefficients):
        slope = slope * celsius + emf
        emf = emf * celsius + coefficient
    if bump:
        a0, a1, a2 = _K_BUMP
        above = celsius - a2
        more = a0 * math.exp(a1 * above * above)
        return emf + more, slope + more * 2 * a1 * above
    return emf, slope


_Cell = tuple[float, float, tuple[float, ...], bool]


@cache
def _cells(letter: Letter) -> tuple[tuple[float, ...], tuple[_Cell, ...]]:
    """Cut a type's range into cells a solver starts in: emf at their edges, and their ends, °C, with the polynomial."""
    edges: list[float] = []
    cells: list[_Cell] = []
    for piece in _PIECES[letter]:
        bump = piece is _PIECES["K"][1]
        count = math.ceil((piece.high - piece.low) / _CELL_CELSIUS)
        ends = [piece.low + (piece.high - piece.low) * i / count for i in range(count + 1)]
        cells += [(low, high, piece.coefficients, bump) for low, high in itertools.pairwise(ends)]
        edges += [_emf_and_slope(low, piece.coefficients, bump=bump)[0] for low in ends[:-1]]
    edges.append(emf_millivolts(RANGES[letter][1], letter))
    return tuple(edges), tuple(cells)
