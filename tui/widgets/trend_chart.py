"""The trend chart on the screen."""

from tui.draw.chart import Chart
from tui.draw.colour_scale import CURVES
from tui.draw.picture import Picture
from tui.draw.trend import draw_trend
from tui.draw.view import View
from tui.widgets.picture_view import PictureView

__all__ = ["TrendChart"]

DARKER = 0.62
"""Share of brightness that curves keep on light paper, so that yellow and sky blue can be seen."""


def _darker(colour: str) -> str:
    return "#" + "".join(f"{int(int(colour[i : i + 2], 16) * DARKER):02x}" for i in (1, 3, 5))


class TrendChart(PictureView):
    """Shows the curves of a chart.

    Args:
        numbered: put each curve's mark into it, where colours do not tell curves apart.
    """

    palette = CURVES

    def __init__(self, *, numbered: bool = False, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._numbered = numbered
        self._given: tuple[Chart, View] | None = None

    def show(self, chart: Chart, view: View) -> None:
        """Show this chart."""
        self._given = (chart, view)
        self.redraw()

    def draw(self, width: int, height: int) -> Picture | None:
        """Draw for a size in cells."""
        if self._given is None:
            return None
        chart, view = self._given
        return draw_trend(
            chart.time_unix, chart.curves, chart.guides, chart.window, view, width, height, chart.signs,
            numbered=self._numbered, bands=chart.bands, now_unix=chart.now_unix,
        )  # fmt: skip

    def forget_colours(self) -> None:
        """Make all styles anew, darker on light paper; without colours all alike, for a dark hue is a faint grey."""
        super().forget_colours()
        dark = self.app.current_theme.dark
        if self.app.no_color:
            self.palette = ("#e0e0e0" if dark else "#202020",)
        else:
            self.palette = CURVES if dark else tuple(_darker(c) for c in CURVES)
