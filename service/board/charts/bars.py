"""How many of each: bars from zero, with the number at their end."""

from collections.abc import Sequence
from typing import NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.scales import ticks
from service.board.charts.svg import Said


class Bar(NamedTuple):
    """One bar; `marked` ones (late, held) are striped, and their `note` says why."""

    words: str
    note: str
    value: int
    marked: bool = False


def bars(width: float, said: Said, hand: Hand, rows: Sequence[Bar]) -> str:
    """Bars from the top down."""
    most = max((row.value for row in rows), default=1)
    room = svg.wide(hand.number(most)) + 10
    top = ticks(0, max(most, 1), 5, whole=True)[-1]
    scale = Plot(8, 0, width - 14 - room, 0).across(0, top)
    drawn = [_stripes(said.key)]
    y = 4.0
    for row in rows:
        head, y = frame.row_head(row.words, row.note, y, width)
        drawn += head
        y += 6
        end = scale.at(row.value)
        fill = f"url(#{said.key}-s)" if row.marked else svg.PLUM
        drawn.append(svg.box(8, y, end - 8, 16, fill, stroke=svg.PLUM if row.marked else None))
        drawn.append(svg.text(end + 6, y + 13, hand.number(row.value)))
        drawn.append(svg.line(8, y - 2, 8, y + 18, svg.INK))
        y += 22
    return svg.drawing(width, y + 8, said, drawn)


def _stripes(key: str) -> str:
    inner = svg.box(0, 0, 8, 8, "#fff") + svg.line(2, 0, 2, 8, svg.PLUM, stroke_width=4)
    return svg.mark(
        "pattern",
        inner,
        id=f"{key}-s",
        width=8,
        height=8,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )
