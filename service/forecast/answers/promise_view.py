"""Answers about promises: from the newest forecast, less what is promised and went out since.

A key that sees some sites only is told of these: what all sites together allow is told to those
who see them all. The log decides on a reservation by both.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from functools import cache
from itertools import product
from typing import NamedTuple

import asyncpg
import msgspec
from msgspec.structs import replace

from service.forecast.answers import promises
from service.forecast.answers.promise_rows import (
    Basis,
    LearnedHere,
    OverrideHere,
    PromiseRow,
    answer_in_words,
    reasons,
)
from service.forecast.answers.promises import Crossed, Stock
from service.log import read
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade import holds, promising
from service.trade.accounts import UNGRADED, grade_of
from service.trade.crossing import Cross, crosses
from service.trade.drawn import Holding, Part, Wish, drawn_by_day
from service.trade.items import Item
from service.trade.overriding import Ruling
from service.trade.promising import ALL_SITES, LEVELS, Due, Step
from service.trade.supply import OutKey
from service.views import holding
from service.views.site_days import site_days, today_at

SQL = load(__package__, "promise_view.sql")
OTHERS = (0.5, 0.8, 0.9, 0.95)
"""Confidences that are told beside the one asked for."""


_AHEAD = timedelta(days=promising.STEP_DAYS * (promising.STEPS - 1))


class PastDayError(ValueError):
    """A day was asked for that is over; `today` is the site's day."""

    def __init__(self, day: date, today: date) -> None:
        super().__init__(f"{day} is over: today is {today}. Promises are for days to come.")


class PromiseQuery(msgspec.Struct, frozen=True, kw_only=True):
    """What is wanted. `site` None: each site that has anything of it, and all together."""

    cultivar: str
    rootstock: str
    size: str
    grade: str | None = None
    site: str | None = None
    day: date | None = None
    quantity: int | None = None
    confidence: float

    @property
    def item(self) -> tuple[str, str, str]:
        return self.cultivar, self.rootstock, self.size


class _Own(NamedTuple):
    """The narrowest set that was asked of."""

    grade: str
    site: str
    due: Sequence[Due]


def _ruling(item: tuple[str, str, str], row: asyncpg.Record) -> Ruling:
    site = ALL_SITES if row["any_site"] else row["site"]
    days = Step(
        row["from_day"].toordinal(), row["until_day"].toordinal(), row["quantity"] - row["gone"]
    )
    return Ruling((*item, row["grade"], site), days)


