"""Sheets of the catalogue: sites, places, what is grafted, and where wood is cut from."""

from service.sheets.column import DATE, RETIRED, SITE, Column, Sheet, choice

CODE = Column("code", "code", "Its code, unique in the nursery.", True)
EACH_ROW = "Every row is one entry, as it stands from then on, whole."

SITES = Sheet(
    "sites",
    "Sites",
    "Nursery locations.",
    EACH_ROW,
    (
        DATE,
        CODE,
        Column("name", "text", "What people call it.", True),
        Column("time_zone", "text", "IANA time zone, such as Europe/Madrid.", True),
        Column("latitude", "decimal", "Degrees north, with a point.", True, least=-90, most=90),
        Column("longitude", "decimal", "Degrees east, with a point.", True, least=-180, most=180),
        choice("table_word", ("table", "bench", "row"), "What the site calls a table."),
        RETIRED,
    ),
    (
        {"date": "2026-01-01", "code": "CORIN", "name": "Corin", "time_zone": "Europe/Madrid",
         "latitude": "39.5", "longitude": "-0.4"},
        {"date": "2026-01-01", "code": "TARNA", "name": "Tarna", "time_zone": "Pacific/Auckland",
         "latitude": "-35.2", "longitude": "173.9", "table_word": "bench"},
    ),
)  # fmt: skip

PLACES = Sheet(
    "places",
    "Places",
    "Tables, beds, boxes and coolers of a site.",
    EACH_ROW,
    (
        DATE,
        SITE,
        CODE,
        choice("place_kind", ("table", "bed", "box", "cooler"), "Left out: table."),
        Column("structure", "text", "The house it is in.", True),
        Column("for_returns", "yes_no", "yes when kept apart for trees that came back."),
        RETIRED,
    ),
    (
        {"date": "2026-01-01", "site": "CORIN", "code": "C-T1", "structure": "House 1"},
        {"date": "2026-01-01", "site": "CORIN", "code": "C-T2", "structure": "House 1"},
        {"date": "2026-01-01", "site": "CORIN", "code": "C-BOX", "place_kind": "cooler",
         "structure": "Store"},
    ),
)  # fmt: skip

CULTIVARS = Sheet(
    "cultivars",
    "Cultivars",
    "What is grafted.",
    EACH_ROW,
    (
        DATE,
        SITE,
        CODE,
        Column("crop", "word", "Such as citrus.", True),
        Column("species", "text", "Botanical name.", True),
        Column("epithet", "text", "Cultivar epithet, bare of quotes.", True),
        Column("clone", "text", "Budline or clone."),
        Column("licence_holder", "ref", "Holder of the right, as a reference."),
        Column("licence_terms", "text", "Its terms."),
        choice("licence_counts", ("sold", "grafted"), "What is owed for. Left out: not told."),
        RETIRED,
    ),
    (
        {"date": "2026-01-01", "site": "CORIN", "code": "NAVEL", "crop": "citrus",
         "species": "Citrus sinensis", "epithet": "Navelina"},
        {"date": "2026-01-01", "site": "CORIN", "code": "LIMA", "crop": "citrus",
         "species": "Citrus limon", "epithet": "Eureka"},
    ),
)  # fmt: skip

ROOTSTOCKS = Sheet(
    "rootstocks",
    "Rootstocks",
    "What it is grafted on.",
    EACH_ROW,
    (
        DATE,
        SITE,
        CODE,
        Column("crop", "word", "Such as citrus.", True),
        Column("name", "text", "Its name.", True),
        RETIRED,
    ),
    (
        {"date": "2026-01-01", "site": "CORIN", "code": "CARRIZO", "crop": "citrus",
         "name": "Carrizo citrange"},
    ),
)  # fmt: skip

SIZES = Sheet(
    "sizes",
    "Sizes",
    "Containers and field sizes.",
    EACH_ROW,
    (
        DATE,
        SITE,
        CODE,
        Column("label", "text", "What is on the label, such as 2 litre.", True),
        Column("rank", "whole_or_zero", "Small to large.", least=0, most=1000),
        RETIRED,
    ),
    (
        {"date": "2026-01-01", "site": "CORIN", "code": "P9", "label": "9 cm pot", "rank": "1"},
        {"date": "2026-01-01", "site": "CORIN", "code": "L2", "label": "2 litre", "rank": "2"},
    ),
)  # fmt: skip

SOURCE_TREES = Sheet(
    "source_trees",
    "Source trees",
    "Registered trees that budwood is cut from.",
    EACH_ROW,
    (
        DATE,
        SITE,
        CODE,
        Column("cultivar", "code", "What it is.", True),
        choice("tree_class", ("foundation", "increase", "scion", "own"), "Left out: own."),
        Column("registration", "ref", "Its number in the scheme."),
        Column("last_tested_on", "day", "Day of the last test."),
        Column("expires_on", "day", "Last day of its registration."),
        RETIRED,
    ),
    (
        {"date": "2026-01-01", "site": "CORIN", "code": "ST-1", "cultivar": "NAVEL",
         "tree_class": "increase", "registration": "REG-114", "expires_on": "2027-01-01"},
    ),
)  # fmt: skip
