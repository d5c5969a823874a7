"""The course of one tree lot from the graft to the grade, with what hides behind each count."""

import random
from collections.abc import Mapping
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from seed_scenario.generator import Year


class Manner(NamedTuple):
    """How a crop's grafts go by one method. Days are from grafting; rates are of 1.

    `counts_from` None: weekly from the take on; else the month in which the counts begin.
    """

    method: str
    buds: int
    take_read: int
    take: float
    push_from: int
    push_rate: float
    pot: int | None
    grade: int
    prepared: bool = False
    forced: bool = False
    counts_from: int | None = None


MANNERS = {
    "citrus": Manner("inverted_t_bud", 1, 17, 0.93, 22, 0.38, 112, 172, forced=True),
    "avocado": Manner("cleft", 3, 33, 0.80, 30, 0.34, 140, 230, prepared=True),
    "mango": Manner("side_veneer", 3, 25, 0.74, 18, 0.42, 125, 215, prepared=True),
    "apple": Manner("whip_and_tongue", 3, 38, 0.92, 34, 0.40, None, 205),
    "apple_bud": Manner("chip_bud", 1, 30, 0.94, 0, 0.36, None, 330, counts_from=4),
}
DEATHS = {
    "CORIN": ["dead_stock", "disease", "pest", "heat", "drought", "girdled", "unknown"],
    "TARNA": ["dead_stock", "disease", "pest", "waterlogging", "breakage", "heat", "unknown"],
    "ELDRA": ["dead_stock", "disease", "frost", "pest", "breakage", "damaged", "unknown"],
}


class Stand:
    """What stands of a lot at one place, as it truly is."""

    def __init__(self, place: str, size: str, grafted: int) -> None:
        self.place, self.size = place, size
        self.grafted, self.pushed, self.failed = grafted, 0, 0
        self.ready: dict[str, int] = {}


