"""Sales over the counter, reservations and what becomes of them, loads between two sites."""

from collections.abc import Iterator
from datetime import time, timedelta
from functools import partial
from typing import Any, NamedTuple

from seed_scenario import nursery
from seed_scenario.course import Course
from seed_scenario.fate import Tree, leave
from seed_scenario.stand import GRADES, Stand
from seed_scenario.year import Year

_RELEASES = ["the customer planted elsewhere", "the field is not ready", "ordered twice"]


def plan(year: Year) -> None:
    """Put the trade of all sites into the calendar."""
    for number, site in enumerate(nursery.SITES):
        # a larger nursery has more customers
        for counter in range(year.many):
            year.on(9 + number + counter, partial(_sell, year, site))
            year.on(96 + 3 * number + counter, partial(_reserve, year, site))
        year.on(120 + number, partial(_hand_over, year, site))
    # Tarna Creek lies across the sea: its trees stay there.
    year.on(170, partial(_send, year, "CORIN", "ELDRA"))
    year.on(185, partial(_send, year, "ELDRA", "CORIN"))


def _free(year: Year, site: str, least: int) -> Iterator[tuple[Course, Stand]]:
    """Stands of the nursery's own with so many ready trees that nobody was promised."""
    for course, stand in year.stands(site):
        if course.grown_for is not None:
            continue
        if stand.ready() - stand.promised >= least and not course.quiet(stand):
            yield course, stand


def _take(year: Year, stand: Stand, count: int) -> list[tuple[str, list[Tree]]]:
    """Take live ready trees off a stand, the first grade first: by grade."""
    taken = []
    for grade in GRADES:
        trees = stand.of(grade)
        alive = [tree for tree in trees if not tree.gone(year.today)][:count]
        if alive:
            trees[:] = [tree for tree in trees if tree not in alive]
            leave(alive, year.today)
            taken.append((grade, alive))
            count -= len(alive)
    stand.touched_on = year.today
    return taken


def _lines(stand: Stand, taken: list[tuple[str, list[Tree]]]) -> list[dict[str, Any]]:
    return [{**stand.where(grade), "count": len(trees)} for grade, trees in taken]


def _when(year: Year, site: str, *stands: Stand) -> dict[str, Any]:
    """The time of a sale, unless something else was told of the trees today, without a time: then
    nobody could say what came first. To be asked before the trees are taken."""
    if any(stand.touched_on == year.today for stand in stands) or year.chance.random() < 0.6:
        return {}
    at = time(year.chance.randint(8, 17), year.chance.choice([0, 10, 25, 50]))
    return {"occurred": year.teller.clock(site, year.today, at)}


def _sell(year: Year, site: str) -> None:
    """A sale over the counter from what is ready and not kept for anybody."""
    year.on(year.chance.randint(3, 6), partial(_sell, year, site))
    stock = list(_free(year, site, 1))
    lines: list[dict[str, Any]] = []
    chosen = year.chance.sample(stock, min(year.chance.choice([1, 2, 2, 3]), len(stock)))
    more = _when(year, site, *(stand for _, stand in chosen))
    for _, stand in chosen:
        free = stand.ready() - stand.promised
        lines += _lines(stand, _take(year, stand, min(free, year.chance.randint(2, 14))))
    if not lines:
        return
    data = {
        "customer": f"cust-{year.chance.randint(10, 34)}",
        "order": f"ord-{year.code(nursery.LETTER[site] + '-')}",
        "document": f"pp-{year.chance.randint(1000, 9999)}",
        "lines": lines,
    }
    late = 1 if year.chance.random() < 0.1 else 0
    year.say("trees.sold", site, data, nursery.PEOPLE[site][-1], late=late, **more)


def _hand_over(year: Year, site: str) -> None:
    """Customers for whom trees were grown come for those that are ready."""
    year.on(28, partial(_hand_over, year, site))
    for course, stand in list(year.stands(site)):
        if course.grown_for is None or course.quiet(stand) or stand.ready() < 5:
            continue
        taken = _take(year, stand, stand.ready())
        if taken:
            data = {"customer": course.grown_for, "order": f"ord-{course.lot}"}
            lines = {"document": f"pp-{course.lot}", "lines": _lines(stand, taken)}
            year.say("trees.sold", site, data | lines, nursery.PEOPLE[site][-1])


