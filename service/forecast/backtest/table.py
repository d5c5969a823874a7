"""The scores of a backtest as a table to read."""

from collections.abc import Iterator, Sequence

from service.forecast.backtest.run import Backtest
from service.forecast.backtest.scores import LotScore, PromiseScore
from service.trade.promising import sure

_LOT_HEAD = (
    f"{'':32}{'lots':>6}{'inside':>8}{'before':>8}{'after':>7}{'error':>7}{'bias':>7}"
    f"{'calendar':>10}{'of it':>7}{'first':>8}{'of it':>7}{'number':>8}{'in/all':>8}"
)
_PROMISE_HEAD = f"{'':32}{'promises':>9}{'kept':>9}{'95 % interval':>20}{'used':>8}"


def table(done: Backtest) -> str:
    """The whole report, in lines of at most 125 characters."""
    return "\n".join(_lines(done))


def _lines(done: Backtest) -> Iterator[str]:
    scores, left = done.scores, done.left_out
    yield (
        f"{len(done.days)} past days from {done.days[0]} to {done.days[-1]}; "
        f"{len(done.cases)} forecasts of lots, {len(done.promises)} of what could be promised."
    )
    yield (
        f"Left out: {left.no_outcome} forecasts whose outcome is not known or of lots that never "
        f"were ready, {left.at_several_sites} of lots"
    )
    yield (
        f"at several sites, {left.not_told} that told no day; {left.promises} promises whose "
        "outcome is not known."
    )
    yield ""
    yield "inside: the true day lay after P20 and by P80 (aim 60 %: by P20 it comes with 20 %, by"
    yield "P80 with 80 %); before, after: it lay outside."
    yield "error: median of |P50 - true day|, in days; bias: median of true day - P50."
    yield "calendar, first: the median error of the average of past lots of the crop, and of"
    yield "the first forecast; of it: the forecast's error over that one's, where both have a day."
    yield "number: the trees that became ready lay from P20 to P80; in/all: over those expected."
    for title, some in (
        ("When a lot was first said to be ready in at most", scores.first_said),
        ("So many days before the lot truly was ready", scores.before_true),
        ("The first of these by crop and method", [one for one in scores.by_crop if one.n]),
    ):
        if not some:
            continue
        yield ""
        yield title
        yield _LOT_HEAD
        yield from map(_lot_line, some)
    yield ""
    yield "kept: so many there were on the date, 30, 60 or 90 days ahead, had nobody been sold any;"
    yield "used: promised over what could have been promised with hindsight."
    for name, rows in (
        ("Promises of an item at one site", scores.promises),
        ("Those of them for which trees had yet to be ready", scores.growing),
        ("Promises of an item and grade at one site", scores.by_grade),
        ("Promises of an item at all sites", scores.all_sites),
    ):
        if not any(row.n for row in rows):
            continue
        yield ""
        yield name
        yield _PROMISE_HEAD
        yield from map(_promise_line, rows)


def _lot_line(score: LotScore) -> str:
    cells: Sequence[tuple[str, int]] = (
        (str(score.n), 6),
        (_share(score.inside), 8),
        (_share(score.early), 8),
        (_share(score.late), 7),
        (_days(score.error), 7),
        (_days(score.bias), 7),
        (_days(score.calendar), 10),
        (_ratio(score.of_calendar), 7),
        (_days(score.first), 8),
        (_ratio(score.of_first), 7),
        (_share(score.ready_inside), 8),
        (_ratio(score.ready_off), 8),
    )
    return f"{score.what:32}" + "".join(f"{text:>{width}}" for text, width in cells)


def _promise_line(score: PromiseScore) -> str:
    interval = f"{_share(score.kept_low)} to {_share(score.kept_high)}" if score.n else ""
    return (
        f"{sure(score.confidence) + ' sure':32}{score.n:>9}{_share(score.kept):>9}{interval:>20}"
        f"{_share(score.used):>8}"
    )


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f} %"


def _days(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


def _ratio(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"
