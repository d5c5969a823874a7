"""A small invented nursery in two time zones, written with `Ledger`, that view tests share."""

from typing import Any

from tests.support.ledger_rows import Ledger

ZONES = {"CORIN": "Europe/Madrid", "TARNA": "Pacific/Auckland"}
NAVEL = {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Lane Late"}


async def nursery(pool: Any) -> Ledger:
    """Two sites with a table or two each, one citrus cultivar on one rootstock."""
    book = Ledger(pool, ZONES)
    for code, zone in ZONES.items():
        await book.entry(
            "site", code, name=code.title(), time_zone=zone, latitude=40.0, longitude=0.5
        )
    for code, site in (("C-T1", "CORIN"), ("C-T2", "CORIN"), ("C-BOX", "CORIN"), ("T-T1", "TARNA")):
        await book.entry("place", code, site=site, structure="House 1")
    await book.entry("cultivar", "NAVEL", **NAVEL)
    await book.entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo")
    return book


async def budwood(book: Ledger, lot: str, day: str, bags: dict[str, int]) -> int:
    """A budwood lot cut on a source tree, in bags at C-BOX."""
    await book.lot(
        lot,
        "budwood",
        "CORIN",
        day,
        cultivar="NAVEL",
        source="source_tree:ST-1",
        parents=["source_tree:ST-1"],
        ancestry=[f"lot:{lot}", "source_tree:ST-1"],
    )
    for bag, buds in bags.items():
        await book.bag(bag, lot, buds)
    data = {
        "lot": lot,
        "cultivar": "NAVEL",
        "source_tree": "ST-1",
        "bags": [{"bag": bag, "buds": buds, "place": "C-BOX"} for bag, buds in bags.items()],
    }
    return await book.event("budwood.cut", "CORIN", day, data)


async def liners(book: Ledger, lot: str, day: str, place: str, count: int) -> int:
    """A liner lot at a place of CORIN."""
    await book.lot(lot, "liner", "CORIN", day, rootstock="CARRIZO")
    data = {
        "lot": lot,
        "rootstock": "CARRIZO",
        "size": "P9",
        "lines": [{"place": place, "count": count}],
    }
    return await book.event("liners.received", "CORIN", day, data)


async def graft(
    book: Ledger,
    lot: str,
    day: str,
    *,
    bag: str = "BAG1",
    wood: str = "BW1",
    onto: str = "LN1",
    place: str = "C-T1",
    count: int = 10,
) -> int:
    """Trees grafted at CORIN from one bag on one liner lot."""
    await book.lot(
        lot,
        "tree",
        "CORIN",
        day,
        cultivar="NAVEL",
        rootstock="CARRIZO",
        source="source_tree:ST-1",
        method="inverted_t_bud",
        parents=[f"bag:{bag}", f"lot:{onto}"],
        ancestry=[f"lot:{lot}", f"bag:{bag}", f"lot:{wood}", "source_tree:ST-1", f"lot:{onto}"],
    )
    data = {
        "lot": lot,
        "from": [{"bag": bag, "lot": wood, "buds": count, "place": "C-BOX"}],
        "onto": {"liner_lot": onto, "place": place, "size": "P9"},
        "method": "inverted_t_bud",
        "count": count,
        "place": place,
    }
    return await book.event("trees.grafted", "CORIN", day, data)


async def season(book: Ledger) -> None:
    """Budwood, liners and two tree lots grafted at C-T1 and C-T2 in March 2026."""
    await budwood(book, "BW1", "2026-03-01", {"BAG1": 60, "BAG2": 15})
    await liners(book, "LN1", "2026-02-01", "C-T1", 60)
    await graft(book, "TR1", "2026-03-02")
    await graft(book, "TR2", "2026-03-10", count=20)
    await book.event(
        "trees.moved",
        "CORIN",
        "2026-03-11",
        {
            "lot": "TR2",
            "place": "C-T1",
            "stage": "grafted",
            "size": "P9",
            "count": 20,
            "to": "C-T2",
        },
    )
