"""What happens once at the grafting bench: a wrong bag, bought wood, second tries, a late word."""

from datetime import date, timedelta
from functools import partial
from typing import Any

from seed_scenario import nursery
from seed_scenario.course import Course
from seed_scenario.crops import MANNERS
from seed_scenario.fate import leave
from seed_scenario.stores import Wood
from seed_scenario.year import Year

# How many of the lots with failures get a second try, of 1; and failures that are worth one.
_REGRAFTED, _WORTH = 0.4, 3


def plan(year: Year) -> None:
    """Put it into the calendar."""
    once = Bench(year)
    year.on(66, once.graft_on_unknown)
    for number in range(40, 320, 9):
        year.on(number, once.tell_late)
    june = [day for day in _days(year) if day.month == 6]
    open_days = [day for day in june if day.weekday() < 4] or june
    year.on_day(open_days[len(open_days) // 3], once.wrong_bag)
    spring = [d for d in _days(year) if (2, 12) <= (d.month, d.day) <= (3, 20) and d.weekday() != 6]
    year.on_day(spring[4], once.graft_bought_wood)
    year.after_take.append(once.take_was_read)


def _days(year: Year) -> list[date]:
    return [year.first + timedelta(days=n) for n in range(20, (year.last - year.first).days - 5)]


class Bench:
    """The scripted grafts; each method is called on its day."""

    def __init__(self, year: Year) -> None:
        self.year = year
        self._other_source_tried = self._late_one_told = self._regrafted = False

    def _event(
        self, kind: str, site: str, data: dict[str, Any], day: date | None = None, **more: Any
    ) -> dict[str, Any]:
        who = nursery.PEOPLE[site][0]
        return self.year.teller.event(kind, site, day or self.year.today, data, who, **more)

    def _at_once(self, *events: dict[str, Any], **expected: Any) -> None:
        who = nursery.PEOPLE[events[0]["site"]][0]
        self.year.teller.at_once(list(events), self.year.today, who, **expected)

    def wrong_bag(self) -> None:
        """A graft written down with a bag of another cultivar; put right two days later."""
        year, manner, count = self.year, MANNERS["citrus inverted_t_bud"], 24
        right = year.cooler.cut("CORIN", "NAVEL", count, "CN-101")
        wrong = year.cooler.cut("CORIN", "VALEN", count, "CV-201")
        who = nursery.PEOPLE["CORIN"][0]
        moved = {"lines": [{"bag": bag} for bag in right.bags], "to": nursery.BOX}
        year.say("budwood.moved", "CORIN", moved, who)
        data = year.graft_data("CORIN", "CARRIZO", manner, count, "C-T1")
        full = dict(wrong.bags)
        told = {"from": wrong.take(count), **data}
        mistaken = year.say("trees.grafted", "CORIN", told, who)
        year.begin_course(mistaken, "NAVEL", "CARRIZO", manner, right.source)
        day = year.today

        def put_right() -> None:
            void = {"event": mistaken["id"], "reason": "bag of Valencia noted; it was Navel"}
            lines = {"from": right.take(count), **data}
            self._at_once(
                self._event("event.voided", "CORIN", void),
                self._event("trees.grafted", "CORIN", lines, day, replaces=mistaken["id"]),
            )
            wrong.bags.update(full)
            for wood in (right, wrong):
                year.on(12, partial(year.cooler.clear, "CORIN", wood))

        year.on_day(day + timedelta(days=2), put_right)

    def graft_bought_wood(self) -> None:
        """Bought wood in short and estimated bags; three people at one lot; one gave more."""
        year, manner, count = self.year, MANNERS["apple whip_and_tongue"], 18
        who = nursery.PEOPLE["ELDRA"][0]
        bags = [
            {"bag": f"E-WD-{n}", "buds": buds, "basis": basis, "place": "E-COOL"}
            for n, (buds, basis) in enumerate(
                [(15, "counted"), (15, "counted"), (9, "counted"), (14, "estimated")], 1
            )
        ]
        wood: dict[str, Any] = {"lot": "E-WD", "cultivar": "DAWN7", "supplier": "supp-21"}
        wood |= {"document": "pp-7704", "source_note": "block 4", "cut_on": str(year.today)}
        wood["bags"] = bags
        year.say("budwood.received", "ELDRA", wood, who, remarks=("short_bag",))
        data = year.graft_data("ELDRA", "MM106", manner, count, "E-R2")
        data["grafters"] = [{"person": one, "count": 6} for one in nursery.PEOPLE["ELDRA"]]
        lines = [{"bag": f"E-WD-{n}"} for n in range(1, 5)]
        told = {"from": lines, **data, "grown_for": "cust-61"}
        event = year.say("trees.grafted", "ELDRA", told, who, remarks=("drawn_on_estimate",))
        year.begin_course(event, "DAWN7", "MM106", manner, "E-WD")

    def graft_on_unknown(self) -> None:
        """Trees of no known cultivar serve as stocks (an interstock)."""
        year, manner, count = self.year, MANNERS["citrus inverted_t_bud"], 8
        wood = year.cooler.cut("CORIN", "EUREKA", count)
        data: dict[str, Any] = {
            "lot": year.code("C-G"),
            "from": wood.take(count),
            "onto": {"tree_lot": "O-C5", "place": "C-T5", "size": "P1", "stage": "pushed"},
            "method": manner.method,
            "grafters": year.shares("CORIN", count),
            "place": "C-T5",
        }
        event = year.say("trees.grafted", "CORIN", data, year.person("CORIN"))
        year.begin_course(event, "EUREKA", "CARRIZO", manner, wood.source)
        year.on(12, partial(year.cooler.clear, "CORIN", wood))

    # -- second tries --------------------------------------------------------------------

    def take_was_read(self, course: Course) -> None:
        """Some citrus lots get a second try on the stocks whose scion died."""
        failed = len(course.stands[0].of("failed"))
        if course.manner.crop != "citrus" or course.source not in nursery.SOURCE_TREES:
            return
        chosen = failed >= _WORTH and self.year.chance.random() < _REGRAFTED
        if chosen or (failed and course.site == "CORIN" and not self._regrafted):
            self.year.on(3, partial(self._regraft, course))

    def _regraft(self, course: Course) -> None:
        """With wood of the same source tree; once somebody takes another first."""
        year, stand = self.year, course.stands[0]
        count = len(stand.of("failed"))
        if not count or course.held or course.quiet(stand):
            return
        data: dict[str, Any] = {
            "of": course.lot,
            "stage": "failed",
            "of_place": stand.place,
            "size": stand.size,
            "method": course.manner.method,
            "count": count,
            "grafters": year.shares(course.site, count),
            "place": stand.place,
        }
        if self._other_source_tried or course.site != "CORIN":
            self._second_try(course, data)
            return
        # The bag that is at hand is of another tree.
        self._other_source_tried = True
        other = "CN-102" if course.source != "CN-102" else "CN-101"
        wood = year.cooler.cut("CORIN", "NAVEL", count, other)

        def refused() -> None:
            told = {"lot": f"{course.lot}X", "from": wood.take(count), **data}
            event = self._event("trees.regrafted", "CORIN", told)
            self._at_once(event, refused={0: "other_source"})
            wood.bags.update(full)
            self._second_try(course, data)

        full = dict(wood.bags)
        year.on(8, partial(year.cooler.clear, "CORIN", wood))
        year.on_day(year.today + timedelta(days=1), refused)

    def _second_try(self, course: Course, data: dict[str, Any]) -> None:
        year, site, count = self.year, course.site, data["count"]
        failed = course.stands[0].of("failed")
        if len(failed) != count:
            return
        wood: Wood = year.cooler.cut(site, course.cultivar, count, course.source)
        told = {"lot": f"{course.lot}R", "from": wood.take(count), **data}
        event = year.say("trees.regrafted", site, told, year.person(site))
        self._regrafted = True
        failed.clear()
        manner = course.manner
        year.begin_course(event, course.cultivar, course.rootstock, manner, course.source)
        year.on(6, partial(year.cooler.clear, site, wood))

    # -- told late -----------------------------------------------------------------------

    def tell_late(self) -> None:
        """Two trees taken away dead, written down only after the next count was."""
        if self._late_one_told:
            return
        for course in self.year.courses:
            stand = course.stands[0]
            calm = not course.quiet(stand) and stand.touched_on != self.year.today
            open_still = len(stand.of("pushed")) >= 8 and len(stand.of("grafted")) >= 4
            if open_still and course.walks >= 2 and calm:
                break
        else:
            return
        self._late_one_told = True
        leave(stand.of("pushed")[:2], self.year.today)
        del stand.of("pushed")[:2]
        data = {**stand.where("pushed"), "count": 2, "cause": "breakage"}
        event, day = self._event("trees.lost", course.site, data), self.year.today
        stand.touched_on = day
        again = partial(course.count, stand, prompt=True)
        self.year.on_day(day + timedelta(days=2), again)
        tell = partial(self._at_once, event, remarked={0: ["before_a_count"]})
        self.year.on_day(day + timedelta(days=4), tell)
