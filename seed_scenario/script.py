"""What happens once, beside the rounds: one of everything that a nursery meets.

It plays on the lots of the opening, so that it comes out alike whatever the year.
"""

from collections.abc import Callable
from datetime import date, time, timedelta
from typing import Any

from seed_scenario import bench, catalogue, nursery
from seed_scenario.fate import leave
from seed_scenario.opening import lines_of, put_up
from seed_scenario.telling import AFTERNOON, MIDDAY
from seed_scenario.year import Year
from service.reminders.raising import alert_id

NAVELS = {"lot": "O-C1", "place": "C-T7", "stage": "ready", "size": "P4", "grade": "first"}
HASS = {"lot": "O-T1", "place": "T-B6", "stage": "ready", "size": "P4", "grade": "first"}
NAVEL_ITEM = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "P4", "grade": "first"}


def plan(year: Year) -> None:
    """Open the books, then everything on its day."""
    script = Script(year)
    script.open()
    from_start: list[tuple[int, Callable[[], object]]] = [
        (14, script.count_liners),
        (16, script.move_liners),
        (20, script.lose_a_label),
        (30, script.reserve),
        (44, lambda: script.ship("R-C1", 18)),
        (52, lambda: script.ship("R-C1", 12)),
        (58, script.take_back),
        (66, lambda: script.promise_by_hand("CORIN", "W-C1", "CLEMEN", 40, 90)),
        (78, script.promise_by_forecast),
        (80, script.send),
        (84, script.receive),
        (100, script.hold),
        (120, script.buy_trees),
        (138, script.lift_hold),
        (150, script.send_wood),
        (200, script.strike_out),
        *((at, script.inspect) for at in (310, 660, 1010)),
    ]
    for number, act in from_start:
        year.on(number, act)
    to_the_end: list[tuple[int, Callable[[], object]]] = [
        (30, script.hold_quality),
        (16, script.reserve_again),
        (9, lambda: script.promise_by_hand("TARNA", "W-T1", "EUREKA", 30, 60)),
        (6, lambda: year.cooler.cut("CORIN", "NAVEL", 20, "CN-101")),
        (3, script.send_last),
    ]
    for number, act in to_the_end:
        year.before_the_end(number, act)
    bench.plan(year)


