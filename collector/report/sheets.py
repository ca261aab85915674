"""The report as a PDF: sheets of A4 or letter paper with its pictures and its tables, by matplotlib."""

import io
import textwrap
from collections.abc import Sequence

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure, SubFigure

from collector.report.charts import MAP_INCHES, evenness, hand_readings, map_inches, map_sketch, survey_chart
from collector.report.facts import Told
from collector.report.layout import Section, Table
from collector.report.picture import picture_sketch
from collector.report.sections import sections
from collector.report.style import FAINT, INK, SOFT, WARN, WIDE, Chart, Sketch, drawing, plain, writing
from collector.report.summary import headline, map_title
from collector.report.wording import Words

__all__ = ["PAPERS", "pdf_of"]

PAPERS = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
"""Inches."""
MARGIN = 0.55
TEXT, SMALL, LEAST = 8.5, 7.0, 4.6
"""Points."""
LETTER_SHARE = 0.56
"""Width of a letter in the sheet's font, of its size; bold ones are wider."""
LINE = 1.32
GAP_POINTS = 7.0


def pdf_of(told: Told, words: Words, paper: str = "a4") -> bytes:
    """Write the report; the same report gives the same bytes.

    Args:
        told: the report.
        words: the reader's unit and clock.
        paper: one of `PAPERS`.
    """
    facts = told.facts
    out = io.BytesIO()
    with (
        drawing(TEXT),
        writing(),
        PdfPages(out, metadata={"CreationDate": None, "ModDate": None, "Title": facts.cook.name}) as pdf,
    ):
        book = _Book(pdf, PAPERS[paper], f"{facts.cook.name} – {facts.cook.pit}")
        book.heading(facts.cook.name)
        until = "" if facts.cook.ended_unix is not None else "; it has not ended: this is how it stands"
        book.text(
            f"{facts.cook.pit}. {words.day(facts.cook.started_unix)} to {words.day(facts.cook.told_until_unix)} "
            f"({words.zone_name(facts.cook.started_unix)}){until}."
        )
        for note in ([", ".join(facts.cook.tags)] if facts.cook.tags else []) + list(facts.cook.notes):
            book.text(note, colour=SOFT)
        book.text("   ·   ".join(f"{number} {what}" for number, what in headline(facts, words)))
        book.picture(picture_sketch(told, words, WIDE))
        charts = {
            c.name: c for c in (evenness(told, words), survey_chart(facts, words), hand_readings(told, words)) if c
        }
        for section in sections(facts, words, tuple(f"map{k}" for k in range(len(told.drawn.maps)))):
            if section.name != "picture":
                _section(book, section, told, words, charts)
        book.close()
    return out.getvalue()


def _section(book: "_Book", section: Section, told: Told, words: Words, charts: dict[str, Chart]) -> None:
    book.heading(section.title, needs=1.6)
    for said in section.says:
        book.text(said)
    if section.caution:
        book.text(f"CAUTION. {section.caution}", colour=WARN)
    if section.name == "chamber":
        _maps(book, told, words)
        book.picture(charts["evenness"].sketches[0][1])
    elif section.charts and section.charts[0] in charts:
        book.picture(charts[section.charts[0]].sketches[0][1])
    for table in section.tables:
        if not table.folded or section.name == "log":
            book.table(table)
    for term, meaning in section.terms:
        book.text(f"{term}: {meaning}", colour=SOFT)


def _maps(book: "_Book", told: Told, words: Words) -> None:
    """Lay the maps out, two in a row."""
    maps = told.drawn.maps
    _, high = map_inches(told.facts, title=True)
    share = min(1.0, (book.inside - 0.3) / 2.0 / MAP_INCHES)
    for first in range(0, len(maps), 2):
        sheet, top = book.room(high * share + 0.1)
        for k, one in enumerate(maps[first : first + 2]):
            left = MARGIN + k * (MAP_INCHES * share + 0.3)
            sketch = map_sketch(one, maps, told.facts, words, map_title(one.facts, words))
            with drawing(sketch.font):
                sketch.draw(book.part(sheet, left, top, MAP_INCHES * share, high * share))


