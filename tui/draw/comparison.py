"""A comparison in words and lines of text: the verdict first, then every number, then what it may be off by. Pure."""

import math
from collections.abc import Sequence

from collector.comparing.compared import Comparison, DifferenceMap, Quantity, SideCook
from tui.draw.view import View
from tui.draw.words import degree, difference_number, temperature

__all__ = ["comparison_lines", "plan_lines", "verdict"]

BAR = 20
MAP_ACROSS, MAP_DOWN = 12, 3
"""Of the map's columns and rows, how many are printed."""
SOURCES = {
    "one cook is not the other": "one cook is not the other: wood, ash, where the meat lay",
    "where the probes were put": "where the probes were put, to a finger's breadth",
    "probes that are not the same": "probes that are not the same, or calibrated anew",
    "places that are not the same": "probes in other places",
    "between the probes": "what the change did between the probes",
    "weather": "how hot the pit stood over the air outside",
    "noise in time": "the fire's ups and downs within a cook",
    "within each cook": "scatter within each cook",
}
MENDS = {
    "one cook is not the other": "more cooks a side",
    "where the probes were put": "mark the probes' places on the grate, and more cooks",
    "probes that are not the same": "the same probes in the same places, or calibrate them side by side",
    "places that are not the same": "put the probes back where they were before",
    "between the probes": "more probes at the far end",
    "weather": "a probe in the air outside",
    "noise in time": "longer cooks, or more",
    "within each cook": "longer cooks, or more",
}
"""What makes a source less."""


def verdict(told: Comparison, view: View) -> tuple[str, ...]:
    """Say in plain sentences what the comparison shows of the far end."""
    q = told.quantities[0]
    where = told.far_end if told.far_end.startswith("the ") else f"the {told.far_end}"
    unit, effect = _unit(q, view), _amount(q.effect, q, view)
    interval = f"95 % interval {_signed(q.low, q, view)} to {_signed(q.high, q, view)} {unit}, minus is less cold"
    stood = (
        f"{where[0].upper()}{where[1:]} lay {_standing(q.before, q, view)} before the change, and "
        f"{_standing(q.after, q, view)} after it."
    )
    if q.shown:
        way = "colder" if q.change > 0 else "less cold"
        return f"SHOWN: {where} is {_amount(abs(q.change), q, view)} {way} against the grate's mean.", stood, interval
    if max(abs(q.low), abs(q.high)) < q.effect:
        return f"NO CHANGE OF {effect} OR MORE; a smaller one is not ruled out.", stood, interval
    return f"CANNOT TELL whether {where} changed.", stood, interval, _more(told, view)


def _more(told: Comparison, view: View) -> str:
    q = told.quantities[0]
    effect, have = _amount(q.effect, q, view), min(len(told.before), len(told.after))
    if q.cooks_needed is None:
        shared = next((b for b in q.budget if not b.per_cook), None)
        mend = f"; what would: {MENDS[shared.source]}" if shared else ""
        return f"No number of cooks would show a change of {effect} this way{mend}."
    more = q.cooks_needed - have
    if more <= 0:
        return f"A change of {effect} would have been shown nine times of ten: if there is one, it is likely smaller."
    cooks = "one more cook" if more == 1 else f"{more} more cooks"
    return f"With {cooks} a side, a change of {effect} would be shown nine times of ten."


def comparison_lines(told: Comparison, view: View) -> list[str]:
    """Lay out everything, at most 80 columns where the names of cooks allow."""
    lines = [*verdict(told, view), ""]
    lines += _table(told.quantities, view)
    if len(told.quantities) > 1:
        lines.append("The verdict is about the first line; of twenty such lines one is shown by chance.")
    lines += ["", *_budget(told.quantities[0], view), "", *_map(told.map, view), ""]
    for word, side in (("before", told.before), ("after", told.after)):
        for cook in side:
            lines += _cook(word, cook, view)
    rise = f"{difference_number(told.rise_kelvin, view):.0f} {degree(view)}"
    lines.append(f"Probes in the same places on both sides: {told.same_probes}; others: {told.other_probes}.")
    lines.append(f"All cooks are brought to {rise} over the air outside.")
    return lines


