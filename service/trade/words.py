"""The bounded words every event is written in.

PostgreSQL refuses NUL in text and numbers past its column's range, so every text
and every number a person can send is bounded here, once, before anything else sees it.
"""

from datetime import UTC, date, datetime, time
from typing import Annotated
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Meta

# In Python `$` also matches before a last newline; the look-ahead shuts that door and says the
# same in other dialects.
CODE_PATTERN = r"^[A-Z0-9][A-Z0-9.-]{0,19}$(?!\n)"

Code = Annotated[
    str,
    Meta(
        pattern=CODE_PATTERN,
        description="A code fit for a tag, a barcode and a URL: capitals, digits, full stop and "
        "hyphen, at most 20 characters, unique in the nursery.",
        examples=["CR2-T04"],
    ),
]
Count = Annotated[
    int, Meta(ge=1, le=1_000_000, description="How many, at least one.", examples=[24])
]
CountOrZero = Annotated[
    int, Meta(ge=0, le=1_000_000, description="How many, zero allowed.", examples=[0])
]
Text = Annotated[
    str,
    Meta(
        pattern=r"^[^\x00]*$",
        min_length=1,
        max_length=500,
        description="Free text, 1 to 500 characters.",
    ),
]
LongText = Annotated[
    str,
    Meta(
        pattern=r"^[^\x00]*$",
        min_length=1,
        max_length=4000,
        description="Free text, 1 to 4000 characters.",
    ),
]
Word = Annotated[
    str,
    Meta(
        pattern=r"^[a-z][a-z0-9_-]{0,39}$(?!\n)",
        description="A short lower-case word.",
        examples=["citrus"],
    ),
]
Ref = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}$(?!\n)",
        description="An opaque reference to a person, customer, supplier or paper: never a name "
        "or an address.",
        examples=["cust-0481"],
    ),
]
Country = Annotated[
    str,
    Meta(
        pattern=r"^[A-Z]{2}$(?!\n)",
        description="A country by ISO 3166-1, two letters.",
        examples=["ES"],
    ),
]
Millimetres = Annotated[int, Meta(ge=1, le=5000, description="Length in millimetres.")]
Days = Annotated[int, Meta(ge=0, le=3650, description="Whole days.")]
EventId = Annotated[
    str,
    Meta(
        pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$(?!\n)",
        description="A UUID in lower case; version 7 (RFC 9562) is best, since it sorts by time.",
        examples=["0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"],
    ),
]
Occurred = Annotated[
    str,
    Meta(
        pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}([Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
        r"([Zz]|[+-][0-9]{2}:[0-9]{2}))?$(?!\n)",
        description="When it happened at the bench: an RFC 3339 time with an offset, or only the "
        "day (in the site's own calendar), as benches know the day.",
        examples=["2026-03-14", "2026-03-14T09:30:00+11:00"],
    ),
]

EARLIEST_YEAR, LATEST_YEAR = 1900, 2200
# A day without a time sorts at its noon among timed events of that day.
NOON = time(12)


class Moment(msgspec.Struct, frozen=True):
    """An `occurred` text understood: the instant, the day at the site, whether a time was given."""

    at: datetime
    day: date
    timed: bool


def understand_occurred(text: str, zone: ZoneInfo) -> Moment:
    """Read an `occurred` text in the calendar of a site's zone.

    Raises ValueError in words a person can act on when the text names no real day or time.
    """
    if len(text) == 10:
        try:
            day = date.fromisoformat(text)
        except ValueError as error:
            raise ValueError(f"{text} is not a day of the calendar.") from error
        moment = Moment(datetime.combine(day, NOON, zone).astimezone(UTC), day, False)
    else:
        try:
            at = msgspec.convert(text, datetime)
            moment = Moment(at.astimezone(UTC), at.astimezone(zone).date(), True)
        except (msgspec.ValidationError, OverflowError, ValueError) as error:
            raise ValueError(f"{text} is not a time of the calendar.") from error
    if not EARLIEST_YEAR <= moment.day.year <= LATEST_YEAR:
        raise ValueError(f"{text} lies outside the years {EARLIEST_YEAR} to {LATEST_YEAR}.")
    return moment


class Data(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, gc=False):
    """Base of every part of an event: frozen, named fields, unknown fields refused."""
