"""The calendar of the story, what stands at the sites, and the voice that tells of it."""

import random
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from functools import partial
from typing import Any

from seed_scenario import nursery
from seed_scenario.course import Course
from seed_scenario.crops import MANNERS, Manner, Planned, Season, grafting_days
from seed_scenario.fate import LotFate, Tree, draw, fate_of
from seed_scenario.nature import nature
from seed_scenario.stand import Stand
from seed_scenario.stores import Cooler, Liners
from seed_scenario.telling import Teller
from seed_scenario.weather import Weather

DAYS_A_YEAR = 365.25
# Weather before the first day told (a site's record reaches back), and after the last.
BEFORE_DAYS, AHEAD_DAYS = 640, 600
# Days at the beginning and the end without planned grafts.
_SETTLING, _ENDING = 12, 3
# Lots a year that the usual tables hold.
_LOTS_A_YEAR = 260


class Year:
    """What happens from `first` to `last`, day by day."""

    def __init__(self, last: date, seed: int, lots: int, years: float) -> None:
        self.seed, self.last, self.lots = seed, last, lots
        self.first = self.today = last - timedelta(days=round(years * DAYS_A_YEAR) - 1)
        self.chance = random.Random(f"year {seed}")
        self.many = max(1, round(lots / years / _LOTS_A_YEAR))
        self.nature = nature(seed)
        begin, end = self.first - timedelta(BEFORE_DAYS), last + timedelta(AHEAD_DAYS)
        self.weather = {
            site: Weather(site, climate, begin, end, seed)
            for site, climate in self.nature.climates.items()
        }
        self.teller = Teller(seed, last)
        self.cooler, self.liners = Cooler(self), Liners(self)
        self.courses: list[Course] = []
        self.fates: list[LotFate] = []
        # all trees of the lots whose trees are all followed, gone or not
        self.followed: list[tuple[Course, list[Tree]]] = []
        self.after_take: list[Callable[[Course], None]] = []
        self.at_day_end: list[Callable[[], None]] = []
        self.planned: list[Planned] = []
        self._calendar: dict[date, list[Callable[[], object]]] = {}
        self._numbers: dict[str, int] = {}

    # -- the calendar ------------------------------------------------------------------

    def on(self, days: int, act: Callable[[], object]) -> None:
        """Do something so many days from today, if that is still told."""
        day = self.today + timedelta(days=days)
        # Nobody works on Sundays.
        self.on_day(day + timedelta(days=1) if day.weekday() == 6 else day, act)

    def on_day(self, day: date, act: Callable[[], object]) -> None:
        """Do something on a day, if it is told of."""
        if self.today <= day <= self.last:
            self._calendar.setdefault(day, []).append(act)

    def before_the_end(self, days: int, act: Callable[[], object]) -> None:
        """Do something so many days before the last one."""
        self.on((self.last - self.today).days - days, act)

    def run(self) -> None:
        """Live through all of it."""
        while self.today <= self.last:
            # A day's work may add to the day itself.
            todo = self._calendar.setdefault(self.today, [])
            while todo:
                todo.pop(0)()
            for act in self.at_day_end:
                act()
            if self.today.day == 1:
                self._forget_the_gone()
            self.today += timedelta(days=1)

    def _forget_the_gone(self) -> None:
        """Lots of which nothing stands any more need not be looked through again."""
        self.courses = [
            course
            for course in self.courses
            if course.sent or any(stand.standing() or stand.of("failed") for stand in course.stands)
        ]

    def plan(self) -> None:
        """Plan so many lots, spread over the grafting days of the seasons by their weight."""
        days = grafting_days(
            self.first + timedelta(days=_SETTLING), self.last - timedelta(days=_ENDING)
        )
        total, step_done = sum(season.lots for _, season in days), 0.5
        run = 0.0
        numbers: dict[Season, int] = {}
        for day, season in days:
            run += season.lots
            while run >= step_done * total / self.lots:
                step_done += 1
                number = numbers[season] = numbers.get(season, -1) + 1
                self.planned.append(self._planned(day, season, number))
        self.liners.plan(self.planned)
        for lot in self.planned:
            self.on_day(lot.day, partial(self.graft, lot))

    def _planned(self, day: date, season: Season, number: int) -> Planned:
        # Two lots of a cultivar follow each other: from the same wood, often.
        cultivar = season.cultivars[number // 2 % len(season.cultivars)]
        rootstock = season.rootstocks[number % len(season.rootstocks)]
        return Planned(day, season, cultivar, rootstock, self.chance.randint(18, 38))

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

    def person(self, site: str) -> str:
        """One of the site's people."""
        return self.chance.choice(nursery.PEOPLE[site])

    def code(self, stem: str) -> str:
        """The next code of a kind, such as C-G007."""
        self._numbers[stem] = self._numbers.get(stem, 0) + 1
        return f"{stem}{self._numbers[stem]:03d}"

    # -- places and stands -----------------------------------------------------------------

    def neglected(self, place: str) -> bool:
        """Whether nobody goes there any more."""
        days = nursery.NEGLECTED.get(place)
        return days is not None and (self.last - self.today).days < days

    def another_table(self, site: str, place: str = "") -> str:
        """A table of the site other than this one, that people go to."""
        tables = [
            table
            for table in nursery.tables(site, self.many)
            if table != place and table not in nursery.NEGLECTED
        ]
        return self.chance.choice(tables)

    def stands(self, site: str) -> Iterator[tuple[Course, Stand]]:
        """The stands at a site whose lots the script has no plans for."""
        for course in self.courses:
            if not course.kept:
                for stand in course.stands:
                    if stand.site == site:
                        yield course, stand

    # -- grafting ------------------------------------------------------------------------

    def graft(self, plan: Planned) -> None:
        """Take or cut wood, graft, wrap: the beginning of a lot."""
        site, manner, count = plan.season.site, MANNERS[plan.season.manner], plan.trees
        wood = self.cooler.wood(site, plan.cultivar, manner, count)
        if manner.prepared:
            lines = self.cooler.prepare(site, wood, count, manner.buds)
        else:
            lines = wood.take(count * manner.buds)
        tables = nursery.tables(site, self.many)
        table = self.chance.choice([one for one in tables if not self.neglected(one)])
        data = {"from": lines, **self.graft_data(site, plan.rootstock, manner, count, table)}
        if self.chance.random() < 0.12:
            data["grown_for"] = f"cust-{self.chance.randint(60, 69)}"
        event = self.say("trees.grafted", site, data, self.person(site))
        self.begin_course(event, plan.cultivar, plan.rootstock, manner, wood.source)

    def graft_data(
        self, site: str, rootstock: str, manner: Manner, count: int, table: str
    ) -> dict[str, Any]:
        """What a graft says beside the bags it took from."""
        return {
            "lot": self.code(f"{nursery.LETTER[site]}-G"),
            "onto": self.liners.onto(site, rootstock, count),
            "method": manner.method,
            "grafters": self.shares(site, count),
            "place": table,
            "cut_mm": 13,
            "label_date": str(self.today),
        }

    def shares(self, site: str, count: int) -> list[dict[str, Any]]:
        """Who grafted how many of them."""
        number = min(self.chance.choice([1, 1, 1, 2, 2, 3]), count)
        people = self.chance.sample(nursery.PEOPLE[site], number)
        parts = [count // number] * number
        parts[0] += count - sum(parts)
        return [{"person": who, "count": n} for who, n in zip(people, parts, strict=True)]

    def begin_course(
        self, event: dict[str, Any], cultivar: str, rootstock: str, manner: Manner, source: str
    ) -> Course:
        """The lot's life, from its grafting on, with all that will become of its trees."""
        data, site = event["data"], event["site"]
        size = data["onto"]["size"] if "onto" in data else data["size"]
        stand = Stand(data["lot"], site, data["place"], size)
        course = Course(self, data["lot"], cultivar, rootstock, manner, stand)
        course.grown_for = data.get("grown_for")
        growth = self.nature.of(manner.crop, manner.method)
        trees, by = draw(
            self.nature,
            self.weather[site],
            growth,
            site,
            self.today,
            [(part["person"], part["count"]) for part in data["grafters"]],
            self.today + timedelta(days=manner.take_read + 5),
            course.chance,
        )
        stand.of("grafted").extend(trees)
        fate = fate_of(data["lot"], site, cultivar, growth, self.today, trees, by)
        self.fates.append(fate)
        course.source = source
        self.courses.append(course)
        self.followed.append((course, trees))
        course.wrap()
        course.begin()
        return course

    def take_was_read(self, course: Course) -> None:
        """Tell whoever waits for it."""
        for act in self.after_take:
            act(course)
