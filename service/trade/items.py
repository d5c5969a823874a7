"""Items: what a customer orders."""

from functools import lru_cache
from typing import NamedTuple

from service.trade.books import Books
from service.trade.events.selling import ReservedLine


class Item(NamedTuple):
    """What a customer orders. Buds have only a cultivar; an empty grade means any."""

    cultivar: str
    rootstock: str
    size: str
    grade: str
    buds: bool

    @property
    def text(self) -> str:
        if self.buds:
            return f"buds/{self.cultivar}"
        return f"{self.cultivar}/{self.rootstock}/{self.size}/{self.grade}"

    @property
    def words(self) -> str:
        """It in a sentence, after "5 of": `NAVEL on CARRIZO in L2, grade first`, `NAVEL (buds)`."""
        if self.buds:
            return f"{self.cultivar or 'unknown cultivar'} (buds)"
        of = f"{self.cultivar or 'unknown cultivar'} on {self.rootstock or 'unknown rootstock'}"
        return f"{of} in {self.size}" + (f", grade {self.grade}" if self.grade else "")


@lru_cache(maxsize=10_000)
def parse_item(text: str) -> Item:
    """Back from `Item.text`."""
    parts = text.split("/")
    if parts[0] == "buds":
        return Item(parts[1], "", "", "", True)
    return Item(parts[0], parts[1], parts[2], parts[3], False)


def claimed_item(books: Books, line: ReservedLine) -> Item:
    """The item of a completed line of a reservation."""
    if line.lot is None:
        cultivar = line.cultivar or ""
        if line.buds:
            return Item(cultivar, "", "", "", True)
        return Item(cultivar, line.rootstock or "", line.size or "", line.grade or "", False)
    lot = books.lots[line.lot]
    if lot.kind == "budwood":
        return Item(lot.cultivar or "", "", "", "", True)
    return Item(lot.cultivar or "", lot.rootstock or "", line.size or "", line.grade or "", False)
