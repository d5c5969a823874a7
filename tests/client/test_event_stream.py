"""The stream's reader: the standard's own examples, another hand's reader, any cut."""

from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from graftlog_client.event_stream import Reader, Sent
from httpx_sse import EventSource
from hypothesis import given
from hypothesis import strategies as st

# WHATWG HTML, section 9.2.6 "Interpreting an event stream": its examples, with what they give.
EXAMPLES: list[tuple[str, list[tuple[str, str]]]] = [
    ("data: YHOO\ndata: +2\ndata: 10\n\n", [("YHOO\n+2\n10", "")]),
    (
        ": test stream\n\ndata: first event\nid: 1\n\n"
        "data:second event\nid\n\ndata:  third event\n\n",
        [("first event", "1"), ("second event", ""), (" third event", "")],
    ),
    ("data\n\ndata\ndata\n\ndata:", [("", ""), ("\n", "")]),
    ("data:test\n\ndata: test\n\n", [("test", ""), ("test", "")]),
]


def pieces(whole: bytes, cuts: list[int]) -> Iterator[bytes]:
    ends = sorted({min(cut, len(whole)) for cut in cuts} | {len(whole)})
    start = 0
    for end in ends:
        yield whole[start:end]
        start = end


def read(whole: bytes, cuts: list[int]) -> list[Sent]:
    reader = Reader()
    return [sent for piece in pieces(whole, cuts) for sent in reader.take(piece)]


@pytest.mark.parametrize(("text", "events"), EXAMPLES)
@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_the_standards_examples_however_they_are_cut(
    text: str, events: list[tuple[str, str]], end: str
) -> None:
    # The standard's text ends "data:" without an empty line: that is no event.
    whole = b"\xef\xbb\xbf" + text.replace("\n", end).encode()
    for cut in range(len(whole) + 1):
        assert [(sent.data, sent.id) for sent in read(whole, [cut])] == events


FIELDS = ("data: a", "data:b", "data", "id: 7", "id", "event: x", "retry: 50", "retry: x", ": c")
LINES = st.lists(
    st.sampled_from([*FIELDS, "", "", "data: ä → 芽", "other: y", "id: 8\0"]), max_size=12
)


@given(LINES, st.lists(st.integers(0, 120), max_size=6), st.sampled_from(["\n", "\r\n"]))
def test_another_hands_reader_reads_the_same(lines: list[str], cuts: list[int], end: str) -> None:
    whole = (end.join(lines) + end).encode()
    headers = {"Content-Type": "text/event-stream"}
    told: Any = EventSource(httpx.Response(200, content=whole, headers=headers)).iter_sse()
    # It gives events without data too where they name an id or a type; the standard gives none.
    theirs = [(one.event, one.data, one.id) for one in told if one.data]
    ours = [(one.event, one.data, one.id) for one in read(whole, cuts) if one.data]
    assert ours == theirs


def test_how_long_to_wait_and_where_it_stands_are_kept() -> None:
    reader = Reader("3")
    assert list(reader.take(b"retry: 250\nid: 9\n\nid: 10\ndata: x\n")) == []
    # What is not whole has not come: going on is from 9.
    assert (reader.retry, reader.id) == (250, "9")