class ItemNow:
    """All that is known of an item: what stands, what is foretold, what is promised."""

    def __init__(self, query: PromiseQuery, sites: list[str] | None, now: datetime) -> None:
        self.query, self.sites, self.now = query, sites, now
        self.limited = sites is not None
        self.days: dict[str, date] = {}
        self.there: list[asyncpg.Record] = []
        self.head = 0
        self.held: set[str] = set()
        self.apart: frozenset[str] = frozenset()
        self.supply: dict[tuple[str, str], asyncpg.Record] = {}
        self.claimed: list[asyncpg.Record] = []
        self.overrides: list[asyncpg.Record] = []
        self.rulings: list[Ruling] = []
        self._told: dict[tuple[int, OutKey], Sequence[Step]] = {}
        self.learned: list[asyncpg.Record] = []

    async def load(self, conn: Connection, *, every_set: bool = False) -> None:
        """Eight short questions, whatever the size of the nursery.

        `every_set`: for sets of other grades and sites than those asked of, too.
        """
        asked = self.query
        self.days = await site_days(conn, self.now)
        today = self.today(asked.site or ALL_SITES)
        self.overrides = await conn.fetch(SQL.overrides, *asked.item, self.today(ALL_SITES))
        self.claimed = await conn.fetch(SQL.claimed, *asked.item, self.now)
        # What is said of one set moves wider ones by its difference to what is told of it.
        whole = every_set or bool(self.overrides or self._crosses(asked.site))
        sets = (None, None) if whole else (asked.grade or "", asked.site)
        self.there = await conn.fetch(SQL.there, asked.cultivar, asked.rootstock)
        if any(row["stage"] == "ready" for row in self._of_size()):
            self.held = await holding.blocked(conn, today, holds.SELL)
            self.apart = await holding.places_apart(conn)
        supply = await conn.fetch(SQL.supply, *asked.item, *sets)
        self.supply = {(row["grade"], row["site"]): row for row in supply}
        # The oldest first: of two on one set the younger one counts.
        self.rulings = [_ruling(asked.item, row) for row in reversed(self.overrides)]
        self.learned = await conn.fetch(SQL.learned, asked.cultivar)
        self.head = await read.head(conn)

    def today(self, site: str) -> date:
        """The site's day; of all together that of the site furthest behind."""
        together = min(self.days.values(), default=None)
        return self.days.get(site) or together or today_at(self.days, None, self.now)

    @property
    def places(self) -> list[str]:
        """The sites to tell of, all together first; all that are seen when none has anything."""
        if self.query.site is not None:
            return [self.query.site]
        having = {site for _, site in self.supply} | {row["site"] for row in self._of_size()}
        having |= {row["site"] for row in self.claimed if row["site"]}
        one_by_one = sorted((having - {ALL_SITES}) or (self.days if self.sites else ()))
        return [*([] if self.sites is not None else [ALL_SITES]), *one_by_one]

    def _of_size(self) -> Iterable[asyncpg.Record]:
        return (row for row in self.there if row["size"] == self.query.size)

    def stocks(self, site: str) -> list[Stock]:
        """The sets that the item lies in at a site, the narrowest first."""
        grades = [self.query.grade, ""] if self.query.grade else [""]
        places = [site, ALL_SITES] if site and not self.limited else [site]
        plain = [self.stock(grade, place) for grade, place in product(grades, places)]
        return [*plain, *map(self._crossed, self._crosses(site))]

    def stock(self, grade: str, site: str) -> Stock:
        """One set: of a grade or (empty) of any, at a site or (empty) at all."""
        of, due = (*self.query.item, grade, site), self.due(Part(grade, site or None), site)
        return Stock(of, self._steps, self._at_levels, self.rulings, due)

    def _crosses(self, site: str | None) -> list[Cross]:
        """The unions of sites and grades at which what is asked of a site (None: of each) crosses
        what is promised. Who sees some sites only is told of these alone."""
        if self.limited:
            return []
        own = [Part(self.query.grade or "", site or None)]
        if site is None:
            own += [Part(own[0].grade, each) for each in self.days]
        parts = [Part(row["grade"], row["site"]) for row in self.claimed if row["lot"] is None]
        return crosses(Item(*self.query.item, "", False), parts, own)

    def _crossed(self, cross: Cross) -> Stock:
        def stock(part: Part) -> Stock:
            return self.stock(part.grade, part.site or ALL_SITES)

        return Crossed(cross, list(self.days), stock, self.due(cross, ALL_SITES))

    def _at_levels(self, of: OutKey, day: int) -> Sequence[int]:
        """What is there of a set on a day at each level, overrides left out."""
        *_, grade, site = of
        row = self._foretold(grade, site)
        if row is None:
            return [self.ready(grade, site, held=False, customers=False)] * len(LEVELS)
        flat, gone = row["quantities"], row["gone"]
        step = (day - row["first"].toordinal()) // promising.STEP_DAYS
        begin = len(LEVELS) * max(0, min(step, len(flat) // len(LEVELS) - 1))
        return [quantity - gone for quantity in flat[begin : begin + len(LEVELS)]]

    def _steps(self, level: int, of: OutKey) -> Sequence[Step]:
        """What is there of a set from when to when at a level, overrides left out."""
        if (level, of) not in self._told:
            *_, grade, site = of
            row = self._foretold(grade, site)
            if row is None:
                known = [self.ready(grade, site, held=False, customers=False)]
                self._told[level, of] = promising.steps_of(self.today(site).toordinal(), known)
            else:
                self._told[level, of] = promising.steps_of(
                    row["first"].toordinal(),
                    promising.at_level(row["quantities"], level),
                    row["gone"],
                )
        return self._told[level, of]

    def _foretold(self, grade: str, site: str) -> asyncpg.Record | None:
        row = self.supply.get((grade, site))
        if row is None or tuple(row["levels"]) != LEVELS:
            return None
        old = (self.today(site) - row["first"]).days > promising.OLD_DAYS
        return None if old else row

    def ready(
        self, grade: str, site: str, *, held: bool, kind: str = "trees", customers: bool = True
    ) -> int:
        """Ready trees of the item that a hold keeps from sale, or that none does; those that came
        back and stand apart are in neither. `kind` `transit`: those on the way to the site.
        `customers`: those grown for customers too."""
        return sum(
            row["trees"]
            for row in self._of_size()
            if self._ready(row)
            and (customers or not row["grown_for"])
            and row["kind"] == kind
            and (not site or row["site"] == site)
            and (not grade or row["grade"] == grade_of(grade))
            and self._held(row) == held
        )

    def ready_in_stock(self, site: str) -> int:
        """All ready trees of the item at a site, whatever keeps them."""
        ready = (row for row in self._of_size() if row["stage"] == "ready")
        return sum(
            row["trees"] for row in ready if row["kind"] == "trees" and site in ("", row["site"])
        )

    def _ready(self, row: asyncpg.Record) -> bool:
        return row["stage"] == "ready" and f"place:{row['place']}" not in self.apart

    def _held(self, row: asyncpg.Record) -> bool:
        tokens = {f"place:{row['place']}", f"site:{row['site']}", *row["ancestry"]}
        return bool(self.held & tokens)

    def due(self, of: Holding, site: str) -> list[Due]:
        """What is promised of a set; what has no day, or one that is over, is due today, which is
        the site's."""
        today = self.today(site)
        found: list[Due] = []
        of_lots: dict[str, list[Wish]] = defaultdict(list)
        for row in self.claimed:
            day = max(row["needed_by"] or today, today).toordinal()
            part = Part(row["grade"], row["site"])
            if row["lot"] is not None:
                of_lots[row["lot"]].append(Wish(day, part, row["open"]))
            elif of.holds(part):
                found.append(Due(day, row["open"]))
        for lot, wishes in of_lots.items():
            found += drawn_by_day(wishes, self._where(lot), of)
        return found

    def _where(self, lot: str) -> dict[Part, int]:
        """Where so many of a lot can be promised."""
        counts: dict[Part, int] = defaultdict(int)
        for row in self._of_size():
            can_go = self._ready(row) and row["kind"] == "trees" and not self._held(row)
            if row["lot"] == lot and can_go:
                counts[Part(row["grade"] or UNGRADED, row["site"])] += row["trees"]
        return counts

    # -- the answer ----------------------------------------------------------------------

    def row(self, site: str) -> PromiseRow:
        """What can be promised at a site (`ALL_SITES`: of all together)."""
        asked, today = self.query, self.today(site)
        day = max(asked.day or today, today)
        stocks, on = self.stocks(site), day.toordinal()
        own = _Own(*stocks[0].of[3:], stocks[0].due)

        @cache
        def at(confidence: float) -> promises.AtConfidence:
            return promises.told_at(stocks, confidence, on, asked.quantity, today.toordinal())

        told = at(asked.confidence)
        row = PromiseRow(
            cultivar=asked.cultivar,
            rootstock=asked.rootstock,
            size=asked.size,
            grade=asked.grade,
            site=site or None,
            day=day,
            confidence=asked.confidence,
            sure=told.sure,
            can_be_promised=told.can_be_promised,
            words="",
            quantity=asked.quantity,
            enough=None if asked.quantity is None else told.can_be_promised >= asked.quantity,
            earliest=told.earliest,
            others=[at(one) for one in OTHERS if one != asked.confidence],
            expected=self._expected(own, day),
            ready_now=self.ready(own.grade, site, held=False, customers=False),
            held_now=self.ready(own.grade, site, held=True, customers=False),
            on_the_way=self.ready(own.grade, site, held=False, kind="transit", customers=False),
            growing=self._growing(site),
            for_customers=self._for_customers(site),
            promised_by=promising.due_by(own.due, on),
            promised=promising.due_by(own.due, promising.FOR_EVER),
            risk=promises.risk(stocks, promising.level_of(asked.confidence), today.toordinal()),
            override=self._override(stocks, day),
            basis=self._basis(own),
            reasons=[],
        )
        even, surer = at(0.5).can_be_promised, at(0.9).can_be_promised
        words = answer_in_words(row, even=even, surer=surer)
        behind = row.basis.foretold_at is not None and self.head > row.basis.position
        return replace(row, words=words, reasons=reasons(row, limited=self.limited, behind=behind))

    def _expected(self, own: _Own, day: date) -> float:
        row = self._foretold(own.grade, own.site)
        if row is None:
            return float(self.ready(own.grade, own.site, held=False, customers=False))
        step = (day - row["first"]).days // promising.STEP_DAYS
        mean: list[float] = row["mean"]
        on_day = mean[max(0, min(step, len(mean) - 1))]
        gone: int = row["gone"]
        return float(round(on_day - gone, 1))

    def _growing(self, site: str) -> int:
        return sum(
            row["trees"]
            for row in self._at(site)
            if row["stage"] != "ready" and not row["grown_for"]
        )

    def _for_customers(self, site: str) -> int:
        return sum(
            row["trees"]
            for row in self._at(site)
            if row["grown_for"] and (row["stage"] != "ready" or row["size"] == self.query.size)
        )

    def _at(self, site: str) -> Iterable[asyncpg.Record]:
        return (row for row in self.there if not site or row["site"] == site)

    def _override(self, stocks: Sequence[Stock], day: date) -> OverrideHere | None:
        """The newest word on any of the sets that is in force on that day."""
        sets = {one.of[3:] for one in stocks}
        for row in self.overrides:
            site = ALL_SITES if row["any_site"] else row["site"]
            if (row["grade"], site) in sets and row["from_day"] <= day <= row["until_day"]:
                return OverrideHere(
                    override=row["code"],
                    site=site or None,
                    grade=row["grade"] or None,
                    quantity=row["quantity"],
                    first=row["from_day"],
                    last=row["until_day"],
                    reason=row["reason"],
                )
        return None

    def _basis(self, own: _Own) -> Basis:
        row = self._foretold(own.grade, own.site)
        lots = {one["lot"] for one in self._at(own.site) if not one["grown_for"]}
        return Basis(
            foretold_at=row["made_at"] if row else None,
            position=row["position"] if row else 0,
            looks_to=row["first"] + _AHEAD if row else None,
            trees=row["trees"]
            if row
            else self.ready(own.grade, own.site, held=False, customers=False),
            lots=len(lots),
            learned=[
                LearnedHere(**{**dict(one), "fallback": one["fallback"] or None})
                for one in self.learned
            ],
        )


async def promises_of(
    conn: Connection, query: PromiseQuery, sites: list[str] | None, now: datetime
) -> list[PromiseRow]:
    """What can be promised of an item, at each site that has any and at all sites together.

    `sites`: those that may be seen (None: all). Raises PastDayError for a day that is over where
    it is asked of.
    """
    item = ItemNow(query, sites, now)
    await item.load(conn)
    if query.day is not None:
        today = item.today(query.site or ALL_SITES)
        if query.day < today:
            raise PastDayError(query.day, today)
    return [item.row(site) for site in item.places]
