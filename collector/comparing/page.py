"""A comparison as one self-contained HTML page, with the map of the change in colour."""

from collector.comparing.compared import Comparison, Quantity, SideCook
from collector.comparing.drawing import budget_chart, interval_chart, map_chart
from collector.comparing.saying import MENDS, SOURCES, number, signed, unit, verdict
from collector.report.layout import Section, Table
from collector.report.rendering import rendered
from collector.report.wording import NOTHING, Words

__all__ = ["page_of"]


def page_of(told: Comparison, words: Words) -> bytes:
    """Write the page.

    Args:
        told: the comparison.
        words: the reader's unit and clock.
    """
    charts = (interval_chart(told, words), map_chart(told, words), budget_chart(told, words))
    title = f"{_names(told.before)} against {_names(told.after)}"
    sections = (_quantities(told, words), _map(), _budget(told, words), _cooks(told, words))
    return rendered(
        "comparison.html", charts, title=title, pit=told.pit, verdict=verdict(told, words), sections=sections
    )


def _names(cooks: tuple[SideCook, ...]) -> str:
    return ", ".join(cook.name for cook in cooks)


def _quantities(told: Comparison, words: Words) -> Section:
    table = Table(
        "Before, after, and the change",
        ("", "unit", "before", "after", "change", "95 % interval", "shown"),
        tuple(_row(q, words) for q in told.quantities),
    )
    says = ("The verdict is about the first line; of twenty such lines one is shown by chance.",)
    return Section("change", "The change", ("intervals",), says, (table,))


def _row(q: Quantity, words: Words) -> tuple[str, ...]:
    return (
        q.what, unit(q, words), number(q.before, q, words), number(q.after, q, words), signed(q.change, q, words),
        f"{signed(q.low, q, words)} to {signed(q.high, q, words)}", "yes" if q.shown else "no",
    )  # fmt: skip


def _map() -> Section:
    says = (
        "What the change made of each place of the grate against the grate's mean. Hatched: not shown there, the 95 % "
        "interval of the place leaves no change in.",
    )
    return Section("map", "Where", ("difference",), says)


def _budget(told: Comparison, words: Words) -> Section:
    q = told.quantities[0]
    total = sum(b.variance for b in q.budget) or 1.0
    table = Table(
        f"What the change of “{q.what}” may be off by",
        ("source", "share", f"± 1 sd, {unit(q, words)}", "what makes it less"),
        tuple(
            (SOURCES[b.source], words.percent(b.variance / total), number(b.variance**0.5, q, words), MENDS[b.source])
            for b in q.budget
        ),
        wide=(0, 3),
    )
    return Section("budget", "What it may be off by", ("budget",), (), (table,))


def _cooks(told: Comparison, words: Words) -> Section:
    rows = tuple(
        (
            cook.name, side, words.day(cook.started_unix), words.span(60.0 * cook.minutes),
            words.span(60.0 * cook.left_out_minutes), str(len(cook.probes)), words.temperature(cook.grate_celsius),
            words.temperature(cook.ambient_celsius), ", ".join(cook.left_out_probes) or NOTHING,
        )
        for side, cooks in (("before", told.before), ("after", told.after))
        for cook in cooks
    )  # fmt: skip
    heads = ("cook", "side", "began", "steady", "left out", "probes", "grate", "air outside", "probes left out")
    rise = f"{words.difference(told.rise_kelvin, signed=False)} {words.degree}"
    says = (
        f"Probes in the same places on both sides: {told.same_probes}; others: {told.other_probes}.",
        f"All cooks are brought to {rise} over the air outside. Left out: warm-up, lid openings, a pit far below its "
        "band, minutes without a probe.",
    )
    return Section("cooks", "The cooks", (), says, (Table("What was compared", heads, rows, wide=(0, 8)),))
