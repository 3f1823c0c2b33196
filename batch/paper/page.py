"""Pages for both papers: sizes, fonts, styles, and the file with its footer.

reportlab makes them, so that neither a spreadsheet program nor a converter is needed. The same
assessment gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from io import BytesIO
from typing import TYPE_CHECKING, Any, TypeVar

from siltbook.batch import letters
from siltbook.templates.safety import cautions

if TYPE_CHECKING:
    from reportlab.lib.styles import ParagraphStyle

    from siltbook.templates.safety import Touch

SIZES = ("A4", "Letter")
TEXT = 9.0  # [pt], the smallest on these pages
MARGIN = 30.0  # [pt]
Room = TypeVar("Room")


def style(size: float = TEXT, *, bold: bool = False, after: float = 0.0) -> ParagraphStyle:
    """A paragraph's look: black, in one of two weights."""
    from reportlab.lib.styles import ParagraphStyle

    from siltbook.batch.archive.summary import register_fonts

    register_fonts()
    name = f"{'bold' if bold else 'plain'}{size}-{after}"
    font = "VeraBd" if bold else "Vera"
    return ParagraphStyle(name, fontName=font, fontSize=size, leading=size * 1.22, spaceAfter=after)


LACKS = f"{letters.LACKS}, and so has a round sheet that is made with --sheet."


def words(text: object, size: float = TEXT, *, bold: bool = False, after: float = 0.0) -> Any:
    """A paragraph of somebody's text, which is never taken for markup."""
    from reportlab.platypus import Paragraph

    made: Any = Paragraph(escape(letters.shown(text)), style(size, bold=bold, after=after))
    made.lacks = letters.lacking(text)
    return made


def telling(story: Sequence[Any], lacks: str, *more: str) -> list[Any]:
    """A story, with a line behind its title that says so where a text of it, or of what else the
    page prints, has letters that the font lacks."""
    lost = _lacks(story) or any(map(letters.lacking, more))
    return [*story[:1], *([words(lacks, after=2)] if lost else []), *story[1:]]


def _lacks(flowable: Any) -> bool:
    """Whether a paragraph, or one in a table or in what is kept together, lacks letters."""
    if isinstance(flowable, list | tuple):
        return any(map(_lacks, flowable))
    inner = getattr(flowable, "_cellvalues", None) or getattr(flowable, "_content", None)
    return bool(getattr(flowable, "lacks", False)) or (inner is not None and _lacks(inner))


def cautions_box(touches: Sequence[Touch] | frozenset[Touch], width: float) -> Any:
    """The cautions of a page in a ruled box."""
    from reportlab.platypus import Table

    lines = [[words(line)] for line in cautions(touches)]
    rules = [("BOX", (0, 0), (-1, -1), 1.2, "black"), *tight(1.5)]
    return Table(lines, colWidths=[width], style=rules) if lines else words("")


def tight(pad: float = 2.0) -> list[tuple[Any, ...]]:
    """Rules of a table with little room about its cells."""
    whole = (0, 0), (-1, -1)
    return [
        ("LEFTPADDING", *whole, 3), ("RIGHTPADDING", *whole, 3), ("TOPPADDING", *whole, pad),
        ("BOTTOMPADDING", *whole, pad), ("VALIGN", *whole, "MIDDLE"),
    ]  # fmt: skip


def inner_width(size: str, *, wide: bool) -> float:
    """The width between the margins [pt]."""
    return float(_page_size(size, wide)[0]) - 2 * MARGIN


def _page_size(size: str, wide: bool) -> Any:
    from reportlab.lib.pagesizes import A4, LETTER, landscape

    found = A4 if size == "A4" else LETTER
    return landscape(found) if wide else found


def is_one(pdf: bytes) -> bool:
    """Whether a file that `made` gave has one page."""
    return pdf.count(b"/Type /Page\n") == 1


def fitting(rooms: Sequence[Room], pdf: Callable[[Room], bytes]) -> Room:
    """The first room in which a page's words fit one page; the last where none does."""
    return next((room for room in rooms if is_one(pdf(room))), rooms[-1])


def made(story: Sequence[Any], title: str, foot: str, version: str, size: str, wide: bool) -> bytes:
    """The PDF of a story of flowables. `foot` stands on every page beside its number."""
    from reportlab import Version
    from reportlab.platypus import SimpleDocTemplate

    target = BytesIO()
    document = SimpleDocTemplate(
        target, pagesize=_page_size(size, wide), leftMargin=MARGIN, rightMargin=MARGIN,
        topMargin=MARGIN, bottomMargin=MARGIN, title=title, creator=f"siltbook {version}",
        producer=f"reportlab {Version}", invariant=1, pageCompression=0,
    )  # fmt: skip

    def footer(canvas: Any, page: Any) -> None:
        canvas.setFont("Vera", TEXT)
        canvas.drawString(MARGIN, MARGIN - 16, letters.shown(foot)[:140])
        canvas.drawRightString(page.pagesize[0] - MARGIN, MARGIN - 16, f"page {page.page}")

    document.build(list(story), onFirstPage=footer, onLaterPages=footer)
    return target.getvalue()
