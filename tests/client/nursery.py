"""A small nursery with trees to sell, put in through the client."""

from graftlog_client import Client, shapes

TREES = {"cultivar": "NAVEL", "rootstock": "CARRIZO"}
LOTS = (
    ("R1", "T1", "L2", 5, "2026-03-01"),
    ("R2", "T2", "L2", 4, "2026-03-02"),
    ("R3", "T2", "L5", 20, "2026-03-03"),
)


async def trees_to_sell(client: Client) -> None:
    """At CORIN 9 ready trees in two lots at two places, 20 larger ones, a place for returns."""
    norms = shapes.SiteNorms(returns_allowed=True)
    where = {"latitude": 39.5, "longitude": -0.4, "time_zone": "Europe/Madrid"}
    await client.put_site("CORIN", shapes.SiteBody(name="Corin", norms=norms, **where))
    for code, house, back in (
        ("T1", "House 1", False),
        ("T2", "House 2", False),
        ("RET", "Yard", True),
    ):
        place = shapes.PlaceBody(site="CORIN", structure=house, for_returns=back)
        await client.put_place(code, place)
    navel = shapes.CultivarBody(crop="citrus", species="Citrus sinensis", epithet="Navelina")
    await client.put_cultivar("NAVEL", navel, site="CORIN")
    stock = shapes.RootstockBody(crop="citrus", name="Carrizo citrange")
    await client.put_rootstock("CARRIZO", stock, site="CORIN")
    for size in ("L2", "L5"):
        await client.put_size(size, shapes.SizeBody(label=f"{size[1:]} litre"), site="CORIN")
    for lot, place, size, count, day in LOTS:
        came = shapes.TreesReceivedData(
            lot=lot, place=place, size=size, count=count, supplier="sup-9", stage="ready", **TREES
        )
        event = shapes.TreesReceived(site="CORIN", occurred=day, actor="p-07", data=came)
        await client.record_events(event)
