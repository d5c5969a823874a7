"""SVG 1.1 as text: escaped, with presentation attributes, so that a page and a file look alike.

A class goes with every colour, so that a page's style can turn it; a file that was taken home has
the attributes alone.
"""

import re
from collections.abc import Iterable
from html import escape
from textwrap import wrap
from typing import NamedTuple

# Plum on white paper. All but the two palest keep 4.5 : 1 against white (WCAG 2.2, 1.4.3).
INK, QUIET, PLUM = "#17131a", "#4a4350", "#5c1349"
MIDDLE, PALE, PALEST = "#b07fa5", "#dcc5d8", "#f3e9f1"
RULE = "#d8d3da"
SIZE = 14
SMALL = 12.5
_LETTER = 0.56  # of the size: how wide a letter is, about
# What XML 1.0 (section 2.2) has no place for.
_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_CLASSES = {
    INK: "c-ink",
    QUIET: "c-quiet",
    PLUM: "c-plum",
    MIDDLE: "c-middle",
    PALE: "c-pale",
    PALEST: "c-palest",
    RULE: "c-rule",
}


class Said(NamedTuple):
    """What a chart is called and shows, for who can't see it. `key` is unique on its page."""

    key: str
    title: str
    description: str


def escaped(words: object) -> str:
    """Words as they may stand in XML, in text and in attributes."""
    return escape(_NO_XML.sub("�", str(words)))


def number(value: float) -> str:
    """A coordinate, to a tenth of a pixel."""
    return f"{value:.1f}".removesuffix(".0")


def mark(name: str, content: str = "", /, **given: object) -> str:
    """One element. `fill_opacity=…` is written fill-opacity; None is left out."""
    said = []
    classes = []
    for key, value in given.items():
        if value is None:
            continue
        if key in ("fill", "stroke") and value in _CLASSES:
            classes.append(f"{_CLASSES[str(value)]}-{key}")
        text = number(value) if isinstance(value, float) else escaped(value)
        said.append(f'{key.rstrip("_").replace("_", "-")}="{text}"')
    if classes:
        said.insert(0, f'class="{" ".join(classes)}"')
    start = f"<{name} {' '.join(said)}" if said else f"<{name}"
    return f"{start}>{content}</{name}>" if content else f"{start}/>"


def text(
    x: float,
    y: float,
    words: object,
    *,
    anchor: str | None = None,
    size: float | None = None,
    fill: str = INK,
    bold: bool = False,
    apart: bool = False,
) -> str:
    """Words on a line whose foot is at `y`; `apart`: with a white edge, over what they cross."""
    return mark(
        "text",
        escaped(words),
        x=float(x),
        y=float(y),
        fill=fill,
        text_anchor=anchor,
        font_size=size,
        font_weight="bold" if bold else None,
        stroke="#fff" if apart else None,
        stroke_width=4 if apart else None,
        paint_order="stroke" if apart else None,
    )


def line(x1: float, y1: float, x2: float, y2: float, stroke: str = RULE, **given: object) -> str:
    """A straight line."""
    return mark(
        "line", x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2), stroke=stroke, **given
    )


def box(x: float, y: float, width: float, height: float, fill: str, **given: object) -> str:
    """A rectangle; nothing is drawn inside out."""
    return mark(
        "rect",
        x=float(x),
        y=float(y),
        width=float(max(width, 0)),
        height=float(max(height, 0)),
        fill=fill,
        **given,
    )


def dot(x: float, y: float, radius: float, fill: str = PLUM, **given: object) -> str:
    """A circle."""
    return mark("circle", cx=float(x), cy=float(y), r=float(radius), fill=fill, **given)


def path(points: Iterable[tuple[float, float]], *, closed: bool = False, **given: object) -> str:
    """A line through points, or an area."""
    whole = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return mark("path", d=f"M{whole}{'Z' if closed else ''}", **given)


def stepped(points: Iterable[tuple[float, float]], end: float) -> list[tuple[float, float]]:
    """The corners of a line that stays at each height until the next point, and then to `end`."""
    corners: list[tuple[float, float]] = []
    for x, y in points:
        if corners:
            corners.append((x, corners[-1][1]))
        corners.append((x, y))
    if corners and corners[-1][0] < end:
        corners.append((end, corners[-1][1]))
    return corners


def wide(words: str, size: float = SIZE) -> float:
    """How wide words are, about, in pixels."""
    return len(words) * size * _LETTER


def cut(words: str, width: float, size: float = SIZE) -> str:
    """Words that fit into a width, shortened where they don't."""
    most = max(int(width / (size * _LETTER)), 1)
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}…"


def lines_of(words: str, width: float, size: float = SIZE) -> list[str]:
    """Words in lines that fit into a width."""
    return wrap(words, max(int(width / (size * _LETTER)), 8)) or [""]


def drawing(width: float, height: float, said: Said, marks: Iterable[str]) -> str:
    """A whole chart on white, told in words by its title and description."""
    name, about = f"{said.key}-t", f"{said.key}-d"
    head = mark("title", escaped(said.title), id=name) + mark(
        "desc", escaped(said.description) or " ", id=about
    )
    inner = head + box(0, 0, width, height, "#fff") + "".join(marks)
    return mark(
        "svg",
        inner,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=number(width),
        height=number(height),
        role="img",
        aria_labelledby=f"{name} {about}",
        font_family="system-ui, -apple-system, Segoe UI, Roboto, Helvetica, Arial, sans-serif",
        font_size=SIZE,
    )
