"""The chamber map on the screen."""

from collector.raster import Raster
from collector.snapshot import Snapshot
from tui.draw.chamber_map import ChamberDrawing, Subject, draw_chamber
from tui.draw.picture import Picture
from tui.draw.view import View
from tui.widgets.picture_view import PictureView

__all__ = ["ChamberMap"]


class ChamberMap(PictureView):
    """Shows one level of the chamber."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002  Textual's own name
        super().__init__(id=id)
        self._raster = Raster()
        self._given: tuple[Snapshot, Subject, View] | None = None
        self.drawing: ChamberDrawing | None = None

    def show(self, snapshot: Snapshot, subject: Subject, view: View) -> None:
        """Show a level of this snapshot."""
        palette = tuple(f"#{r:02x}{g:02x}{b:02x}" for r, g, b in subject.scale.colours)
        if palette != self.palette:
            self.palette = palette
            self.forget_colours()
        self._given = (snapshot, subject, view)
        self.redraw()

    def draw(self, width: int, height: int) -> Picture | None:
        """Draw for a size in cells."""
        if self._given is None:
            return None
        snapshot, subject, view = self._given
        self.drawing = draw_chamber(snapshot, subject, self._raster, view, width, height)
        return self.drawing.picture
