"""What happened to a lot: how many stood, day by day, and under it what was done when."""

from collections.abc import Sequence
from datetime import date
from typing import Literal, NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.steps import STYLES, Line
from service.board.charts.svg import Said

Shape = Literal["made", "looked", "worked", "lost", "left"]


class Happening(NamedTuple):
    """Something that was done on a day, told by its shape."""

    day: date
    shape: Shape


def timeline(
    width: float,
    said: Said,
    hand: Hand,
    first: date,
    last: date,
    lines: Sequence[Line],
    happenings: Sequence[Happening],
    *,
    shapes: dict[Shape, str],
) -> str:
    """Counts as step lines, and a row for each shape that occurs; `shapes` names them."""
    rows = [shape for shape in shapes if any(one.shape == shape for one in happenings)]
    most = max((n for one in lines for _, n in one.points), default=1)
    left = frame.room_for(most, hand)
    plot = Plot(left, 14, width - 12, 164 if width < frame.WIDE else 194)
    up, rules = frame.counts_up(plot, most, hand)
    beneath = Plot(left, plot.foot, plot.right, plot.foot + 10 + 20 * len(rows))
    across, axis = frame.days_across(beneath, first, last, hand)
    drawn, keys = [*rules, *axis], []
    for one, (stroke, thick, dash) in zip(lines, STYLES, strict=False):
        places = [(across.at(day.toordinal()), up.at(n)) for day, n in one.points]
        drawn.append(
            svg.path(
                svg.stepped(places, plot.right) or [(plot.left, plot.foot)],
                fill="none",
                stroke=stroke,
                stroke_width=thick,
                stroke_dasharray=dash,
            )
        )
        keys.append(frame.stroke_key(one.words, stroke, thick, dash))
    for number, shape in enumerate(rows):
        y = plot.foot + 18 + 20 * number
        drawn.append(svg.line(plot.left, y, plot.right, y))
        days = sorted({one.day for one in happenings if one.shape == shape})
        drawn += [_shape(shape, across.at(day.toordinal()), y) for day in days]
        keys.append(_shape_key(shape, shapes[shape]))
    listed, high = frame.key_list(keys, 8, beneath.foot + 46, width - 16)
    return svg.drawing(width, beneath.foot + 46 + high, said, [*drawn, *listed])


def _shape_key(shape: Shape, words: str) -> frame.Key:
    return frame.Key(words, lambda x, y: _shape(shape, x + 12, y))


def _shape(shape: Shape, x: float, y: float) -> str:
    if shape == "made":
        return svg.box(x - 6, y - 6, 12, 12, svg.PLUM)
    if shape == "looked":
        return svg.dot(x, y, 5.5, "#fff", stroke=svg.PLUM, stroke_width=2.5)
    if shape == "worked":
        return svg.dot(x, y, 5, svg.INK)
    if shape == "lost":
        return svg.line(x - 5, y - 5, x + 5, y + 5, svg.INK, stroke_width=2.5) + svg.line(
            x - 5, y + 5, x + 5, y - 5, svg.INK, stroke_width=2.5
        )
    return svg.path([(x - 5, y - 6), (x + 6, y), (x - 5, y + 6)], closed=True, fill=svg.PLUM)
