"""What the books know of what can be promised ahead: supply, what went out, overrides."""

from datetime import date

import msgspec

# An item at a site: cultivar, rootstock, size, grade, site. As a set of stock, an empty grade is
# any grade and an empty site all sites.
OutKey = tuple[str, str, str, str, str]


class Supply(msgspec.Struct, frozen=True, gc=False):
    """What the forecast told of a set of stock, at the nursery's confidence.

    `first` an ordinal; a quantity for it and for each step after it (`promising.STEP_DAYS`).
    `went_out`: what had gone out by then; `grown_for` lots are neither in it nor in `quantities`.
    """

    first: int
    quantities: list[int]
    went_out: int


class ItemOut(msgspec.Struct, kw_only=True, gc=False):
    """Trees of an item sold at a site. Only differences of `total` mean anything."""

    cultivar: str
    rootstock: str
    size: str
    grade: str
    site: str
    total: int


class Override(msgspec.Struct, kw_only=True, gc=False):
    """A quantity said by hand, for days from `from_day` to `until_day`; see `OutKey` for its set.

    `site` acts; with `any_site` it speaks of all sites together.
    """

    code: str
    site: str
    any_site: bool
    cultivar: str
    rootstock: str
    size: str
    grade: str
    quantity: int
    from_day: date
    until_day: date
    reason: str
    went_out: int
    position: int
    changed_position: int
    ended_day: date | None = None

    @property
    def of(self) -> OutKey:
        site = "" if self.any_site else self.site
        return (self.cultivar, self.rootstock, self.size, self.grade, site)


def covers(wide: OutKey, narrow: OutKey) -> bool:
    """Whether a set of stock holds the other, or is the same."""
    return wide[:3] == narrow[:3] and wide[3] in ("", narrow[3]) and wide[4] in ("", narrow[4])
