"""Opaque cursors: where a page of a list goes on."""

import base64
import re

from service.api.problems import Problem, bad_parameter
from service.trade.words import CODE_PATTERN

CODE = re.compile(CODE_PATTERN)


def no_cursor(detail: str = "This is no cursor of this list.") -> Problem:
    """A 422 problem about a cursor that the list did not give out."""
    return bad_parameter("cursor", detail, "no_cursor")


def cursor_of(key: str | int) -> str:
    """An opaque cursor that stands after `key`."""
    return base64.urlsafe_b64encode(str(key).encode()).decode().rstrip("=")


def after_code(cursor: str | None) -> str:
    """The code that a cursor stands after; empty at the start. Raises 422."""
    key = decoded_cursor(cursor) if cursor else ""
    if key and CODE.match(key) is None:
        raise no_cursor()
    return key


def after_number(cursor: str | None) -> int:
    """The number that a cursor stands after; 0 at the start. Raises 422."""
    key = decoded_cursor(cursor) if cursor else "0"
    if not re.fullmatch(r"[0-9]{1,18}", key):
        raise no_cursor()
    return int(key)


def decoded_cursor(cursor: str) -> str:
    """What a cursor holds. Raises 422."""
    try:
        return base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode("ascii")
    except ValueError as error:
        raise no_cursor() from error
