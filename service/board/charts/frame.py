"""What charts share: the plot inside its axes, the list of what its lines mean."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

from service.board.charts import svg
from service.board.charts.scales import Scale, day_ticks, ticks

WIDE = 560
"""From this width on a chart has room beside its lines."""


class Hand(NamedTuple):
    """How numbers and days are written for who looks: `day` whole, `short` for marks of an axis."""

    number: Callable[[float], str]
    day: Callable[[date], str]
    short: Callable[[date], str]


class Plot(NamedTuple):
    """The inside of the axes, in pixels: left, top, right, foot."""

    left: float
    top: float
    right: float
    foot: float

    def across(self, low: float, high: float) -> Scale:
        return Scale(low, high, self.left, self.right)

    def up(self, low: float, high: float) -> Scale:
        return Scale(low, high, self.foot, self.top)


class Key(NamedTuple):
    """One entry of the list under a chart: its words, and the mark at (x, y) that stands for it."""

    words: str
    mark: Callable[[float, float], str]


def counts_up(
    plot: Plot, most: float, hand: Hand, *, whole: bool = True
) -> tuple[Scale, list[str]]:
    """An axis of counts from zero to a round number, with its lines across."""
    at = ticks(0, max(most, 1), 5, whole=whole)
    scale = plot.up(0, at[-1])
    drawn = [
        part
        for value in at
        for part in (
            svg.line(plot.left, scale.at(value), plot.right, scale.at(value)),
            svg.text(
                plot.left - 6,
                scale.at(value) + 4.5,
                hand.number(value),
                anchor="end",
                size=svg.SMALL,
                fill=svg.QUIET,
            ),
        )
    ]
    return scale, drawn


def room_for(most: float, hand: Hand, *, whole: bool = True) -> float:
    """How much the widest number of such an axis takes, with its distance."""
    widest = max(
        svg.wide(hand.number(one), svg.SMALL) for one in ticks(0, max(most, 1), 5, whole=whole)
    )
    return widest + 12


def days_across(plot: Plot, first: date, last: date, hand: Hand) -> tuple[Scale, list[str]]:
    """An axis of days."""
    scale = plot.across(first.toordinal(), max(last.toordinal(), first.toordinal() + 1))
    drawn = [svg.line(plot.left, plot.foot, plot.right, plot.foot, svg.INK)]
    most = max(int((plot.right - plot.left) / 62), 2)
    for day in day_ticks(first, last, most):
        x = scale.at(day.toordinal())
        drawn.append(svg.line(x, plot.foot, x, plot.foot + 5, svg.INK))
        drawn.append(_under(x, plot, hand.short(day)))
    return scale, drawn


def _under(x: float, plot: Plot, words: str) -> str:
    """Words under an axis, kept inside the drawing."""
    half = svg.wide(words, svg.SMALL) / 2
    x = min(max(x, half), plot.right + 8 - half)
    return svg.text(x, plot.foot + 20, words, anchor="middle", size=svg.SMALL, fill=svg.QUIET)


def numbers_across(
    plot: Plot, high: float, words: Callable[[float], str], *, most: int = 6
) -> tuple[Scale, list[str]]:
    """An axis of numbers from zero, with its lines upward; `words` writes a mark."""
    at = ticks(0, high, most)
    scale = plot.across(0, at[-1])
    drawn = []
    for value in at:
        x = scale.at(value)
        drawn.append(svg.line(x, plot.top, x, plot.foot + 4))
        drawn.append(_under(x, plot, words(value)))
    return scale, drawn


def key_list(keys: Sequence[Key], left: float, top: float, width: float) -> tuple[list[str], float]:
    """What the lines mean, in rows that fit; and how high that is."""
    drawn: list[str] = []
    x, y = left, top
    for one in keys:
        room = 40 + svg.wide(one.words, svg.SMALL)
        if x > left and x + room > left + width:
            x, y = left, y + 22
        drawn.append(one.mark(x, y - 4))
        for number, part in enumerate(svg.lines_of(one.words, left + width - x - 30, svg.SMALL)):
            y += 16 if number else 0
            drawn.append(svg.text(x + 30, y, part, size=svg.SMALL))
        x += room + 10
    return drawn, y - top + 22


def stroke_key(words: str, stroke: str, width: float, dash: str | None = None) -> Key:
    """An entry for a line."""
    return Key(
        words,
        lambda x, y: svg.line(x, y, x + 24, y, stroke, stroke_width=width, stroke_dasharray=dash),
    )


def fill_key(words: str, fill: str) -> Key:
    """An entry for an area."""
    return Key(words, lambda x, y: svg.box(x, y - 6, 24, 12, fill, stroke=svg.MIDDLE))


def row_head(words: str, note: str, y: float, width: float) -> tuple[list[str], float]:
    """A row's label from `y` down, its note at the right where that has room; and its foot."""
    drawn = []
    for part, beside in _label(words, note, width - 22):
        y += 18
        if part:
            drawn.append(svg.text(8, y, part, bold=True, apart=True))
        if beside:
            drawn.append(
                svg.text(
                    width - 14,
                    y,
                    beside,
                    anchor="end",
                    size=svg.SMALL,
                    fill=svg.QUIET,
                    apart=True,
                )
            )
    return drawn, y


def _label(words: str, note: str, width: float) -> Iterator[tuple[str, str]]:
    noted = svg.wide(note, svg.SMALL) + 12
    if svg.wide(words) * 1.06 + noted <= width:
        yield words, note
        return
    yield from ((part, "") for part in svg.lines_of(words, width))
    yield from (("", part) for part in svg.lines_of(note, width, svg.SMALL) if note)


def under_words(words: str, top: float, width: float) -> tuple[list[str], float]:
    """What an axis counts, in lines under it; and how high that is."""
    lines = svg.lines_of(words, width - 16, svg.SMALL)
    drawn = [
        svg.text(8, top + 17 * n, part, size=svg.SMALL, fill=svg.QUIET)
        for n, part in enumerate(lines)
    ]
    return drawn, 17.0 * len(lines)
