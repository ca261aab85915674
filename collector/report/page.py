"""The report as one self-contained HTML page: no script, nothing fetched, for phone, desk and paper."""

from importlib.resources import files

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from collector.report.charts import evenness, hand_readings, map_charts, survey_chart
from collector.report.facts import Told
from collector.report.picture import picture
from collector.report.sections import sections
from collector.report.style import Chart, svg_of, theme
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
    drawn = {
        chart.name: (chart, tuple(
            (shape, Markup(svg_of(sketch, f"{chart.name}-{shape}", chart.title, chart.says)))  # noqa: S704 - ours
            for shape, sketch in chart.sketches
        ))
        for chart in charts
    }  # fmt: skip
    maps = tuple(chart.name for chart in charts if chart.name.startswith("map"))
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    parts = files("collector.report")
    template = environment.from_string((parts / "page.html").read_text(encoding="utf-8"))
    light, dark = theme()
    page = template.render(
        facts=facts, words=words, charts=drawn, sections=sections(facts, words, maps), maps=maps,
        headline=headline(facts, words), light=light, dark=dark,
        style=Markup((parts / "page.css").read_text(encoding="utf-8")),  # noqa: S704 - ours
    )  # fmt: skip
    return page.encode()
