"""Accounts and legs: the double-entry of plants and buds."""

from datetime import date, datetime
from typing import NamedTuple

BUDS, PLANTS = "buds", "plants"
# Outside the nursery these two may be negative: plants and buds come from somewhere.
UNBOUNDED = frozenset({"source", "variance"})
STANDING = frozenset({"bag", "liners", "trees"})


class Key(NamedTuple):
    """What an account holds, within its lot. Empty text where a part does not apply.

    kind: source, variance, bag, used, discarded, liners, trees, transit, lost, customer.
    place: the consignment's code for transit. ref: the bag, cause, customer or supplier.
    """

    kind: str
    site: str
    place: str
    stage: str
    size: str
    grade: str
    ref: str
    commodity: str


class Leg(NamedTuple):
    """A change of one account of one lot, in buds or plants."""

    lot: str
    key: Key
    delta: int


class Posting(NamedTuple):
    """A leg as it is written: on its account, at its day, for the event at `position`."""

    lot_id: int
    account_id: int
    day: date
    at: datetime
    position: int
    site: str
    delta: int
    anchor: int | None


def bag(site: str, place: str, code: str) -> Key:
    return Key("bag", site, place, "", "", "", code, BUDS)


def liners(site: str, place: str, size: str) -> Key:
    return Key("liners", site, place, "", size, "", "", PLANTS)


# How a line names trees without a grade where graded ones stand beside them.
UNGRADED = "ungraded"


def grade_of(said: str | None) -> str:
    """The grade as accounts have it: empty for none."""
    return "" if said is None or said == UNGRADED else said


def trees(site: str, place: str, stage: str, size: str, grade: str | None = None) -> Key:
    return Key("trees", site, place, stage, size, grade_of(grade), "", PLANTS)


def gone(kind: str, site: str, ref: str, commodity: str) -> Key:
    """used, discarded, lost or customer."""
    return Key(kind, site, "", "", "", "", ref, commodity)


def source(site: str, ref: str, commodity: str) -> Key:
    return Key("source", site, "", "", "", "", ref, commodity)


def variance(site: str, commodity: str) -> Key:
    return Key("variance", site, "", "", "", "", "", commodity)


def in_transit(key: Key, consignment: str, to_site: str) -> Key:
    """The account, owned by the receiving site, of what stood on `key` while it travels."""
    return Key(
        "transit", to_site, consignment, key.stage, key.size, key.grade, key.ref, key.commodity
    )
