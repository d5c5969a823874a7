"""The sheets a nursery fills in: what each column is called and holds.

A sheet's header is the names of its columns; what is printed for the bench has the same ones, so
that it can be typed back as it is. `to_fill` columns are left empty on a printed sheet: they are
what is written at the bench, and a row in which all of them are empty is skipped.
"""

from service.sheets.column import (
    BASES,
    BASIS,
    BUDS,
    CAUSES,
    CULTIVAR,
    CUT_ON,
    DATE,
    DOCUMENT,
    GRADE,
    LOT,
    METHOD,
    PERSON,
    PLACE,
    ROOTSTOCK,
    SHEET,
    SITE,
    SIZE,
    SOURCE_TREE,
    STAGE,
    STAGES,
    STICKS,
    SUPPLIER,
    Column,
    Sheet,
    choice,
    needed,
)
from service.sheets.entries import CULTIVARS, PLACES, ROOTSTOCKS, SITES, SIZES, SOURCE_TREES

BAGS = Sheet(
    "bags",
    "Budwood in bags",
    "Bags of budwood that were cut here, came in, or lay in the cooler when the books were opened.",
    "Rows of one date, site and budwood_lot that were cut or received alike are one cutting or one "
    "receipt; what they say of the lot must be the same. A row without budwood_lot is a lot of its "
    "own.",
    (
        DATE,
        SITE,
        choice("how", ("cut", "received", "opening"), "How the bag came to be here.", True),
        Column("budwood_lot", "code", "The cutting's code; needed for an opening."),
        CULTIVAR,
        SOURCE_TREE,
        SUPPLIER,
        CUT_ON,
        DOCUMENT,
        Column("bag", "code", "The bag's code; left out: the service makes one."),
        needed(BUDS),
        STICKS,
        BASIS,
        PLACE,
        PERSON,
        SHEET,
    ),
    (
        {"date": "2026-03-02", "site": "CORIN", "how": "cut", "budwood_lot": "BW-31",
         "cultivar": "NAVEL", "source_tree": "ST-1", "bag": "B-0311", "buds": "45", "sticks": "3",
         "place": "C-BOX", "person": "p-04"},
        {"date": "2026-03-02", "site": "CORIN", "how": "cut", "budwood_lot": "BW-31",
         "cultivar": "NAVEL", "source_tree": "ST-1", "bag": "B-0312", "buds": "40", "sticks": "3",
         "basis": "estimated", "place": "C-BOX", "person": "p-04"},
        {"date": "2026-03-02", "site": "CORIN", "how": "received", "budwood_lot": "BW-32",
         "cultivar": "LIMA", "supplier": "sup-01", "cut_on": "2026-02-27", "document": "PP-7781",
         "bag": "B-0321", "buds": "60", "sticks": "4", "place": "C-BOX"},
        {"date": "2026-03-02", "site": "CORIN", "how": "opening", "budwood_lot": "BW-09",
         "bag": "B-0090", "buds": "20", "basis": "at_least", "place": "C-BOX"},
    ),
)  # fmt: skip

LINERS = Sheet(
    "liners",
    "Liners",
    "Liners that were received, sown or thinned together, or stood there when the books were "
    "opened.",
    "Rows of one date, site and liner_lot that came alike are one receipt at several places; what "
    "they say of the lot must be the same. A row without liner_lot is a lot of its own.",
    (
        DATE,
        SITE,
        choice("how", ("received", "sown", "thinned", "opening"), "How they came to be here.",
               True),
        Column("liner_lot", "code", "The liner lot's code; needed for an opening."),
        Column("rootstock", "code", "Which rootstock; empty only in an opening: unknown."),
        needed(SIZE),
        SUPPLIER,
        Column("seed_source", "text", "Where the seed is from."),
        DOCUMENT,
        PLACE,
        Column("count", "whole", "How many stand at the place.", True),
        BASIS,
        PERSON,
        SHEET,
    ),
    (
        {"date": "2026-02-20", "site": "CORIN", "how": "received", "liner_lot": "LN-12",
         "rootstock": "CARRIZO", "size": "P9", "supplier": "sup-02", "place": "C-T1",
         "count": "240"},
        {"date": "2026-02-20", "site": "CORIN", "how": "received", "liner_lot": "LN-12",
         "rootstock": "CARRIZO", "size": "P9", "supplier": "sup-02", "place": "C-T2",
         "count": "160"},
        {"date": "2026-02-20", "site": "CORIN", "how": "opening", "liner_lot": "LN-03",
         "size": "P9", "place": "C-T2", "count": "35", "basis": "estimated"},
    ),
)  # fmt: skip

GRAFTING = Sheet(
    "grafting",
    "A day's grafting",
    "What was grafted: a row for each lot or bag and each grafter.",
    "Rows of one date, site and lot are one grafting; without a lot, rows of one date, site, "
    "work_order, bag, liner_lot, liner_place, method, place and grown_for are. Each grafter's "
    "counts are summed. In one grafting either every row names its grafter or none does.",
    (
        DATE,
        SITE,
        Column("work_order", "code", "The order that it was grafted for, if any."),
        Column("lot", "code", "Code of the new tree lot; left out: the service makes one."),
        Column("bag", "code", "The bag the buds came out of.", True),
        Column("liner_lot", "code", "What was grafted on.", True),
        Column("liner_place", "code", "Where the liners stood, if that is not plain."),
        needed(METHOD),
        Column("place", "code", "Where the trees stand after grafting.", True),
        Column("grown_for", "ref", "The customer it is grown for, if any."),
        Column("grafter", "ref", "Who grafted, as a reference such as p-03.", to_fill=True),
        Column("count", "whole", "Trees grafted.", True, True),
        Column(
            "buds",
            "whole",
            "Buds taken out of the bag; left out: what the method takes for the count.",
            to_fill=True,
        ),
        SHEET,
    ),
    (
        {"date": "2026-03-05", "site": "CORIN", "lot": "TR-71", "bag": "B-0311",
         "liner_lot": "LN-12", "liner_place": "C-T1", "method": "inverted_t_bud", "place": "C-T1",
         "grafter": "p-03", "count": "24"},
        {"date": "2026-03-05", "site": "CORIN", "lot": "TR-71", "bag": "B-0312",
         "liner_lot": "LN-12", "liner_place": "C-T1", "method": "inverted_t_bud", "place": "C-T1",
         "grafter": "p-05", "count": "18", "buds": "20"},
        {"date": "2026-03-05", "site": "CORIN", "bag": "B-0321", "liner_lot": "LN-12",
         "liner_place": "C-T2", "method": "chip_bud", "place": "C-T2", "grafter": "p-03",
         "count": "30"},
    ),
)  # fmt: skip