def plan_lines(q: Quantity, cooks: int, view: View) -> list[str]:
    """Say how many cooks a side it takes to show a change, before it is made."""
    count = "one cook" if q.cooks_needed == 1 else f"{q.cooks_needed} cooks"
    first = f"To show a change of {_amount(q.effect, q, view)} nine times of ten takes {count} a side."
    if q.cooks_needed is None:
        first = f"No number of cooks would show a change of {_amount(q.effect, q, view)}."
    return [
        first,
        f"Reckoned from {cooks} cook{'s' * (cooks != 1)}, with the same probes put back in the same places after it.",
        "",
        *_budget(q, view),
    ]


def _table(quantities: Sequence[Quantity], view: View) -> list[str]:
    wide = max(len(q.what) for q in quantities)
    lines = [f"{'':{wide}}  {'before':>7} {'after':>7} {'change':>7}   {'95 % interval':>15}"]
    for q in quantities:
        interval = f"{_signed(q.low, q, view)} to {_signed(q.high, q, view)}"
        lines.append(
            f"{q.what:{wide}}  {_number(q.before, q, view):>7} {_number(q.after, q, view):>7} "
            f"{_signed(q.change, q, view):>7}   {interval:>15} {_unit(q, view)}{'  shown' if q.shown else ''}"
        )
    return lines


def _budget(q: Quantity, view: View) -> list[str]:
    if not q.budget:
        return []
    total = sum(b.variance for b in q.budget) or 1.0
    mark = "#" if view.ascii_only else "█"
    lines = [f'What the change of "{q.what}" may be off by, largest first:']
    for b in q.budget:
        share = b.variance / total
        if share < 0.005:
            continue
        sd = difference_number(math.sqrt(b.variance), view) if q.unit == "K" else math.sqrt(b.variance)
        bar = mark * max(1, round(BAR * share))
        lines.append(f"  {100 * share:3.0f} %  {sd:4.1f} {_unit(q, view):2} {bar:{BAR}}  {SOURCES[b.source]}")
    lines.append(f"  To make the largest less: {MENDS[q.budget[0].source]}.")
    return lines


def _map(drawn: DifferenceMap, view: View) -> list[str]:
    lines = [f"The change, place by place against the grate's mean, {degree(view)} (* shown; fire on the left):"]
    shown = drawn.shown
    for row in range(MAP_DOWN):
        cells = []
        for column in range(MAP_ACROSS):
            k = round((row + 0.5) * drawn.rows / MAP_DOWN - 0.5) * drawn.columns
            k += round((column + 0.5) * drawn.columns / MAP_ACROSS - 0.5)
            cells.append(f"{difference_number(drawn.kelvin[k], view):+.0f}{'*' if shown[k] else ' '}")
        side = ("back", "", "door")[row]
        lines.append((f"  {side:5}" + "".join(f"{cell:>5}" for cell in cells)).rstrip())
    return lines


def _cook(word: str, cook: SideCook, view: View) -> list[str]:
    air = "not recorded" if cook.ambient_celsius is None else temperature(cook.ambient_celsius, view)
    hours, minutes = divmod(cook.minutes, 60)
    lines = [
        f"{word:6} {cook.name}: {hours} h {minutes:02} steady ({cook.left_out_minutes} min left out),",
        f"       {len(cook.probes)} probes, grate {temperature(cook.grate_celsius, view)}, air outside {air}",
    ]
    if cook.left_out_probes:
        lines.append(f"       left out, not believed for long enough: {', '.join(cook.left_out_probes)}")
    return lines


def _standing(kelvin: float, q: Quantity, view: View) -> str:
    return f"{_amount(abs(kelvin), q, view)} {'below' if kelvin >= 0 else 'above'} the grate's mean"


def _unit(q: Quantity, view: View) -> str:
    return degree(view) if q.unit == "K" else q.unit


def _value(amount: float, q: Quantity, view: View) -> float:
    return difference_number(amount, view) if q.unit == "K" else amount


def _number(amount: float, q: Quantity, view: View) -> str:
    return f"{_value(amount, q, view):.1f}"


def _signed(amount: float, q: Quantity, view: View) -> str:
    return f"{_value(amount, q, view):+.1f}"


def _amount(amount: float, q: Quantity, view: View) -> str:
    return f"{_value(amount, q, view):.1f}".removesuffix(".0") + f" {_unit(q, view)}"
