"""How many will be there by when: the surer the lower, and what is due drawn over it."""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.scales import Scale
from service.board.charts.svg import Said

Counts = Sequence[int]
# The surest is darkest; each line has a dash of its own, so that it is told without colour.
_FILLS = (svg.MIDDLE, svg.PALE, svg.PALEST)
_LINES: tuple[tuple[float, str | None], ...] = ((1.5, "2 3"), (3.0, None), (1.5, "7 4"))

_DUE = "12 3 2 3"


class Band(NamedTuple):
    """`words`, such as "8 in 10 sure", and so many at least on each day."""

    words: str
    counts: Counts


def fan(
    width: float,
    said: Said,
    hand: Hand,
    days: Sequence[date],
    bands: Sequence[Band],
    due: Sequence[tuple[date, int]],
    *,
    due_words: str,
    short_words: str,
) -> str:
    """Three bands, the surest first, told for `days`; `due`: from each day on so many are promised.

    A number holds until the next day told. Where more is promised than the middle band holds, that
    is marked with `short_words`.
    """
    most = max([*(n for band in bands for n in band.counts), *(n for _, n in due), 1])
    plot = Plot(frame.room_for(most, hand), 14, width - 10, 214 if width < frame.WIDE else 264)
    up, rules = frame.counts_up(plot, most, hand)
    across, axis = frame.days_across(plot, days[0], days[-1], hand)
    drawn = [*_areas(plot, across, up, days, bands), *rules, *axis]
    for band, (thick, dash) in zip(bands, _LINES, strict=False):
        drawn.append(
            svg.path(
                _corners(across, up, days, band.counts, plot.right),
                fill="none",
                stroke=svg.PLUM,
                stroke_width=thick,
                stroke_dasharray=dash,
            )
        )
    drawn += _due(plot, across, up, days, due)
    drawn += _short(plot, across, up, days, bands, due, short_words)
    keys = [
        frame.stroke_key(band.words, svg.PLUM, thick, dash)
        for band, (thick, dash) in zip(bands, _LINES, strict=False)
    ]
    if due:
        keys.append(frame.stroke_key(due_words, svg.INK, 2.5, _DUE))
    listed, high = frame.key_list(keys, 8, plot.foot + 46, width - 16)
    return svg.drawing(width, plot.foot + 46 + high, said, [*drawn, *listed])


def _corners(
    across: Scale, up: Scale, days: Sequence[date], counts: Counts, end: float
) -> list[tuple[float, float]]:
    told = zip(days, counts, strict=True)
    return svg.stepped([(across.at(day.toordinal()), up.at(n)) for day, n in told], end)


def _areas(
    plot: Plot, across: Scale, up: Scale, days: Sequence[date], bands: Sequence[Band]
) -> list[str]:
    """Under the surest line, and between each line and the next less sure one."""
    edges = [[0] * len(days), *(band.counts for band in bands)]
    found = []
    for (below, above), fill in zip(pairwise(edges), _FILLS, strict=False):
        top = _corners(across, up, days, above, plot.right)
        bottom = _corners(across, up, days, below, plot.right)
        found.append(svg.path([*top, *reversed(bottom)], closed=True, fill=fill))
    return found


def _due(
    plot: Plot, across: Scale, up: Scale, days: Sequence[date], due: Sequence[tuple[date, int]]
) -> list[str]:
    if not due:
        return []
    seen = [(max(day, days[0]), n) for day, n in due if day <= days[-1]]
    started = seen if seen and seen[0][0] == days[0] else [(days[0], 0), *seen]
    corners = svg.stepped(
        [(across.at(day.toordinal()), up.at(n)) for day, n in started], plot.right
    )
    return [
        svg.path(corners, fill="none", stroke="#fff", stroke_width=5),
        svg.path(corners, fill="none", stroke=svg.INK, stroke_width=2.5, stroke_dasharray=_DUE),
    ]


def first_short(
    days: Sequence[date], counts: Counts, due: Sequence[tuple[date, int]]
) -> tuple[date, int] | None:
    """The first day on which more is promised than `counts` hold, and by how many."""
    for day in sorted({*days, *(day for day, _ in due if days[0] <= day <= days[-1])}):
        there = [n for told, n in zip(days, counts, strict=True) if told <= day][-1]
        wanted = max((n for since, n in due if since <= day), default=0)
        if wanted > there:
            return day, wanted - there
    return None


def _short(
    plot: Plot,
    across: Scale,
    up: Scale,
    days: Sequence[date],
    bands: Sequence[Band],
    due: Sequence[tuple[date, int]],
    words: str,
) -> list[str]:
    found = first_short(days, bands[min(1, len(bands) - 1)].counts, due)
    if found is None:
        return []
    x = across.at(found[0].toordinal())
    right = x < (plot.left + plot.right) / 2
    return [
        svg.line(x, plot.top, x, plot.foot, svg.INK, stroke_width=1.5),
        svg.path(
            [(x - 7, plot.top), (x + 7, plot.top), (x, plot.top + 11)], closed=True, fill=svg.INK
        ),
        svg.text(
            x + 10 if right else x - 10,
            plot.top + 11,
            words,
            anchor=None if right else "end",
            bold=True,
            size=svg.SMALL,
        ),
    ]
