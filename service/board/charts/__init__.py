"""The drawing kit: charts as SVG text, pure, from figures and words that are given.

Every chart is a function of a width in pixels and what to show. Words come translated, numbers
and days through a `Hand`, so a chart knows no language. Counts begin at zero, ranges are drawn as
wide as they are, and how many something rests on is written beside it.
"""

from service.board.charts.bars import Bar, bars
from service.board.charts.curves import Curve, curves
from service.board.charts.fan import Band, fan
from service.board.charts.frame import Hand
from service.board.charts.intervals import Interval, intervals
from service.board.charts.lineage import Node, lineage
from service.board.charts.spans import Span, spans
from service.board.charts.steps import Line, steps
from service.board.charts.svg import Said
from service.board.charts.timeline import Happening, timeline

__all__ = [
    "Band",
    "Bar",
    "Curve",
    "Hand",
    "Happening",
    "Interval",
    "Line",
    "Node",
    "Said",
    "Span",
    "bars",
    "curves",
    "fan",
    "intervals",
    "lineage",
    "spans",
    "steps",
    "timeline",
]
