"""The drawing kit: round marks, well-formed and harmless SVG, lines where the figures are."""

import re
from datetime import date, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.board.charts import (
    Band,
    Bar,
    Curve,
    Hand,
    Happening,
    Interval,
    Line,
    Node,
    Said,
    Span,
    bars,
    curves,
    fan,
    intervals,
    lineage,
    spans,
    steps,
    svg,
    timeline,
)
from service.board.charts.fan import first_short
from service.board.charts.lineage import ordered
from service.board.charts.scales import Scale, day_ticks, nice, ticks

HAND = Hand(lambda value: f"{value:,.0f}", date.isoformat, lambda day: day.isoformat()[5:])
TODAY = date(2026, 3, 4)
NASTY = "<script>alert('x')</script> & \"quoted\" \x00\x0b\ufffe ]]>"
SVG = "{http://www.w3.org/2000/svg}"


def said(key: str = "k") -> Said:
    return Said(key, f"title {NASTY}", f"description {NASTY}")


def every_chart(width: float, words: str) -> list[str]:
    """One of each kind, all its words the same."""
    days = [TODAY + timedelta(weeks=n) for n in range(4)]
    interval = Interval(words, words, 0.7, 0.8, 0.9, (0.75, 0.82, 0.86), True)
    return [
        fan(
            width,
            said(),
            HAND,
            days,
            [Band(words, [1, 2, 3, 4]), Band(words, [2, 3, 4, 5]), Band(words, [3, 4, 5, 6])],
            [(TODAY, 1), (days[2], 9)],
            due_words=words,
            short_words=words,
        ),
        steps(width, said(), HAND, TODAY, days[-1], [Line(words, [(TODAY, 3)]), Line(words, [])]),
        intervals(
            width,
            said(),
            HAND,
            [interval],
            of_hundred=words,
            middle_words=words,
            plain_words=words,
            few_words=words,
        ),
        curves(
            width,
            said(),
            HAND,
            [Curve(100, 0.2, 0.3), Curve(200, 0.9, None)],
            heat_words=words,
            counted_words=words,
            between_words=words,
            fitted_words=words,
        ),
        bars(width, said(), HAND, [Bar(words, words, 4, True), Bar(words, "", 0)]),
        spans(
            width,
            said(),
            HAND,
            [Span(words, words, TODAY, None, None), Span(words, "", TODAY, TODAY, TODAY, True)],
            TODAY,
            today_words=words,
        ),
        timeline(
            width,
            said(),
            HAND,
            TODAY,
            TODAY,
            [Line(words, [(TODAY, 3)])],
            [Happening(TODAY, "made"), Happening(TODAY, "lost")],
            shapes={"made": words, "lost": words},
        ),
        lineage(width, said(), [Node("a", words, words, []), Node("b", words, words, ["a"], True)]),
    ]


def test_marks_are_those_of_graphics_gems() -> None:
    """Heckbert, Graphics Gems (1990), page 61: 105 to 543 in loose labels is 100 to 600 by 100."""
    assert ticks(105, 543, 5) == [100, 200, 300, 400, 500, 600]
    # His nicenum: 1, 2, 5, 10; rounded at 1.5, 3 and 7, else the next one up.
    assert [nice(x, rounded=True) for x in (1.4, 1.5, 2.9, 3, 6.9, 7)] == [1, 2, 2, 5, 5, 10]
    assert [nice(x, rounded=False) for x in (1, 1.1, 2.1, 5.1, 438)] == [1, 2, 5, 10, 500]


@given(st.integers(0, 10**9), st.integers(0, 10**9))
@settings(max_examples=200, deadline=None)
def test_marks_of_counts_are_whole_and_hold_what_is_drawn(low: int, high: int) -> None:
    at = ticks(low, high, 5, whole=True)
    assert at[0] <= low
    assert at[-1] >= high
    assert all(value == int(value) for value in at)
    assert 2 <= len(at) <= 11
    gaps = {round(b - a, 6) for a, b in pairwise(at)}
    assert len(gaps) == 1


@given(st.dates(date(1950, 1, 1), date(2150, 1, 1)), st.integers(0, 9000), st.integers(2, 12))
@settings(max_examples=200, deadline=None)
def test_marks_of_days_are_few_and_inside(first: date, span: int, most: int) -> None:
    last = first + timedelta(days=span)
    at = day_ticks(first, last, most)
    assert len(at) <= most
    assert all(first <= day <= last for day in at)
    assert at == sorted(set(at))


