"""From when to when, one row each: a range of days, its middle, and the day that is today."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.scales import Scale
from service.board.charts.svg import Said


class Span(NamedTuple):
    """One row from `low` to `high`; `high` None: no end is known. `late`: struck through."""

    words: str
    note: str
    low: date
    middle: date | None
    high: date | None
    late: bool = False


def spans(
    width: float, said: Said, hand: Hand, rows: Sequence[Span], today: date, *, today_words: str
) -> str:
    """Rows from the top down over the days that they and `today` take."""
    ends = [day for row in rows for day in (row.low, row.middle, row.high) if day is not None]
    first, last = min([*ends, today]), max([*ends, today])
    marks: list[str] = []
    scale = Plot(8, 0, width - 14, 0).across(first.toordinal(), max(last, first).toordinal() + 1)
    y = 24.0
    for row in rows:
        head, y = frame.row_head(row.words, row.note, y, width)
        marks += head
        y += 14
        marks += _row(row, y, scale)
        y += 12
    plot = Plot(8, 24, width - 14, y + 4)
    across, axis = frame.days_across(
        plot, first, max(last, date.fromordinal(first.toordinal() + 1)), hand
    )
    x = across.at(today.toordinal())
    here = [
        svg.line(x, plot.top - 6, x, plot.foot, svg.INK, stroke_width=1.5, stroke_dasharray="4 3"),
        _at(x, width, today_words),
    ]
    return svg.drawing(width, plot.foot + 34, said, [*axis, *here, *marks])


def _at(x: float, width: float, words: str) -> str:
    half = svg.wide(words, svg.SMALL) / 2 + 2
    return svg.text(
        min(max(x, half), width - half), 13, words, anchor="middle", size=svg.SMALL, bold=True
    )


def _row(row: Span, y: float, scale: Scale) -> list[str]:
    start = scale.at(row.low.toordinal())
    if row.high is None:
        end = scale.end
        shape = svg.line(start, y, end - 8, y, svg.PLUM, stroke_width=3, stroke_dasharray="6 4")
        tip = svg.path([(end - 8, y - 6), (end, y), (end - 8, y + 6)], closed=True, fill=svg.PLUM)
        drawn = [shape, tip]
    else:
        end = scale.at(row.high.toordinal())
        drawn = [svg.box(start, y - 5, max(end - start, 3), 10, svg.PALE, stroke=svg.PLUM)]
    if row.middle is not None:
        x = scale.at(row.middle.toordinal())
        drawn.append(
            svg.path([(x, y - 8), (x + 7, y), (x, y + 8), (x - 7, y)], closed=True, fill=svg.PLUM)
        )
    if row.late:
        drawn.append(svg.line(start, y + 5, end, y - 5, svg.INK, stroke_width=2))
    return drawn