class Course:
    """One lot's life. Methods are called on their day by the year's calendar."""

    def __init__(
        self, year: "Year", lot: str, site: str, cultivar: str, manner: Manner, stand: Stand
    ) -> None:
        self.year, self.lot, self.site, self.cultivar = year, lot, site, cultivar
        self.manner, self.grafted_on = manner, year.today
        self.stands = [stand]
        self.chance = random.Random(f"{year.seed} {lot}")
        self.people = year.people(site)
        self.potted = manner.pot is None
        self.walks = self.grades = 0
        # trees the script has plans for are not sold over the counter
        self.kept = False
        self.source = ""
        self.counted_on: date | None = None

    # -- the calendar ------------------------------------------------------------------

    def begin(self) -> None:
        """Put the lot's coming days into the calendar."""
        year, manner, chance = self.year, self.manner, self.chance
        year.on(manner.take_read + chance.randint(-2, 3), self.read_take)
        if manner.counts_from is not None:
            first = date(self.grafted_on.year + 1, manner.counts_from, 15)
            year.on((first - self.grafted_on).days + chance.randint(0, 6), self.walk)
        if manner.pot is not None:
            year.on(manner.pot + chance.randint(-8, 8), self.pot)
        year.on(manner.grade + chance.randint(-4, 12), self.grade)
        for work, after in (("fed", 45), ("desuckered", 63), ("staked", 95), ("spaced", 130)):
            year.on(after + chance.randint(-6, 6), partial(self.work, work))
        for _ in range(chance.randint(0, 2)):
            year.on(chance.randint(60, 240), self.lose)

    def alive(self, stand: Stand) -> int:
        """Live trees at a place."""
        return stand.grafted + stand.pushed + sum(stand.ready.values())

    def person(self) -> str:
        return self.chance.choice(self.people)

    # -- what happens --------------------------------------------------------------------

    def wrap(self) -> None:
        stand = self.stands[0]
        data = {
            "lot": self.lot,
            "place": stand.place,
            "count": stand.grafted,
            "material": self.chance.choice(["stretch film", "grafting tape", "biodegradable film"]),
        }
        self.say("grafts.wrapped", data, late=1 if self.chance.random() < 0.1 else 0)

    def read_take(self) -> None:
        year = self.year
        for stand in self.stands:
            if year.neglected(stand.place):
                continue
            failed = sum(self.chance.random() > self.manner.take for _ in range(stand.grafted))
            data = {
                "lot": self.lot,
                "place": stand.place,
                "size": stand.size,
                "alive": stand.grafted - failed,
                "failed": failed,
            }
            self.say("grafts.unwrapped", data)
            stand.grafted -= failed
            stand.failed += failed
            if self.manner.forced:
                technique = self.chance.choice(["bent", "bent", "lopped", "notched"])
                data = {"lot": self.lot, "place": stand.place, "technique": technique}
                self.say("tops.forced", data)
        year.take_was_read(self)
        if self.manner.counts_from is None:
            year.on(6 + self.chance.randint(0, 2), self.walk)

    def walk(self) -> None:
        """A walk along the tables: counts what stands, wherever something is still open."""
        self.walks += 1
        waits = False
        for stand in self.stands:
            if not (stand.grafted or stand.failed):
                continue
            waits = True
            if not self.year.neglected(stand.place):
                self.count(stand)
        if waits:
            self.year.on(6 + self.chance.randint(0, 2), self.walk)
        elif self.manner.forced:
            self.year.on(18 + self.chance.randint(0, 8), self.tops_off)

    def count(self, stand: Stand, *, prompt: bool = False) -> None:
        self.counted_on = self.year.today
        chance, age = self.chance, (self.year.today - self.grafted_on).days
        started = self.manner.counts_from is not None or age >= self.manner.push_from
        if started:
            new = sum(chance.random() < self.manner.push_rate for _ in range(stand.grafted))
            stand.grafted -= new
            stand.pushed += new
        dead = sum(chance.random() < 0.02 for _ in range(stand.grafted))
        if self.walks >= 7:
            # What has not pushed by now never will.
            dead = stand.grafted
        stand.grafted -= dead
        stand.failed += dead
        removed = []
        if stand.failed and (chance.random() < 0.5 or self.walks >= 6):
            removed.append({"count": stand.failed, "cause": "dead_scion"})
            stand.failed = 0
        if stand.pushed > 6 and chance.random() < 0.12:
            removed.append({"count": 1, "cause": chance.choice(DEATHS[self.site])})
            stand.pushed -= 1
        unclear = min(stand.grafted, chance.choice([0, 0, 0, 1, 2]))
        data = {
            "lot": self.lot,
            "place": stand.place,
            "size": stand.size,
            "pushed": stand.pushed,
            "waiting": stand.grafted - unclear,
            "failed": stand.failed,
            "unclear": unclear,
            "removed": removed,
        }
        late = 3 if chance.random() < 0.04 and not prompt else 0
        self.say("push.counted", data, late=late)

    def tops_off(self) -> None:
        for stand in self.stands:
            if stand.pushed:
                self.say("tops.removed", {"lot": self.lot, "place": stand.place})

    def work(self, work: str) -> None:
        for stand in self.stands:
            if self.alive(stand):
                data = {"work": work, "lot": self.lot, "place": stand.place}
                self.say("work.done", data, late=2 if self.chance.random() < 0.08 else 0)

    def lose(self) -> None:
        """A tree or two that somebody takes away dead between two counts."""
        stand = self.chance.choice(self.stands)
        lost = min(stand.pushed, self.chance.randint(1, 2))
        # Whoever counted today has counted without them already.
        if lost and self.counted_on != self.year.today:
            stand.pushed -= lost
            data = {
                "lot": self.lot,
                "place": stand.place,
                "stage": "pushed",
                "size": stand.size,
                "count": lost,
                "cause": self.chance.choice(DEATHS[self.site]),
            }
            late = 5 if self.potted and self.chance.random() < 0.3 else 0
            self.say("trees.lost", data, late=late)

    def pot(self) -> None:
        """Pot on what has pushed; nothing waits any more by then."""
        for stand in self.stands:
            if stand.grafted or stand.failed or not stand.pushed:
                continue
            data = {
                "lot": self.lot,
                "place": stand.place,
                "stage": "pushed",
                "size": stand.size,
                "count": stand.pushed,
                "to_size": "P4",
            }
            self.say("trees.potted", data)
            stand.size = "P4"
        self.potted = True
        if self.chance.random() < 0.3 and len(self.stands) == 1:
            self.year.on(4, self.split)

    def split(self) -> None:
        """Part of the lot goes to another table."""
        here = self.stands[0]
        part, to = here.pushed // 2, self.year.another_table(self.site, here.place)
        if part < 4 or here.grafted or here.failed:
            return
        data = {
            "lot": self.lot,
            "place": here.place,
            "stage": "pushed",
            "size": here.size,
            "count": part,
            "to": to,
        }
        self.say("trees.moved", data)
        here.pushed -= part
        there = Stand(to, here.size, 0)
        there.pushed = part
        self.stands.append(there)

    def grade(self) -> None:
        """Grade what has pushed: most ready, some later, the odd one thrown away."""
        left = 0
        self.grades += 1
        for stand in self.stands:
            if not stand.pushed or self.year.neglected(stand.place):
                left += stand.pushed
                continue
            first = round(stand.pushed * self.chance.uniform(0.45, 0.65))
            second = round((stand.pushed - first) * self.chance.uniform(0.4, 0.7))
            culled = 1 if stand.pushed > 12 and self.chance.random() < 0.4 else 0
            rest = max(stand.pushed - first - second - culled, 0)
            if self.grades >= 3:
                # What is not fit for sale by now never will be.
                culled, rest = culled + rest, 0
            outcomes = [
                {"count": first, "stage": "ready", "grade": "first", **self.measures(9)},
                {"count": second, "stage": "ready", "grade": "second", **self.measures(7)},
                {"count": rest + culled, "stage": "pushed"},
            ]
            data = {
                "lot": self.lot,
                "place": stand.place,
                "stage": "pushed",
                "size": stand.size,
                "outcomes": [one for one in outcomes if one["count"]],
            }
            self.say("trees.graded", data)
            for name, count in (("first", first), ("second", second)):
                stand.ready[name] = stand.ready.get(name, 0) + count
            if culled:
                which = {"lot": self.lot, "place": stand.place, "stage": "pushed"}
                lost = {"size": stand.size, "count": culled, "cause": "culled"}
                self.say("trees.lost", {**which, **lost})
            stand.pushed = rest
            left += rest
        if left:
            self.year.on(24 + self.chance.randint(0, 3), self.grade)

    def measures(self, caliper: int) -> dict[str, int]:
        """Stem and height as measured on one of them."""
        return {
            "caliper_mm": caliper + self.chance.randint(0, 3),
            "height_cm": 45 + self.chance.randint(0, 30),
        }

    def say(self, kind: str, data: Mapping[str, Any], late: int = 0) -> None:
        self.year.say(kind, self.site, dict(data), self.person(), late=late)
