"""Templates to pages: one file, no script, nothing fetched; pictures set into it, colours for light, dark and paper."""

from collections.abc import Sequence
from importlib.resources import files

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from adapters.text import printable
from collector.report.style import Chart, svg_of, theme

__all__ = ["rendered"]


def rendered(template: str, charts: Sequence[Chart], **values: object) -> bytes:
    """Write a page.

    Args:
        template: file name, in this package or beside the comparison.
        charts: its pictures.
        values: what else the template asks for; all text in it is escaped.
    """
    drawn = {
        chart.name: (chart, tuple(
            (shape, Markup(svg_of(sketch, f"{chart.name}-{shape}", chart.title, chart.says)))  # noqa: S704 - ours
            for shape, sketch in chart.sketches
        ))
        for chart in charts
    }  # fmt: skip
    loader = ChoiceLoader([PackageLoader("collector.report", "."), PackageLoader("collector.comparing", ".")])
    environment = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_printable,
    )
    style = (files("collector.report") / "page.css").read_text(encoding="utf-8")
    light, dark = theme()
    page = environment.get_template(template).render(
        charts=drawn,
        light=light,
        dark=dark,
        style=Markup(style),  # noqa: S704 - ours
        **values,
    )
    return page.encode()


def _printable(value: object) -> object:
    """Take what no browser shows out of every text of the page; markup of our own stays."""
    return printable(value) if type(value) is str else value