class _Book:
    """Fills sheet after sheet from the top.

    Args:
        pdf: where sheets go.
        size: of a sheet, inches.
        foot: what stands at the foot of each.
    """

    def __init__(self, pdf: PdfPages, size: tuple[float, float], foot: str) -> None:
        self._pdf, self._foot = pdf, foot
        self.width, self.height = size
        self.inside = self.width - 2 * MARGIN
        self._sheet: Figure | None = None
        self._at = 0.0
        self._count = 0

    def room(self, inches: float) -> tuple[Figure, float]:
        """Give the sheet that has so much room, and how far from its top that begins; it is taken."""
        if self._sheet is not None and self._at + inches > self.height - MARGIN - 0.2:
            self.close()
        if self._sheet is None:
            self._sheet, self._at = Figure(figsize=(self.width, self.height)), MARGIN
            self._count += 1
        top = self._at
        self._at += inches
        return self._sheet, top

    def close(self) -> None:
        """End the sheet that is being filled."""
        if self._sheet is not None:
            foot = 0.5 * MARGIN / self.height
            self._sheet.text(MARGIN / self.width, foot, plain(self._foot, 90), fontsize=SMALL, color=SOFT)
            self._sheet.text(1.0 - MARGIN / self.width, foot, str(self._count), fontsize=SMALL, color=SOFT, ha="right")
            self._pdf.savefig(self._sheet)  # type: ignore[no-untyped-call]
            self._sheet = None

    def part(self, sheet: Figure, left: float, top: float, width: float, height: float) -> SubFigure:
        """Cut a part out of a sheet, inches from its left and its top."""
        rows = (top, height, max(self.height - top - height, 1e-3))
        columns = (left, width, max(self.width - left - width, 1e-3))
        grid = sheet.add_gridspec(
            3, 3, left=0, right=1, top=1, bottom=0, wspace=0, hspace=0, height_ratios=rows, width_ratios=columns
        )
        return sheet.add_subfigure(grid[1, 1])

    def heading(self, text: str, needs: float = 0.0) -> None:
        """Write a heading; it begins a new sheet where less than so many inches are left."""
        if self._sheet is not None and self._at + needs > self.height - MARGIN - 0.2:
            self.close()
        sheet, top = self.room(0.42)
        sheet.text(
            MARGIN / self.width, 1.0 - (top + 0.26) / self.height, plain(text), fontsize=13, weight="bold", va="center"
        )

    def text(self, text: str, colour: str = INK) -> None:
        """Write a paragraph."""
        letters = int(self.inside * 72.0 / (TEXT * LETTER_SHARE))
        for line in textwrap.wrap(plain(text), letters) or [""]:
            sheet, top = self.room(TEXT * LINE / 72.0)
            sheet.text(
                MARGIN / self.width, 1.0 - (top + 0.09) / self.height, line, fontsize=TEXT, va="center", color=colour
            )
        self.room(0.05)

    def picture(self, sketch: Sketch) -> None:
        """Put a picture in, shrunk to what a sheet has where it is larger."""
        share = min(1.0, self.inside / sketch.width, (self.height - 2 * MARGIN - 0.4) / sketch.height)
        sheet, top = self.room(sketch.height * share + 0.1)
        with drawing(sketch.font):
            sketch.draw(self.part(sheet, MARGIN, top, sketch.width * share, sketch.height * share))

    def table(self, table: Table) -> None:
        """Write a table, its heads again on every sheet."""
        if not table.rows:
            return
        size, widths = self._columns(table)
        lines = [_lines(row, widths, size) for row in (table.heads, *table.rows)]
        high = [max(map(len, row)) * size * LINE / 72.0 + 0.045 for row in lines]
        sheet, top = self.room(0.24 + high[0] + high[1])
        self._at -= high[0] + high[1]
        sheet.text(
            MARGIN / self.width,
            1.0 - (top + 0.15) / self.height,
            plain(table.title),
            fontsize=TEXT,
            weight="bold",
            va="center",
        )
        self._row(lines[0], widths, size, high[0], table, head=True)
        for row, tall in zip(lines[1:], high[1:], strict=True):
            if self._at + tall > self.height - MARGIN - 0.2:
                self.close()
                self._row(lines[0], widths, size, high[0], table, head=True)
            self._row(row, widths, size, tall, table, head=False)
        self.room(0.14)

    def _columns(self, table: Table) -> tuple[float, list[float]]:
        """Choose the size of the letters and the widths of the columns, inches."""
        size = SMALL
        longest = [
            max(len(row[k]) for row in (*table.rows, tuple(_long(h) for h in table.heads)))
            for k in range(len(table.heads))
        ]
        while True:
            letter = size * LETTER_SHARE / 72.0
            gap = GAP_POINTS * size / SMALL / 72.0
            widths = [n * letter * (1.12 if k == 0 else 1.0) + gap for k, n in enumerate(longest)]
            fixed = sum(w for k, w in enumerate(widths) if k not in table.wide)
            left = self.inside - fixed
            if table.wide and left >= 14 * letter * len(table.wide):
                each = left / len(table.wide)
                return size, [min(w, each) if k in table.wide else w for k, w in enumerate(widths)]
            if (not table.wide and left >= 0.0) or size <= LEAST:
                share = min(1.0, self.inside / sum(widths))
                return size, [w * share for w in widths]
            size -= 0.3

    def _row(
        self, cells: Sequence[Sequence[str]], widths: Sequence[float], size: float, tall: float, table: Table, *,
        head: bool,
    ) -> None:  # fmt: skip
        sheet, top = self.room(tall)
        x = MARGIN
        for k, (lines, width) in enumerate(zip(cells, widths, strict=True)):
            left = k == 0 or k in table.wide
            right_x = x + width - GAP_POINTS * size / SMALL / 72.0
            for n, line in enumerate(lines):
                y = top + (n + 0.6) * size * LINE / 72.0
                sheet.text(
                    (x if left else right_x) / self.width, 1.0 - y / self.height, line,
                    fontsize=size, ha="left" if left else "right", va="center", color=SOFT if head else INK,
                    weight="bold" if k == 0 and not head else "normal",
                )  # fmt: skip
            x += width
        y = 1.0 - (top + tall) / self.height
        sheet.add_artist(_rule(MARGIN / self.width, x / self.width, y, SOFT if head else FAINT))


def _rule(left: float, right: float, y: float, colour: str):  # type: ignore[no-untyped-def]
    from matplotlib.lines import Line2D

    return Line2D([left, right], [y, y], color=colour, linewidth=0.5)


def _long(head: str) -> str:
    """Give the longest word of a head: heads may be broken at spaces."""
    return max(head.split(" "), key=len)


def _lines(row: Sequence[str], widths: Sequence[float], size: float) -> list[list[str]]:
    """Break the cells of a row into lines that fit their columns."""
    letter = size * LETTER_SHARE / 72.0
    return [
        textwrap.wrap(plain(cell), max(3, int((width - GAP_POINTS * size / SMALL / 72.0) / letter) + 1)) or [""]
        for cell, width in zip(row, widths, strict=True)
    ]
