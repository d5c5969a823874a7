"""Keys of pages: the sort key of a page's last row, as JSON-able parts."""

import heapq
from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, TypeVar

import msgspec

T = TypeVar("T")


def page_key(after: list[Any] | None, parts: tuple[type, ...]) -> list[Any]:
    """The parts of a page key, or as many nulls. Raises ValueError when it is not such a key."""
    if after is None:
        return [None] * len(parts)
    if len(after) != len(parts) or any("\0" in part for part in after if isinstance(part, str)):
        raise ValueError("this is no key of a page of this list")
    try:
        return [msgspec.convert(value, part) for value, part in zip(after, parts, strict=True)]
    except msgspec.ValidationError as error:
        raise ValueError("this is no key of a page of this list") from error


def cut_page(
    rows: list[T], limit: int, key: Callable[[T], Iterable[Any]]
) -> tuple[list[T], list[Any] | None]:
    """At most `limit` of the rows, and the key of the last when there are more, else None.

    Ask for one row more than a page holds. Days and times in a key are told as text.
    """
    if len(rows) <= limit:
        return rows, None
    last = key(rows[limit - 1])
    return rows[:limit], [p.isoformat() if isinstance(p, date) else p for p in last]


def page_of(
    rows: Iterable[T], key: Callable[[T], tuple[Any, ...]], after: list[Any], limit: int
) -> list[T]:
    """The first `limit` of `rows` by `key`, after the key `after` (parts None: from the start)."""
    start = None if after[-1] is None else tuple(after)
    kept = rows if start is None else (row for row in rows if key(row) > start)
    return heapq.nsmallest(limit, kept, key=key)
