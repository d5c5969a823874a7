"""Calendars as text: iCalendar (RFC 5545) with the properties of RFC 7986.

Written here and not by a library: a calendar of 2,000 entries is asked for again and again, and a
general writer takes longer for it than the whole request may. Two libraries read it in the tests.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

from service.wording.words import Language

MEDIA_TYPE = "text/calendar; charset=utf-8"
# RFC 5545, 3.1: at most 75 octets a line, its end not counted.
_OCTETS = 75
_ESCAPED = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"})
# What text may not hold (RFC 5545, 3.1: CONTROL); a new line is written as \n.
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


@dataclass(frozen=True)
class Entry:
    """Something that takes whole days, from `first` to `last`, both included.

    `uid` is the same for as long as it is the same thing; `sequence` grows when its days change or
    it is cancelled. `url` is absolute, of printable ASCII.
    """

    uid: str
    sequence: int
    changed_at: datetime
    first: date
    last: date
    summary: str
    description: str
    url: str
    location: str | None = None
    cancelled: bool = False


def calendar_text(
    name: str, about: str, entries: Iterable[Entry], *, language: Language, again: timedelta
) -> bytes:
    """A whole calendar. `again`: how soon it is worth asking for once more."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//graftlog//calendar 1//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"NAME;LANGUAGE={language}:{_text(name)}",
        f"X-WR-CALNAME:{_text(name)}",
        f"DESCRIPTION;LANGUAGE={language}:{_text(about)}",
        # RFC 7986, 5.7: its type must be said. Older programs know the other name.
        f"REFRESH-INTERVAL;VALUE=DURATION:{_duration(again)}",
        f"X-PUBLISHED-TTL:{_duration(again)}",
    ]
    for entry in entries:
        lines += _lines_of(entry)
    lines.append("END:VCALENDAR")
    return b"".join(_folded(lines))


def _lines_of(entry: Entry) -> list[str]:
    stamp = _stamp(entry.changed_at)
    located = [] if entry.location is None else [f"LOCATION:{_text(entry.location)}"]
    return [
        "BEGIN:VEVENT",
        f"UID:{entry.uid}",
        f"DTSTAMP:{stamp}",
        f"LAST-MODIFIED:{stamp}",
        f"SEQUENCE:{entry.sequence}",
        f"DTSTART;VALUE=DATE:{_day(entry.first)}",
        # The day after the last (RFC 5545, 3.6.1).
        f"DTEND;VALUE=DATE:{_day(entry.last + timedelta(days=1))}",
        f"SUMMARY:{_text(entry.summary)}",
        f"DESCRIPTION:{_text(entry.description)}",
        *located,
        f"URL:{entry.url}",
        "STATUS:CANCELLED" if entry.cancelled else "STATUS:CONFIRMED",
        # Work to do makes nobody unavailable.
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


@lru_cache(maxsize=1024)
def _stamp(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _text(text: str) -> str:
    return _CONTROL.sub("", text).translate(_ESCAPED)


def _day(day: date) -> str:
    # strftime leaves the zeros of early years out on some systems.
    return day.isoformat().replace("-", "")


def _duration(span: timedelta) -> str:
    return f"PT{int(span.total_seconds() // 60)}M"


def _folded(lines: Iterable[str]) -> Iterator[bytes]:
    """Each line with its end; long ones parted, never within a character (RFC 5545, 3.1)."""
    for line in lines:
        octets = line.encode()
        begin, end = 0, _OCTETS
        while end < len(octets):
            # Octets 10xxxxxx go on with a character of UTF-8.
            while octets[end] & 0xC0 == 0x80:
                end -= 1
            yield octets[begin:end] + b"\r\n "
            # The blank that says that it goes on counts.
            begin, end = end, end + _OCTETS - 1
        yield octets[begin:] + b"\r\n"
