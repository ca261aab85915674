"""What something costs against how much of it there is, with the exponent of the growth and where it bends."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["Curve", "as_text", "exponents"]


@dataclass(frozen=True, slots=True)
class Curve:
    """One table of growth."""

    what: str
    against: str
    """What there is more and more of."""
    counts: tuple[int, ...]
    costs: tuple[tuple[str, str, tuple[float, ...]], ...]
    """Name, unit and one value a count, each."""
    note: str = ""


def exponents(counts: Sequence[int], values: Sequence[float]) -> tuple[float, float]:
    """Give the exponent of growth over the first half of the counts, and over the last step.

    1 is in proportion, 0 not at all; a last step far above the first half is a bend.
    """
    x, y = np.log(np.array(counts, dtype=float)), np.log(np.maximum(np.array(values, dtype=float), 1e-12))
    first = max(2, (len(x) + 1) // 2)
    whole = float(np.polyfit(x[:first], y[:first], 1)[0])
    last = float((y[-1] - y[-2]) / (x[-1] - x[-2]))
    return whole, last


def as_text(curves: Sequence[Curve]) -> str:
    """Lay the tables out, one after the other."""
    out: list[str] = []
    for curve in curves:
        head = (curve.against, *(str(n) for n in curve.counts), "exponent", "last step")
        rows = [head]
        for name, unit, values in curve.costs:
            first, last = exponents(curve.counts, values)
            rows.append((f"{name}, {unit}", *(_number(v) for v in values), f"{first:.2f}", f"{last:.2f}"))
        widths = [max(len(row[k]) for row in rows) for k in range(len(head))]
        out.append(curve.what)
        for row in rows:
            cells = [row[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True))]
            out.append("  " + "  ".join(cells).rstrip())
        out += [f"  {curve.note}", ""] if curve.note else [""]
    return "\n".join(out)


def _number(value: float) -> str:
    if value == 0.0 or math.isnan(value):
        return "0" if value == 0.0 else "-"
    digits = max(0, 2 - math.floor(math.log10(abs(value)))) if abs(value) < 100 else 0
    return f"{value:.{min(digits, 4)}f}"
