"""What forms that keep people and plants from harm tell: a treatment, a stop on what may be ill.

No look at the books, as with the forms at a table: what is sent again is the same event.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.board.recording.at_table import Asked, Told
from service.board.recording.fields import Amiss, Fields, event_data
from service.trade.words import CODE_PATTERN, EARLIEST_YEAR, LATEST_YEAR
from service.wording.trade_words import HOLD_KINDS
from service.wording.words import phrase

_CODE = re.compile(CODE_PATTERN)
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::[0-5]\d)?")
TARGETS = {
    "place": phrase("a table or another place"),
    "lot": phrase("a lot"),
    "bag": phrase("a bag"),
    "source_tree": phrase("a source tree"),
    "site": phrase("the whole site"),
}
MOST_PLACES = 200
MOST_HOURS = 24 * 90


def hold(fields: Fields, asked: Asked) -> Told:
    """A stop on something and all that descends from it."""
    data = event_data(
        kind=fields.choice("kind", HOLD_KINDS, "plant_health"),
        target=fields.choice("target", TARGETS, "place"),
        code=fields.needed_code("code"),
        reason=fields.text("reason"),
    )
    if "reason" not in data:
        raise Amiss("reason", phrase("Say what was seen, in a few words."))
    return [("hold.placed", data)]


def treatment(fields: Fields, asked: Asked, zone: ZoneInfo) -> tuple[Told, str]:
    """A treatment at places, and the moment at which it began.

    The re-entry interval runs from its end, so the end is asked for; one before the beginning is
    of the day after. Where clocks go back a time comes twice: it began at the first, it ended at
    the second, so that no house opens too early.
    """
    places, product = _places(fields), fields.text("product")
    if product is None:
        raise Amiss("product", phrase("Say which product, as its label names it."))
    day = _day(fields)
    began, ended = min(_clock(fields, "began", day, zone)), max(_clock(fields, "ended", day, zone))
    if ended < began:
        ended = max(_clock(fields, "ended", day + timedelta(days=1), zone))
    data = event_data(
        places=places,
        product=product,
        rate=fields.text("rate"),
        reason=fields.text("reason"),
        re_entry_hours=_hours(fields),
        ended=ended.astimezone(zone).isoformat(),
    )
    return [("treatment.applied", data)], began.astimezone(zone).isoformat()


def _places(fields: Fields) -> list[str]:
    """Codes of houses that were ticked (all places in them) and of those typed."""
    ticked = [code for told in fields.form.all("house") for code in told.split(",")]
    typed = re.split(r"[\s,;]+", fields.form["places"].upper())
    found = list(dict.fromkeys(code for code in (*ticked, *typed) if code))
    if not found:
        raise Amiss("places", phrase("Say where: tick a house or write the codes of places."))
    if len(found) > MOST_PLACES or not all(_CODE.match(code) for code in found):
        raise Amiss(
            "places",
            phrase("At most %(most)s codes of places are wanted here, with spaces between."),
            most=MOST_PLACES,
        )
    return found


def _day(fields: Fields) -> date:
    try:
        day = date.fromisoformat(fields.form["day"])
        if not EARLIEST_YEAR <= day.year <= LATEST_YEAR:
            raise ValueError("outside the years that are told of")
    except ValueError as error:
        raise Amiss("day", phrase("That is no day of the calendar.")) from error
    return day


def _clock(fields: Fields, name: str, day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The moments, UTC, that a time by the clock can mean: mostly the same one twice."""
    found = _CLOCK.fullmatch(fields.form[name])
    if found is None:
        raise Amiss(name, phrase("A time is wanted here, such as 06:30."))
    there = datetime.combine(day, time(int(found[1]), int(found[2])), zone)
    return there.astimezone(UTC), there.replace(fold=1).astimezone(UTC)


def _hours(fields: Fields) -> int | None:
    hours = fields.number("re_entry_hours")
    if hours is not None and hours > MOST_HOURS:
        raise Amiss("re_entry_hours", phrase("At most 90 days (2160 hours) are wanted here."))
    return hours