COUNTS = Sheet(
    "counts",
    "A count sheet",
    "Push counts (pushed, waiting, failed, unclear, and what was taken away dead) and stock counts "
    "(counted). A row is the one or the other.",
    "Push counts: rows of one date, site, lot, place and size are one count; the second and later "
    "ones say only what else was removed, and why. Stock counts: rows of one date, site, place and "
    "person are one count; a reason that is left out is that of the row above.",
    (
        DATE,
        SITE,
        needed(PLACE),
        Column("lot", "code", "The lot; of budwood name the bag instead."),
        Column("bag", "code", "The bag, where buds were counted."),
        STAGE,
        SIZE,
        GRADE,
        Column("pushed", "whole_or_zero", "Trees whose scion bud grows.", to_fill=True),
        Column("waiting", "whole_or_zero", "Alive or unknown, not pushed yet.", to_fill=True),
        Column(
            "failed",
            "whole_or_zero",
            "Scion dead, stock alive. Empty: not counted, they stay as the book has them.",
            to_fill=True,
        ),
        Column("unclear", "whole_or_zero", "Could not be told.", to_fill=True),
        Column("removed", "whole", "Taken away dead.", to_fill=True),
        Column("cause", "choice", "Why they were dead.", to_fill=True, choices=CAUSES),
        Column("counted", "whole_or_zero", "A stock count: how many there are.", to_fill=True),
        Column("reason", "text", "Why stock was counted.", to_fill=True),
        PERSON,
        SHEET,
    ),
    (
        {"date": "2026-04-02", "site": "CORIN", "place": "C-T1", "lot": "TR-71", "size": "P9",
         "pushed": "15", "waiting": "20", "failed": "4", "removed": "2", "cause": "dead_stock",
         "person": "p-04"},
        {"date": "2026-04-02", "site": "CORIN", "place": "C-T1", "lot": "TR-71", "size": "P9",
         "removed": "1", "cause": "breakage", "person": "p-04"},
        {"date": "2026-04-02", "site": "CORIN", "place": "C-T2", "lot": "LN-12", "size": "P9",
         "counted": "131", "reason": "month's end", "person": "p-04"},
        {"date": "2026-04-02", "site": "CORIN", "place": "C-BOX", "bag": "B-0321", "counted": "28",
         "reason": "month's end", "person": "p-04"},
    ),
)  # fmt: skip

OPENING = Sheet(
    "opening",
    "Opening stock",
    "What stood there on the day the books were opened: budwood, liners and trees. What is not "
    "known stays empty and is shown as unknown.",
    "Rows of one lot are one opening; what they say of the lot must be the same.",
    (
        DATE,
        SITE,
        choice("what", ("budwood", "liners", "trees"), "What stands there.", True),
        needed(LOT),
        CULTIVAR,
        ROOTSTOCK,
        SOURCE_TREE,
        CUT_ON,
        METHOD,
        Column("grafted_on", "day", "Day of grafting; empty: unknown."),
        Column("bag", "code", "Of budwood: the bag's code; left out: the service makes one."),
        STICKS,
        choice("stage", STAGES, "Of trees, needed for them."),
        Column("size", "code", "Container or field size; needed for liners and trees."),
        GRADE,
        PLACE,
        Column("count", "whole", "How many: plants, or buds in the bag.", True),
        choice("basis", BASES, "Of budwood and liners: how sure the figure is; left out: counted."),
        SHEET,
    ),
    (
        {"date": "2026-03-01", "site": "CORIN", "what": "budwood", "lot": "BW-08",
         "cultivar": "NAVEL", "bag": "B-0081", "place": "C-BOX", "count": "30",
         "basis": "estimated"},
        {"date": "2026-03-01", "site": "CORIN", "what": "liners", "lot": "LN-02",
         "rootstock": "CARRIZO", "size": "P9", "place": "C-T1", "count": "180"},
        {"date": "2026-03-01", "site": "CORIN", "what": "trees", "lot": "TR-60",
         "cultivar": "NAVEL", "rootstock": "CARRIZO", "method": "t_bud",
         "grafted_on": "2025-09-14", "stage": "pushed", "size": "P9", "place": "C-T1",
         "count": "96"},
        {"date": "2026-03-01", "site": "CORIN", "what": "trees", "lot": "TR-UNK1",
         "stage": "ready", "size": "L2", "grade": "first", "place": "C-T2", "count": "12"},
    ),
)  # fmt: skip

# In the order a nursery that starts needs them.
SHEETS: dict[str, Sheet] = {
    sheet.name: sheet
    for sheet in (
        SITES,
        PLACES,
        CULTIVARS,
        ROOTSTOCKS,
        SIZES,
        SOURCE_TREES,
        OPENING,
        BAGS,
        LINERS,
        GRAFTING,
        COUNTS,
    )
}
