"""How a share rises with the heat: where counts say it was, and what was fitted to them."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from service.board.charts import frame, svg
from service.board.charts.frame import Hand, Plot
from service.board.charts.svg import Said


class Curve(NamedTuple):
    """At `heat` (Cd) a `share` was counted, `fitted` fitted (None: nothing was)."""

    heat: float
    share: float
    fitted: float | None


def curves(
    width: float,
    said: Said,
    hand: Hand,
    points: Sequence[Curve],
    *,
    heat_words: str,
    counted_words: str,
    between_words: str,
    fitted_words: str,
) -> str:
    """One curve from 0 to 100. Between two counts nobody knows where it rose: that is a box."""
    high = max((one.heat for one in points), default=1.0)
    plot = Plot(36, 14, width - 14, 214 if width < frame.WIDE else 264)
    up = plot.up(0, 1)
    across, drawn = frame.numbers_across(plot, high, hand.number, most=5)
    for share in (0, 20, 40, 60, 80, 100):
        y = up.at(share / 100)
        drawn.append(svg.line(plot.left, y, plot.right, y))
        drawn.append(
            svg.text(
                plot.left - 6,
                y + 4.5,
                hand.number(share),
                anchor="end",
                size=svg.SMALL,
                fill=svg.QUIET,
            )
        )
    drawn.append(svg.line(plot.left, plot.foot, plot.right, plot.foot, svg.INK))
    known = [Curve(0.0, 0.0, None), *points]
    for before, after in pairwise(known):
        if after.share > before.share:
            x, y = across.at(before.heat), up.at(after.share)
            wide, high_ = across.at(after.heat) - x, up.at(before.share) - y
            drawn.append(svg.box(x, y, wide, high_, svg.PALE))
    fitted = [(across.at(p.heat), up.at(p.fitted)) for p in points if p.fitted is not None]
    if fitted:
        line = [(across.at(0), up.at(0)), *fitted] if fitted[0][0] > plot.left else fitted
        drawn.append(
            svg.path(line, fill="none", stroke=svg.INK, stroke_width=2, stroke_dasharray="7 4")
        )
    drawn += [svg.dot(across.at(p.heat), up.at(p.share), 4) for p in points]
    said_under, below = frame.under_words(heat_words, plot.foot + 40, width)
    drawn += said_under
    keys = [
        frame.Key(counted_words, lambda x, y: svg.dot(x + 12, y, 4)),
        frame.fill_key(between_words, svg.PALE),
    ]
    if fitted:
        keys.append(frame.stroke_key(fitted_words, svg.INK, 2, "7 4"))
    listed, room = frame.key_list(keys, 8, plot.foot + 50 + below, width - 16)
    return svg.drawing(width, plot.foot + 50 + below + room, said, [*drawn, *listed])
