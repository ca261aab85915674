"""A comparison in plain sentences: the verdict, where the doubt comes from, and what would make it less. Pure."""

from collector.comparing.compared import Comparison, Quantity
from collector.report.wording import Words

__all__ = ["MENDS", "SHORT", "SOURCES", "amount", "number", "signed", "unit", "value", "verdict"]

SOURCES = {
    "one cook is not the other": "one cook is not the other: wood, ash, where the meat lay",
    "where the probes were put": "where the probes were put, to a finger's breadth",
    "probes that are not the same": "probes that are not the same, or calibrated anew",
    "places that are not the same": "the pit's own pattern, where both sides do not see it alike",
    "between the probes": "what the change did between the probes",
    "weather": "how hot the pit stood over the air outside",
    "noise in time": "the fire's ups and downs within a cook",
    "within each cook": "scatter within each cook",
}
SHORT = {
    "one cook is not the other": "cook to cook",
    "where the probes were put": "placing",
    "probes that are not the same": "other probes",
    "places that are not the same": "other places",
    "between the probes": "between probes",
    "weather": "weather",
    "noise in time": "noise in time",
    "within each cook": "within cooks",
}
"""Where there is little room."""
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


def verdict(told: Comparison, words: Words) -> tuple[str, ...]:
    """Say in plain sentences what the comparison shows of the far end."""
    q = told.quantities[0]
    where = told.far_end if told.far_end.startswith("the ") else f"the {told.far_end}"
    effect = amount(q.effect, q, words)
    interval = (
        f"95 % interval {signed(q.low, q, words)} to {signed(q.high, q, words)} {unit(q, words)}, minus is less cold"
    )
    stood = (
        f"{where[0].upper()}{where[1:]} lay {_standing(q.before, q, words)} before the change, and "
        f"{_standing(q.after, q, words)} after it."
    )
    if q.shown:
        way = "colder" if q.change > 0 else "less cold"
        return f"SHOWN: {where} is {amount(abs(q.change), q, words)} {way} against the grate's mean.", stood, interval
    if max(abs(q.low), abs(q.high)) < q.effect:
        return f"NO CHANGE OF {effect} OR MORE; a smaller one is not ruled out.", stood, interval
    return f"CANNOT TELL whether {where} changed.", stood, interval, _more(told, words)


def _more(told: Comparison, words: Words) -> str:
    q = told.quantities[0]
    if told.within_a_cook:
        return "Stretches of one cook tell less than cooks do: longer stretches, or cooks before and after, tell more."
    effect, have = (
        amount(q.effect, q, words),
        min(len({cook.cook for cook in side}) for side in (told.before, told.after)),
    )
    if q.cooks_needed is None:
        shared = next((b for b in q.budget if not b.per_cook), None)
        mend = f"; what would: {MENDS[shared.source]}" if shared else ""
        return f"No number of cooks would show a change of {effect} this way{mend}."
    more = q.cooks_needed - have
    if more <= 0:
        return f"A change of {effect} would have been shown nine times of ten: if there is one, it is likely smaller."
    cooks = "one more cook" if more == 1 else f"{more} more cooks"
    return f"With {cooks} a side, a change of {effect} would be shown nine times of ten."


def _standing(kelvin: float, q: Quantity, words: Words) -> str:
    return f"{amount(abs(kelvin), q, words)} {'below' if kelvin >= 0 else 'above'} the grate's mean"


def unit(q: Quantity, words: Words) -> str:
    """Name the unit a quantity is shown in."""
    return words.degree if q.unit == "K" else q.unit


def value(number_: float, q: Quantity, words: Words) -> float:
    """Convert a number of a quantity to what is shown."""
    return words.apart(number_) if q.unit == "K" else number_


def number(number_: float, q: Quantity, words: Words) -> str:
    """Write it without its unit."""
    return f"{value(number_, q, words):.1f}".replace("-", "−")


def signed(number_: float, q: Quantity, words: Words) -> str:
    """Write it with its sign."""
    return f"{value(number_, q, words):+.1f}".replace("-", "−")


def amount(number_: float, q: Quantity, words: Words) -> str:
    """Write it with its unit, whole numbers without a tenth."""
    return f"{value(number_, q, words):.1f}".removesuffix(".0") + f" {unit(q, words)}"
