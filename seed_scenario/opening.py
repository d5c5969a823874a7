"""What stood at each site when its books were opened; unknown parts are left out."""

from datetime import date, timedelta
from typing import Any

from seed_scenario.nursery import LINER_BED


def opening(site: str, day: date) -> list[dict[str, Any]]:
    """The lines of a site's opening."""
    before = str(day - timedelta(days=280))
    budded = {"rootstock": "CARRIZO", "method": "inverted_t_bud", "grafted_on": before}
    trees: list[dict[str, Any]]
    wood: list[dict[str, Any]]
    ready = {"stage": "ready", "size": "P4", "grade": "first"}
    waiting = {"stage": "pushed", "size": "P1"}
    bare = {"size": "BARE", "rootstock": "MM106"}
    if site == "CORIN":
        navel = {"lot": "O-C1", "cultivar": "NAVEL", **budded}
        bag = {"bag": "O-CW1-1", "buds": 12, "basis": "estimated", "place": "C-COOL"}
        trees = [
            {**navel, **ready, "place": "C-T7", "count": 190},
            {**navel, **ready, "grade": "second", "place": "C-T7", "count": 40},
            {"lot": "O-C2", "cultivar": "EUREKA", **ready, "place": "C-T8", "count": 45},
            {"lot": "O-C3", "cultivar": "VALEN", **budded, **waiting, "place": "C-T8", "count": 30},
            {"lot": "O-C4", "cultivar": "VALEN", **budded, **waiting, "place": "C-T8", "count": 26},
            {"lot": "O-C5", **waiting, "place": "C-T5", "count": 11},
        ]
        wood = [{"kind": "budwood", "lot": "O-CW1", "cultivar": "NAVEL", "bags": [bag]}]
        liners = [("O-CL", "CARRIZO", "P1", 340)]
    elif site == "TARNA":
        trees = [
            {"lot": "O-T1", "cultivar": "HASS", "rootstock": "ZUTANO", **ready, "place": "T-B6"},
            {"lot": "O-T2", "cultivar": "NAVEL", "rootstock": "SWINGLE", **waiting},
        ]
        trees[0] |= {"count": 70}
        trees[1] |= {"place": "T-B5", "count": 34}
        wood = []
        liners = [("O-TL1", "SWINGLE", "P1", 300), ("O-TL2", "ZUTANO", "P1", 280)]
        liners.append(("O-TL3", "KENSING", "P1", 260))
    else:
        first = {"stage": "ready", "grade": "first", **bare}
        trees = [
            {"lot": "O-E1", "cultivar": "BOSKOOP", **first, "place": "E-R5", "count": 150},
            {"lot": "O-E2", "cultivar": "GRAVEN", **first, "place": "E-R6", "count": 60},
            {"lot": "O-E3", "cultivar": "DAWN7", **bare, "stage": "pushed", "place": "E-R6"},
        ]
        trees[2] |= {"count": 24}
        wood = []
        liners = [("O-EL1", "MM106", "BARE", 420), ("O-EL2", "M9", "BARE", 320)]
    bed = LINER_BED[site]
    return [
        *wood,
        *(
            {
                "kind": "liners",
                "lot": lot,
                "rootstock": stock,
                "size": size,
                "place": bed,
                "count": count,
                "basis": "estimated" if site == "CORIN" else "counted",
            }
            for lot, stock, size, count in liners
        ),
        *({"kind": "trees", **line} for line in trees),
    ]
