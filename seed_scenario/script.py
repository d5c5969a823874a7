"""What the year has in store beside its rounds: one of everything that a nursery meets."""

from collections.abc import Callable
from datetime import date, time, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from seed_scenario import nursery
from seed_scenario.course import MANNERS, Course, Stand
from seed_scenario.opening import opening
from seed_scenario.telling import MIDDAY, ZONES
from service.reminders.raising import alert_id

if TYPE_CHECKING:
    from seed_scenario.generator import Year

AFTERNOON = time(14, 5)
NAVELS = {"lot": "O-C1", "place": "C-T7", "stage": "ready", "size": "P4", "grade": "first"}
HASS = {"lot": "O-T1", "place": "T-B6", "stage": "ready", "size": "P4", "grade": "first"}
NAVEL_ITEM = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "P4", "grade": "first"}


class Script:
    """The scripted part of the year. `plan` puts it all into the calendar."""

    def __init__(self, year: "Year") -> None:
        self.year = year
        self._other_source_tried = False
        self._late_one_told = False
        self.regrafted = False

    def plan(self) -> None:
        """Open the books, then everything on its day."""
        self._open()
        year = self.year
        days: list[tuple[int, Callable[[], object]]] = [
            (14, self._count_liners),
            (16, self._move_liners),
            (20, self._lose_a_label),
            (30, self._reserve),
            (44, lambda: self._ship("R-C1", 18)),
            (52, lambda: self._ship("R-C1", 12)),
            (58, self._take_back),
            (66, self._graft_on_unknown),
            (80, self._send),
            (83, self._receive),
            (90, self._mistyped),
            (100, self._hold),
            (120, self._buy_trees),
            (138, self._lift_hold),
            (150, self._send_wood),
            (200, self._strike_out),
            (335, self._hold_quality),
            (349, self._reserve_again),
            (359, lambda: year.cut("CORIN", "NAVEL", 20, "CN-101")),
            (362, self._send_last),
        ]
        for number, act in days:
            year.on(number, act)
        for number in range(40, 320, 9):
            year.on(number, self._tell_late)
        june = [
            year.first + timedelta(days=n)
            for n in range(20, 359)
            if (year.first + timedelta(days=n)).month == 6
        ]
        open_days = [day for day in june if day.weekday() < 4] or june
        year.on_day(open_days[len(open_days) // 3], self._wrong_bag)
        year.on_day(year.days_between((2, 12), (3, 20))[4], self._graft_bought_wood)

    # -- speaking ------------------------------------------------------------------------

    def say(self, kind: str, site: str, data: dict[str, Any], **more: Any) -> dict[str, Any]:
        """Something of today, by the site's first person."""
        return self.year.say(kind, site, data, nursery.PEOPLE[site][0], **more)

    def event(
        self, kind: str, site: str, data: dict[str, Any], day: date | None = None, **more: Any
    ) -> dict[str, Any]:
        """An event to be sent in a request of its own."""
        who = nursery.PEOPLE[site][0]
        return self.year.teller.event(kind, site, day or self.year.today, data, who, **more)

    def at_once(self, *events: dict[str, Any], at: time = MIDDAY, **expected: Any) -> None:
        """Send events at a time of today in a request of their own."""
        who = nursery.PEOPLE[events[0]["site"]][0]
        self.year.teller.at_once(list(events), self.year.today, who, at, **expected)

    def clock(self, site: str, at: time) -> str:
        """A time of today at the site, with its offset."""
        zone = ZoneInfo(ZONES[site])
        return self.year.teller.instant(site, self.year.today, at).astimezone(zone).isoformat()

    # -- opening -------------------------------------------------------------------------

    def _open(self) -> None:
        year, second = self.year, self.year.first + timedelta(days=1)
        # Corin Hill speaks first: cultivars and sizes are known to all from its entries.
        for site, day in (("CORIN", year.first), ("TARNA", second), ("ELDRA", second)):
            who = nursery.PEOPLE[site][0]
            told = [
                year.teller.event("catalogue.changed", site, day, {"entry": entry}, who)
                for entry in nursery.entries(site)
            ]
            lines = {"lines": opening(site, year.first)}
            remarked = {}
            if site == "CORIN":
                remarked[len(told) - 1] = ["short_bag"]
            told.append(year.teller.event("stock.opened", site, day, lines, who))
            # A site's calendar is known from its own entry on, so that comes alone.
            year.teller.at_once(told[:1], day, who, MIDDAY)
            year.teller.at_once(told[1:], day, who, AFTERNOON, remarked=remarked)
            for line in lines["lines"]:
                if line["kind"] == "liners":
                    lots = year.liners.setdefault((site, line["rootstock"]), {})
                    # Some are left alone, for what the script does with them.
                    lots[line["lot"]] = line["count"] - 50
        for lot, site, cultivar, place, size, pushed, ready in (
            ("O-C2", "CORIN", "EUREKA", "C-T8", "P4", 0, 30),
            ("O-C3", "CORIN", "VALEN", "C-T8", "P1", 30, 0),
            ("O-C4", "CORIN", "VALEN", "C-T8", "P1", 26, 0),
            ("O-T2", "TARNA", "NAVEL", "T-B5", "P1", 34, 0),
            ("O-E2", "ELDRA", "GRAVEN", "E-R6", "BARE", 0, 60),
            ("O-E3", "ELDRA", "DAWN7", "E-R6", "BARE", 24, 0),
        ):
            stand = Stand(place, size, 0)
            stand.pushed = pushed
            if ready:
                stand.ready["first"] = ready
            course = Course(year, lot, site, cultivar, MANNERS["citrus"], stand)
            year.courses.append(course)
            if pushed:
                year.on(30 + 5 * len(year.courses), course.tops_off)
                year.on(70 + 11 * len(year.courses), course.grade)

    # -- counting, moving ------------------------------------------------------------------

    def _count_liners(self) -> None:
        """The first stock count: six fewer than the estimate said; a bag is counted too."""
        lots = self.year.liners["CORIN", "CARRIZO"]
        lines = [
            {"lot": "O-CL", "place": "C-BED", "size": "P1", "counted": lots["O-CL"] + 50 - 6},
            {"bag": "O-CW1-1", "counted": 11},
        ]
        data = {"lines": lines, "reason": "the opening was an estimate"}
        counted = self.say("stock.counted", "CORIN", data, remarks=("count_differs",))
        alert = alert_id(f"remark/{counted['id']}/0")
        later = {"alert": alert, "on": str(self.year.today + timedelta(days=30))}
        self.year.on(2, lambda: self.say("alert.remind_on", "CORIN", later))

    def _move_liners(self) -> None:
        data = {"lot": "O-CL", "place": "C-BED", "size": "P1", "count": 20, "to": "C-T7"}
        self.say("liners.moved", "CORIN", data)

    def _lose_a_label(self) -> None:
        """Five trees without a label on a table where two lots stand."""
        where = {"place": "C-T8", "stage": "pushed", "size": "P1"}
        lines = [{"lot": "O-C3", **where, "count": 3}, {"lot": "O-C4", **where, "count": 2}]
        data = {"lot": "C-UNK1", "hold": "H-LABEL", "lines": lines, "note": "blown off by the fan"}
        for course in self.year.courses:
            if course.lot in ("O-C3", "O-C4"):
                course.stands[0].pushed -= 3 if course.lot == "O-C3" else 2
        self.say("label.lost", "CORIN", data)

    # -- reservations and sales ---------------------------------------------------------------

    def _reserve(self) -> None:
        """One that is kept, one that can't be covered, one that is changed and released."""
        soon = str(self.year.today + timedelta(days=30))
        kept: dict[str, Any] = {"reservation": "R-C1", "customer": "cust-07", "needed_by": soon}
        kept["lines"] = [{**NAVEL_ITEM, "count": 30}]
        self.at_once(self.event("reservation.made", "CORIN", kept))
        many: dict[str, Any] = {"reservation": "R-C9", "customer": "cust-09", "needed_by": soon}
        many["lines"] = [{**NAVEL_ITEM, "count": 400}]
        refused = {0: "not_enough_to_promise"}
        self.at_once(self.event("reservation.made", "CORIN", many), at=AFTERNOON, refused=refused)
        small: dict[str, Any] = {"reservation": "R-C2", "customer": "cust-12", "any_site": True}
        small |= {"expires_at": soon, "lines": [{"lot": "O-C1", "size": "P4", "count": 12}]}
        self.say("reservation.made", "CORIN", small)
        fewer = {"reservation": "R-C2", "lines": [{"lot": "O-C1", "size": "P4", "count": 8}]}
        self.year.on(8, lambda: self.say("reservation.changed", "CORIN", fewer))
        self.year.on(12, lambda: self._ship("R-C2", 3))
        free = {"reservation": "R-C2", "reason": "the customer planted elsewhere"}
        self.year.on(20, lambda: self.say("reservation.released", "CORIN", free))

    def _ship(self, reservation: str, count: int) -> None:
        customer = {"R-C1": "cust-07", "R-C2": "cust-12"}[reservation]
        data = {
            "customer": customer,
            "order": f"ord-{reservation}",
            "reservation": reservation,
            "document": f"pp-{2100 + count}",
            "lines": [{**NAVELS, "count": count}],
        }
        self.say("trees.sold", "CORIN", data, occurred=self.clock("CORIN", time(8, 40)))

    def _take_back(self) -> None:
        """Two come back to Corin Hill; Eldra Fields takes none back."""
        line = {"lot": "O-C1", "place": "C-RET", "size": "P4", "grade": "first", "count": 2}
        data = {"customer": "cust-07", "order": "ord-R-C1", "reason": "two too many"}
        self.say("trees.returned", "CORIN", {**data, "lines": [line]})
        sold: dict[str, Any] = {"customer": "cust-61", "order": "ord-E-900"}
        where = {"place": "E-R5", "stage": "ready", "size": "BARE", "grade": "first"}
        sold["lines"] = [{"lot": "O-E1", **where, "count": 10}]
        self.say("trees.sold", "ELDRA", sold)
        line = {"lot": "O-E1", "place": "E-R5", "size": "BARE", "grade": "first", "count": 4}
        back = {"customer": "cust-61", "reason": "no room", "lines": [line]}

        def refuse() -> None:
            event = self.event("trees.returned", "ELDRA", back)
            self.at_once(event, refused={0: "returns_not_allowed"})

        self.year.on(6, refuse)

    def _reserve_again(self) -> None:
        """A reservation that is still open when the year ends."""
        soon = str(self.year.last + timedelta(days=25))
        data: dict[str, Any] = {"reservation": "R-C3", "customer": "cust-18", "needed_by": soon}
        data["lines"] = [{**NAVEL_ITEM, "count": 20}]
        self.say("reservation.made", "CORIN", data)

    # -- loads ---------------------------------------------------------------------------------

    def _send(self) -> None:
        lemons = {**NAVELS, "lot": "O-C2", "place": "C-T8"}
        data = {
            "consignment": "LOAD-1",
            "to_site": "ELDRA",
            "carrier": "carr-02",
            "document": "pp-2190",
            "lines": [{**NAVELS, "count": 24}, {**lemons, "count": 12}],
        }
        self.say("consignment.sent", "CORIN", data, occurred=self.clock("CORIN", time(7, 15)))

    def _receive(self) -> None:
        """Of the one lot two are missing and one is dead; of the other one more came than sent."""
        there = {"place": "E-R1", "stage": "ready", "size": "P4", "grade": "first"}
        lines = [
            {"lot": "O-C1", **there, "count": 21, "dead": 1},
            {"lot": "O-C2", **there, "count": 13},
        ]
        data = {"consignment": "LOAD-1", "lines": lines, "note": "one pot broken"}
        got = self.say("consignment.received", "ELDRA", data, remarks=("consignment_differs",))
        seen = {"alert": alert_id(f"remark/{got['id']}/0"), "note": "carrier told"}
        self.year.on(1, lambda: self.say("alert.acknowledged", "ELDRA", seen))

    def _send_wood(self) -> None:
        """Buds and liners travel too."""
        wood = self.year.cut("CORIN", "EUREKA", 20)
        bag = next(iter(wood.bags))
        lines = [
            {"bag": bag, "place": wood.place, "count": 12},
            {"lot": "O-CL", "place": "C-T7", "size": "P1", "count": 10},
        ]
        data = {"consignment": "LOAD-2", "to_site": "ELDRA", "lines": lines}
        self.say("consignment.sent", "CORIN", data)
        arrived = [
            {"bag": bag, "place": "E-COOL", "count": 12},
            {"lot": "O-CL", "place": "E-BED", "size": "P1", "count": 10},
        ]
        got = {"consignment": "LOAD-2", "lines": arrived}
        self.year.on(3, lambda: self.say("consignment.received", "ELDRA", got))
        waste = {"lines": [{"bag": bag}], "cause": "source_failed", "note": "not true to type"}
        self.year.on(9, lambda: self.say("budwood.discarded", "ELDRA", waste))

    def _send_last(self) -> None:
        """A load that is still on its way when the year ends."""
        data = {"consignment": "LOAD-3", "to_site": "ELDRA", "lines": [{**NAVELS, "count": 6}]}
        self.say("consignment.sent", "CORIN", data)

    # -- holds ---------------------------------------------------------------------------------

    def _hold(self) -> None:
        """Spots on leaves: held from today, written down two days late; one sale in between, and
        one after it that had left already."""
        year, day = self.year, self.year.today
        data = {"kind": "plant_health", "target": "lot", "code": "O-T1", "hold": "H-SPOT"}
        data["reason"] = "spots on leaves; sample sent to the plant-health laboratory"
        placed = self.event("hold.placed", "TARNA", data, day)
        sold = {"customer": "cust-31", "order": "ord-T-801", "lines": [{**HASS, "count": 5}]}
        gone = {"customer": "cust-33", "order": "ord-T-802", "lines": [{**HASS, "count": 4}]}

        def tell() -> None:
            self.at_once(placed, remarked={0: ["sold_meanwhile"]})

        def breach() -> None:
            event = self.event("trees.sold", "TARNA", gone)
            self.at_once(event, refused={0: "held"})
            again = {**event, "happened": True}
            self.at_once(again, at=AFTERNOON, remarked={0: ["breach"]})

        year.on_day(day + timedelta(days=1), lambda: self.say("trees.sold", "TARNA", sold))
        year.on_day(day + timedelta(days=2), tell)
        year.on_day(day + timedelta(days=3), breach)

    def _lift_hold(self) -> None:
        """The service lifts no plant-health hold without the authority's word."""
        data = {"hold": "H-SPOT", "reason": "laboratory found nothing"}
        self.at_once(self.event("hold.lifted", "TARNA", data), refused={0: "needs_authority"})
        word = {"authority": "plant-health office of the district", "document": "release 0192"}
        self.at_once(self.event("hold.lifted", "TARNA", {**data, **word}), at=AFTERNOON)

    def _hold_quality(self) -> None:
        """A hold that is still in force when the year ends."""
        data = {"kind": "quality", "target": "lot", "code": "O-E2", "hold": "H-ROOTS"}
        self.say("hold.placed", "ELDRA", {**data, "reason": "roots circle in the bed"})
        for course in self.year.courses:
            if course.lot == "O-E2":
                course.kept = True

    # -- grafting --------------------------------------------------------------------------------

    def _wrong_bag(self) -> None:
        """A graft written down with a bag of another cultivar; put right two days later."""
        year, manner, count = self.year, MANNERS["citrus"], 24
        right = year.cut("CORIN", "NAVEL", count, "CN-101")
        wrong = year.cut("CORIN", "VALEN", count, "CV-201")
        moved = {"lines": [{"bag": bag} for bag in right.bags], "to": nursery.BOX}
        self.say("budwood.moved", "CORIN", moved)
        data = year.graft_data("CORIN", "CARRIZO", manner, count, "C-T1")
        told = {"from": year.take_buds(wrong, count), **data}
        mistaken = self.say("trees.grafted", "CORIN", told)
        course = year.begin_course(mistaken, "NAVEL", manner, count, right.source)
        day = year.today

        def put_right() -> None:
            void = {"event": mistaken["id"], "reason": "bag of Valencia noted; it was Navel"}
            lines = {"from": year.take_buds(right, count), **data}
            self.at_once(
                self.event("event.voided", "CORIN", void),
                self.event("trees.grafted", "CORIN", lines, day, replaces=mistaken["id"]),
            )
            course.source = right.source

        year.on_day(day + timedelta(days=2), put_right)

    def _graft_bought_wood(self) -> None:
        """Bought wood in short and estimated bags; three people at one lot; one gave more."""
        year, manner, count = self.year, MANNERS["apple"], 18
        bags = [
            {"bag": f"E-WD-{n}", "buds": buds, "basis": basis, "place": "E-COOL"}
            for n, (buds, basis) in enumerate(
                [(15, "counted"), (15, "counted"), (9, "counted"), (14, "estimated")], 1
            )
        ]
        wood: dict[str, Any] = {
            "lot": "E-WD",
            "cultivar": "DAWN7",
            "supplier": "supp-21",
            "bags": bags,
        }
        wood |= {"document": "pp-7704", "source_note": "block 4", "cut_on": str(year.today)}
        self.say("budwood.received", "ELDRA", wood, remarks=("short_bag",))
        data = year.graft_data("ELDRA", "MM106", manner, count, "E-R2")
        data["grafters"] = [{"person": who, "count": 6} for who in nursery.PEOPLE["ELDRA"]]
        lines = [{"bag": "E-WD-1"}, {"bag": "E-WD-2"}, {"bag": "E-WD-3"}, {"bag": "E-WD-4"}]
        told = {"from": lines, **data, "grown_for": "cust-61"}
        event = self.say("trees.grafted", "ELDRA", told, remarks=("drawn_on_estimate",))
        year.begin_course(event, "DAWN7", manner, count, "E-WD")

    def _graft_on_unknown(self) -> None:
        """Trees of no known cultivar serve as stocks (an interstock)."""
        year, manner, count = self.year, MANNERS["citrus"], 8
        wood = year.cut("CORIN", "EUREKA", count)
        data = year.graft_data("CORIN", "CARRIZO", manner, count, "C-T5")
        onto = {"tree_lot": "O-C5", "place": "C-T5", "size": "P1", "stage": "pushed"}
        told = {**data, "from": year.take_buds(wood, count), "onto": onto}
        event = self.say("trees.grafted", "CORIN", told)
        year.begin_course(event, "EUREKA", manner, count, wood.source)

    def regraft(self, course: Course) -> None:
        """A second try on stocks whose scion died, with wood of the same source tree."""
        year, stand = self.year, course.stands[0]
        count = stand.failed
        if not count or course.source not in nursery.SOURCE_TREES:
            return
        data: dict[str, Any] = {
            "of": course.lot,
            "stage": "failed",
            "of_place": stand.place,
            "size": stand.size,
            "method": course.manner.method,
            "count": count,
            "place": stand.place,
        }
        if not self._other_source_tried:
            # First somebody takes the bag that is at hand, of another tree.
            self._other_source_tried = True
            other = "CN-102" if course.source != "CN-102" else "CN-101"
            wood = year.cut("CORIN", "NAVEL", count, other)
            lines = year.take_buds(wood, count)

            def refused() -> None:
                told = {"lot": f"{course.lot}X", "from": lines, **data}
                event = self.event("trees.regrafted", "CORIN", told)
                self.at_once(event, refused={0: "other_source"})
                self._second_try(course, data)

            year.on_day(year.today + timedelta(days=1), refused)
            return
        self._second_try(course, data)

    def _second_try(self, course: Course, data: dict[str, Any]) -> None:
        year, count = self.year, data["count"]
        if course.stands[0].failed != count:
            return
        wood = year.cut("CORIN", course.cultivar, count, course.source)
        told = {"lot": f"{course.lot}R", "from": year.take_buds(wood, count), **data}
        event = self.say("trees.regrafted", "CORIN", told)
        self.regrafted = True
        course.stands[0].failed = 0
        year.begin_course(event, course.cultivar, course.manner, count, course.source)

    # -- mistakes ----------------------------------------------------------------------------------

    def _tell_late(self) -> None:
        """Two trees taken away dead, written down only after the next count was."""
        if self._late_one_told:
            return
        for course in self.year.courses:
            stand = course.stands[0]
            calm = not self.year.neglected(stand.place) and course.counted_on != self.year.today
            if stand.pushed >= 8 and stand.grafted >= 4 and course.walks >= 2 and calm:
                break
        else:
            return
        self._late_one_told = True
        stand.pushed -= 2
        data = {"lot": course.lot, "place": stand.place, "stage": "pushed", "size": stand.size}
        event = self.event("trees.lost", course.site, {**data, "count": 2, "cause": "breakage"})
        day = self.year.today
        self.year.on_day(day + timedelta(days=2), lambda: course.count(stand, prompt=True))
        told = day + timedelta(days=4)
        self.year.teller.evening(event, told, ("before_a_count",))

    def _mistyped(self) -> None:
        """Sent one by one: what is wrong is kept, to be put right; one of the two is, next day."""
        good = self.event("place.checked", "TARNA", {"place": "T-B1"})
        other = self.event("work.done", "TARNA", {"work": "weeded", "place": "C-T1"})
        typo = {"lot": "T-G99", "count": 2, "cause": "pest"}
        wrong = self.event("trees.lost", "TARNA", typo)
        refused = {1: "unknown_code", 2: "unknown_code"}
        self.at_once(good, other, wrong, mode="each", refused=refused)
        mended = {**other, "data": {"work": "weeded", "place": "T-B1"}}
        day = self.year.today + timedelta(days=1)
        self.year.on_day(day, lambda: self.at_once(mended, mode="each"))

    def _buy_trees(self) -> None:
        """Trees bought in, with a passport and without."""
        data = {"cultivar": "GRAVEN", "rootstock": "M9", "supplier": "supp-21", "size": "BARE"}
        data |= {"grade": "first", "place": "E-R5"}
        papers = {"lot": "E-B1", "document": "pp-8861", "count": 40, **data}
        self.say("trees.received", "ELDRA", papers)
        bare = {"lot": "E-B2", "count": 12, **data}
        self.say("trees.received", "ELDRA", bare, remarks=("no_document",))

    def _strike_out(self) -> None:
        """Ten written for one; and a work that was done on another table."""
        lost = {**NAVELS, "count": 10, "cause": "frost"}
        event = self.say("trees.lost", "CORIN", lost)
        work = self.say("work.done", "CORIN", {"work": "spaced", "place": "C-T2"})
        day = self.year.today

        def put_right() -> None:
            void = {"event": event["id"], "reason": "one, not ten"}
            right = {**lost, "count": 1}
            self.at_once(
                self.event("event.voided", "CORIN", void),
                self.event("trees.lost", "CORIN", right, day, replaces=event["id"]),
            )
            void = {"event": work["id"], "reason": "it was another table"}
            self.at_once(self.event("event.voided", "CORIN", void), at=AFTERNOON)

        self.year.on_day(day + timedelta(days=1), put_right)
