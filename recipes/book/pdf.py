"""The recipe book as PDF (ReportLab, with a font that travels in its own package)."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import cache
from importlib.resources import as_file, files
from io import BytesIO
from itertools import groupby
from xml.sax.saxutils import escape

import segno
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table

from recipes.book.book import Chapter, Leaf
from recipes.formula.display import Row
from web.printing import moment, quantity, tolerance

MARGIN, CODE = 18 * mm, 26 * mm
RULE, SOFT = HexColor("#8a8172"), HexColor("#5b5347")
CAUTION = (
    "Near-boiling water, steam and pressure hurt people. These are recipe settings only: boiler"
    " pressure, safety valves, wiring and water treatment are for a licensed technician and local"
    " codes."
)
ALTERED = "Altered since it was signed: not shown. Ask a head roaster."


@cache
def _fonts() -> None:
    """Latin, Greek and Cyrillic, in two weights: the same everywhere, whatever is installed."""
    for name in ("Regular", "Bold"):
        with as_file(files("font_roboto") / "files" / f"Roboto-{name}.ttf") as path:
            registerFont(TTFont(f"Roboto-{name}", str(path)))


def _style(name: str, size: float, *, bold: bool = False, space: float = 0) -> ParagraphStyle:
    font = "Roboto-Bold" if bold else "Roboto-Regular"
    return ParagraphStyle(
        name, fontName=font, fontSize=size, leading=size * 1.3, spaceAfter=space, spaceBefore=space
    )


TITLE, CHAPTER = _style("title", 22, bold=True), _style("chapter", 16, bold=True, space=4 * mm)
HEADING, TEXT = _style("heading", 12, bold=True, space=1 * mm), _style("text", 9, space=1 * mm)


def book_pdf(chapters: Sequence[Chapter], at: datetime, by: str) -> bytes:
    """A4 pages: each recipe kept together, with a code that opens its page."""
    _fonts()
    printed = f"Printed {moment(at, 'UTC')} by {by}. The code opens what is approved now."

    def foot(canvas: Canvas, _: object) -> None:
        canvas.setFont("Roboto-Regular", 8)
        canvas.setFillColor(SOFT)
        canvas.drawString(MARGIN, 10 * mm, printed)
        canvas.drawRightString(A4[0] - MARGIN, 10 * mm, f"Page {canvas.getPageNumber()}")

    file = BytesIO()
    book = SimpleDocTemplate(
        file, pagesize=A4, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN,
        bottomMargin=MARGIN, title="Recipe book", author="Portaledger", lang="en",
    )  # fmt: skip
    book.build(list(_story(chapters)), onFirstPage=foot, onLaterPages=foot)
    return file.getvalue()


def _story(chapters: Sequence[Chapter]) -> Iterator[Flowable]:
    yield Paragraph("Recipe book", TITLE)
    yield Spacer(0, 3 * mm)
    yield Paragraph(CAUTION, TEXT)
    if not chapters:
        yield Paragraph("No recipe is approved yet.", TEXT)
    for chapter in chapters:
        heading = Paragraph(escape(chapter.coffee.name), CHAPTER)
        for place, leaf in enumerate(chapter.leaves):
            parts = list(_leaf(leaf))
            yield KeepTogether([heading, *parts] if place == 0 else parts)


def _leaf(leaf: Leaf) -> Iterator[Flowable]:
    version = leaf.version
    yield Paragraph(f"{escape(version.recipe.drink)}, version {version.number}", HEADING)
    said = Paragraph(ALTERED, TEXT) if not leaf.intact else _lines(leaf)
    table = Table([[said, _Code(leaf.code)]], colWidths=[None, CODE + 6 * mm])
    table.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, 0), 0)])
    yield table
    if leaf.intact:
        yield from (_variant(name, rows) for name, rows in leaf.variants)
    if version.note:
        yield Paragraph(escape(version.note).replace("\n", "<br/>"), TEXT)
    yield Spacer(0, 4 * mm)


def _variant(name: str, rows: Sequence[Row]) -> Paragraph:
    """What is otherwise on machines of a type, in a line; what it does not say is told as well."""
    parts = [
        f"{row['label'].lower()} {said(row) if row['new'] is not None else 'none'}" for row in rows
    ]
    return Paragraph(escape(f"On {name}: {'; '.join(parts)}."), TEXT)


def _lines(leaf: Leaf) -> Table:
    ratio = [("Brew ratio", leaf.ratio)] if leaf.ratio else []
    lines = [*((row["label"], said(row)) for row in leaf.lines), *ratio]
    cells = [[Paragraph(escape(one), TEXT) for one in line] for line in lines]
    table = Table(cells or [[""]], colWidths=[48 * mm, 86 * mm])
    table.setStyle([
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE), ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ])  # fmt: skip
    return table


def said(row: Row) -> str:
    """Target and tolerance as a line of the book, in the unit of whoever prints it."""
    return quantity(row["new"], row["unit"]) + tolerance_words(row)


def tolerance_words(row: Row) -> str:
    """In brackets behind a target; empty without any."""
    words = tolerance(row["new_below"], row["new_above"])
    return f" ({words})" if words else ""


class _Code(Flowable):
    """The same QR code as on the page, as one path: a shape a module took most of a book's time."""

    def __init__(self, code: segno.QRCode) -> None:
        super().__init__()
        self.width = self.height = CODE
        self.rows = list(code.matrix_iter(border=2))

    def draw(self) -> None:
        """Its dark modules, run by run."""
        side, path = CODE / len(self.rows), self.canv.beginPath()
        for number, row in enumerate(self.rows, start=1):
            at = 0
            for dark, run in groupby(row):
                long = len(list(run))
                if dark:
                    path.rect(at * side, CODE - number * side, long * side, side)
                at += long
        self.canv.drawPath(path, stroke=0, fill=1)