class Script:
    """The scripted part of the story; each method is called on its day."""

    def __init__(self, year: Year) -> None:
        self.year = year

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
        return self.year.teller.clock(site, self.year.today, at)

    # -- opening -------------------------------------------------------------------------

    def open(self) -> None:
        """Each site tells its catalogue and what stands there."""
        year, second = self.year, self.year.first + timedelta(days=1)
        # Corin Hill speaks first: cultivars and sizes are known to all from its entries.
        for site, day in (("CORIN", year.first), ("TARNA", second), ("ELDRA", second)):
            who = nursery.PEOPLE[site][0]
            told = [
                year.teller.event("catalogue.changed", site, day, {"entry": entry}, who)
                for entry in catalogue.entries(site, year.first, year.many)
            ]
            lines = lines_of(site, year.first)
            remarked = {}
            if site == "CORIN":
                remarked[len(told) - 1] = ["short_bag"]
            told.append(year.teller.event("stock.opened", site, day, {"lines": lines}, who))
            # A site's calendar is known from its own entry on, so that comes alone.
            year.teller.at_once(told[:1], day, who, MIDDAY)
            year.teller.at_once(told[1:], day, who, AFTERNOON, remarked=remarked)
        put_up(year)

    # -- counting, moving ------------------------------------------------------------------

    def count_liners(self) -> None:
        """The first stock count: six fewer than the estimate said; a bag is counted too."""
        left = self.year.liners.left["CORIN", "CARRIZO"]["O-CL"]
        lines = [
            {**self.year.liners.where("CORIN", "O-CL"), "counted": left + 50 - 6},
            {"bag": "O-CW1-1", "counted": 11},
        ]
        data = {"lines": lines, "reason": "the opening was an estimate"}
        counted = self.say("stock.counted", "CORIN", data, remarks=("count_differs",))
        alert = alert_id(f"remark/{counted['id']}/0")
        later = {"alert": alert, "on": str(self.year.today + timedelta(days=30))}
        self.year.on(2, lambda: self.say("alert.remind_on", "CORIN", later))

    def move_liners(self) -> None:
        """Some liners stand on a table for what comes later."""
        data = {**self.year.liners.where("CORIN", "O-CL"), "count": 20, "to": "C-T7"}
        self.say("liners.moved", "CORIN", data)

    def lose_a_label(self) -> None:
        """Five trees without a label on a table where two lots stand."""
        where = {"place": "C-T8", "stage": "pushed", "size": "P1"}
        lines = [{"lot": "O-C3", **where, "count": 3}, {"lot": "O-C4", **where, "count": 2}]
        data = {"lot": "C-UNK1", "hold": "H-LABEL", "lines": lines, "note": "blown off by the fan"}
        for course in self.year.courses:
            if course.lot in ("O-C3", "O-C4"):
                lost = course.stands[0].of("pushed")[: 3 if course.lot == "O-C3" else 2]
                leave(lost, self.year.today)
                del course.stands[0].of("pushed")[: len(lost)]
        self.say("label.lost", "CORIN", data)

    # -- reservations and sales ---------------------------------------------------------------

    def promise_by_hand(
        self, site: str, code: str, cultivar: str, quantity: int, days: int
    ) -> None:
        """The owner says how many may be promised, whatever the forecast says."""
        data = {
            "override": code,
            "cultivar": cultivar,
            "rootstock": "CARRIZO" if site == "CORIN" else "SWINGLE",
            "size": "P4",
            "quantity": quantity,
            "until": str(self.year.today + timedelta(days=days)),
            "reason": "some are kept back for the spring fair",
        }
        self.say("promise.overridden", site, data)

    def promise_by_forecast(self) -> None:
        """The fair is off: the forecast counts again."""
        data = {"override": "W-C1", "reason": "the fair is called off"}
        self.say("promise.override_ended", "CORIN", data)

    def reserve(self) -> None:
        """One that is confirmed and kept, one that expires, one that can't be covered, one that is
        changed and released."""
        soon = str(self.year.today + timedelta(days=30))
        kept: dict[str, Any] = {"reservation": "R-C1", "customer": "cust-07", "needed_by": soon}
        kept["lines"] = [{**NAVEL_ITEM, "count": 30}]
        kept["expires_at"] = soon
        self.at_once(self.event("reservation.made", "CORIN", kept))
        ordered = {"reservation": "R-C1", "order": "ord-R-C1"}
        self.year.on(2, lambda: self.say("reservation.confirmed", "CORIN", ordered))
        idle: dict[str, Any] = {"reservation": "R-C4", "customer": "cust-21"}
        idle["expires_at"] = str(self.year.today + timedelta(days=2))
        idle["lines"] = [{**NAVEL_ITEM, "count": 2}]
        self.say("reservation.made", "CORIN", idle)
        self.year.on(4, lambda: self.say("reservation.expired", "CORIN", {"reservation": "R-C4"}))
        many: dict[str, Any] = {"reservation": "R-C9", "customer": "cust-09", "needed_by": soon}
        many["lines"] = [{**NAVEL_ITEM, "count": 400}]
        refused = {0: "not_enough_to_promise"}
        self.at_once(self.event("reservation.made", "CORIN", many), at=AFTERNOON, refused=refused)
        small: dict[str, Any] = {"reservation": "R-C2", "customer": "cust-12", "any_site": True}
        small |= {"expires_at": soon, "lines": [{"lot": "O-C1", "size": "P4", "count": 12}]}
        self.say("reservation.made", "CORIN", small)
        fewer = {"reservation": "R-C2", "lines": [{"lot": "O-C1", "size": "P4", "count": 8}]}
        self.year.on(8, lambda: self.say("reservation.changed", "CORIN", fewer))
        self.year.on(12, lambda: self.ship("R-C2", 3))
        free = {"reservation": "R-C2", "reason": "the customer planted elsewhere"}
        self.year.on(20, lambda: self.say("reservation.released", "CORIN", free))

    def ship(self, reservation: str, count: int) -> None:
        """Trees leave for whoever reserved them."""
        customer = {"R-C1": "cust-07", "R-C2": "cust-12"}[reservation]
        data = {
            "customer": customer,
            "order": f"ord-{reservation}",
            "reservation": reservation,
            "document": f"pp-{2100 + count}",
            "lines": [{**NAVELS, "count": count}],
        }
        papers = {"lot": NAVELS["lot"], "count": count, "customer": customer, "origin": "ES"}
        for paper in ("plant_passport", "sale_tag"):
            said = papers | {"paper": paper, "order": data["order"], "document": data["document"]}
            self.say("papers.printed", "CORIN", said, occurred=self.clock("CORIN", time(8, 30)))
        self.say("trees.sold", "CORIN", data, occurred=self.clock("CORIN", time(8, 40)))

    def inspect(self) -> None:
        """Every site is inspected again before a year is over."""
        for site in nursery.SITES:
            self.say(
                "catalogue.changed", site, {"entry": catalogue.site_entry(site, self.year.today)}
            )

    def take_back(self) -> None:
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

    def reserve_again(self) -> None:
        """A reservation that is still open when the story ends."""
        soon = str(self.year.last + timedelta(days=25))
        data: dict[str, Any] = {"reservation": "R-C3", "customer": "cust-18", "needed_by": soon}
        data["lines"] = [{**NAVEL_ITEM, "count": 20}]
        self.say("reservation.made", "CORIN", data)

    # -- loads ---------------------------------------------------------------------------------

    def send(self) -> None:
        """A load to Eldra Fields."""
        lemons = {**NAVELS, "lot": "O-C2", "place": "C-T8"}
        data = {
            "consignment": "LOAD-1",
            "to_site": "ELDRA",
            "carrier": "carr-02",
            "document": "pp-2190",
            "lines": [{**NAVELS, "count": 24}, {**lemons, "count": 12}],
        }
        self.say("consignment.sent", "CORIN", data, occurred=self.clock("CORIN", time(7, 15)))

    def receive(self) -> None:
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

    def send_wood(self) -> None:
        """Buds and liners travel too."""
        wood = self.year.cooler.cut("CORIN", "EUREKA", 20)
        bag = next(iter(wood.bags))
        lines = [
            {"bag": bag, "place": wood.place, "count": 12},
            {"lot": "O-CL", "place": "C-T7", "size": "P1", "count": 10},
        ]
        data = {"consignment": "LOAD-2", "to_site": "ELDRA", "lines": lines}
        self.say("consignment.sent", "CORIN", data)
        wood.bags[bag] -= 12
        self.year.on(8, lambda: self.year.cooler.clear("CORIN", wood))
        arrived = [
            {"bag": bag, "place": "E-COOL", "count": 12},
            {"lot": "O-CL", "place": "E-BED", "size": "P1", "count": 10},
        ]
        got = {"consignment": "LOAD-2", "lines": arrived}
        self.year.on(4, lambda: self.say("consignment.received", "ELDRA", got))
        waste = {"lines": [{"bag": bag}], "cause": "source_failed", "note": "not true to type"}
        self.year.on(10, lambda: self.say("budwood.discarded", "ELDRA", waste))

    def send_last(self) -> None:
        """A load that is still on its way when the story ends."""
        data = {"consignment": "LOAD-3", "to_site": "ELDRA", "lines": [{**NAVELS, "count": 6}]}
        self.say("consignment.sent", "CORIN", data)

    # -- holds ---------------------------------------------------------------------------------

    def hold(self) -> None:
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

    def lift_hold(self) -> None:
        """The service lifts no plant-health hold without the authority's word."""
        data = {"hold": "H-SPOT", "reason": "laboratory found nothing"}
        self.at_once(self.event("hold.lifted", "TARNA", data), refused={0: "needs_authority"})
        word = {"authority": "plant-health office of the district", "document": "release 0192"}
        self.at_once(self.event("hold.lifted", "TARNA", {**data, **word}), at=AFTERNOON)

    def hold_quality(self) -> None:
        """A hold that is still in force when the story ends."""
        data = {"kind": "quality", "target": "lot", "code": "O-E2", "hold": "H-ROOTS"}
        self.say("hold.placed", "ELDRA", {**data, "reason": "roots circle in the bed"})
        for course in self.year.courses:
            if course.lot == "O-E2":
                course.kept = True

    # -- bought in; struck out -------------------------------------------------------------------

    def buy_trees(self) -> None:
        """Trees bought in, with a passport and without."""
        data = {"cultivar": "GRAVEN", "rootstock": "M9", "supplier": "supp-21", "size": "BARE"}
        data |= {"grade": "first", "place": "E-R5"}
        papers = {"lot": "E-B1", "document": "pp-8861", "count": 40, **data}
        self.say("trees.received", "ELDRA", papers)
        bare = {"lot": "E-B2", "count": 12, **data}
        self.say("trees.received", "ELDRA", bare, remarks=("no_document",))

    def strike_out(self) -> None:
        """Ten written for one; and a work that was done on another table."""
        lost = {**NAVELS, "count": 10, "cause": "breakage"}
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
