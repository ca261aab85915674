"""A widget that shows a `Picture`: whole lines from cached segments, no style sheet in the way of each cell."""

from itertools import pairwise
from textwrap import wrap
from typing import ClassVar

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from tui.draw.picture import FAINT, PLAIN, STRONG, Canvas, Picture
from tui.widgets.contained import contained

__all__ = ["PictureView"]


def _lines(words: str, width: int, height: int) -> Picture:
    """Draw words in place of the picture."""
    canvas = Canvas(width, height)
    for row, line in enumerate(wrap(words, width)):
        canvas.write(row, 0, line, STRONG)
    return canvas.picture()


GREATEST_CACHE = 8192


class PictureView(Widget):
    """Shows the newest picture it was given; a subclass draws one for the size it has."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"picture--faint", "picture--strong"}
    palette: tuple[str, ...] = ()
    """Colours of the steps at and above zero, as `#rrggbb`."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._picture: Picture | None = None
        self._styles: dict[tuple[int, int], Style] = {}
        self._segments: dict[tuple[str, int, int], Segment] = {}

    def draw(self, width: int, height: int) -> Picture | None:
        """Draw for a size in cells; None when there is nothing to show."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Draw anew and show it."""
        width, height = self.size
        self._picture = None
        if width and height:
            self._picture = contained(lambda: self.draw(width, height), lambda words: _lines(words, width, height))
        self.refresh()

    def on_resize(self) -> None:
        """Draw for the new size."""
        self.redraw()

    def notify_style_update(self) -> None:
        """Forget colours of the theme before."""
        super().notify_style_update()
        self.forget_colours()

    def forget_colours(self) -> None:
        """Make all styles anew."""
        self._styles.clear()
        self._segments.clear()

    def get_content_width(self, container: Size, viewport: Size) -> int:  # noqa: ARG002  Textual's signature
        """Take what there is."""
        return container.width

    def render_lines(self, crop: Region) -> list[Strip]:
        """Give the lines of a region; the widget has neither border nor padding that Textual would add."""
        return [self._strip(y).crop(crop.x, crop.right) for y in range(crop.y, crop.bottom)]

    def _strip(self, y: int) -> Strip:
        picture, width = self._picture, self.size.width
        if picture is None or y >= len(picture.text) or len(picture.text[y]) != width:
            return Strip.blank(width, self._style(PLAIN, PLAIN))
        text, ink, paper = picture.text[y], picture.ink[y], picture.paper[y]
        turns = np.flatnonzero((np.diff(ink) != 0) | (np.diff(paper) != 0)) + 1
        starts = [0, *turns.tolist(), width]
        return Strip(
            [self._segment(text[a:b], int(ink[a]), int(paper[a])) for a, b in pairwise(starts)],
            width,
        )

    def _segment(self, text: str, ink: int, paper: int) -> Segment:
        key = (text, ink, paper)
        segment = self._segments.get(key)
        if segment is None:
            if len(self._segments) >= GREATEST_CACHE:
                self._segments.clear()
            drawn = [Segment(text, self._style(ink, paper))]
            for line_filter in self.app.get_line_filters():  # NO_COLOR; Textual would have done it in the style cache
                drawn = line_filter.apply(drawn, self.background_colors[1])
            segment = self._segments[key] = drawn[0]
        return segment

    def _style(self, ink: int, paper: int) -> Style:
        style = self._styles.get((ink, paper))
        if style is None:
            style = self.visual_style.rich_style
            if ink == FAINT:
                style = self.get_component_rich_style("picture--faint")
            elif ink == STRONG:
                style = self.get_component_rich_style("picture--strong")
            elif ink >= 0:
                style += Style(color=self.palette[ink % len(self.palette)])
            if paper >= 0:
                style += Style(bgcolor=self.palette[paper % len(self.palette)])
            self._styles[ink, paper] = style
        return style
