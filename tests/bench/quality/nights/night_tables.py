"""The tables: each figure a row, each source a column, the worst source marked, the reference beside."""

import math
from collections.abc import Mapping, Sequence

from tests.bench.quality.nights.figures import FIGURES, Figure, Measured, NightScore, measure, verdict

__all__ = ["load_table", "night_tables"]

NOT_KNOWN = "-"


def _number(value: float, digits: int) -> str:
    return "never" if math.isinf(value) else f"{value:.{digits}f}"


def _cell(figure: Figure, measured: Measured | None) -> str:
    if measured is None:
        return NOT_KNOWN
    low, high = _number(measured.low, figure.digits), _number(measured.high, figure.digits)
    return f"{_number(measured.value, figure.digits)} [{low}, {high}] n={measured.cases}"


def _distance(figure: Figure, measured: Measured) -> float:
    """How far a value lies from its goal, to rank sources; without a goal nothing is worst."""
    if measured.value < figure.low:
        return figure.low - measured.value
    return measured.value - figure.high if measured.value > figure.high else 0.0


def night_tables(sources: Mapping[str, Sequence[NightScore]], left_out: str = "") -> str:
    """Lay out all figures for all sources.

    Args:
        sources: the scores of each source's nights.
        left_out: the source that no constant, prior or weight saw.
    """
    head = ["figure", "goal"]
    for name in sources:
        head += [f"{name}{' (left out)' if name == left_out else ''}", "reference", "goal is"]
    out = []
    for title, figures in FIGURES:
        rows = [_row(figure, sources) for figure in figures if _is_measured(figure, sources)]
        if not rows:
            continue
        out += [f"## {title}", "", "| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
        out += ["| " + " | ".join(row) + " |" for row in rows] + [""]
    return "\n".join(out)


def _is_measured(figure: Figure, sources: Mapping[str, Sequence[NightScore]]) -> bool:
    """Tell whether any night has a sample of a figure."""
    return any(s.coldside.get(figure.key) or s.reference.get(figure.key) for scores in sources.values() for s in scores)


def _row(figure: Figure, sources: Mapping[str, Sequence[NightScore]]) -> list[str]:
    found = {name: measure(figure, [score.coldside for score in scores]) for name, scores in sources.items()}
    far = {name: _distance(figure, m) for name, m in found.items() if m is not None}
    worst = max(far, key=lambda name: far[name]) if len(sources) > 1 and far and max(far.values()) > 0 else ""
    row = [figure.title, figure.goal]
    for name, scores in sources.items():
        reference = measure(figure, [score.reference for score in scores])
        cell = _cell(figure, found[name])
        beaten = "" if reference is None or found[name] is None else _against(figure, found[name], reference)
        row += [
            f"**{cell} WORST**" if name == worst else cell,
            _cell(figure, reference) + beaten,
            verdict(figure, found[name]),
        ]
    return row


def _against(figure: Figure, measured: Measured | None, reference: Measured) -> str:
    """Say when the reference is the better of the two."""
    if measured is None or not figure.goal:
        return ""
    return " (better)" if _distance(figure, reference) < _distance(figure, measured) else ""


def load_table(sources: Mapping[str, Sequence[NightScore]]) -> str:
    """List the alarms raised a night by rule, for each source."""
    rules = sorted(
        {key for scores in sources.values() for s in scores for key in s.coldside if key.startswith("rule ")}
    )
    lines = ["## Alarms raised a night, by rule", "", "| rule | " + " | ".join(sources) + " |"]
    lines.append("|---|" + "---|" * len(sources))
    for rule in rules:
        cells = [
            f"{sum(s.coldside.get(rule, [0.0])[0] for s in scores) / len(scores):.2f}" for scores in sources.values()
        ]
        lines.append(f"| {rule.removeprefix('rule ')} | " + " | ".join(cells) + " |")
    return "\n".join([*lines, ""])
