"""The findings as a table for people, or as one JSON document."""

import dataclasses
import json
from collections.abc import Sequence

from tests.bench.growth import curve
from tests.bench.growth.curve import Curve
from tests.bench.measure import Finding

__all__ = ["as_json", "as_text"]

HEAD = ("row", "measure", "here", "least..most", "floor", "stretch", "verdict")


def _number(value: float | None, unit: str) -> str:
    if value is None:
        return "-"
    digits = "0" if value == int(value) and abs(value) < 1e6 else ("1" if abs(value) >= 10 else "2")
    text = f"{value:.{digits}f}" if value == 0 or abs(value) >= 0.01 else f"{value:.1e}"
    return f"{text}{unit}"


def _line(f: Finding) -> tuple[str, ...]:
    sign = ">= " if f.more_is_better else "<= "
    span = "-" if f.low == f.high else f"{_number(f.low, '')}..{_number(f.high, '')}"
    return (
        str(f.row), f.what, _number(f.value, f.unit), span, sign + _number(f.floor, f.unit),
        "-" if f.stretch is None else sign + _number(f.stretch, f.unit), f.verdict,
    )  # fmt: skip


def as_text(findings: Sequence[Finding], grown: Sequence[Curve], about: dict[str, str]) -> str:
    """Lay the findings out in columns, their raw figures below, and then the tables of growth."""
    lines = [HEAD, *(_line(f) for f in findings)]
    widths = [max(len(line[k]) for line in lines) for k in range(len(HEAD))]
    rows = ["  ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)).rstrip() for line in lines]
    rows.insert(1, "-" * max(len(row) for row in rows))
    notes = [f"{f.row:>3}  {f.what}: {f.note}" for f in findings if f.note]
    found = [*rows, "", *notes, ""] if findings else []
    return "\n".join([*(f"{k}: {v}" for k, v in about.items()), "", *found, curve.as_text(grown)]).rstrip()


def as_json(findings: Sequence[Finding], grown: Sequence[Curve], about: dict[str, str]) -> str:
    """Give one JSON document."""
    found = [{**dataclasses.asdict(f), "verdict": f.verdict} for f in findings]
    return json.dumps(
        {"schema": 1, **about, "findings": found, "growth": [dataclasses.asdict(c) for c in grown]}, indent=1
    )
