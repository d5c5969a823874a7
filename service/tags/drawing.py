"""Drawing tags into a PDF: a code to scan, the same code in letters, and what it is."""

from collections.abc import Sequence
from functools import lru_cache
from io import BytesIO
from typing import Literal

import msgspec
import segno
from reportlab.pdfgen.canvas import Canvas

from service.tags import flag
from service.tags.fonts import Written, written
from service.tags.paper import Paper

MM = 72 / 25.4
# Modules of half a millimetre are still read when wet, scratched or bent; a quiet zone of four is
# the standard's (ISO/IEC 18004).
MODULE_LEAST, MODULE_MOST, QUIET = 0.5, 1.0, 4
PAD = 1.5
# Read without aid: letters below these (points) are refused, on official papers and on tags.
SMALLEST, SMALLEST_OFFICIAL = 4.5, 5.5
LEADING = 1.22


class Line(msgspec.Struct, frozen=True):
    """A line of text: its height relative to the others', its style."""

    text: str
    scale: float = 1.0
    style: Literal["", "bold", "italic"] = ""


class Tag(msgspec.Struct, frozen=True, kw_only=True):
    """What a tag says. `code` stands in large letters beside the `address` as a code to scan.

    `official`: nothing may be left out, replaced or shortened. `framed`: a line round it, with
    `head` at its top right and, with `union_flag`, the flag at its top left.
    """

    code: str
    address: str | None
    lines: list[Line]
    foot: str | None = None
    head: str | None = None
    union_flag: bool = False
    framed: bool = False
    official: bool = False


class TooSmall(ValueError):
    """The tag can't hold what it must say: `what` is "code" or "text", `needs` millimetres or the
    size in points that the letters would have."""

    def __init__(self, what: Literal["code", "text"], needs: float) -> None:
        super().__init__(f"{what} {needs:.1f}")
        self.what = what
        self.needs = needs


class _Box(msgspec.Struct):
    """A part of the page in points, from its lower left corner."""

    x: float
    y: float
    width: float
    height: float


def pdf(tags: Sequence[Tag], paper: Paper, *, title: str, skip: int = 0) -> bytes:
    """Tags in order on pages, after leaving out the first `skip` places of the first page.

    The same tags give the same bytes. Raises TooSmall, and Unprintable for official tags.
    """
    out = BytesIO()
    size = (paper.page_width * MM, paper.page_height * MM)
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("graftlog")
    places = list(paper.places())
    at = skip % len(places)
    for tag in tags:
        if at == len(places):
            canvas.showPage()
            at = 0
        _tag(canvas, _box(paper, *places[at]), tag)
        at += 1
    canvas.save()
    return out.getvalue()


def _box(paper: Paper, left: float, top: float) -> _Box:
    """What of a tag is drawn on, in points: without what lies too near the page's edge."""
    right, bottom = left + paper.width, top + paper.height
    x, y = max(left, paper.edge), max(top, paper.edge)
    width = min(right, paper.page_width - paper.edge) - x
    height = min(bottom, paper.page_height - paper.edge) - y
    return _Box(x * MM, (paper.page_height - y - height) * MM, width * MM, height * MM)


def _tag(canvas: Canvas, box: _Box, tag: Tag) -> None:
    pad = PAD * MM
    inner = _Box(box.x + pad, box.y + pad, box.width - 2 * pad, box.height - 2 * pad)
    if tag.framed:
        canvas.setLineWidth(0.8)
        line = pad / 2
        canvas.rect(box.x + line, box.y + line, box.width - pad, box.height - pad)
    if tag.head is not None:
        inner = _head(canvas, inner, tag)
    if tag.address is None:
        _text(canvas, inner, tag)
        return
    across = inner.width >= inner.height * 1.15
    room = min(inner.height, inner.width * 0.5) if across else min(inner.width, inner.height * 0.6)
    side = _scanned(canvas, inner, tag.address, room, centred=not across)
    gap = 1.0 * MM
    if across:
        rest = _Box(inner.x + side + gap, inner.y, inner.width - side - gap, inner.height)
    else:
        rest = _Box(inner.x, inner.y, inner.width, inner.height - side - gap)
    _text(canvas, rest, tag)


