"""What is asked of a page by its address: fields that a form may leave empty."""

from datetime import date, datetime, timedelta
from typing import Annotated, Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Meta

from service.api.cursors import CODE
from service.api.problems import bad_parameter
from service.trade.words import EARLIEST_YEAR, LATEST_YEAR

Field = Annotated[str, Meta(max_length=60)]
"""A field of a form that was not sent, or was left empty, is empty."""
ALL = "*"
"""Stands for all sites that are seen."""
UNKNOWN = "-"
"""Stands for what was never known, such as the rootstock of trees that came into the books so."""


class Asked(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of what pages ask."""


def code_in(name: str, text: str) -> str | None:
    """A code, in capitals; None for an empty field. Raises 422 for what can't be one."""
    code = text.strip().upper()
    if code and CODE.match(code) is None:
        raise bad_parameter(name, f"{text} is no code.", "bad_value")
    return code or None


def day_in(name: str, text: str) -> date | None:
    """A day, 2026-03-01; None for an empty field. Raises 422 for what is none."""
    if not text.strip():
        return None
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise bad_parameter(name, f"{text} is no day of the calendar.", "not_a_day") from error
    if not EARLIEST_YEAR < day.year < LATEST_YEAR:
        raise bad_parameter(name, f"{text} lies outside the years that are told of.", "not_a_day")
    return day


def number_in(name: str, text: str, most: int = 10_000_000) -> int | None:
    """A number from 1 on; None for an empty field. Raises 422 for what is none."""
    if not text.strip():
        return None
    if not text.strip().isascii() or not text.strip().isdigit() or len(text.strip()) > 9:
        raise bad_parameter(name, f"{text} is no number.", "bad_value")
    number = int(text)
    if not 1 <= number <= most:
        raise bad_parameter(name, f"From 1 to {most}.", "bad_value")
    return number


def end_of(day: date, zone: str) -> datetime:
    """The last moment of a day in a time zone."""
    begins = datetime.combine(day + timedelta(days=1), datetime.min.time(), ZoneInfo(zone))
    return begins - timedelta(microseconds=1)


def again(asked: Any, **changed: str | None) -> str:
    """The query of an address that asks the same, with some fields changed; empty ones left out."""
    fields = {name: getattr(asked, name) for name in asked.__struct_fields__}
    fields.update(changed)
    return urlencode({name: value for name, value in fields.items() if value})
