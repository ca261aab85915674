"""A comparison in words and lines of text: the verdict first, then every number, then what it may be off by. Pure."""

import math
from collections.abc import Sequence

from collector.comparing.compared import Comparison, DifferenceMap, Quantity, SideCook
from collector.comparing.saying import MENDS, SOURCES, amount, number, signed, unit, value, verdict
from collector.report.wording import Words

__all__ = ["comparison_lines", "plan_lines"]

BAR, BLOCK = 20, "█"
MAP_ACROSS, MAP_DOWN = 12, 3
"""Of the map's columns and rows, how many are printed."""


def comparison_lines(told: Comparison, words: Words) -> list[str]:
    """Lay out everything, at most 80 columns where the names of cooks allow."""
    lines = [*verdict(told, words), ""]
    lines += _table(told.quantities, words)
    if len(told.quantities) > 1:
        lines.append("The verdict is about the first line; of twenty such lines one is shown by chance.")
    lines += ["", *_budget(told.quantities[0], words, within=told.within_a_cook), "", *_map(told.map, words), ""]
    for word, side in (("before", told.before), ("after", told.after)):
        for cook in side:
            lines += _cook(word, cook, words)
    rise = f"{words.apart(told.rise_kelvin):.0f} {words.degree}"
    lines.append(f"Probes in the same places on both sides: {told.same_probes}; others: {told.other_probes}.")
    lines.append(f"All cooks are brought to {rise} over the air outside.")
    return lines


def plan_lines(q: Quantity, cooks: int, words: Words) -> list[str]:
    """Say how many cooks a side it takes to show a change, before it is made."""
    count = "one cook" if q.cooks_needed == 1 else f"{q.cooks_needed} cooks"
    first = f"To show a change of {amount(q.effect, q, words)} nine times of ten takes {count} a side."
    if q.cooks_needed is None:
        first = f"No number of cooks would show a change of {amount(q.effect, q, words)}."
    return [
        first,
        f"Reckoned from {cooks} cook{'s' * (cooks != 1)}, with the same probes put back in the same places after it.",
        "",
        *_budget(q, words),
    ]


def _table(quantities: Sequence[Quantity], words: Words) -> list[str]:
    wide = max(len(q.what) for q in quantities)
    lines = [f"{'':{wide}}  {'before':>7} {'after':>7} {'change':>7}   {'95 % interval':>15}"]
    for q in quantities:
        interval = f"{signed(q.low, q, words)} to {signed(q.high, q, words)}"
        lines.append(
            f"{q.what:{wide}}  {number(q.before, q, words):>7} {number(q.after, q, words):>7} "
            f"{signed(q.change, q, words):>7}   {interval:>15} {unit(q, words)}{'  shown' if q.shown else ''}"
        )
    return lines


def _budget(q: Quantity, words: Words, *, within: bool = False) -> list[str]:
    if not q.budget:
        return []
    total = sum(b.variance for b in q.budget) or 1.0
    lines = [f'What the change of "{q.what}" may be off by, largest first:']
    for b in q.budget:
        share = b.variance / total
        if share < 0.005:
            continue
        sd = value(math.sqrt(b.variance), q, words)
        bar = BLOCK * max(1, round(BAR * share))
        lines.append(f"  {100 * share:3.0f} %  {sd:4.1f} {unit(q, words):2} {bar:{BAR}}  {SOURCES[b.source]}")
    if not within:
        lines.append(f"  To make the largest less: {MENDS[q.budget[0].source]}.")
    return lines


def _map(drawn: DifferenceMap, words: Words) -> list[str]:
    lines = [f"The change, place by place against the grate's mean, {words.degree} (* shown; fire on the left):"]
    shown = drawn.shown
    for row in range(MAP_DOWN):
        cells = []
        for column in range(MAP_ACROSS):
            k = round((row + 0.5) * drawn.rows / MAP_DOWN - 0.5) * drawn.columns
            k += round((column + 0.5) * drawn.columns / MAP_ACROSS - 0.5)
            cells.append(f"{words.apart(drawn.kelvin[k]):+.0f}{'*' if shown[k] else ' '}")
        side = ("back", "", "door")[row]
        lines.append((f"  {side:5}" + "".join(f"{cell:>5}" for cell in cells)).rstrip())
    return lines


def _cook(word: str, cook: SideCook, words: Words) -> list[str]:
    air = "not recorded" if cook.ambient_celsius is None else words.temperature(cook.ambient_celsius)
    hours, minutes = divmod(cook.minutes, 60)
    lines = [
        f"{word:6} {cook.name}: {hours} h {minutes:02} steady ({cook.left_out_minutes} min left out),",
        f"       {len(cook.probes)} probes, grate {words.temperature(cook.grate_celsius)}, air outside {air}",
    ]
    if cook.left_out_probes:
        lines.append(f"       left out, not believed for long enough: {', '.join(cook.left_out_probes)}")
    return lines