def _head(canvas: Canvas, box: _Box, tag: Tag) -> _Box:
    """The flag at the left, the words at the right of the top; the box that is left below."""
    high = min(6.0 * MM, box.height * 0.2)
    left = flag.draw(canvas, box.x, box.y + box.height - high, high) if tag.union_flag else 0.0
    room = box.width - left - 1.5 * MM
    words = written(tag.head or "", "bold", official=tag.official)
    size = min(high * 0.62, 12.0, words.size_in(room))
    if size < SMALLEST_OFFICIAL:
        raise TooSmall("text", size)
    canvas.setFont(words.face, size)
    middle = box.y + box.height - high / 2 - size * 0.35
    canvas.drawRightString(box.x + box.width, middle, words.text)
    return _Box(box.x, box.y, box.width, box.height - high - 1.0 * MM)


def _scanned(canvas: Canvas, box: _Box, text: str, room: float, *, centred: bool) -> float:
    """A QR code in the upper left of the box, or its upper middle. Returns its side in points."""
    modules = _modules(text)
    count = len(modules) + 2 * QUIET
    module = min(room / count, MODULE_MOST * MM)
    if module < MODULE_LEAST * MM:
        raise TooSmall("code", count * MODULE_LEAST)
    side = count * module
    left = box.x + ((box.width - side) / 2 if centred else 0)
    top = box.y + box.height - (0 if centred else (box.height - side) / 2)
    drawn = canvas.beginPath()
    for row, line in enumerate(modules):
        y = top - (row + QUIET + 1) * module
        start = None
        for column, dark in enumerate([*line, 0]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                # Runs of dark modules as one, so that no hair line shows between them.
                drawn.rect(left + (start + QUIET) * module, y, (column - start) * module, module)
                start = None
    canvas.drawPath(drawn, stroke=0, fill=1)
    return side


@lru_cache(maxsize=64)
def _modules(text: str) -> tuple[bytearray, ...]:
    """The rows of the code, kept for copies: finding its best mask is most of drawing a tag."""
    matrix: tuple[bytearray, ...] = segno.make(
        text, error="m", micro=False, boost_error=False
    ).matrix
    return matrix


def _text(canvas: Canvas, box: _Box, tag: Tag) -> None:
    """The code in large letters, the lines below it, the foot at the bottom."""
    official = tag.official
    code = written(tag.code, "bold", official=official) if tag.code else None
    lines = [(written(one.text, one.style, official=official), one.scale) for one in tag.lines]
    foot = written(tag.foot, official=official) if tag.foot else None
    smallest = SMALLEST_OFFICIAL if official else SMALLEST
    most = 0.2 if official else 0.3
    big = min(box.height * most, 26.0, code.size_in(box.width)) if code else 0.0
    head = big * 1.1
    low = smallest * LEADING if foot else 0.0
    heights = sum(scale for _, scale in lines) * LEADING
    size = min(11.0, (box.height - head - low) / heights) if lines else smallest
    if official and lines:
        size = min(size, *(line.size_in(box.width) / scale for line, scale in lines))
    if (official and size < smallest) or (code and big < smallest):
        raise TooSmall("text", min(size, big or size))
    size = max(size, smallest)
    y = box.y + box.height - big * 0.85
    if code:
        _put(canvas, code, box, y, big)
    y = box.y + box.height - head
    for line, scale in lines:
        y -= size * scale * LEADING
        if y < box.y + low - 0.5:
            break
        _put(canvas, line, box, y + size * scale * 0.25, size * scale)
    if foot:
        _put(canvas, foot, box, box.y + smallest * 0.25, smallest)


def _put(canvas: Canvas, line: Written, box: _Box, y: float, size: float) -> None:
    """A line; narrower letters where it is a little too long, and cut where it is much too long."""
    wide = line.width(size)
    fits = max(min(size, size * box.width / wide) if wide else size, SMALLEST)
    text = line.text
    while len(text) > 1 and Written(text, line.face).width(fits) > box.width + 0.1:
        text = text.removesuffix("…")[:-1].rstrip() + "…"
    canvas.setFont(line.face, fits)
    canvas.drawString(box.x, y, text)
