"""What stood at each site when its books were opened; unknown parts are left out."""

import random
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from seed_scenario.course import Course
from seed_scenario.crops import MANNERS
from seed_scenario.fate import Tree
from seed_scenario.nursery import LINER_BED
from seed_scenario.stand import Stand

if TYPE_CHECKING:
    from seed_scenario.year import Year

# Of the lots that stood there, those that go on like any other:
# lot, site, cultivar, rootstock, place, size, pushed, ready
_GO_ON = (
    ("O-C2", "CORIN", "EUREKA", "CARRIZO", "C-T8", "P4", 0, 30),
    ("O-C3", "CORIN", "VALEN", "CARRIZO", "C-T8", "P1", 30, 0),
    ("O-C4", "CORIN", "VALEN", "CARRIZO", "C-T8", "P1", 26, 0),
    ("O-T2", "TARNA", "NAVEL", "SWINGLE", "T-B5", "P1", 34, 0),
    ("O-E2", "ELDRA", "GRAVEN", "M9", "E-R6", "BARE", 0, 60),
    ("O-E3", "ELDRA", "DAWN7", "MM106", "E-R6", "BARE", 24, 0),
)
# Opened liners that are left alone, for what the script does with them.
_KEPT_LINERS = 50


def put_up(year: "Year") -> None:
    """Let the opened lots and liners go on from the first day."""
    for site in ("CORIN", "TARNA", "ELDRA"):
        for line in lines_of(site, year.first):
            if line["kind"] == "liners":
                left = year.liners.left[site, line["rootstock"]]
                left[line["lot"]] = line["count"] - _KEPT_LINERS
    for number, (lot, site, cultivar, rootstock, place, size, pushed, ready) in enumerate(_GO_ON):
        stand = Stand(lot, site, place, size)
        stand.of("pushed").extend(_trees(year, lot, pushed))
        stand.of("first").extend(_trees(year, lot, ready))
        manner = MANNERS["citrus inverted_t_bud"]
        course = Course(year, lot, cultivar, rootstock, manner, stand)
        year.courses.append(course)
        if pushed:
            year.followed.append((course, list(stand.of("pushed"))))
            year.on(35 + 5 * number, course.tops_off)
            year.on(81 + 11 * number, course.grade)
        year.on(75 + 4 * number, course.tend)


def _trees(year: "Year", lot: str, count: int) -> list[Tree]:
    """Trees that will be ready in some months, each on a day of its own."""
    chance, trees = random.Random(f"{year.seed} {lot} opening"), [Tree() for _ in range(count)]
    for tree in trees:
        tree.push_on = year.first
        tree.ready_on = year.first + timedelta(days=chance.randint(40, 150))
        tree.first = chance.random() < 0.7
    return trees


def lines_of(site: str, day: date) -> list[dict[str, Any]]:
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
            # in a corner of its table, as its like at the other sites: nobody knows what they are
            {"lot": "O-C6", **waiting, "place": "C-T6", "count": 10},
        ]
        wood = [{"kind": "budwood", "lot": "O-CW1", "cultivar": "NAVEL", "bags": [bag]}]
        liners = [("O-CL", "CARRIZO", "P1", 340)]
    elif site == "TARNA":
        trees = [
            {"lot": "O-T1", "cultivar": "HASS", "rootstock": "ZUTANO", **ready, "place": "T-B6"},
            {"lot": "O-T2", "cultivar": "NAVEL", "rootstock": "SWINGLE", **waiting},
            {"lot": "O-T3", **waiting, "place": "T-B7", "count": 12},
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
            {"lot": "O-E4", "stage": "pushed", "size": "BARE", "place": "E-R4", "count": 9},
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
