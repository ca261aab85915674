"""How pictures of a report look: colours for light, dark and paper, line styles, and SVG that fits into a page.

Curves are told apart by dashes and by labels at their ends as well as by colour. The hues are those of Okabe and Ito
(*Color Universal Design*, 2008), darkened until they stand out from white (WCAG 2.2, 1.4.11: three to one).
"""

import datetime as dt
import io
import math
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from html import escape
from typing import Any

import matplotlib as mpl
import msgspec
from matplotlib.axes import Axes
from matplotlib.figure import Figure, FigureBase

from adapters.text import clean_text
from collector.report.wording import Words

__all__ = [
    "ACCENT",
    "BAND",
    "CURVES",
    "DASHES",
    "FAINT",
    "INK",
    "NARROW",
    "PAPER",
    "SOFT",
    "WARN",
    "WIDE",
    "Chart",
    "Shape",
    "Sketch",
    "drawing",
    "end_labels",
    "plain",
    "png_of",
    "svg_of",
    "theme",
    "time_axis",
    "writing",
]  # fmt: skip

INK, SOFT, FAINT, PAPER = "#1a1714", "#5b544c", "#d8d2ca", "#ffffff"
BAND, ACCENT, WARN = "#e9e4dc", "#8f3a00", "#b3201a"
CURVES = ("#0072b2", "#c45500", "#00785a", "#a63d7f", "#6b5f00", "#4a4a9c", "#7a7570", "#7c3f00")
DASHES: tuple[Any, ...] = (
    "-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1, 1.4)), (0, (9, 2, 2, 2, 2, 2)), (0, (4, 4)),
    (0, (3, 1, 1, 1)),
)  # fmt: skip
_DARK_CURVES = ("#62b8f0", "#ff9d57", "#45cfa2", "#ee9ccb", "#e3d34f", "#a9a9f5", "#b9b2aa", "#d79b63")
_DARK = {
    INK: "#f6efe6", SOFT: "#c3b5a4", FAINT: "#453b31", PAPER: "#1b1712", BAND: "#332c24", ACCENT: "#ffab6b",
    WARN: "#ff8a80",
    **dict(zip(CURVES, _DARK_CURVES, strict=True)),
}  # fmt: skip
_NAMES = {colour: f"--c{k}" for k, colour in enumerate(_DARK)}
SPREAD_SHARE = 1.15
"""Labels stand so many heights of a line apart."""


def theme() -> tuple[str, str]:
    """Give the colours as CSS custom properties, for light and for dark."""
    light = "; ".join(f"{name}: {colour}" for colour, name in _NAMES.items())
    return light, "; ".join(f"{_NAMES[colour]}: {dark}" for colour, dark in _DARK.items())


class Shape(msgspec.Struct, frozen=True):
    """For which width a picture is drawn."""

    name: str
    inches: float
    font: float
    """Points."""
    right: float
    """Inches kept free for labels."""
    ticks: int
    """Times on the axis, at most."""
    letters: int
    """Of a label, at most."""


WIDE = Shape("wide", 7.2, 8.0, 1.2, 9, 20)
NARROW = Shape("narrow", 3.6, 8.5, 1.14, 4, 15)


class Sketch(msgspec.Struct, frozen=True):
    """How a picture is drawn, on a figure of its own or on a part of a sheet."""

    width: float
    """Inches."""
    height: float
    font: float
    """Points."""
    draw: Callable[[FigureBase], None]

    def alone(self) -> Figure:
        """Draw it on a figure of its own."""
        with drawing(self.font):
            figure = Figure(figsize=(self.width, self.height))
            self.draw(figure)
        return figure


class Chart(msgspec.Struct, frozen=True):
    """A picture with its words."""

    name: str
    title: str
    says: str
    """What it shows, in numbers: its text alternative."""
    sketches: tuple[tuple[str, Sketch], ...]
    """One a width, by the shape's name; `any` where one does for all."""


@contextmanager
def drawing(font: float = 8.0) -> Iterator[None]:
    """Draw by our settings and by no file of the reader's machine."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update({
            "svg.fonttype": "none", "svg.hashsalt": "coldside", "font.size": font, "font.family": "DejaVu Sans",
            "axes.edgecolor": SOFT, "axes.labelcolor": INK, "text.color": INK, "xtick.color": SOFT,
            "ytick.color": SOFT, "xtick.labelcolor": INK, "ytick.labelcolor": INK, "grid.color": FAINT,
            "axes.linewidth": 0.6, "grid.linewidth": 0.5, "lines.linewidth": 1.3, "axes.titlesize": font,
            "axes.titleweight": "bold", "axes.titlelocation": "left", "figure.facecolor": PAPER,
            "axes.facecolor": PAPER, "savefig.facecolor": PAPER, "axes.spines.top": False, "axes.spines.right": False,
            "hatch.linewidth": 0.6, "axes.axisbelow": True, "pdf.fonttype": 42, "axes.unicode_minus": True,
        })  # fmt: skip
        yield


@contextmanager
def writing() -> Iterator[None]:
    """Write figures without a word about letters that the font lacks: a page has other fonts, paper shows a box."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


