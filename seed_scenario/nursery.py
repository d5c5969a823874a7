"""The invented nursery: its sites, places, what it grafts on what, its people."""

from typing import Any

SITES: dict[str, dict[str, Any]] = {
    "CORIN": {
        "name": "Corin Hill",
        "time_zone": "Europe/Madrid",
        "latitude": 39.6,
        "longitude": -0.4,
        "norms": {"look_every_days": 10},
    },
    "TARNA": {
        "name": "Tarna Creek",
        "time_zone": "Australia/Brisbane",
        "latitude": -26.7,
        "longitude": 152.9,
        "table_word": "bench",
        "norms": {"look_every_days": 10, "scion_buds": 3},
    },
    "ELDRA": {
        "name": "Eldra Fields",
        "time_zone": "Europe/Copenhagen",
        "latitude": 55.4,
        "longitude": 10.3,
        "table_word": "row",
        "norms": {"look_every_days": 14, "returns_allowed": False},
    },
}
LETTER = {"CORIN": "C", "TARNA": "T", "ELDRA": "E"}
# Tables on which trees stand, by site; the last is kept for what the script moves there.
TABLES = {
    "CORIN": [f"C-T{n}" for n in range(1, 9)],
    "TARNA": [f"T-B{n}" for n in range(1, 8)],
    "ELDRA": [f"E-R{n}" for n in range(1, 7)],
}
COOLER = {site: f"{letter}-COOL" for site, letter in LETTER.items()}
LINER_BED = {site: f"{letter}-BED" for site, letter in LETTER.items()}
RETURNS = {"CORIN": "C-RET", "TARNA": "T-RET"}
BOX = "C-BOX"
PEOPLE = {
    "CORIN": ["p-01", "p-02", "p-03", "p-04", "p-05"],
    "TARNA": ["p-11", "p-12", "p-13", "p-14"],
    "ELDRA": ["p-21", "p-22", "p-23"],
}
CULTIVARS: dict[str, dict[str, Any]] = {
    "NAVEL": {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Washington Navel"},
    "VALEN": {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Valencia"},
    "EUREKA": {"crop": "citrus", "species": "Citrus limon", "epithet": "Eureka"},
    "CLEMEN": {"crop": "citrus", "species": "Citrus clementina", "epithet": "Fina"},
    "HASS": {"crop": "avocado", "species": "Persea americana", "epithet": "Hass"},
    "KEITT": {"crop": "mango", "species": "Mangifera indica", "epithet": "Keitt"},
    "BOSKOOP": {"crop": "apple", "species": "Malus domestica", "epithet": "Belle de Boskoop"},
    "GRAVEN": {
        "crop": "apple",
        "species": "Malus domestica",
        "epithet": "Gravenstein",
        "clone": "red sport 2",
    },
    "DAWN7": {
        "crop": "apple",
        "species": "Malus domestica",
        "epithet": "Eldra Dawn",
        "licence_holder": "lic-04",
        "licence_terms": "no more than 400 trees a year; report in January",
    },
}
ROOTSTOCKS = {
    "CARRIZO": ("citrus", "Carrizo citrange"),
    "SWINGLE": ("citrus", "Swingle citrumelo"),
    "ZUTANO": ("avocado", "Zutano seedling"),
    "KENSING": ("mango", "Kensington seedling"),
    "M9": ("apple", "M.9"),
    "MM106": ("apple", "MM.106"),
}
SIZES = {
    "PLUG": ("plug", 0),
    "P1": ("1 litre", 10),
    "P4": ("4 litre", 20),
    "BARE": ("bare root", 5),
}
SOURCE_TREES = {
    "CN-101": ("NAVEL", "CORIN", "foundation"),
    "CN-102": ("NAVEL", "CORIN", "increase"),
    "CV-201": ("VALEN", "CORIN", "increase"),
    "CE-301": ("EUREKA", "CORIN", "increase"),
    "CM-401": ("CLEMEN", "CORIN", "increase"),
    "TN-111": ("NAVEL", "TARNA", "scion"),
    "TE-311": ("EUREKA", "TARNA", "scion"),
    "TH-501": ("HASS", "TARNA", "own"),
    "TK-601": ("KEITT", "TARNA", "own"),
    "EB-701": ("BOSKOOP", "ELDRA", "own"),
    "EG-801": ("GRAVEN", "ELDRA", "own"),
}
SUPPLIERS = {"CORIN": "supp-03", "TARNA": "supp-12", "ELDRA": "supp-21"}


def entries(site: str) -> list[dict[str, Any]]:
    """What a site says of itself when its books are opened, in an order that holds together."""
    letter = LETTER[site]
    found: list[dict[str, Any]] = [{"kind": "site", "code": site, **SITES[site]}]
    for number, table in enumerate(TABLES[site]):
        kind = "bed" if site == "ELDRA" else "table"
        house = "field" if site == "ELDRA" else f"House {1 + number // 3}"
        found.append(_place(table, site, kind, house))
    found.append(_place(LINER_BED[site], site, "bed", "House 1"))
    found.append(_place(COOLER[site], site, "cooler", "packing shed"))
    if site in RETURNS:
        found.append({**_place(RETURNS[site], site, "bed", "apart"), "for_returns": True})
    if site == "CORIN":
        found.append(_place(BOX, site, "box", "House 2"))
        found += _for_all()
    found += [
        {
            "kind": "source_tree",
            "code": code,
            "cultivar": cultivar,
            "tree_class": standing,
            "registration": f"reg-{code.lower()}",
            "site": site,
        }
        for code, (cultivar, where, standing) in SOURCE_TREES.items()
        if where == site
    ]
    if site == "ELDRA":
        found.append(
            {
                "kind": "check_plan",
                "code": "WALK-CHIP",
                "check": "push_walk",
                "method": "chip_bud",
                "stage": "grafted",
                "after": "take_read",
                "due_days": 200,
                "overdue_days": 260,
                "every_days": 14,
                "done_by": ["push.counted"],
                "source": "The site's own practice: a bud set in August sleeps until spring",
            }
        )
    assert all(entry["code"].startswith(letter) for entry in found if entry["kind"] == "place")
    return found


def _for_all() -> list[dict[str, Any]]:
    """What all sites share, told by the first."""
    found: list[dict[str, Any]] = []
    found += [{"kind": "cultivar", "code": code, **facts} for code, facts in CULTIVARS.items()]
    found += [
        {"kind": "rootstock", "code": code, "crop": crop, "name": name}
        for code, (crop, name) in ROOTSTOCKS.items()
    ]
    found += [
        {"kind": "size", "code": code, "label": label, "rank": rank}
        for code, (label, rank) in SIZES.items()
    ]
    found.append(
        {
            "kind": "rule",
            "code": "TRACE-KEEP",
            "title": "How long papers of plant passports are kept",
            "value": "3 years",
            "source": "Regulation (EU) 2016/2031, article 69(4); verify before relying on it",
            "as_of": "2025-01-01",
        }
    )
    return found


def _place(code: str, site: str, kind: str, structure: str) -> dict[str, Any]:
    return {"kind": "place", "code": code, "site": site, "place_kind": kind, "structure": structure}
