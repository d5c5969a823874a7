"""How counts went, day by day: a line stays where it was until a day changed it."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.svg import Said

# Told apart by dash and thickness; colour only helps.
STYLES: tuple[tuple[str, float, str | None], ...] = (
    (svg.PLUM, 3.0, None),
    (svg.INK, 2.0, "8 4"),
    (svg.QUIET, 2.0, "2 3"),
    (svg.MIDDLE, 3.0, None),
    (svg.INK, 1.2, None),
    (svg.PLUM, 2.0, "10 3 2 3"),
)


class Line(NamedTuple):
    """What is counted, and from which day on how many; before the first day nothing is told."""

    words: str
    points: Sequence[tuple[date, int]]


def steps(
    width: float, said: Said, hand: Hand, first: date, last: date, lines: Sequence[Line]
) -> str:
    """At most six lines over the days from `first` to `last`, each with its last number."""
    most = max((n for one in lines for _, n in one.points), default=1)
    plot = Plot(frame.room_for(most, hand), 14, width - 10, 194 if width < frame.WIDE else 234)
    up, rules = frame.counts_up(plot, most, hand)
    across, axis = frame.days_across(plot, first, last, hand)
    drawn, keys = [*rules, *axis], []
    for one, (stroke, thick, dash) in zip(lines, STYLES, strict=False):
        places = [(across.at(day.toordinal()), up.at(n)) for day, n in one.points]
        if places:
            drawn.append(
                svg.path(
                    svg.stepped(places, plot.right),
                    fill="none",
                    stroke=stroke,
                    stroke_width=thick,
                    stroke_dasharray=dash,
                )
            )
        newest = hand.number(one.points[-1][1]) if one.points else hand.number(0)
        keys.append(frame.stroke_key(f"{one.words}: {newest}", stroke, thick, dash))
    listed, high = frame.key_list(keys, 8, plot.foot + 46, width - 16)
    return svg.drawing(width, plot.foot + 46 + high, said, [*drawn, *listed])
