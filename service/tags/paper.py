"""Sheets of tags and rolls: where on the paper each tag lies, in millimetres."""

from collections.abc import Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

SheetName = Literal[
    "a4-24", "a4-21", "a4-10", "letter-30", "letter-10", "roll-70x40", "roll-100x50", "roll-60x60"
]
Millimetres = Annotated[float, Meta(ge=0, le=1000, description="Millimetres.")]
Side = Annotated[float, Meta(ge=10, le=1000, description="Millimetres.")]


class Paper(msgspec.Struct, frozen=True, kw_only=True):
    """A page and the tags on it, row by row from the top left. All in millimetres.

    `left` and `top` are the margins before the first tag, `gap_x` and `gap_y` lie between tags;
    nothing is drawn within `edge` of the page's edge, where most printers do not print.
    """

    page_width: Side
    page_height: Side
    width: Side
    height: Side
    columns: Annotated[int, Meta(ge=1, le=20)] = 1
    rows: Annotated[int, Meta(ge=1, le=50)] = 1
    left: Millimetres = 0
    top: Millimetres = 0
    gap_x: Millimetres = 0
    gap_y: Millimetres = 0
    edge: Millimetres = 0

    @property
    def a_page(self) -> int:
        """How many tags a page has."""
        return self.columns * self.rows

    @property
    def overhang(self) -> tuple[float, float]:
        """How far the tags reach over the page's right and lower edge; 0 or less: they fit."""
        across = self.left + self.columns * self.width + (self.columns - 1) * self.gap_x
        down = self.top + self.rows * self.height + (self.rows - 1) * self.gap_y
        return across - self.page_width, down - self.page_height

    def places(self) -> Iterator[tuple[float, float]]:
        """Left and top of each tag of a page."""
        for row in range(self.rows):
            for column in range(self.columns):
                yield (
                    self.left + column * (self.width + self.gap_x),
                    self.top + row * (self.height + self.gap_y),
                )


def _a4(columns: int, rows: int, width: float, height: float, **more: float) -> Paper:
    return Paper(
        page_width=210,
        page_height=297,
        columns=columns,
        rows=rows,
        width=width,
        height=height,
        edge=4,
        **more,
    )


def _letter(columns: int, rows: int, width: float, height: float, **more: float) -> Paper:
    return Paper(
        page_width=215.9,
        page_height=279.4,
        columns=columns,
        rows=rows,
        width=width,
        height=height,
        edge=4,
        **more,
    )


def _roll(width: float, height: float) -> Paper:
    return Paper(page_width=width, page_height=height, width=width, height=height)


# Divisions of label paper that stationers sell (common practice, no source): measure your own.
PAPERS: dict[SheetName, Paper] = {
    "a4-24": _a4(3, 8, 70, 37, top=0.5),
    "a4-21": _a4(3, 7, 63.5, 38.1, left=7.2, top=15.1, gap_x=2.5),
    "a4-10": _a4(2, 5, 99, 57, left=6, top=6),
    "letter-30": _letter(3, 10, 66.7, 25.4, left=4.8, top=12.7, gap_x=3.1),
    "letter-10": _letter(2, 5, 101.6, 50.8, left=4, top=12.7, gap_x=4.7),
    "roll-70x40": _roll(70, 40),
    "roll-100x50": _roll(100, 50),
    "roll-60x60": _roll(60, 60),
}
