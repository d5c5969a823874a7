"""What comes again and again: rounds over the tables, treatments, stock counts."""

from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any

from seed_scenario import nursery, trading
from seed_scenario.stand import GRADES
from seed_scenario.telling import ZONES
from seed_scenario.year import Year

_NOTES = ["dry at the edge", "labels checked", "some aphids, leaves wiped", "looks well"]
# The longest a table waits for a look, less than the site's norm.
_LOOK_DAYS = {"CORIN": [8, 9, 9], "TARNA": [8, 9, 9], "ELDRA": [11, 12, 13]}
_REASONS = ["quarterly count", "count before the sales season", "count after a busy week"]


def plan(year: Year) -> None:
    """Put the rounds of all sites into the calendar."""
    for number, site in enumerate(nursery.SITES):
        apart = [nursery.RETURNS[site]] if site in nursery.RETURNS else []
        for place, table in enumerate([*nursery.tables(site, year.many), *apart]):
            year.on(3 + place % 6, partial(_look, year, site, table))
        year.on(28 + 3 * number, partial(_treat, year, site))
        year.on(40 + 7 * number, partial(_count_stock, year, site))
        if ZONES[site].key != "Australia/Brisbane":
            _plan_clock_changes(year, site)
    trading.plan(year)


def _look(year: Year, site: str, table: str) -> None:
    """Somebody looks the table over; at times writes down what is seen, or when."""
    chance = year.chance
    year.on(chance.choice(_LOOK_DAYS[site]), partial(_look, year, site, table))
    if year.neglected(table):
        return
    data: dict[str, Any] = {"place": table}
    if chance.random() < 0.15:
        data["note"] = chance.choice(_NOTES)
    if chance.random() < 0.1:
        stands = [s for course in year.courses for s in course.stands if s.place == table]
        data["totals"] = {
            "pushed": sum(len(stand.of("pushed")) for stand in stands),
            "waiting": sum(len(stand.of("grafted")) for stand in stands),
        }
    more: dict[str, Any] = {}
    if chance.random() < 0.2:
        at = time(chance.randint(7, 17), chance.choice([5, 20, 40, 55]))
        more["occurred"] = year.teller.clock(site, year.today, at)
    late = 2 if chance.random() < 0.05 else 0
    year.say("place.checked", site, data, year.person(site), late=late, **more)


def _treat(year: Year, site: str) -> None:
    year.on(58 + year.chance.randint(0, 6), partial(_treat, year, site))
    who = nursery.PEOPLE[site][0]
    tables = year.chance.sample(nursery.tables(site, year.many), 4)
    data = {
        "places": sorted(tables),
        "product": "horticultural oil",
        "rate": "1 % by volume, by the label",
        "reason": "scale insects",
        "document": f"spray-{year.chance.randint(100, 999)}",
        "re_entry_hours": 12,
    }
    year.say("treatment.applied", site, data, who)


def _count_stock(year: Year, site: str) -> None:
    """Some of what is ready, and of the liners, is counted; now and then one is not there."""
    year.on(42 + year.chance.randint(0, 9), partial(_count_stock, year, site))
    lines: list[dict[str, Any]] = []
    differs = False
    standing = [
        stand
        for course, stand in year.stands(site)
        if stand.ready()
        and stand.touched_on != year.today
        and not course.quiet(stand)
        # of what was there at the opening the script keeps some back
        and not stand.lot.startswith("O-")
    ]
    for stand in year.chance.sample(standing, min(6, len(standing))):
        stand.touched_on = stand.counted_on = year.today
        for grade in GRADES:
            if not stand.of(grade):
                continue
            for cause, count in sorted(stand.take_dead(grade, year.today).items()):
                lost = {**stand.where(grade), "count": count, "cause": cause}
                year.say("trees.lost", site, lost, year.person(site))
            differs |= stand.drop_missing(grade, year.today) > 0
            lines.append({**stand.where(grade), "counted": len(stand.of(grade))})
    for lot, left in sorted(year.liners.standing(site))[-3:]:
        less = year.chance.choice([0, 0, 0, 1, 2, -1])
        less = min(less, left)
        year.liners.take(site, lot, less)
        differs |= less != 0
        lines.append({**year.liners.where(site, lot), "counted": left - less})
    if lines:
        data = {"lines": lines, "reason": year.chance.choice(_REASONS)}
        remarks = ("count_differs",) if differs else ()
        year.say("stock.counted", site, data, year.person(site), remarks=remarks)


def _plan_clock_changes(year: Year, site: str) -> None:
    """In the night on which the clocks change somebody looks after the frost alarm."""
    for number in range((year.last - year.first).days - 12):
        day = year.first + timedelta(days=number + 12)
        before, after = (_offset(site, day, at) for at in (time(0), time(12)))
        if before != after:
            year.on_day(day, partial(_night_watch, year, site, after < before))


def _offset(site: str, day: date, at: time) -> timedelta:
    found = datetime.combine(day, at, ZONES[site]).utcoffset()
    assert found is not None
    return found


def _night_watch(year: Year, site: str, back: bool) -> None:
    """Looks at half past two, twice where the clocks go back; at half past three where there is
    no half past two."""
    table, who = year.another_table(site), year.person(site)
    at = time(2, 30) if back else time(3, 30)
    for fold in (0, 1) if back else (0,):
        when = datetime.combine(year.today, at.replace(fold=fold), ZONES[site]).isoformat()
        data = {"place": table, "note": "frost alarm; vents shut"}
        year.say("place.checked", site, data, who, occurred=when)
