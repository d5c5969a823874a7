"""What fits the grafting to do: bags for its buds, liners for its stocks, and who takes which.

Buds and liners are given out order by order, the oldest wood that still keeps first, so that no
bud is offered twice. Wood past its day is shown, never given out; what is held does not come here.
"""

from collections.abc import Iterable
from datetime import date, timedelta

import msgspec

from service.trade.keeping import KEEPING_DAYS
from service.trade.methods import METHODS

NO_DAY = date(9999, 12, 31)


class BagThere(msgspec.Struct, kw_only=True):
    """A bag with buds in it at a place. `day`: of cutting, else of receipt, if known."""

    bag: str
    lot: str
    place: str
    cultivar: str
    buds: int
    basis: str
    buds_per_piece: int | None
    use_by: date | None
    past_use_by: bool

    @property
    def order(self) -> tuple[object, ...]:
        """What keeps shortest first; what is past its day last."""
        return (self.past_use_by, self.use_by or NO_DAY, self.bag, self.place)


class LinersThere(msgspec.Struct, kw_only=True):
    """Liners of one lot and size at a place. `day`: of receipt."""

    lot: str
    place: str
    size: str
    rootstock: str
    day: date | None
    count: int

    @property
    def order(self) -> tuple[object, ...]:
        """The oldest lot first."""
        return (self.day or NO_DAY, self.lot, self.place, self.size)


class Wanted(msgspec.Struct, frozen=True, kw_only=True):
    """So many trees still to graft of a cultivar on a rootstock, or on one liner lot of it."""

    cultivar: str
    rootstock: str
    liner_lot: str | None
    method: str | None
    left: int


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """So many trees out of one bag onto liners at one place; None where nothing is left of it."""

    count: int
    bag: BagThere | None
    liners: LinersThere | None


def use_by(crop: str | None, day: date | None) -> date | None:
    """The last day wood cut on `day` keeps, where the crop's keeping time is known."""
    keeps = KEEPING_DAYS.get(crop or "")
    return None if keeps is None or day is None else day + timedelta(days=keeps)


def buds_per_tree(method: str | None, buds_per_piece: int | None = None) -> int:
    """Buds that a tree takes: the piece's own, else the method's, else one at least."""
    return buds_per_piece or (METHODS[method].buds_per_tree if method else 1)


def buds_wanted(orders: Iterable[tuple[int, str | None]]) -> int:
    """Buds that open grafting orders still take, each told by the trees left to graft and its
    method: the method's buds for each tree, at least one where no method is said."""
    return sum(max(left, 0) * buds_per_tree(method) for left, method in orders)


def fits_bag(wanted: Wanted, bag: BagThere) -> bool:
    """Whether the bag's wood is of what is wanted."""
    return bag.cultivar == wanted.cultivar


def fits_liners(wanted: Wanted, liners: LinersThere) -> bool:
    """Whether they are the stocks that are wanted."""
    return liners.rootstock == wanted.rootstock and wanted.liner_lot in (None, liners.lot)


class Supply:
    """Buds and liners that are there, given out order by order."""

    def __init__(self, bags: Iterable[BagThere], liners: Iterable[LinersThere]) -> None:
        self.bags = sorted(bags, key=lambda bag: bag.order)
        self.liners = sorted(liners, key=lambda one: one.order)
        self._buds = {id(bag): 0 if bag.past_use_by else bag.buds for bag in self.bags}
        self._plants = {id(one): one.count for one in self.liners}

    def give(self, wanted: Wanted) -> list[Part]:
        """Take what the order still wants out of what is left, as the rows of a day sheet.

        The parts sum to `wanted.left`; the rest that no bag or no liners are there for is in parts
        without them.
        """
        wood = self._wood(wanted)
        stocks = self._stocks(wanted)
        parts: list[Part] = []
        left = wanted.left
        while left > 0:
            bag, trees = wood[0] if wood else (None, left)
            liners, plants = stocks[0] if stocks else (None, left)
            count = min(left, trees, plants)
            parts.append(Part(count=count, bag=bag, liners=liners))
            left -= count
            if bag is not None:
                self._buds[id(bag)] -= count * buds_per_tree(wanted.method, bag.buds_per_piece)
                wood[0] = (bag, trees - count)
            if liners is not None:
                self._plants[id(liners)] -= count
                stocks[0] = (liners, plants - count)
            wood = [one for one in wood if one[1]]
            stocks = [one for one in stocks if one[1]]
        return parts

    def _wood(self, wanted: Wanted) -> list[tuple[BagThere, int]]:
        """Fitting bags with how many trees each still has buds for."""
        found = [
            (bag, self._buds[id(bag)] // buds_per_tree(wanted.method, bag.buds_per_piece))
            for bag in self.bags
            if fits_bag(wanted, bag)
        ]
        return [one for one in found if one[1]]

    def _stocks(self, wanted: Wanted) -> list[tuple[LinersThere, int]]:
        found = [(one, self._plants[id(one)]) for one in self.liners if fits_liners(wanted, one)]
        return [one for one in found if one[1]]

    def buds_left(self, wanted: Wanted, day: date) -> int:
        """Buds that are not given out, in fitting bags that keep until `day`."""
        return sum(
            self._buds[id(bag)]
            for bag in self.bags
            if fits_bag(wanted, bag) and (bag.use_by or NO_DAY) >= day
        )

    def liners_left(self, wanted: Wanted) -> int:
        """Fitting liners that are not given out."""
        return sum(self._plants[id(one)] for one in self.liners if fits_liners(wanted, one))
