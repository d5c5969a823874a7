"""The catalogue as the books have it: the entries in force."""

from typing import TypeVar

from service.trade.events.catalogue import (
    Cultivar,
    Entry,
    Place,
    Rootstock,
    Site,
    Size,
    SourceTree,
)
from service.trade.verdicts import refuse

T = TypeVar("T")


class Catalogue:
    """The entries in force, by kind and code, each with the position of its last change."""

    def __init__(self) -> None:
        self.entries: dict[tuple[str, str], tuple[Entry, int]] = {}

    def find(self, kind: type[T], tag: str, code: str, pointer: str) -> T:
        """The entry, or a refusal that names the code and where it stands in the event."""
        found = self.entries.get((tag, code))
        if found is None:
            raise refuse(
                "unknown_code",
                f"No {tag.replace('_', ' ')} {code} is in the catalogue.",
                pointer,
                code=code,
                looked_for=tag,
            )
        entry = found[0]
        assert isinstance(entry, kind)
        return entry

    def site(self, code: str, pointer: str = "#/site") -> Site:
        return self.find(Site, "site", code, pointer)

    def place(self, code: str, pointer: str) -> Place:
        return self.find(Place, "place", code, pointer)

    def cultivar(self, code: str, pointer: str) -> Cultivar:
        return self.find(Cultivar, "cultivar", code, pointer)

    def rootstock(self, code: str, pointer: str) -> Rootstock:
        return self.find(Rootstock, "rootstock", code, pointer)

    def size(self, code: str, pointer: str) -> Size:
        return self.find(Size, "size", code, pointer)

    def source_tree(self, code: str, pointer: str) -> SourceTree:
        return self.find(SourceTree, "source_tree", code, pointer)
