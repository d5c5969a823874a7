"""An invented nursery, put in through the interface itself."""

from typing import Any

import httpx

CATALOGUE: list[tuple[str, dict[str, Any]]] = [
    (
        "sites/CORIN",
        {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 39.5, "longitude": -0.4},
    ),
    (
        "sites/VALE",
        {"name": "Vale", "time_zone": "Australia/Sydney", "latitude": -33.9, "longitude": 151.0},
    ),
    ("places/H2-T04", {"site": "CORIN", "structure": "House 2"}),
    ("places/COOL-1", {"site": "CORIN", "structure": "Store", "place_kind": "cooler"}),
    ("places/V1", {"site": "VALE", "structure": "House 1"}),
    ("cultivars/NAV", {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Navelina"}),
    ("rootstocks/CARR", {"crop": "citrus", "name": "Carrizo citrange"}),
    ("sizes/C2", {"label": "2 litre"}),
    ("source-trees/NAV-3", {"cultivar": "NAV", "site": "CORIN"}),
]


def event(kind: str, data: dict[str, Any], **envelope: Any) -> dict[str, Any]:
    """An event at CORIN in March 2026."""
    told = {"type": kind, "site": "CORIN", "occurred": "2026-03-10", "actor": "p-07"}
    return {**told, **envelope, "data": data}


STOCK = [
    event(
        "budwood.cut",
        {
            "lot": "BW-1",
            "cultivar": "NAV",
            "source_tree": "NAV-3",
            "bags": [{"bag": "B-1", "sticks": 3, "buds": 18, "place": "COOL-1"}],
        },
        occurred="2026-03-02",
    ),
    event(
        "liners.received",
        {
            "lot": "L-1",
            "rootstock": "CARR",
            "size": "C2",
            "supplier": "sup-1",
            "lines": [{"place": "H2-T04", "count": 40}],
        },
        occurred="2026-03-01",
    ),
    event(
        "trees.grafted",
        {
            "lot": "T-1",
            "from": [{"bag": "B-1"}],
            "onto": {"liner_lot": "L-1"},
            "place": "H2-T04",
            "method": "t_bud",
            "grafters": [{"person": "p-07", "count": 12}],
        },
    ),
]


async def fill(client: httpx.AsyncClient) -> None:
    """The catalogue by PUT, then a bag, a tray and a graft."""
    for path, body in CATALOGUE:
        response = await client.put(f"/v1/{path}", json=body)
        assert response.status_code == 201, (path, response.text)
    response = await client.post("/v1/events", json=STOCK)
    assert response.status_code == 201, response.text
