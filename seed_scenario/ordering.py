"""Work orders: the grafting of each month is ordered before it, and ended when it is done."""

from collections import defaultdict
from datetime import date, timedelta
from functools import partial
from typing import Any

from seed_scenario import nursery
from seed_scenario.crops import MANNERS, Planned
from seed_scenario.year import Year

_AHEAD = timedelta(days=9)
# Days after the last planned graft by which an order is wanted.
_SLACK = timedelta(days=5)


def plan(year: Year) -> None:
    """Order what is planned, by site, method, cultivar, rootstock and month."""
    batches: dict[tuple[str, str, str, str, date], list[Planned]] = defaultdict(list)
    for lot in year.planned:
        key = (lot.season.site, lot.season.manner, lot.cultivar, lot.rootstock)
        batches[(*key, lot.day.replace(day=1))].append(lot)
    for number, batch in enumerate(batches.values()):
        first = max(batch[0].day - _AHEAD, year.first + timedelta(days=7))
        year.on_day(first, partial(_order, year, batch, number))
    # One that is still open when the story ends, whatever the season, and one that is called off.
    year.before_the_end(20, partial(_ask, year, "CORIN", "WO-SPRING-", 40))
    year.before_the_end(45, partial(_ask, year, "TARNA", "WO-OFF-", 25))


def _order(year: Year, batch: list[Planned], number: int) -> None:
    lot, count = batch[0], sum(one.trees for one in batch)
    site, who = lot.season.site, nursery.PEOPLE[lot.season.site][0]
    code, needed_by = year.code(f"WO-{nursery.LETTER[site]}"), batch[-1].day + _SLACK
    # The plan knows the number; who orders, now and then, at first only roughly.
    rough = number % 9 == 4
    data: dict[str, Any] = {
        "work_order": code,
        "cultivar": lot.cultivar,
        "rootstock": lot.rootstock,
        "count": round(count, -1) + 10 if rough else count,
        "needed_by": str(needed_by),
        "method": MANNERS[lot.season.manner].method,
    }
    year.say("grafting.ordered", site, data, who)
    if rough:
        change = {"work_order": code, "count": count, "note": "as many as there are stocks"}
        year.on(2, partial(year.say, "grafting.order_changed", site, change, who))
    done = {"work_order": code, "reason": "done"}
    act = partial(year.say, "grafting.order_ended", site, done, who)
    year.on((batch[-1].day - year.today).days + 2, act)


def _ask(year: Year, site: str, stem: str, count: int) -> None:
    rootstock = nursery.LINERS[site][0]
    code, who = year.code(stem), nursery.PEOPLE[site][0]
    data = {"work_order": code, "cultivar": "NAVEL", "rootstock": rootstock, "count": count}
    data |= {"needed_by": str(year.today + timedelta(days=60)), "customer": "cust-62"}
    year.say("grafting.ordered", site, data, who)
    if stem == "WO-OFF-":
        off = {"work_order": code, "reason": "cancelled", "note": "the customer drew back"}
        year.on(12, partial(year.say, "grafting.order_ended", site, off, who))
