"""How each crop is worked by each method, and when in the year it is grafted where."""

from datetime import date, timedelta
from typing import NamedTuple


class Manner(NamedTuple):
    """How a crop is worked by a method. Days are from grafting.

    `take_read`: unwrapping; `walk_from`: month in which the walks along the tables begin (None:
    from the reading of the take on), `walk_every` days; `pot`: when the pushed are potted on (None:
    never); `grade`: first look for what is ready at the latest; `keeps`: days that wood is used.
    """

    crop: str
    method: str
    buds: int
    take_read: int
    pot: int | None
    grade: int
    keeps: int
    walk_every: int = 7
    prepared: bool = False
    forced: bool = False
    walk_from: int | None = None


MANNERS = {
    one.crop + " " + one.method: one
    for one in (
        Manner("citrus", "inverted_t_bud", 1, 17, 112, 172, 30, forced=True),
        Manner("citrus", "chip_bud", 1, 20, 118, 176, 30, forced=True),
        Manner("avocado", "cleft", 3, 33, 140, 235, 12, prepared=True),
        Manner("avocado", "side", 3, 35, 140, 240, 12, prepared=True),
        Manner("mango", "side_veneer", 3, 25, 125, 205, 5, prepared=True),
        Manner("mango", "cleft", 3, 27, 125, 205, 5, prepared=True),
        Manner("apple", "whip_and_tongue", 3, 38, None, 205, 50, walk_every=10),
        Manner("apple", "chip_bud", 1, 24, None, 390, 4, walk_every=14, walk_from=4),
    )
}


class Season(NamedTuple):
    """When a site grafts what: first and last day (month, day), weekdays (Monday is 0), and how
    many lots a grafting day has, relative to the other seasons."""

    site: str
    manner: str
    cultivars: tuple[str, ...]
    rootstocks: tuple[str, ...]
    start: tuple[int, int]
    end: tuple[int, int]
    weekdays: tuple[int, ...]
    lots: float

    def has(self, day: date) -> bool:
        """Whether it is a grafting day of the season."""
        at = (day.month, day.day)
        inside = (
            self.start <= at <= self.end
            if self.start <= self.end
            else at >= self.start or at <= self.end
        )
        return inside and day.weekday() in self.weekdays


_SWEET = ("NAVEL", "VALEN", "CLEMEN", "EUREKA")
_APPLES = ("BOSKOOP", "GRAVEN", "COX")
_C, _T, _E = (0, 2, 3), (1, 3), (1, 4)
SEASONS = (
    Season("CORIN", "citrus chip_bud", _SWEET, ("CARRIZO",), (2, 12), (3, 14), _C, 0.8),
    Season("CORIN", "citrus inverted_t_bud", _SWEET, ("CARRIZO",), (3, 20), (6, 30), _C, 2.0),
    Season("CORIN", "citrus inverted_t_bud", _SWEET, ("CARRIZO",), (8, 28), (10, 2), _C, 1.6),
    Season("TARNA", "citrus inverted_t_bud", _SWEET[::3], ("SWINGLE",), (9, 8), (11, 25), _T, 1.4),
    Season("TARNA", "citrus inverted_t_bud", _SWEET[::3], ("SWINGLE",), (2, 20), (4, 5), _T, 1.2),
    Season("TARNA", "avocado cleft", ("HASS", "REED"), ("ZUTANO",), (8, 14), (10, 20), _T, 1.2),
    Season("TARNA", "avocado side", ("HASS", "REED"), ("ZUTANO",), (3, 25), (5, 10), _T, 0.9),
    Season("TARNA", "mango cleft", ("KEITT", "KENT"), ("KENSING",), (10, 1), (11, 10), _T, 0.8),
    Season("TARNA", "mango side_veneer", ("KEITT", "KENT"), ("KENSING",), (11, 11), (2, 10), _T, 1),
    Season("ELDRA", "apple whip_and_tongue", _APPLES, ("MM106", "M9"), (2, 10), (4, 5), _E, 1.8),
    Season("ELDRA", "apple chip_bud", _APPLES, ("M9", "MM106"), (7, 25), (9, 5), _E, 2.0),
)


class Planned(NamedTuple):
    """A lot that will be grafted: when, what on what, how many."""

    day: date
    season: Season
    cultivar: str
    rootstock: str
    trees: int


def grafting_days(first: date, last: date) -> list[tuple[date, Season]]:
    """Every grafting day of every season between two days."""
    days = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    return [(day, season) for day in days for season in SEASONS if season.has(day)]
