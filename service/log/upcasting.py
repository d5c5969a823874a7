"""Older shapes of stored events, brought to the newest that this version of the service knows.

A stored event never changes. When the shape of a type's data changes so that old data no longer
fits it, the type gets a new version and `UPCASTERS` a function from the old data to the next
version's. Every reader goes through here: what decodes events (`event_of`), what shows them
(`read`), and, in SQL, the function `newest_data`, which the same revision replaces by its twin; a
test holds the two together. Books and views keep no old shapes: a revision rewrites or rebuilds
them.

A new field that may be left out needs no version; `incoming` keeps the digests of what was sent
before it was there.
"""

from collections.abc import Callable
from typing import Any

Data = dict[str, Any]
Upcaster = Callable[[Data], Data]

# By type and version: from the data of that version to the data of the next. Pure.
UPCASTERS: dict[tuple[str, int], Upcaster] = {}


class NewerVersion(Exception):
    """An event was stored by a newer version of the service than this one."""


def newest_version(type_: str) -> int:
    """The version in which events of a type are stored now."""
    version = 1
    while (type_, version) in UPCASTERS:
        version += 1
    return version


def newest_data(type_: str, version: int, data: Data) -> Data:
    """Stored data in the newest shape of its type. Raises NewerVersion."""
    newest = newest_version(type_)
    if version > newest:
        raise NewerVersion(
            f"{type_} was stored in version {version}; this version of the service knows up to "
            f"{newest}: run a newer one"
        )
    for step in range(version, newest):
        data = UPCASTERS[type_, step](data)
    return data
