"""The invented year, day by day: what was done at three sites and when each person told it.

Pure and deterministic: the same last day and seed give the same requests, down to the ids.
"""

import random
from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Any

from seed_scenario import nursery, weather
from seed_scenario.course import MANNERS, Course, Manner, Stand
from seed_scenario.script import Script
from seed_scenario.telling import Request, Teller

SEED = 1907
DAYS = 365
WEATHER_DAYS = 730
# Lots a season: (site, crop, cultivars, rootstock, first and last day of the season, lots)
SEASONS = (
    ("CORIN", "citrus", ("NAVEL", "VALEN", "CLEMEN", "EUREKA"), "CARRIZO", (4, 6), (6, 20), 12),
    ("CORIN", "citrus", ("NAVEL", "CLEMEN"), "CARRIZO", (9, 4), (9, 28), 4),
    ("TARNA", "citrus", ("NAVEL", "EUREKA"), "SWINGLE", (9, 8), (11, 12), 6),
    ("TARNA", "citrus", ("EUREKA", "NAVEL"), "SWINGLE", (3, 2), (3, 28), 4),
    ("TARNA", "avocado", ("HASS",), "ZUTANO", (8, 14), (10, 12), 5),
    ("TARNA", "mango", ("KEITT",), "KENSING", (11, 20), (1, 20), 4),
    ("ELDRA", "apple", ("BOSKOOP", "GRAVEN"), "MM106", (2, 12), (3, 20), 8),
    ("ELDRA", "apple_bud", ("GRAVEN", "BOSKOOP"), "M9", (8, 3), (8, 26), 5),
)
LINERS = {
    "CORIN": ["CARRIZO"],
    "TARNA": ["SWINGLE", "ZUTANO", "KENSING"],
    "ELDRA": ["MM106", "M9"],
}


class Scenario:
    """All that the loader sends."""

    def __init__(
        self, requests: list[Request], temperatures: dict[str, list[tuple[date, float, float]]]
    ) -> None:
        self.requests = requests
        self.temperatures = temperatures

    @property
    def events(self) -> int:
        """How many events are told, those refused included."""
        return sum(len(request.events) for request in self.requests)


def scenario(last: date, seed: int = SEED) -> Scenario:
    """The year that ends on `last`, and two years of weather."""
    year = Year(last, seed)
    year.run()
    temperatures = {
        site: weather.temperatures(site, last, WEATHER_DAYS, seed) for site in nursery.SITES
    }
    return Scenario(year.teller.requests(), temperatures)


class Wood:
    """A budwood lot and its bags, with the buds left in each."""

    def __init__(self, lot: str, source: str, place: str, bags: dict[str, int]) -> None:
        self.lot, self.source, self.place, self.bags = lot, source, place, bags


