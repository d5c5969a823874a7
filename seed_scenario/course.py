"""The course of one tree lot from the graft to the grade, as its people see and write it."""

import random
from collections.abc import Mapping
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from seed_scenario import nursery
from seed_scenario.crops import Manner
from seed_scenario.fate import Tree, leave
from seed_scenario.stand import GRADES, Stand

if TYPE_CHECKING:
    from seed_scenario.year import Year

_FILMS = ["stretch film", "grafting tape", "biodegradable film"]
# Walks without a new push after which what still waits is given up, and walks after which it is
# given up whatever came.
_PATIENCE, _WALKS = 4, 26
# Days after the first ready trees of a lot from which what is not fit is thrown away.
_LAG_DAYS = 45


class Course:
    """One lot's life. Methods are called on their day by the year's calendar."""

    def __init__(
        self, year: "Year", lot: str, cultivar: str, rootstock: str, manner: Manner, stand: Stand
    ) -> None:
        self.year, self.lot, self.cultivar, self.rootstock = year, lot, cultivar, rootstock
        self.manner, self.grafted_on = manner, year.today
        self.stands = [stand]
        self.site = stand.site
        self.chance = random.Random(f"{year.seed} {lot}")
        self.people = nursery.PEOPLE[self.site]
        self.walks = self.still = 0
        self.first_ready_on: date | None = None
        # trees the script has plans for are not sold over the counter
        self.kept = False
        # under a plant-health hold nothing is moved, potted or thrown away
        self.held = False
        # some of its trees stand with others in a lot without a label
        self.shared = False
        # some of its trees went to another site
        self.sent = False
        # whose it is from its grafting on; the nursery's own stock otherwise
        self.grown_for: str | None = None
        self.source = ""

    # -- the calendar ------------------------------------------------------------------

    def begin(self) -> None:
        """Put the lot's coming days into the calendar."""
        year, manner, chance = self.year, self.manner, self.chance
        year.on(manner.take_read + chance.randint(-2, 3), self.read_take)
        if manner.walk_from is not None:
            first = date(self.grafted_on.year + 1, manner.walk_from, 1)
            year.on((first - self.grafted_on).days + chance.randint(0, 6), self.walk)
        if manner.pot is not None:
            year.on(manner.pot + chance.randint(-8, 8), self.pot)
        year.on(self._first_grading() + chance.randint(0, 9), self.grade)
        for work, after in (("fed", 50), ("desuckered", 66), ("staked", 95), ("pruned", 160)):
            year.on(after + chance.randint(-6, 6), partial(self.work, work))
        year.on(70 + chance.randint(0, 20), self.tend)

    def _first_grading(self) -> int:
        """Days until somebody sees trees fit for sale among them, or it is time to look."""
        ready = sorted(t.ready_on for t in self.stands[0].of("grafted") if t.ready_on is not None)
        few = ready[len(ready) // 3] if ready else self.year.last
        return min((few - self.grafted_on).days, self.manner.grade)

    def descends_from(self, other: "Course") -> bool:
        """Whether it is the other lot, or stands on its stocks by a second try."""
        return self.lot.startswith(other.lot) and not self.lot[len(other.lot) :].strip("R")

    def quiet(self, stand: Stand) -> bool:
        """Whether nothing is told of a stand today: nobody goes there, or a count is on its way."""
        return self.year.neglected(stand.place) or self.year.today <= stand.untold_until

    def person(self) -> str:
        """One of the site's people."""
        return self.chance.choice(self.people)

    # -- what happens --------------------------------------------------------------------

    def wrap(self) -> None:
        """The grafts are wrapped on the day, as a rule."""
        stand, film = self.stands[0], self.chance.choice(_FILMS)
        data = {**stand.where(), "count": len(stand.of("grafted")), "material": film}
        self.say(stand, "grafts.wrapped", data, late=1 if self.chance.random() < 0.1 else 0)

    def read_take(self) -> None:
        """The wraps come off and the take is read."""
        year = self.year
        for stand in self.stands:
            if year.neglected(stand.place):
                continue
            grafted = stand.of("grafted")
            failed = [tree for tree in grafted if not tree.took]
            grafted[:] = [tree for tree in grafted if tree.took]
            data = {**stand.where(), "size": stand.size}
            data |= {"alive": len(grafted), "failed": len(failed)}
            self.say(stand, "grafts.unwrapped", data)
            stand.of("failed").extend(failed)
            if self.manner.forced:
                technique = self.chance.choice(["bent", "bent", "lopped", "notched"])
                self.say(stand, "tops.forced", {**stand.where(), "technique": technique})
        year.take_was_read(self)
        if self.manner.walk_from is None:
            year.on(6 + self.chance.randint(0, 2), self.walk)

    def walk(self) -> None:
        """A walk along the tables: counts what stands, wherever something is still open."""
        if any(stand.touched_on == self.year.today for stand in self.stands):
            # One thing a day, so that nobody need say what came first.
            self.year.on(1, self.walk)
            return
        self.walks += 1
        open_stands = [s for s in self.stands if s.of("grafted") or s.of("failed")]
        for stand in open_stands:
            if not self.quiet(stand):
                self.count(stand)
        if open_stands:
            self.year.on(self.manner.walk_every - 1 + self.chance.randint(0, 2), self.walk)
        elif self.manner.forced:
            self.year.on(18 + self.chance.randint(0, 8), self.tops_off)

    def count(self, stand: Stand, *, prompt: bool = False) -> None:
        """Count one stand: what has pushed, what waits, what is dead, what was taken away."""
        today, chance = self.year.today, self.chance
        stand.counted_on = today
        waiting, pushed, failed = stand.of("grafted"), stand.of("pushed"), stand.of("failed")
        causes = stand.take_dead("grafted", today) + stand.take_dead("pushed", today)
        missing = stand.drop_missing("grafted", today) + stand.drop_missing("pushed", today)
        new = [tree for tree in waiting if tree.pushed(today)]
        pushed.extend(new)
        waiting[:] = [tree for tree in waiting if not tree.pushed(today)]
        self.still = 0 if new or not pushed else self.still + 1
        if self.still >= _PATIENCE or self.walks >= _WALKS:
            # What has not pushed by now is taken for dead.
            leave(waiting, today)
            failed.extend(waiting)
            waiting.clear()
        if failed and (chance.random() < 0.4 or not waiting) and not self.held:
            causes["dead_scion"] += len(failed)
            failed.clear()
        unclear = min(len(waiting), chance.choice([0, 0, 0, 0, 1, 2]))
        data = {
            **stand.where(),
            "size": stand.size,
            "pushed": len(pushed),
            "waiting": len(waiting) - unclear,
            "failed": len(failed),
            "unclear": unclear,
            "removed": [{"count": n, "cause": cause} for cause, n in sorted(causes.items())],
        }
        late = 3 if chance.random() < 0.03 and waiting and not (missing or prompt) else 0
        if late:
            stand.untold_until = today + timedelta(days=late)
        self.say(stand, "push.counted", data, late, ("count_differs",) if missing else ())

    def tops_off(self) -> None:
        """The rootstocks' tops come off above the scions."""
        for stand in self.stands:
            if stand.of("pushed") and not self.year.neglected(stand.place):
                self.say(stand, "tops.removed", stand.where())

    def work(self, work: str) -> None:
        """Something done to all that stands."""
        for stand in self.stands:
            if stand.standing() and not self.year.neglected(stand.place):
                late = 2 if self.chance.random() < 0.06 else 0
                self.say(stand, "work.done", {"work": work, **stand.where()}, late)

    def tend(self) -> None:
        """Take away what has died among the pushed and the ready."""
        for stand in self.stands:
            # Whoever counted today has counted without them already.
            if stand.counted_on != self.year.today and not self.quiet(stand):
                self.take_dead(stand, "pushed", *GRADES)
        if any(stand.standing() for stand in self.stands):
            self.year.on(30 + self.chance.randint(0, 10), self.tend)

    def take_dead(self, stand: Stand, *stages: str) -> None:
        """Write down the trees of these stages that are seen dead."""
        for stage in stages:
            for cause, count in sorted(stand.take_dead(stage, self.year.today).items()):
                data = {**stand.where(stage), "count": count, "cause": cause}
                late = 5 if self.chance.random() < 0.15 else 0
                self.say(stand, "trees.lost", data, late)

    def pot(self) -> None:
        """Pot on what has pushed, once nothing waits any more."""
        waits = any(stand.of("grafted") or stand.of("failed") for stand in self.stands)
        if self.held:
            return
        if waits:
            self.year.on(20, self.pot)
            return
        for stand in self.stands:
            if self.quiet(stand):
                continue
            self.take_dead(stand, "pushed")
            pushed = stand.of("pushed")
            if not pushed or stand.ready() or stand.size == "P4":
                continue
            data = {**stand.where("pushed"), "count": len(pushed), "to_size": "P4"}
            self.say(stand, "trees.potted", data)
            stand.size = "P4"
        if self.chance.random() < 0.3 and len(self.stands) == 1:
            self.year.on(4, self.split)

    def split(self) -> None:
        """Part of the lot goes to another table."""
        here = self.stands[0]
        pushed = here.of("pushed")
        part, to = len(pushed) // 2, self.year.another_table(here.site, here.place)
        if part < 4 or here.of("grafted") or here.of("failed") or self.held:
            return
        self.say(here, "trees.moved", {**here.where("pushed"), "count": part, "to": to})
        there = self.stand_at(here.site, to, here.size)
        there.of("pushed").extend(pushed[:part])
        del pushed[:part]

    def stand_at(self, site: str, place: str, size: str) -> Stand:
        """The lot's stand at a place in a size, made if need be."""
        for stand in self.stands:
            if (stand.site, stand.place, stand.size) == (site, place, size):
                return stand
        self.stands.append(Stand(self.lot, site, place, size))
        return self.stands[-1]

    def grade(self) -> None:
        """Grade what has pushed: what is fit for sale, what is not yet, what never will be."""
        today, left = self.year.today, False
        for stand in self.stands:
            if not stand.of("pushed") or self.quiet(stand):
                left = left or bool(stand.of("pushed"))
                continue
            self.take_dead(stand, "pushed")
            if self.first_ready_on is None and any(t.ready(today) for t in stand.of("pushed")):
                self.first_ready_on = today
            self._grade(stand)
            left = left or bool(stand.of("pushed"))
        if left or any(stand.of("grafted") for stand in self.stands):
            again = 26 if self.first_ready_on else 40
            self.year.on(again + self.chance.randint(0, 3), self.grade)

    def _grade(self, stand: Stand) -> None:
        today, pushed = self.year.today, stand.of("pushed")
        fit = [tree for tree in pushed if tree.ready(today)]
        rest = [tree for tree in pushed if not tree.ready(today)]
        if not pushed:
            return
        by_grade: dict[str, list[Tree]] = {
            "first": [tree for tree in fit if tree.first],
            "second": [tree for tree in fit if not tree.first],
        }
        outcomes: list[dict[str, Any]] = [
            {"count": len(trees), "stage": "ready", "grade": name, **self._measures(name)}
            for name, trees in by_grade.items()
            if trees
        ]
        if rest:
            outcomes.append({"count": len(rest), "stage": "pushed"})
        self.say(stand, "trees.graded", {**stand.where("pushed"), "outcomes": outcomes})
        for name, trees in by_grade.items():
            stand.of(name).extend(trees)
        for tree in fit:
            tree.graded_on, tree.size = today, stand.size
        pushed[:] = rest
        since = self.first_ready_on
        if rest and since and (today - since).days >= _LAG_DAYS and not self.held:
            # What lags so far behind the others is not worth its place.
            culls = [tree for tree in rest if tree.unfit]
            pushed[:] = [tree for tree in rest if not tree.unfit]
            leave(culls, today)
            if culls:
                lost = {"count": len(culls), "cause": "culled"}
                self.say(stand, "trees.lost", {**stand.where("pushed"), **lost})

    def _measures(self, grade: str) -> dict[str, int]:
        """Stem and height as measured on one of them."""
        caliper = 9 if grade == "first" else 7
        return {
            "caliper_mm": caliper + self.chance.randint(0, 3),
            "height_cm": 45 + self.chance.randint(0, 30),
        }

    def say(
        self,
        stand: Stand,
        kind: str,
        data: Mapping[str, Any],
        late: int = 0,
        remarks: tuple[str, ...] = (),
    ) -> None:
        """Something done today at one of its stands."""
        stand.touched_on = self.year.today
        who = self.person() if stand.site == self.site else nursery.PEOPLE[stand.site][0]
        self.year.say(kind, stand.site, dict(data), who, late=late, remarks=remarks)