def test_marks_of_days_are_days_people_go_by() -> None:
    assert day_ticks(date(2026, 2, 26), date(2026, 3, 2), 6) == [
        date(2026, 2, 26) + timedelta(days=n) for n in range(5)
    ]
    assert {day.weekday() for day in day_ticks(date(2026, 2, 26), date(2026, 4, 2), 6)} == {0}
    assert day_ticks(date(2024, 2, 1), date(2025, 1, 31), 5) == [
        date(2024, month, 1) for month in (4, 7, 10)
    ] + [date(2025, 1, 1)]


@pytest.mark.parametrize("width", [340, 720])
def test_every_chart_is_well_formed_harmless_and_told_in_words(width: int) -> None:
    """Whatever a name holds: it is text; nothing is run, fetched or styled inline (the CSP)."""
    for words in ("", "T-bud", NASTY, "a long name that takes several lines " * 3):
        for drawn in every_chart(width, words):
            root = ElementTree.fromstring(drawn)
            assert root.tag == f"{SVG}svg"
            assert root.get("role") == "img"
            named = {e.get("id"): e.text for e in root.iter() if e.get("id")}
            for name in str(root.get("aria-labelledby")).split():
                assert named[name]
            tags = {e.tag.removeprefix(SVG) for e in root.iter()}
            assert tags <= {"svg", "title", "desc", "rect", "line", "path", "circle", "text"} | {
                "pattern"
            }
            names = {name for e in root.iter() for name in e.attrib}
            assert not any(name == "style" or "href" in name or name[:2] == "on" for name in names)
            assert not re.search(r"nan|inf", re.sub(r">[^<]*<", "><", drawn), re.IGNORECASE)
            for e in root.iter(f"{SVG}rect"):
                assert float(str(e.get("width"))) >= 0
                assert float(str(e.get("height"))) >= 0


def test_a_count_is_as_high_as_it_is_from_zero() -> None:
    drawn = steps(
        340, said(), HAND, TODAY, TODAY + timedelta(days=10), [Line("all", [(TODAY, 25)])]
    )
    root = ElementTree.fromstring(drawn)
    heights = {
        float(str(e.text)): float(str(e.get("y")))
        for e in root.iter(f"{SVG}text")
        if str(e.text).isdigit() and e.get("text-anchor") == "end"
    }
    line = next(e for e in root.iter(f"{SVG}path") if e.get("stroke-width") == "3")
    y = float(str(line.get("d")).split("L")[0].removeprefix("M").split()[1]) + 4.5
    zero, thirty = heights[0], heights[30]
    assert (zero - y) / (zero - thirty) == pytest.approx(25 / 30, abs=0.01)
    assert Scale(0, 30, 100, 0).at(40) == 0, "what lies outside is drawn at the border"


def test_the_first_day_that_more_is_promised_than_is_there() -> None:
    days = [TODAY, TODAY + timedelta(weeks=1), TODAY + timedelta(weeks=2)]
    counts = [10, 20, 40]
    assert first_short(days, counts, []) is None
    assert first_short(days, counts, [(TODAY, 10), (days[1], 20)]) is None
    # Due between two days told: it is judged by the earlier one.
    between = TODAY + timedelta(days=3)
    assert first_short(days, counts, [(between, 11)]) == (between, 1)
    # What was too many once may be covered later; the first day counts.
    assert first_short(days, counts, [(TODAY, 30)]) == (TODAY, 20)


def test_a_family_is_drawn_parents_first() -> None:
    nodes = [
        Node("tree", "", "", ["bag", "liners"]),
        Node("regraft", "", "", ["tree", "other"]),
        Node("wood", "", "", ["elsewhere"]),
        Node("bag", "", "", ["wood"]),
        Node("other", "", "", ["wood"]),
        Node("liners", "", "", []),
    ]
    names = [one.name for one in ordered(nodes)]
    assert sorted(names) == sorted(one.name for one in nodes)
    for one in nodes:
        for parent in one.parents:
            if parent in names:
                assert names.index(parent) < names.index(one.name)


def test_lines_and_words_stand_out_from_the_paper() -> None:
    """WCAG 2.2: 4.5 : 1 for text (1.4.3), 3 : 1 for what must be told apart (1.4.11)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        red, green, blue = (
            p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    def contrast(colour: str) -> float:
        return 1.05 / (luminance(colour) + 0.05)

    assert min(contrast(one) for one in (svg.INK, svg.QUIET, svg.PLUM)) >= 4.5
    assert contrast(svg.MIDDLE) >= 3
