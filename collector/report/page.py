"""The report as one self-contained HTML page: no script, nothing fetched, for phone, desk and paper."""

from collector.report.charts import evenness, hand_readings, map_charts, survey_chart
from collector.report.facts import Told
from collector.report.picture import picture
from collector.report.rendering import rendered
from collector.report.sections import sections
from collector.report.style import Chart
from collector.report.summary import headline
from collector.report.wording import Words

__all__ = ["charts_of", "page_of"]


def charts_of(told: Told, words: Words) -> tuple[Chart, ...]:
    """Draw every picture of the report."""
    some = (survey_chart(told.facts, words), hand_readings(told, words))
    return (
        picture(told, words), *map_charts(told, words), evenness(told, words), *(c for c in some if c is not None)
    )  # fmt: skip


def page_of(told: Told, words: Words) -> bytes:
    """Write the page.

    Args:
        told: the report.
        words: the reader's unit and clock.
    """
    facts = told.facts
    charts = charts_of(told, words)
    maps = tuple(chart.name for chart in charts if chart.name.startswith("map"))
    return rendered(
        "page.html", charts, facts=facts, words=words, sections=sections(facts, words, maps), maps=maps,
        headline=headline(facts, words),
    )  # fmt: skip
