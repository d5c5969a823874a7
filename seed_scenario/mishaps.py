"""What goes wrong in any nursery, again and again: holds, lost labels, slips of the pen."""

from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from typing import Any

from seed_scenario import nursery
from seed_scenario.course import Course
from seed_scenario.fate import leave
from seed_scenario.stand import Stand
from seed_scenario.telling import AFTERNOON
from seed_scenario.year import Year

_FAULTS = ["roots circle in the pot", "leaves yellow", "unions weak", "stakes too short"]


def plan(year: Year) -> None:
    """Put the mishaps of all sites into the calendar."""
    for number, site in enumerate(nursery.SITES):
        year.on(190 + 9 * number, partial(_hold, year, site))
        year.on(100 + 12 * number, partial(_lose_label, year, site))
        year.on(24 + 11 * number, partial(_mistype, year, site))
        slips = _Slips(year, site, 60 + 7 * number)
        year.at_day_end.append(slips.perhaps)
    year.on(230, partial(_cut_of_expired, year))
    year.before_the_end(24, partial(_plant_health, year))


def _growing(year: Year, site: str, least: int) -> Iterator[tuple[Course, Stand]]:
    """Stands with so many pushed trees that nothing has been told of today."""
    for course, stand in year.stands(site):
        enough = len(stand.of("pushed")) >= least and course.site == site
        if enough and stand.touched_on != year.today and not course.quiet(stand):
            yield course, stand


def _say_once(year: Year, site: str, *events: dict[str, Any], **more: Any) -> None:
    year.teller.at_once(list(events), year.today, nursery.PEOPLE[site][0], **more)


# -- holds ---------------------------------------------------------------------------------


def _hold(year: Year, site: str) -> None:
    """A lot is not to be sold for some weeks."""
    year.on(52 + year.chance.randint(0, 20), partial(_hold, year, site))
    lots = [course for course, stand in year.stands(site) if stand.ready()]
    course = year.chance.choice(lots) if lots else None
    if course is None:
        return
    # a hold is on all that descends from the lot
    family = [one for one in year.courses if one.descends_from(course)]
    # what stands at another site too would be held there before anybody knows of it
    if any(one.sent or any(stand.promised for stand in one.stands) for one in family):
        return
    code = year.code(f"H-{nursery.LETTER[site]}")
    data = {"kind": "quality", "target": "lot", "code": course.lot, "hold": code}
    data["reason"] = year.chance.choice(_FAULTS)
    year.say("hold.placed", site, data, nursery.PEOPLE[site][0])
    for one in family:
        one.kept = True

    def lift() -> None:
        done = {"hold": code, "reason": "gone over again; fit for sale"}
        year.say("hold.lifted", site, done, nursery.PEOPLE[site][0])
        for one in family:
            one.kept = False
            for stand in one.stands:
                stand.touched_on = year.today

    year.on(year.chance.randint(12, 22), lift)


def _plant_health(year: Year) -> None:
    """A plant-health hold that nobody may lift: it is in force when the story ends."""
    site = "TARNA"
    lots = [
        course
        for course, stand in _growing(year, site, 5)
        if len(course.stands) == 1 and not course.shared and not course.lot.endswith("R")
    ]
    if not lots:
        year.on(1, partial(_plant_health, year))
        return
    course = lots[-1]
    data = {"kind": "plant_health", "target": "lot", "code": course.lot, "hold": "H-LEAF"}
    data["reason"] = "wilted shoots; sample sent to the plant-health laboratory, lot kept apart"
    year.say("hold.placed", site, data, nursery.PEOPLE[site][0])
    course.kept = course.held = True


def _cut_of_expired(year: Year) -> None:
    """Wood was cut of a tree whose registration had run out: a breach, and the wood goes."""
    site, lot = "TARNA", year.code("T-W")
    bag = {"bag": f"{lot}-1", "buds": 16, "sticks": 3, "place": nursery.COOLER[site]}
    data = {"lot": lot, "cultivar": "NAVEL", "source_tree": nursery.EXPIRING, "bags": [bag]}
    event = year.teller.event("budwood.cut", site, year.today, data, nursery.PEOPLE[site][1])
    _say_once(year, site, event, refused={0: "source_expired"})
    again = {**event, "happened": True}
    _say_once(year, site, again, at=AFTERNOON, remarked={0: ["breach"]})
    waste = {"lines": [{"bag": f"{lot}-1"}], "cause": "source_failed"}
    year.on(2, partial(year.say, "budwood.discarded", site, waste, nursery.PEOPLE[site][1]))


