"""Calendars as text, read by two other hands (`ical`, `icalendar`); lines as RFC 5545 has them."""

from datetime import UTC, date, datetime, timedelta

import icalendar
from ical.calendar_stream import IcsCalendarStream

from service.reminders.calendar.text import Entry, calendar_text

# What lines may not hold bare, letters of two to four octets, and more than a line holds.
ODD = "Graft; look, then \\ rest\nÑandú's 接木 🌱 " + "árboles en espera, " * 12


def entry(**more) -> Entry:
    told = {
        "uid": "one@graftlog",
        "sequence": 3,
        "changed_at": datetime(2026, 3, 29, 1, 30, tzinfo=UTC),
        "first": date(2026, 3, 28),
        "last": date(2026, 3, 30),
        "summary": "Unwrap · C-T1",
        "description": "Lot TR1",
        "url": "https://nursery.example/table/C-T1",
        "location": "C-T1, Corin",
    }
    return Entry(**(told | more))


def written(*entries: Entry, name: str = "Corin") -> bytes:
    return calendar_text(name, "About it", entries, language="es", again=timedelta(hours=1))


def test_another_hand_reads_what_was_meant() -> None:
    body = written(
        entry(summary=ODD, description=ODD, location=ODD),
        entry(uid="two@graftlog", cancelled=True, location=None),
        name=ODD,
    )
    read = IcsCalendarStream.calendar_from_ics(body.decode())
    one, two = read.events
    assert (one.uid, one.sequence, one.url) == (
        "one@graftlog", 3, "https://nursery.example/table/C-T1"
    )  # fmt: skip
    assert one.summary == one.description == one.location == ODD
    # whole days, the end not included: over the night without an hour of Madrid's spring
    assert (one.dtstart, one.dtend) == (date(2026, 3, 28), date(2026, 3, 31))
    assert one.dtstamp == one.last_modified == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
    assert (one.status, two.status, two.location) == ("CONFIRMED", "CANCELLED", None)

    again = icalendar.Calendar.from_ical(body)
    # It knows no type of these two: they are as they were written, as the others were.
    assert {str(again[key]) for key in ("name", "x-wr-calname")} == {
        again.walk("VEVENT")[0]["summary"].to_ical().decode()
    }
    assert again.get("method") == "PUBLISH"
    # RFC 7986, 5.7: the type has to be said
    assert again["refresh-interval"].params["VALUE"] == "DURATION"
    assert again["refresh-interval"].dt == timedelta(hours=1)
    first = again.walk("VEVENT")[0]
    assert (str(first["summary"]), str(first["transp"])) == (ODD, "TRANSPARENT")


def test_lines_end_and_fold_as_the_standard_says() -> None:
    body = written(entry(summary=ODD), entry(summary="x" * 67), entry(summary="x" * 68))
    assert b"\n" not in body.replace(b"\r\n", b"")
    lines = body.split(b"\r\n")
    assert max(map(len, lines)) == 75
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    # no character is cut in two
    assert all(line.decode() is not None for line in lines)
    # 8 octets of its name and 67 fit, one more does not
    assert b"SUMMARY:" + b"x" * 67 in lines
    at = lines.index(b"SUMMARY:" + b"x" * 67, lines.index(b"SUMMARY:" + b"x" * 67) + 1)
    assert lines[at + 1] == b" x"


def test_nothing_breaks_out_of_a_text() -> None:
    body = written(entry(summary="a\r\nATTACH:file:///etc/passwd\r\n\x00\x07END:VEVENT"))
    assert b"\r\nATTACH" not in body
    assert b"\x00" not in body
    (event,) = icalendar.Calendar.from_ical(body).walk("VEVENT")
    assert "attach" not in event
