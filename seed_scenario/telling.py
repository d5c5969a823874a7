"""How the story is told: who records what, when, and what the log is expected to say to it."""

import random
from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec

from seed_scenario.nursery import PEOPLE, SITES

ZONES = {site: ZoneInfo(facts["time_zone"]) for site, facts in SITES.items()}
EVENING = time(18, 30)
# What is said at the bench itself, before the evening's records.
MIDDAY, AFTERNOON = time(12, 15), time(14, 5)
# How often a day's records are sent one or two days later, all of them.
_SLOW = 0.06
# Events in one request at the most; the service takes a thousand.
_MOST = 900
# Whose records come from a device that sends each by itself.
_DEVICE = "TARNA"

Told = tuple[dict[str, Any], tuple[str, ...]]


class Request(msgspec.Struct, kw_only=True):
    """One request as a client sends it, with what is expected of each of its events.

    `refused`: index of an event → kind of the fault expected there. `remarked`: index → kinds of
    remarks that must be among those answered. Everything else must be accepted.
    """

    site: str
    recorded_at: datetime
    recorded_by: str
    events: list[dict[str, Any]]
    mode: Literal["all", "each"] = "all"
    refused: dict[int, str] = {}
    remarked: dict[int, list[str]] = {}


class Teller:
    """Collects what is said and puts it into requests in the order it was recorded."""

    def __init__(self, seed: int, last: date) -> None:
        # A stream of its own, so that ids don't hang on what else is drawn.
        self._ids = random.Random(f"ids {seed}")
        self._chance = random.Random(f"telling {seed}")
        self._evenings: dict[str, dict[date, list[Told]]] = {
            site: defaultdict(list) for site in SITES
        }
        self._own: list[tuple[int, Request]] = []
        self._own_days: set[date] = set()
        self._last = last

    def instant(self, site: str, day: date, at: time) -> datetime:
        """A time of a site's day as an instant."""
        return datetime.combine(day, at, ZONES[site]).astimezone(UTC)

    def clock(self, site: str, day: date, at: time) -> str:
        """A time of a site's day as people write it, with its offset."""
        return datetime.combine(day, at, ZONES[site]).isoformat()

    def new_id(self, site: str, day: date) -> str:
        """A UUID of version 7 (RFC 9562) of the site's noon."""
        stamp = int(self.instant(site, day, time(12)).timestamp() * 1000)
        value = stamp << 80 | self._ids.getrandbits(80)
        value = value & ~(0xF << 76) | 0x7 << 76
        value = value & ~(0x3 << 62) | 0x2 << 62
        return str(UUID(int=value))

    def event(
        self, kind: str, site: str, day: date, data: dict[str, Any], actor: str, **more: Any
    ) -> dict[str, Any]:
        """An event as a client writes it."""
        occurred = more.pop("occurred", str(day))
        return {
            "id": self.new_id(site, day),
            "type": kind,
            "site": site,
            "occurred": occurred,
            "actor": actor,
            "data": data,
            **more,
        }

    def evening(self, event: dict[str, Any], day: date, remarks: tuple[str, ...] = ()) -> None:
        """Among what a site writes down at the end of a day: one array a site and day."""
        self._evenings[event["site"]][min(day, self._last)].append((event, remarks))

    def at_once(
        self,
        events: list[dict[str, Any]],
        day: date,
        by: str,
        at: time = MIDDAY,
        **expected: Any,
    ) -> None:
        """A request of its own, at a time of the day."""
        site, day = events[0]["site"], min(day, self._last)
        request = Request(
            site=site,
            recorded_at=self.instant(site, day, at),
            recorded_by=by,
            events=events,
            **expected,
        )
        self._own.append((len(self._own), request))
        self._own_days.add(day)

    def requests(self) -> list[Request]:
        """Everything, in the order it was recorded."""
        told = [(r.recorded_at, 1, 0, r) for site in SITES for r in self._evenings_of(site)]
        told += [(r.recorded_at, 0, number, r) for number, r in self._own]
        told.sort(key=lambda item: item[:3])
        ordered = [item[3] for item in told]
        # Two requests never share an instant, so that the log's order is told by its times.
        for before, after in pairwise(ordered):
            if after.recorded_at <= before.recorded_at:
                after.recorded_at = before.recorded_at + timedelta(seconds=20)
        return ordered

    def _evenings_of(self, site: str) -> list[Request]:
        """The site's evenings; a slow one waits and is sent together with what follows."""
        waiting: list[Told] = []
        found: list[Request] = []
        until = date.min
        days = self._evenings[site]
        for day in sorted(days):
            fresh, slow = not waiting, self._chance.random() < _SLOW
            waiting += days[day]
            if fresh and slow:
                until = day + timedelta(days=self._chance.choice([1, 1, 2]))
            if self._waits(day, until, days):
                continue
            found += [
                self._request(site, day, waiting[begin : begin + _MOST])
                for begin in range(0, len(waiting), _MOST)
            ]
            waiting = []
        return found

    def _waits(self, day: date, until: date, days: dict[date, list[Told]]) -> bool:
        """Whether a day's records wait for a later one: never past what is said at once, since
        that may speak of them."""
        later = (day + timedelta(days=1), day + timedelta(days=2))
        to_come = next((other for other in later if other in days), None)
        if day >= until or to_come is None:
            return False
        between = (day + timedelta(days=n) for n in range(1, (to_come - day).days + 1))
        return not any(one in self._own_days for one in between)

    def _request(self, site: str, day: date, told: list[Told]) -> Request:
        return Request(
            site=site,
            recorded_at=self.instant(site, day, EVENING),
            # Two people take turns, week by week.
            recorded_by=PEOPLE[site][day.isocalendar().week % 2],
            events=[event for event, _ in told],
            mode="each" if site == _DEVICE else "all",
            remarked={n: list(remarks) for n, (_, remarks) in enumerate(told) if remarks},
        )