# -- labels --------------------------------------------------------------------------------


def _lose_label(year: Year, site: str) -> None:
    """Some trees without a label on a table where two lots of a size stand; later thrown away."""
    year.on(85 + year.chance.randint(0, 20), partial(_lose_label, year, site))
    by_table: dict[tuple[str, str], list[tuple[Course, Stand]]] = {}
    for course, stand in _growing(year, site, 5):
        by_table.setdefault((stand.place, stand.size), []).append((course, stand))
    found = next((pairs[:2] for pairs in by_table.values() if len(pairs) >= 2), None)
    if found is None:
        return
    lines, pair = [], [stand for _, stand in found]
    for (course, stand), count in zip(found, (2, 1), strict=True):
        course.shared = True
        lines.append({**stand.where("pushed"), "count": count})
        leave(stand.of("pushed")[:count], year.today)
        del stand.of("pushed")[:count]
        stand.touched_on = year.today
    letter = nursery.LETTER[site]
    lot, hold = year.code(f"{letter}-UNK"), year.code(f"H-LABEL-{letter}")
    data = {"lot": lot, "hold": hold, "lines": lines, "note": "no label between the two lots"}
    year.say("label.lost", site, data, year.person(site))
    where = {**pair[0].where("pushed"), "lot": lot, "count": 3, "cause": "culled"}
    where["note"] = "nobody can say what they are"
    year.on(75, partial(year.say, "trees.lost", site, where, nursery.PEOPLE[site][0]))


# -- slips of the pen ------------------------------------------------------------------------


def _mistype(year: Year, site: str) -> None:
    """A device sends one by one: what is wrong is kept; some of it is put right next day."""
    year.on(80 + year.chance.randint(0, 25), partial(_mistype, year, site))
    table, letter = year.another_table(site), nursery.LETTER[site]
    lot = next((lot for lot, _ in year.liners.standing(site, days=4)), None)
    if lot is None:
        return
    who = year.person(site)

    def event(kind: str, data: dict[str, Any]) -> dict[str, Any]:
        return year.teller.event(kind, site, year.today, data, who)

    many = {**year.liners.where(site, lot), "count": 90_000}
    good = event("place.checked", {"place": table})
    wrong: list[tuple[str, dict[str, Any]]] = [
        ("unknown_code", event("work.done", {"work": "weeded", "place": f"{letter}-99"})),
        ("below_zero", event("liners.discarded", {**many, "cause": "pest"})),
        (
            "unknown_code",
            event("trees.lost", {"lot": f"{letter}-G9X", "count": 2, "cause": "pest"}),
        ),
    ]
    told = year.chance.sample(wrong, 2)
    refused = {1 + number: kind for number, (kind, _) in enumerate(told)}
    _say_once(year, site, good, *(one for _, one in told), mode="each", refused=refused)
    for _, one in told:
        if one["type"] == "work.done" and year.today < year.last:
            mended = {**one, "data": {"work": "weeded", "place": table}}
            tomorrow = year.today + timedelta(days=1)
            year.on_day(tomorrow, partial(_say_once, year, site, mended, mode="each"))


class _Slips:
    """A loss written down with too high a number, and put right the next day."""

    def __init__(self, year: Year, site: str, first: int) -> None:
        self.year, self.site = year, site
        self._next = year.first + timedelta(days=first)

    def perhaps(self) -> None:
        """At the end of a day, when nothing more will be told of it."""
        year = self.year
        if year.today < self._next or year.today.weekday() >= 5 or year.today >= year.last:
            return
        found = next(_growing(year, self.site, 8), None)
        if found is None:
            return
        self._next = year.today + timedelta(days=year.chance.randint(26, 40))
        course, stand = found
        leave([stand.of("pushed").pop()], year.today)
        cause = year.chance.choice(["breakage", "pest", "unknown"])
        told = {**stand.where("pushed"), "count": 4, "cause": cause}
        event = year.say("trees.lost", self.site, told, course.person())
        stand.touched_on = year.today
        tomorrow = year.today + timedelta(days=1)
        year.on_day(tomorrow, partial(self._put_right, event, year.today))

    def _put_right(self, event: dict[str, Any], day: Any) -> None:
        year, site = self.year, self.site
        void = {"event": event["id"], "reason": "one, not four"}
        data, who = {**event["data"], "count": 1}, nursery.PEOPLE[site][0]
        again = year.teller.event("trees.lost", site, day, data, who, replaces=event["id"])
        voided = year.teller.event("event.voided", site, year.today, void, who)
        _say_once(year, site, voided, again)