class Year:
    """The calendar, what stands at the sites, and the voice that tells of it."""

    def __init__(self, last: date, seed: int) -> None:
        self.seed, self.last = seed, last
        self.first = self.today = last - timedelta(days=DAYS - 1)
        self.chance = random.Random(f"year {seed}")
        self.teller = Teller(seed, last)
        self.courses: list[Course] = []
        self.liners: dict[tuple[str, str], dict[str, int]] = {}
        self._calendar: dict[date, list[Callable[[], object]]] = {}
        self._numbers: dict[str, int] = {}
        self._neglected = {
            "C-T6": last - timedelta(days=33),
            "T-B7": last - timedelta(days=26),
            "E-R4": last - timedelta(days=47),
            "C-RET": last - timedelta(days=39),
        }
        self.script = Script(self)

    # -- the calendar ------------------------------------------------------------------

    def on(self, days: int, act: Callable[[], object]) -> None:
        """Do something so many days from today, if that is still in the year."""
        day = self.today + timedelta(days=days)
        # Nobody works on Sundays.
        self.on_day(day + timedelta(days=1) if day.weekday() == 6 else day, act)

    def on_day(self, day: date, act: Callable[[], object]) -> None:
        """Do something on a day, if it is in the year."""
        if self.today <= day <= self.last:
            self._calendar.setdefault(day, []).append(act)

    def run(self) -> None:
        """Live through the year."""
        self.script.plan()
        self._plan_seasons()
        self._plan_rounds()
        while self.today <= self.last:
            # A day's work may add to the day itself.
            todo = self._calendar.setdefault(self.today, [])
            while todo:
                todo.pop(0)()
            self.today += timedelta(days=1)

    def days_between(self, start: tuple[int, int], end: tuple[int, int]) -> list[date]:
        """The working days of the year that lie in a season of the calendar."""
        found = []
        for number in range(12, DAYS - 3):
            day = self.first + timedelta(days=number)
            at = (day.month, day.day)
            inside = start <= at <= end if start <= end else at >= start or at <= end
            if inside and day.weekday() != 6:
                found.append(day)
        return found

    def _plan_seasons(self) -> None:
        for site, crop, cultivars, rootstock, start, end, lots in SEASONS:
            days = self.days_between(start, end)
            for number in range(lots):
                day = days[(2 * number + 1) * len(days) // (2 * lots)]
                cultivar = cultivars[number % len(cultivars)]
                manner = MANNERS[crop]
                self.on_day(day, partial(self.graft, site, cultivar, rootstock, manner))

    def _plan_rounds(self) -> None:
        """Rounds over the tables, sales, deliveries: what comes again and again."""
        for site, tables in nursery.TABLES.items():
            apart = [nursery.RETURNS[site]] if site in nursery.RETURNS else []
            for number, table in enumerate([*tables, *apart]):
                self.on(3 + number % 6, partial(self._look, site, table))
            self.on(9, partial(self._sell, site))
            for month in range(1, 12, 2):
                self.on(30 * month, partial(self._treat, site))
            for back in (DAYS - 20, DAYS - 110, DAYS - 200, DAYS - 290):
                self.on(DAYS - back, partial(self._liners_in, site))

    # -- telling -------------------------------------------------------------------------

    def say(
        self,
        kind: str,
        site: str,
        data: dict[str, Any],
        actor: str,
        late: int = 0,
        remarks: tuple[str, ...] = (),
        **more: Any,
    ) -> dict[str, Any]:
        """Something done today, written down in the evening, or some days late."""
        event = self.teller.event(kind, site, self.today, data, actor, **more)
        self.teller.evening(event, self.today + timedelta(days=late), remarks)
        return event

    def people(self, site: str) -> list[str]:
        """Who works there."""
        return nursery.PEOPLE[site]

    def code(self, stem: str) -> str:
        """The next code of a kind, such as C-G07."""
        self._numbers[stem] = self._numbers.get(stem, 0) + 1
        return f"{stem}{self._numbers[stem]:02d}"

    def neglected(self, place: str) -> bool:
        """Whether nobody goes there any more."""
        return place in self._neglected and self.today > self._neglected[place]

    def another_table(self, site: str, place: str) -> str:
        """A table of the site other than this one."""
        tables = [t for t in nursery.TABLES[site] if t != place and t not in self._neglected]
        return self.chance.choice(tables)

    # -- grafting ------------------------------------------------------------------------

    def cut(self, site: str, cultivar: str, buds: int, source: str | None = None) -> Wood:
        """Cut budwood for so many buds and a little more; knives are disinfected before."""
        who, letter = self.chance.choice(self.people(site)), nursery.LETTER[site]
        if source is None:
            found = nursery.SOURCE_TREES.items()
            source = self.chance.choice([c for c, t in found if t[:2] == (cultivar, site)])
        cleaning = {"person": who, "product": "household bleach, fresh today"}
        cleaning |= {"strength": "20 % by volume", "before": source}
        self.say("tools.disinfected", site, cleaning, who)
        lot, place = self.code(f"{letter}-W"), nursery.COOLER[site]
        bags: dict[str, int] = {}
        while sum(bags.values()) < buds + 4:
            bags[f"{lot}-{len(bags) + 1}"] = self.chance.choice([15, 15, 16, 17, 18])
        fills = [
            {"bag": bag, "buds": held, "sticks": self.chance.choice([2, 3, 3, 4]), "place": place}
            for bag, held in bags.items()
        ]
        data = {"lot": lot, "cultivar": cultivar, "source_tree": source, "bags": fills}
        self.say("budwood.cut", site, data, who)
        return Wood(lot, source, place, bags)

    def take_buds(self, wood: Wood, buds: int) -> list[dict[str, Any]]:
        """Lines that take so many buds out of the bags, the first bag first."""
        lines = []
        for bag, held in wood.bags.items():
            part = min(held, buds)
            if part:
                wood.bags[bag] -= part
                buds -= part
                lines.append({"bag": bag, "buds": part})
        assert not buds, "less was cut than is needed"
        return lines

    def take_liners(self, site: str, rootstock: str, count: int) -> dict[str, Any]:
        """The liner lot that has enough, less what is taken now."""
        lots = self.liners[site, rootstock]
        lot = next(code for code, left in lots.items() if left >= count)
        lots[lot] -= count
        size = "BARE" if site == "ELDRA" else "P1"
        return {"liner_lot": lot, "place": nursery.LINER_BED[site], "size": size}

    def graft(self, site: str, cultivar: str, rootstock: str, manner: Manner) -> Course:
        """Cut, graft, wrap: the beginning of a lot."""
        count = self.chance.randint(22, 38)
        if manner.prepared:
            # Whole pieces only fit so often into a bag.
            wood = self.cut(site, cultivar, count * (manner.buds + 1))
            lines = self._prepare(site, wood, count)
        else:
            wood = self.cut(site, cultivar, count * manner.buds)
            lines = self.take_buds(wood, count * manner.buds)
        table = self.chance.choice([t for t in nursery.TABLES[site] if not self.neglected(t)])
        data = {"from": lines, **self.graft_data(site, rootstock, manner, count, table)}
        event = self.say("trees.grafted", site, data, self.chance.choice(self.people(site)))
        course = self.begin_course(event, cultivar, manner, count, wood.source)
        self._leftovers(site, wood)
        return course

    def graft_data(
        self, site: str, rootstock: str, manner: Manner, count: int, table: str
    ) -> dict[str, Any]:
        """What a graft says beside the bags it took from."""
        people = self.chance.sample(self.people(site), self.chance.choice([1, 1, 2, 3]))
        shares = [count // len(people)] * len(people)
        shares[0] += count - sum(shares)
        return {
            "lot": self.code(f"{nursery.LETTER[site]}-G"),
            "onto": self.take_liners(site, rootstock, count),
            "method": manner.method,
            "grafters": [
                {"person": person, "count": share}
                for person, share in zip(people, shares, strict=True)
            ],
            "place": table,
            "cut_mm": 13,
            "label_date": str(self.today),
        }

    def begin_course(
        self, event: dict[str, Any], cultivar: str, manner: Manner, count: int, source: str
    ) -> Course:
        """The lot's life, from its grafting on."""
        data = event["data"]
        size = data["onto"]["size"] if "onto" in data else data["size"]
        stand = Stand(data["place"], size, count)
        course = Course(self, data["lot"], event["site"], cultivar, manner, stand)
        course.source = source
        self.courses.append(course)
        course.wrap()
        course.begin()
        return course

    def _prepare(self, site: str, wood: Wood, count: int) -> list[dict[str, Any]]:
        """Pieces cut and wrapped beforehand, each bag into a bag of pieces of its own."""
        who, lines, left = self.chance.choice(self.people(site)), [], count
        for bag, held in wood.bags.items():
            pieces = min(left, held // 3)
            if not pieces:
                continue
            waste = held - 3 * pieces if held - 3 * pieces < 3 else 0
            data: dict[str, Any] = {
                "bag": bag,
                "into": f"{bag}P",
                "pieces": pieces,
                "buds_per_piece": 3,
            }
            data |= {"length_mm": 60, "waste": waste, "wrap": "stretch film"}
            self.say("scions.prepared", site, data, who)
            wood.bags[bag] -= 3 * pieces + waste
            left -= pieces
            lines.append({"bag": f"{bag}P", "buds": 3 * pieces})
        assert not left, "less was cut than is needed"
        return lines

    def _leftovers(self, site: str, wood: Wood) -> None:
        """What is left in the bags is thrown away, sold, or lies in the cooler for a while."""
        left = {bag: held for bag, held in wood.bags.items() if held}
        if not left:
            return
        who, fate = self.chance.choice(self.people(site)), self.chance.random()
        lines = [{"bag": bag, "buds": held} for bag, held in left.items()]
        if fate < 0.6:
            cause = self.chance.choice(["left_over", "left_over", "dried", "mould"])
            data = {"lines": [{"bag": bag} for bag in left], "cause": cause}
            self.on(14, lambda: self.say("budwood.discarded", site, data, who))
        elif fate < 0.75:
            sold = {"customer": f"cust-{self.chance.randint(41, 48)}", "lines": lines}
            self.on(3, lambda: self.say("budwood.sold", site, sold, who))
        for bag in left:
            wood.bags[bag] = 0

    def take_was_read(self, course: Course) -> None:
        """Some lots at Corin Hill get a second try on the stocks whose scion died."""
        stand = course.stands[0]
        if course.site != "CORIN":
            return
        few, waits = stand.failed < 3, self.chance.random() < 0.35
        if (few or waits) and (self.script.regrafted or not stand.failed):
            return
        self.on(3, lambda: self.script.regraft(course))

    # -- rounds --------------------------------------------------------------------------

    def _look(self, site: str, table: str) -> None:
        self.on(self.chance.choice([8, 9, 9, 10]), lambda: self._look(site, table))
        if self.neglected(table):
            return
        data: dict[str, Any] = {"place": table}
        if self.chance.random() < 0.2:
            data["note"] = self.chance.choice(
                ["dry at the edge", "labels checked", "some aphids, leaves wiped", "looks well"]
            )
        late = 2 if self.chance.random() < 0.05 else 0
        self.say("place.checked", site, data, self.chance.choice(self.people(site)), late=late)

    def _treat(self, site: str) -> None:
        who = self.people(site)[0]
        tables = self.chance.sample(nursery.TABLES[site], 3)
        data = {
            "places": sorted(tables),
            "product": "horticultural oil",
            "rate": "1 % by volume, by the label",
            "reason": "scale insects seen",
            "re_entry_hours": 12,
        }
        self.say("treatment.applied", site, data, who)

    def _liners_in(self, site: str) -> None:
        """A delivery of liners, or the nursery's own seedlings, potted where a pot is wanted."""
        who, letter, bed = self.people(site)[1], nursery.LETTER[site], nursery.LINER_BED[site]
        for number, rootstock in enumerate(LINERS[site]):
            lot, count = self.code(f"{letter}-L"), self.chance.randint(160, 190)
            field = site == "ELDRA"
            data: dict[str, Any] = {
                "lot": lot,
                "rootstock": rootstock,
                "size": "BARE" if field else "PLUG",
                "lines": [{"place": bed, "count": count}],
            }
            sown = number == 1
            data |= {"origin": "sown"} if sown else {"supplier": nursery.SUPPLIERS[site]}
            self.say("liners.received", site, data, who)
            if not field:
                potted = {"lot": lot, "place": bed, "size": "PLUG", "to_size": "P1"}
                self.say("liners.potted", site, potted, who)
            dead = self.chance.randint(2, 9)
            cause = self.chance.choice(["dead_stock", "waterlogging", "damaged", "drought"])
            lost: dict[str, Any] = {"lot": lot, "place": bed, "size": "BARE" if field else "P1"}
            lost |= {"count": dead, "cause": cause}
            self.on(5, partial(self.say, "liners.discarded", site, lost, who))
            self.liners.setdefault((site, rootstock), {})[lot] = count - 12

    def _sell(self, site: str) -> None:
        """A sale over the counter from what is ready and not kept for anybody."""
        self.on(self.chance.randint(4, 7), lambda: self._sell(site))
        stock = [
            (course, stand, grade)
            for course in self.courses
            if course.site == site and not course.kept
            for stand in course.stands
            for grade, count in stand.ready.items()
            if count
        ]
        if not stock:
            return
        lines = []
        for course, stand, grade in self.chance.sample(stock, min(2, len(stock))):
            count = min(stand.ready[grade], self.chance.randint(2, 9))
            stand.ready[grade] -= count
            line = {"lot": course.lot, "place": stand.place, "stage": "ready"}
            lines.append({**line, "size": stand.size, "grade": grade, "count": count})
        data = {
            "customer": f"cust-{self.chance.randint(10, 34)}",
            "order": f"ord-{self.code(nursery.LETTER[site] + '-')}",
            "document": f"pp-{self.chance.randint(1000, 9999)}",
            "lines": lines,
        }
        late = 1 if self.chance.random() < 0.1 else 0
        self.say("trees.sold", site, data, self.people(site)[-1], late=late)
