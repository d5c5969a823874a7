"""What grafting is made of: bags of budwood in the cooler and liners in the bed."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from seed_scenario import nursery
from seed_scenario.crops import Manner, Planned

if TYPE_CHECKING:
    from seed_scenario.year import Year

# Liners that a delivery brings beyond what is planned to be grafted, of 1.
_SPARE = 1.08
_AHEAD_DAYS = 31


class Wood:
    """A budwood lot and its bags, with the buds left in each by the book."""

    def __init__(
        self, lot: str, cultivar: str, source: str, place: str, day: date, bags: dict[str, int]
    ) -> None:
        self.lot, self.cultivar, self.source = lot, cultivar, source
        self.place, self.day, self.bags = place, day, bags

    @property
    def left(self) -> int:
        """Buds in all bags."""
        return sum(self.bags.values())

    def take(self, buds: int) -> list[dict[str, Any]]:
        """Lines that take so many buds out of the bags, the first bag first."""
        lines = []
        for bag, held in self.bags.items():
            part = min(held, buds)
            if part:
                self.bags[bag] -= part
                buds -= part
                lines.append({"bag": bag, "buds": part})
        assert not buds, "less was cut than is needed"
        return lines

    def pieces(self, buds_each: int) -> int:
        """Whole pieces that the bags give."""
        return sum(held // buds_each for held in self.bags.values())


class Cooler:
    """The budwood of all sites."""

    def __init__(self, year: "Year") -> None:
        self.year = year
        self._woods: dict[tuple[str, str], list[Wood]] = defaultdict(list)

    def cut(
        self,
        site: str,
        cultivar: str,
        buds: int,
        source: str | None = None,
        *,
        shared: bool = False,
    ) -> Wood:
        """Cut budwood for so many buds and a little more; knives are disinfected before.

        `shared`: later lots may use what is left.
        """
        year, chance = self.year, self.year.chance
        who, letter = year.person(site), nursery.LETTER[site]
        if source is None:
            trees = nursery.SOURCE_TREES.items()
            source = chance.choice([code for code, t in trees if t[:2] == (cultivar, site)])
        cleaning = {"person": who, "product": "household bleach, fresh today"}
        cleaning |= {"strength": "20 % by volume", "before": source}
        year.say("tools.disinfected", site, cleaning, who)
        lot, place = year.code(f"{letter}-W"), nursery.COOLER[site]
        bags: dict[str, int] = {}
        while sum(bags.values()) < buds + 4:
            bags[f"{lot}-{len(bags) + 1}"] = chance.choice([15, 15, 16, 17, 18])
        fills = [
            {"bag": bag, "buds": held, "sticks": chance.choice([2, 3, 3, 4]), "place": place}
            for bag, held in bags.items()
        ]
        data = {"lot": lot, "cultivar": cultivar, "source_tree": source, "bags": fills}
        if chance.random() < 0.3:
            data["witness"] = year.person(site)
        year.say("budwood.cut", site, data, who)
        wood = Wood(lot, cultivar, source, place, year.today, bags)
        if shared:
            self._woods[site, cultivar].append(wood)
        return wood

    def wood(self, site: str, cultivar: str, manner: Manner, count: int) -> Wood:
        """Wood for so many trees: of a bag that lies in the cooler, else cut today."""
        today = self.year.today
        for wood in self._woods[site, cultivar]:
            if (today - wood.day).days <= manner.keeps and self._suffices(wood, manner, count):
                return wood
        lots = self.year.chance.choice([1, 2, 2, 3])
        each = manner.buds + 1 if manner.prepared else manner.buds
        wood = self.cut(site, cultivar, lots * count * each, shared=True)
        self.year.on(
            manner.keeps + self.year.chance.randint(1, 6), partial(self._clear, site, wood)
        )
        self.year.on(3, partial(self._dry, site, wood))
        return wood

    @staticmethod
    def _suffices(wood: Wood, manner: Manner, count: int) -> bool:
        if manner.prepared:
            return wood.pieces(manner.buds) >= count
        return wood.left >= manner.buds * count

    def prepare(self, site: str, wood: Wood, count: int, buds: int) -> list[dict[str, Any]]:
        """Pieces cut and wrapped beforehand, each bag into a bag of pieces of its own."""
        who, lines, left = self.year.person(site), [], count
        for bag, held in list(wood.bags.items()):
            pieces = min(left, held // buds)
            if not pieces:
                continue
            rest = held - buds * pieces
            waste = rest if rest < buds else 0
            into = self.year.code(f"{bag}P")
            data: dict[str, Any] = {"bag": bag, "into": into, "pieces": pieces}
            data |= {"buds_per_piece": buds, "length_mm": 60, "waste": waste}
            self.year.say("scions.prepared", site, {**data, "wrap": "stretch film"}, who)
            wood.bags[bag] -= buds * pieces + waste
            left -= pieces
            lines.append({"bag": into, "buds": buds * pieces})
        assert not left, "less was cut than is needed"
        return lines

    def _dry(self, site: str, wood: Wood) -> None:
        """Some bags hold a bud or two less when somebody counts them again; some go mouldy."""
        chance, full = self.year.chance, [bag for bag, held in wood.bags.items() if held > 4]
        if not full or chance.random() > 0.25:
            return
        bag, less = full[-1], chance.choice([1, 1, 2])
        wood.bags[bag] -= less
        if chance.random() < 0.5:
            data: dict[str, Any] = {"lines": [{"bag": bag, "counted": wood.bags[bag]}]}
            data["reason"] = "bags looked through"
            who = self.year.person(site)
            self.year.say("stock.counted", site, data, who, remarks=("count_differs",))
            return
        cause = chance.choice(["dried", "mould"])
        data = {"lines": [{"bag": bag, "buds": less}], "cause": cause}
        self.year.say("budwood.discarded", site, data, self.year.person(site))

    def _clear(self, site: str, wood: Wood) -> None:
        self._woods[site, wood.cultivar].remove(wood)
        self.clear(site, wood)

    def clear(self, site: str, wood: Wood) -> None:
        """What is left when the wood is old is thrown away, or sold, or lies on for a while."""
        left = {bag: held for bag, held in wood.bags.items() if held}
        who, fate = self.year.person(site), self.year.chance.random()
        if not left or fate > 0.93:
            return
        if fate < 0.15:
            lines = [{"bag": bag, "buds": held} for bag, held in left.items()]
            sold = {"customer": f"cust-{self.year.chance.randint(41, 48)}", "lines": lines}
            self.year.say("budwood.sold", site, sold, who)
        else:
            cause = self.year.chance.choice(["left_over", "left_over", "dried", "mould"])
            data = {"lines": [{"bag": bag} for bag in left], "cause": cause}
            self.year.say("budwood.discarded", site, data, who)
        for bag in left:
            wood.bags[bag] = 0


class Liners:
    """The liner lots of all sites, with what is left of each in the bed by the book."""

    def __init__(self, year: "Year") -> None:
        self.year = year
        self.left: dict[tuple[str, str], dict[str, int]] = defaultdict(dict)
        self._since: dict[str, date] = {}

    def plan(self, planned: list[Planned]) -> None:
        """Deliveries month by month, of what will be grafted in the month and a little more."""
        wanted: dict[tuple[str, str, int], int] = defaultdict(int)
        for lot in planned:
            month = (lot.day - self.year.first).days // _AHEAD_DAYS
            wanted[lot.season.site, lot.rootstock, month] += lot.trees
        for (site, rootstock, month), count in sorted(wanted.items()):
            day = max(month * _AHEAD_DAYS - 6, 8)
            self.year.on(day, partial(self.receive, site, rootstock, int(count * _SPARE) + 20))

    def receive(self, site: str, rootstock: str, count: int) -> str:
        """A delivery, or the nursery's own seedlings, potted where a pot is wanted."""
        year, letter, bed = self.year, nursery.LETTER[site], nursery.LINER_BED[site]
        who, lot, field = year.person(site), year.code(f"{letter}-L"), site == "ELDRA"
        data: dict[str, Any] = {"lot": lot, "rootstock": rootstock}
        data |= {"size": "BARE" if field else "PLUG", "lines": [{"place": bed, "count": count}]}
        sown = year.chance.random() < 0.3 and not field
        data |= {"origin": "sown"} if sown else {"supplier": nursery.SUPPLIERS[site]}
        year.say("liners.received", site, data, who)
        if not field:
            potted = {"lot": lot, "place": bed, "size": "PLUG", "count": count, "to_size": "P1"}
            year.say("liners.potted", site, potted, who)
        self.left[site, rootstock][lot], self._since[lot] = count, year.today
        year.on(year.chance.randint(4, 7), partial(self._thin, site, rootstock, lot))
        return lot

    def _thin(self, site: str, rootstock: str, lot: str) -> None:
        """A few of a delivery die, or are not worth keeping."""
        left = self.left[site, rootstock]
        dead = min(left[lot], self.year.chance.randint(2, 9))
        cause = self.year.chance.choice(["dead_stock", "waterlogging", "damaged", "culled"])
        self.take(site, lot, dead)
        data = {**self.where(site, lot), "count": dead, "cause": cause}
        if dead:
            self.year.say("liners.discarded", site, data, self.year.person(site))

    def where(self, site: str, lot: str) -> dict[str, Any]:
        """Lot, place and size as events name them."""
        return {"lot": lot, "place": nursery.LINER_BED[site], "size": nursery.pot(site)}

    def take(self, site: str, lot: str, count: int) -> None:
        """So many leave the bed."""
        for (where, _), lots in self.left.items():
            if where == site and lot in lots:
                lots[lot] -= count

    def onto(self, site: str, rootstock: str, count: int) -> dict[str, Any]:
        """The liner lot that has enough, less what is taken now; else a pallet comes today."""
        lots = self.left[site, rootstock]
        lot = next((code for code, left in lots.items() if left >= count), None)
        if lot is None:
            lot = self.receive(site, rootstock, count + 40)
        lots[lot] -= count
        where = self.where(site, lot)
        return {"liner_lot": where.pop("lot"), **where}

    def standing(self, site: str, days: int = 0) -> Iterator[tuple[str, int]]:
        """Liner lots that have been at a site for so many days, with what is left of each."""
        latest = self.year.today - timedelta(days=days)
        for (where, _), lots in self.left.items():
            if where == site:
                yield from (
                    (lot, left)
                    for lot, left in lots.items()
                    # of what was there at the opening the script keeps some back
                    if left > 0 and self._since.get(lot, date.max) <= latest
                )
