"""The invented nursery: its sites, places, people, and what it grafts on what."""

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
        "norms": {
            "look_every_days": 14,
            "returns_allowed": False,
            # In the field every winter is cold: only frost is told.
            "watch": {"bench_c": None, "frost_c": 0},
        },
    },
}
# Who answers for plant health; numbers that nobody has, so that nobody is called.
PLANT_HEALTH: dict[str, dict[str, Any]] = {
    "CORIN": {
        "authority": "Plant health service of the region (invented)",
        "phone": "+34 900 000 000 (invented)",
        "country": "ES",
        "registration": "17460123",
        "passport": {"title": "Pasaporte fitosanitario / Plant Passport", "union_flag": True},
    },
    "TARNA": {
        "authority": "Plant pest line (invented)",
        "phone": "+61 0 0000 0000 (invented)",
        "country": "AU",
        "registration": "N 0417",
        "certified": {"statement": "Certified stock, clean wood scheme (invented)"},
    },
    "ELDRA": {
        "authority": "Plant inspectors (invented)",
        "phone": "+45 00 00 00 00 (invented)",
        "country": "DK",
        "registration": "000417",
        "passport": {"title": "Plantepas / Plant Passport", "union_flag": True},
    },
}
LETTER = {"CORIN": "C", "TARNA": "T", "ELDRA": "E"}
_TABLE = {"CORIN": "C-T", "TARNA": "T-B", "ELDRA": "E-R"}
_TABLES = {"CORIN": 22, "TARNA": 16, "ELDRA": 14}
COOLER = {site: f"{letter}-COOL" for site, letter in LETTER.items()}
LINER_BED = {site: f"{letter}-BED" for site, letter in LETTER.items()}
# Of the cooler, and of the first table.
LOGGERS = {
    site: (f"logger {letter}1, cooler", f"logger {letter}2, first table")
    for site, letter in LETTER.items()
}
RETURNS = {"CORIN": "C-RET", "TARNA": "T-RET"}
BOX = "C-BOX"
# Tables that nobody looks at any more, and for how many days when the telling ends.
NEGLECTED = {"C-T6": 33, "T-B7": 26, "E-R4": 47, "C-RET": 39}
PEOPLE = {
    "CORIN": ["p-01", "p-02", "p-03", "p-04", "p-05", "p-06"],
    "TARNA": ["p-11", "p-12", "p-13", "p-14"],
    "ELDRA": ["p-21", "p-22", "p-23"],
}
CULTIVARS: dict[str, dict[str, Any]] = {
    "NAVEL": {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Washington Navel"},
    "VALEN": {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Valencia"},
    "EUREKA": {"crop": "citrus", "species": "Citrus limon", "epithet": "Eureka"},
    "CLEMEN": {"crop": "citrus", "species": "Citrus clementina", "epithet": "Fina"},
    "HASS": {"crop": "avocado", "species": "Persea americana", "epithet": "Hass"},
    "REED": {"crop": "avocado", "species": "Persea americana", "epithet": "Reed"},
    "KEITT": {"crop": "mango", "species": "Mangifera indica", "epithet": "Keitt"},
    "KENT": {"crop": "mango", "species": "Mangifera indica", "epithet": "Kent"},
    "BOSKOOP": {"crop": "apple", "species": "Malus domestica", "epithet": "Belle de Boskoop"},
    "GRAVEN": {
        "crop": "apple",
        "species": "Malus domestica",
        "epithet": "Gravenstein",
        "clone": "red sport 2",
    },
    "COX": {"crop": "apple", "species": "Malus domestica", "epithet": "Cox's Orange Pippin"},
    "DAWN7": {
        "crop": "apple",
        "species": "Malus domestica",
        "epithet": "Eldra Dawn",
        "licence_holder": "lic-04",
        "licence_terms": "no more than 400 trees a year; report in January",
        "licence_counts": "sold",
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
# Rootstocks that a site raises liners of.
LINERS = {
    "CORIN": ["CARRIZO"],
    "TARNA": ["SWINGLE", "ZUTANO", "KENSING"],
    "ELDRA": ["MM106", "M9"],
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
    "CM-402": ("CLEMEN", "CORIN", "increase"),
    "TN-111": ("NAVEL", "TARNA", "scion"),
    "TE-311": ("EUREKA", "TARNA", "scion"),
    "TH-501": ("HASS", "TARNA", "own"),
    "TR-551": ("REED", "TARNA", "own"),
    "TK-601": ("KEITT", "TARNA", "own"),
    "TK-651": ("KENT", "TARNA", "own"),
    "EB-701": ("BOSKOOP", "ELDRA", "own"),
    "EG-801": ("GRAVEN", "ELDRA", "own"),
    "EC-851": ("COX", "ELDRA", "own"),
}
# Its registration runs out while the story goes on; nothing is cut from it as a rule.
EXPIRING = "TN-112"
SUPPLIERS = {"CORIN": "supp-03", "TARNA": "supp-12", "ELDRA": "supp-21"}


def tables(site: str, many: int = 1) -> list[str]:
    """The site's tables; a larger nursery (`many` times the usual) has so many times more."""
    return [f"{_TABLE[site]}{number}" for number in range(1, many * _TABLES[site] + 1)]


def pot(site: str) -> str:
    """The size that liners and young trees stand in."""
    return "BARE" if site == "ELDRA" else "P1"


def places(site: str, many: int = 1) -> list[dict[str, Any]]:
    """All places of a site, each in its house."""
    house = "field" if site == "ELDRA" else "House"
    kind = "bed" if site == "ELDRA" else "table"
    found = [
        _place(table, site, kind, house if house == "field" else f"House {1 + number // 6}")
        for number, table in enumerate(tables(site, many))
    ]
    found[0]["sensors"] = [LOGGERS[site][1]]
    found.append(_place(LINER_BED[site], site, "bed", "House 1"))
    found.append(_place(COOLER[site], site, "cooler", "packing shed"))
    found[-1]["sensors"] = [LOGGERS[site][0]]
    if site in RETURNS:
        found.append({**_place(RETURNS[site], site, "bed", "apart"), "for_returns": True})
    if site == "CORIN":
        found.append(_place(BOX, site, "box", "House 2"))
    return found


def _place(code: str, site: str, kind: str, structure: str) -> dict[str, Any]:
    return {"kind": "place", "code": code, "site": site, "place_kind": kind, "structure": structure}
