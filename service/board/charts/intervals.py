"""Shares with their ranges, one row each: a dot, its range, and how many it rests on."""

from collections.abc import Sequence
from typing import NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.scales import Scale
from service.board.charts.svg import Said


class Interval(NamedTuple):
    """One row. Shares are from 0 to 1; `plain` is what was counted, with its own range.

    `few`: it rests on too little to go by; the dot is hollow then, and `note` should say so.
    """

    words: str
    note: str
    low: float
    middle: float
    high: float
    plain: tuple[float, float, float] | None
    few: bool


def intervals(
    width: float,
    said: Said,
    hand: Hand,
    rows: Sequence[Interval],
    *,
    of_hundred: str,
    middle_words: str,
    plain_words: str,
    few_words: str,
) -> str:
    """Rows from the top down on one scale from 0 to 100."""
    drawn: list[str] = []
    inner = Plot(8, 8, width - 14, 0)
    scale = inner.across(0, 1)
    y = 8.0
    marks: list[str] = []
    for row in rows:
        head, y = frame.row_head(row.words, row.note, y, width)
        marks += head
        y += 16
        marks += _row(row, y, scale)
        y += 12
    plot = Plot(inner.left, 8, inner.right, y + 4)
    _, axis = frame.numbers_across(plot, 100, lambda value: hand.number(value), most=6)
    drawn += [*axis, svg.line(plot.left, plot.foot, plot.right, plot.foot, svg.INK), *marks]
    said_under, below = frame.under_words(of_hundred, plot.foot + 40, width)
    drawn += said_under
    keys = [frame.Key(middle_words, lambda x, at: _range(x, x + 24, at) + svg.dot(x + 12, at, 5.5))]
    if any(row.few for row in rows):
        keys.append(frame.Key(few_words, lambda x, at: _range(x, x + 24, at) + _hollow(x + 12, at)))
    if any(row.plain for row in rows):
        keys.append(frame.Key(plain_words, lambda x, at: _plain(x, x + 12, x + 24, at)))
    listed, high = frame.key_list(keys, 8, plot.foot + 50 + below, width - 16)
    return svg.drawing(width, plot.foot + 50 + below + high, said, [*drawn, *listed])


def _row(row: Interval, y: float, scale: Scale) -> list[str]:
    drawn = []
    if row.plain:
        low, middle, high = (scale.at(one) for one in row.plain)
        drawn.append(_plain(low, middle, high, y + 7))
    drawn.append(_range(scale.at(row.low), scale.at(row.high), y))
    x = scale.at(row.middle)
    drawn.append(_hollow(x, y) if row.few else svg.dot(x, y, 5.5))
    return drawn


def _range(low: float, high: float, y: float) -> str:
    return svg.line(low, y, high, y, svg.PLUM, stroke_width=3) + "".join(
        svg.line(x, y - 5, x, y + 5, svg.PLUM, stroke_width=2) for x in (low, high)
    )


def _hollow(x: float, y: float) -> str:
    return svg.dot(x, y, 5.0, "#fff", stroke=svg.PLUM, stroke_width=2)


def _plain(low: float, middle: float, high: float, y: float) -> str:
    return svg.line(low, y, high, y, svg.QUIET, stroke_width=1.2) + svg.line(
        middle, y - 4, middle, y + 4, svg.QUIET, stroke_width=2
    )