def _reserve(year: Year, site: str) -> None:
    """Somebody reserves trees of a lot; some of it is fetched, some given free, some forgotten."""
    chance = year.chance
    year.on(chance.randint(11, 17), partial(_reserve, year, site))
    stock = list(_free(year, site, 10))
    if not stock:
        return
    course, stand = chance.choice(stock)
    count = chance.randint(4, (stand.ready() - stand.promised) // 2)
    code, customer = year.code(f"R-{nursery.LETTER[site]}9-"), f"cust-{chance.randint(10, 34)}"
    data: dict[str, Any] = {"reservation": code, "customer": customer}
    data["needed_by"] = str(year.today + timedelta(days=35))
    if chance.random() < 0.6:
        data["expires_at"] = str(year.today + timedelta(days=45))
    line = {"lot": course.lot, "size": stand.size, "count": count}
    year.say("reservation.made", site, {**data, "lines": [line]}, nursery.PEOPLE[site][-1])
    stand.promised += count
    end, wanted = chance.random(), count
    if end < 0.15:
        wanted = max(count - 3, 1)
        year.on(chance.randint(3, 8), partial(_change, year, site, code, {**line, "count": wanted}))
    if end < 0.75:
        act = partial(_fetch, year, course, stand, code, customer, wanted, count)
        year.on(chance.randint(10, 22), act)
    elif end < 0.87:
        year.on(chance.randint(8, 20), partial(_release, year, stand, code, count))
    elif "expires_at" in data:
        year.on(47, partial(_forget, year, stand, code, count))


def _change(year: Year, site: str, code: str, line: dict[str, Any]) -> None:
    data = {"reservation": code, "lines": [line]}
    year.say("reservation.changed", site, data, nursery.PEOPLE[site][-1])


def _release(year: Year, stand: Stand, code: str, count: int) -> None:
    stand.promised -= count
    data = {"reservation": code, "reason": year.chance.choice(_RELEASES)}
    year.say("reservation.released", stand.site, data, nursery.PEOPLE[stand.site][-1])


def _forget(year: Year, stand: Stand, code: str, count: int) -> None:
    """Nobody came, and it is noted that it has expired."""
    stand.promised -= count
    year.say(
        "reservation.expired", stand.site, {"reservation": code}, nursery.PEOPLE[stand.site][-1]
    )


def _fetch(
    year: Year, course: Course, stand: Stand, code: str, customer: str, wanted: int, promised: int
) -> None:
    """The customer comes for them; under a hold, or with none left, the claim is given free."""
    site, more = stand.site, _when(year, stand.site, stand)
    taken = [] if course.kept or course.quiet(stand) else _take(year, stand, wanted)
    if not taken:
        _release(year, stand, code, promised)
        return
    stand.promised -= promised
    data: dict[str, Any] = {"customer": customer, "order": f"ord-{code}", "reservation": code}
    data |= {"document": f"pp-{year.chance.randint(1000, 9999)}", "lines": _lines(stand, taken)}
    year.say("trees.sold", site, data, nursery.PEOPLE[site][-1], **more)


# -- loads ---------------------------------------------------------------------------------


class Part(NamedTuple):
    """Trees of one lot and grade in a load."""

    course: Course
    size: str
    grade: str
    trees: list[Tree]


def _send(year: Year, site: str, to_site: str) -> None:
    """Ready trees of some lots go to the other site's sales tables."""
    year.on(year.chance.randint(24, 32), partial(_send, year, site, to_site))
    home = [(course, stand) for course, stand in _free(year, site, 8) if course.site == site]
    parts: list[Part] = []
    lines: list[dict[str, Any]] = []
    for course, stand in year.chance.sample(home, min(3, len(home))):
        count = year.chance.randint(4, (stand.ready() - stand.promised) // 2)
        taken = _take(year, stand, count)
        lines += _lines(stand, taken)
        course.sent = True
        parts += [Part(course, stand.size, grade, trees) for grade, trees in taken]
    if not parts:
        return
    code = year.code("LOAD-")
    data = {"consignment": code, "to_site": to_site, "carrier": "carr-02", "lines": lines}
    data["document"] = f"pp-{year.chance.randint(1000, 9999)}"
    year.say("consignment.sent", site, data, nursery.PEOPLE[site][0])
    year.on(year.chance.randint(4, 6), partial(_receive, year, to_site, code, parts))


def _receive(year: Year, site: str, code: str, parts: list[Part]) -> None:
    """Most arrive; now and then one is missing, or dead."""
    lines, differs = [], False
    table = year.another_table(site)
    for course, size, grade, trees in parts:
        dead = min(len(trees), year.chance.choice([0] * 8 + [1, 2]))
        short = min(len(trees) - dead, year.chance.choice([0] * 9 + [1]))
        arrived = trees[dead + short :]
        for tree in arrived:
            tree.left_on = None
        stand = course.stand_at(site, table, size)
        stand.of(grade).extend(arrived)
        stand.touched_on = year.today
        lines.append({**stand.where(grade), "count": len(arrived), "dead": dead})
        differs = differs or dead + short > 0
    data = {"consignment": code, "lines": lines}
    remarks = ("consignment_differs",) if differs else ()
    year.say("consignment.received", site, data, nursery.PEOPLE[site][0], remarks=remarks)
