"""Keys of pages: the sort key of a page's last row, as JSON-able parts."""

from typing import Any

import msgspec


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
