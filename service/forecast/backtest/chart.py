"""The scores of a backtest as a picture: SVG 1.1, text as text, nothing fetched."""

from collections.abc import Iterator, Sequence
from html import escape

from service.forecast.backtest.run import Backtest
from service.forecast.backtest.scores import LotScore, PromiseScore
from service.trade.promising import sure

_WIDTH, _HEIGHT = 960, 430
_TOP, _FOOT = 96, 340
_LEAF, _BARK, _STONE, _INK, _PALE = "#2f6b3a", "#a0632d", "#5d636c", "#20262e", "#dfe8dc"
# left edge and width of each of the three panels
_INSIDE, _ERRORS, _KEPT = (60, 210), (340, 250), (670, 250)
_AIM = (0.54, 0.60, 0.66)


def chart(done: Backtest) -> str:
    """Coverage, errors and promises side by side."""
    scores = done.scores
    body = [
        *_heading(done),
        *_coverage(scores.first_said),
        *_errors(scores.first_said),
        *_promises(scores.promises),
    ]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
            'role="img" font-family="sans-serif" font-size="12">',
            "<title>How past forecasts of ready trees turned out</title>",
            f"<desc>{escape(_in_words(done))}</desc>",
            f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="#fff"/>',
            *body,
            "</svg>",
            "",
        ]
    )


def _in_words(done: Backtest) -> str:
    inside = ", ".join(
        f"{score.what} ahead {100 * score.inside:.0f} % of {score.n} inside the range"
        for score in done.scores.first_said
        if score.inside is not None
    )
    kept = ", ".join(
        f"{sure(score.confidence)} sure: {100 * score.kept:.0f} % of {score.n} kept"
        for score in done.scores.promises
        if score.kept is not None
    )
    return f"Range that should hold 60 %: {inside}. Promises: {kept}."


def _text(x: float, y: float, words: str, **more: str | int) -> str:
    given: dict[str, str | int] = {"fill": _INK, **more}
    marks = "".join(f' {name.replace("_", "-")}="{value}"' for name, value in given.items())
    return f'<text x="{x:.1f}" y="{y:.1f}"{marks}>{escape(words)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, **more: str | int) -> str:
    marks = "".join(f' {name.replace("_", "-")}="{value}"' for name, value in more.items())
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}"{marks}/>'
    )


def _box(x: float, y: float, width: float, height: float, colour: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{max(height, 0):.1f}" '
        f'fill="{colour}"/>'
    )


def _heading(done: Backtest) -> Iterator[str]:
    yield _text(20, 30, "How past forecasts of ready trees turned out", font_size=18)
    yield _text(
        20,
        50,
        f"{len(done.days)} past days from {done.days[0]} to {done.days[-1]}, each from what was "
        "known then. Lots when first said to be ready in at most so many days.",
        fill=_STONE,
    )


def _axis(
    panel: tuple[int, int], title: str, top: float, marks: Sequence[float], unit: str
) -> Iterator[str]:
    left, width = panel
    yield _text(left - 30, _TOP - 18, title, font_size=13, font_weight="bold")
    for mark in marks:
        y = _y(mark, top)
        yield _line(left, y, left + width, y, "#e3e5e8")
        yield _text(left - 6, y + 4, f"{mark:g}{unit}", text_anchor="end", fill=_STONE)
    yield _line(left, _FOOT, left + width, _FOOT, _INK)


def _y(value: float, top: float) -> float:
    return _FOOT - (_FOOT - _TOP) * min(value / top, 1.0)


def _coverage(scores: Sequence[LotScore]) -> Iterator[str]:
    left, width = _INSIDE
    low, aim, high = (100 * share for share in _AIM)
    yield _box(left, _y(high, 100), width, _y(low, 100) - _y(high, 100), _PALE)
    yield from _axis(_INSIDE, "True day inside P20 to P80", 100, (0, 20, 40, 60, 80, 100), " %")
    yield _line(left, _y(aim, 100), left + width, _y(aim, 100), _LEAF, stroke_dasharray="4 3")
    for number, score in enumerate(scores):
        middle = left + width * (number + 0.5) / len(scores)
        yield _text(middle, _FOOT + 18, score.what, text_anchor="middle")
        yield _text(middle, _FOOT + 34, f"{score.n} lots", text_anchor="middle", fill=_STONE)
        if score.inside is not None:
            value = 100 * score.inside
            yield _box(middle - 18, _y(value, 100), 36, _FOOT - _y(value, 100), _LEAF)
            yield _text(middle, _y(value, 100) - 5, f"{value:.0f}", text_anchor="middle")
    yield _text(left, _FOOT + 56, "The shaded band is 54 to 66 %.", fill=_STONE)


def _errors(scores: Sequence[LotScore]) -> Iterator[str]:
    left, width = _ERRORS
    whose = (("forecast", _LEAF), ("calendar average", _BARK), ("first forecast", _STONE))
    values = [(score.error, score.calendar, score.first) for score in scores]
    highest = max((v for row in values for v in row if v is not None), default=1.0)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 500) if highest / s <= 6 or s == 500)
    top = step * (int(highest / step) + 1)
    marks = [step * n for n in range(int(top / step) + 1)]
    yield from _axis(_ERRORS, "Days off, half of them less", top, marks, "")
    for number, (score, row) in enumerate(zip(scores, values, strict=True)):
        middle = left + width * (number + 0.5) / len(scores)
        yield _text(middle, _FOOT + 18, score.what, text_anchor="middle")
        for place, (value, (_, colour)) in enumerate(zip(row, whose, strict=True)):
            x = middle - 33 + 22 * place
            if value is not None:
                yield _box(x, _y(value, top), 20, _FOOT - _y(value, top), colour)
                yield _text(x + 10, _y(value, top) - 5, f"{value:.0f}", text_anchor="middle")
    x = float(left)
    for name, colour in whose:
        yield _box(x, _FOOT + 47, 10, 10, colour)
        yield _text(x + 14, _FOOT + 56, name)
        x += 26 + 6.2 * len(name)


def _promises(scores: Sequence[PromiseScore]) -> Iterator[str]:
    left, width = _KEPT

    def x_of(share: float) -> float:
        return left + width * (share - 0.5) / 0.5

    def y_of(share: float) -> float:
        return _y(100 * share, 100)

    yield from _axis(_KEPT, "Promises kept", 100, (0, 20, 40, 60, 80, 100), " %")
    yield _line(x_of(0.5), y_of(0.5), x_of(1), y_of(1), _STONE, stroke_dasharray="4 3")
    for score in scores:
        x = x_of(score.confidence)
        if score.used is not None:
            yield _box(x - 3, y_of(score.used) - 3, 6, 6, _BARK)
        if score.kept is None or score.kept_low is None or score.kept_high is None:
            continue
        yield _line(x, y_of(score.kept_low), x, y_of(score.kept_high), _LEAF)
        yield f'<circle cx="{x:.1f}" cy="{y_of(score.kept):.1f}" r="4" fill="{_LEAF}"/>'
    for share in (0.5, 0.6, 0.7, 0.8, 0.9):
        yield _text(x_of(share), _FOOT + 18, sure(share), text_anchor="middle", font_size=10)
    yield _text(left, _FOOT + 34, "how sure the promise was", fill=_STONE)
    yield f'<circle cx="{left - 25}" cy="{_FOOT + 52}" r="4" fill="{_LEAF}"/>'
    yield _text(left - 16, _FOOT + 56, "kept (dashed: as said)")
    yield _box(left + 128, _FOOT + 49, 6, 6, _BARK)
    yield _text(left + 139, _FOOT + 56, "promised of what came")
