"""Which events a webhook is told of."""

from collections.abc import Iterator
from typing import Any, NamedTuple

import msgspec

from service.log.stored import StoredEvent


class ItemNamed(NamedTuple):
    """An item as far as something that an event names tells it; empty: it does not say."""

    cultivar: str | None
    rootstock: str | None
    size: str


class Wanted(NamedTuple):
    """What is wanted. `types` None: every event; `sites` None: of all sites."""

    types: frozenset[str] | None
    sites: frozenset[str] | None
    cultivar: str | None = None
    rootstock: str | None = None
    size: str | None = None

    @property
    def of_items(self) -> bool:
        """Whether it is about some items alone."""
        return (self.cultivar, self.rootstock, self.size) != (None, None, None)

    @property
    def text(self) -> str:
        """The same text for the same things wanted."""
        types = None if self.types is None else sorted(self.types)
        return msgspec.json.encode((types, self.site_list, *self[2:])).decode()

    @property
    def site_list(self) -> list[str] | None:
        return None if self.sites is None else sorted(self.sites)

    def wants(self, kind: str) -> bool:
        """Whether a type of event, or a topic, is wanted. Topics have to be named."""
        return kind in self.types if self.types is not None else False

    def wants_event(self, stored: StoredEvent) -> bool:
        """Whether an event is wanted, as far as its type and sites tell."""
        if self.types is not None and stored.type not in self.types:
            return False
        return self.sites is None or not self.sites.isdisjoint(stored.sites)

    def wants_item(self, cultivar: str, rootstock: str | None, size: str | None) -> bool:
        """Whether an item is wanted."""
        return (
            self.cultivar in (None, cultivar)
            and self.rootstock in (None, rootstock)
            and self.size in (None, size)
        )

    def wants_items_of(self, stored: StoredEvent, named: frozenset[ItemNamed]) -> bool:
        """Whether an event speaks of an item that is wanted; `named` are those of its lots.

        A size holds back only what names other sizes: of a look at a lot no size is told.
        """
        said = list(_said(stored.data))
        cultivars = {code for name, code in said if name == "cultivar"}
        rootstocks = {code for name, code in said if name == "rootstock"}
        sizes = {code for name, code in said if name == "size"} | {one.size for one in named} - {""}
        if self.size is not None and sizes and self.size not in sizes:
            return False
        if self.cultivar is None and self.rootstock is None:
            return self.size in sizes
        by_lot = any(
            self.cultivar in (None, one.cultivar) and self.rootstock in (None, one.rootstock)
            for one in named
        )
        return by_lot or (
            (self.cultivar is None or self.cultivar in cultivars)
            and (self.rootstock is None or self.rootstock in rootstocks)
        )


_NAMES = {
    "cultivar": "cultivar",
    "rootstock": "rootstock",
    "size": "size",
    "to_size": "size",
}


def _said(data: Any) -> Iterator[tuple[str, str]]:
    """Every cultivar, rootstock and size that an event's own data names."""
    if isinstance(data, list):
        for part in data:
            yield from _said(part)
    elif isinstance(data, dict):
        if data.get("kind") in _NAMES and isinstance(data.get("code"), str):
            yield str(data["kind"]), data["code"]
        for name, value in data.items():
            if name in _NAMES and isinstance(value, str):
                yield _NAMES[name], value
            elif isinstance(value, dict | list):
                yield from _said(value)
