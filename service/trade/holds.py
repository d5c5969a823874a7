"""What a hold blocks. The service never clears a plant-health hold by itself."""

from collections.abc import Iterable
from datetime import date

from service.trade.books import Books, Hold

USE, MOVE, SEND, SELL, DISCARD = "use", "move", "send", "sell", "discard"
BLOCKS: dict[str, frozenset[str]] = {
    "plant_health": frozenset({USE, MOVE, SEND, SELL, DISCARD}),
    "licence": frozenset({USE, SEND, SELL}),
    "identity": frozenset({USE, SELL}),
    "quality": frozenset({SELL}),
    "other": frozenset({SELL}),
}


def holds_on(books: Books, tokens: Iterable[str], day: date) -> list[Hold]:
    """The holds in force on `day` that meet any of the tokens (`lot:`, `bag:`, `source_tree:`,
    `place:`, `site:`)."""
    if not books.holds:
        return []
    met = set(tokens)
    return [h for h in books.holds.values() if h.token in met and h.in_force(day)]


def blocking(books: Books, action: str, tokens: Iterable[str], day: date) -> list[Hold]:
    """Those of them that block the action."""
    return [h for h in holds_on(books, tokens, day) if action in BLOCKS[h.kind]]