MOST_CHARACTERS = 2000
"""Of a text that is drawn."""


def plain(text: str, letters: int = 0) -> str:
    """Make text safe to be drawn: no formula, no line of its own, no longer than so many letters (0: any)."""
    text = clean_text(text, MOST_CHARACTERS)
    text = text if not letters or len(text) <= letters else f"{text[: letters - 1].rstrip()}…"
    return text.replace("$", r"\$")


def time_axis(axes: Axes, start: float, end: float, words: Words, shape: Shape) -> None:
    """Put local times on the axis, so many that they can be read."""
    axes.set_xlim(start, max(end, start + 60.0))
    steps = (
        60,
        300,
        600,
        900,
        1800,
        3600,
        7200,
        10800,
        14400,
        21600,
        43200,
        86400,
        172800,
        604800,
        2592000,
        7776000,
        31536000,
        315360000,
    )
    step = next((s for s in steps if (end - start) / s <= shape.ticks), steps[-1])
    offset = (words.local(start).utcoffset() or dt.timedelta()).total_seconds()
    first = math.ceil((start + offset) / step) * step - offset
    at = [first + k * step for k in range(int(max(0.0, end - first) // step) + 1)]
    at = [t for t in at if start <= t <= end]
    axes.set_xticks(at, [words.clock(t) for t in at])


def end_labels(axes: Axes, ends: Sequence[tuple[float, str, str]], shape: Shape) -> None:
    """Write a label at the right of each curve's end, moved apart where they would cover each other.

    Args:
        axes: whose limits are set.
        ends: y, text and colour of each.
        shape: the picture's.
    """
    low, high = axes.get_ylim()
    height = axes.bbox.height / axes.figure.dpi
    line = SPREAD_SHARE * shape.font / 72.0 / height * (high - low)
    told = sorted((e for e in ends if math.isfinite(e[0])), key=lambda e: e[0])
    places: list[float] = []
    for y, _, _ in told:
        places.append(max(y, places[-1] + line) if places else max(y, low))
    over = places[-1] - high if places else 0.0
    for k in range(len(places) - 1, -1, -1):
        if over <= 0.0:
            break
        most = high if k == len(places) - 1 else places[k + 1] - line
        places[k] = min(places[k], most)
    for at, (_, text, colour) in zip(places, told, strict=True):
        axes.annotate(
            plain(text, shape.letters), (1.0, at), xycoords=("axes fraction", "data"), xytext=(4, 0),
            textcoords="offset points", va="center", color=colour, annotation_clip=False, fontsize=shape.font,
        )  # fmt: skip


def svg_of(sketch: Sketch, name: str, title: str, says: str) -> str:
    """Write a picture as SVG to stand in a page: text as text, colours by custom properties, ids of its own, its words.

    Args:
        sketch: the picture.
        name: of it in the page: letters, digits and hyphens.
        title: its name for a reader who does not see it.
        says: what it shows, for him.
    """
    figure = sketch.alone()
    out = io.StringIO()
    with writing(), mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": name}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    box = re.search(r'viewBox="([^"]+)"', text)
    assert box is not None, "matplotlib writes a viewBox"
    body = text[text.index(">") + 1 :]
    for colour, variable in _NAMES.items():
        body = body.replace(colour, f"var({variable})")
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = body.replace("url(#", f"url(#{name}-").replace('xlink:href="#', f'xlink:href="#{name}-')
    body = re.sub(r"font: ([\d.]+)px [^;\"]*", r"font-size: \1px", body)
    head = (
        f'<svg viewBox="{box[1]}" role="img" aria-labelledby="{name}-title {name}-desc" class="chart" '
        'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(says)}</desc>'
    )
    return head + body.strip()


def png_of(sketch: Sketch, dots_per_inch: int = 160) -> bytes:
    """Write a picture as PNG, the same bytes for the same picture."""
    figure = sketch.alone()
    out = io.BytesIO()
    with writing():
        figure.savefig(out, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return out.getvalue()
