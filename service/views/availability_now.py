"""The availability list, current for all who ask in this process, and its rows as they are told."""

import asyncio
from collections.abc import Callable, Mapping
from datetime import date
from time import monotonic
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.clock import Clock
from service.storage.pool import Database
from service.trade.available import Row
from service.trade.entries import Catalogue
from service.trade.events.catalogue import Cultivar, Rootstock, Size
from service.trade.promising import ALL_SITES, sure
from service.views.availability import AvailabilityList

LOOKS_AFTER_S = 1.0
"""The list is looked at again when it was looked at longer ago, whatever was heard of the log: a
forecast makes no event, and a notice can be lost."""
OLDEST_S = 5.0
"""Nothing older is told, even where the database can't be reached."""
READY_ONLY = "counted"
Goods = Annotated[Literal["trees", "buds"], Meta(description="Whole trees, or buds of a cultivar.")]


class FromDay(msgspec.Struct, frozen=True, kw_only=True):
    """So many from that day on, until the next one."""

    day: date = msgspec.field(name="date")
    available: int


class Offered(msgspec.Struct, frozen=True, kw_only=True):
    """How many of an item can be reserved at a site: so many are accepted, and not one more.

    `available` holds today; `changes` are the days from which on it is another number. A number may
    fall as well as rise: what is promised for later is kept back, and trees may die unsold.
    """

    key: Annotated[str, Meta(description="Names the row. The same as long as it is there.")]
    name: Annotated[str, Meta(examples=["Navelina on Carrizo, 2 litre"])]
    goods: Goods
    cultivar: str
    rootstock: Annotated[str | None, Meta(description="null: buds.")]
    size: Annotated[str | None, Meta(description="null: buds.")]
    grade: Annotated[str | None, Meta(description="null: of any grade.")]
    site: Annotated[str | None, Meta(description="null: trees of any site will do.")]
    sure: Annotated[
        str,
        Meta(
            description="How sure the numbers are: what is foretold with a probability, or "
            "`counted`: nothing is foretold of it, it is what is ready now, not held and not "
            "promised.",
            examples=["8 in 10 sure"],
        ),
    ]
    available: int
    ready: Annotated[
        int,
        Meta(
            description="How many stand ready today, promised ones among them: trees graded ready, "
            "or buds in bags, that are not held, not come back, and not grown for a customer. No "
            "more than these can go today, however many are available: the rest are foreseen to "
            "be ready, and nobody has graded them yet."
        ),
    ]
    changes: list[FromDay]


class AvailabilityNow:
    """Keeps one list for a process; any number of tasks may ask it at once.

    `newest` says how far the log is, as far as this process has heard. It shows all sites: which
    rows somebody may see is for its users to say (`visible`).
    """

    def __init__(
        self, database: Database, clock: Clock, confidence: float, newest: Callable[[], int]
    ) -> None:
        self._database, self._clock, self._newest = database, clock, newest
        self.list = AvailabilityList(confidence)
        # Of the list as it was last looked at with success.
        self.position, self._looked = -1, float("-inf")
        self._looking: asyncio.Task[None] | None = None
        self._told: dict[str, tuple[Row, int, Offered]] = {}

    @property
    def current(self) -> bool:
        """Whether the list needs no look: nothing is new as far as is known."""
        return (
            self.position >= self._newest()
            and monotonic() - self._looked < LOOKS_AFTER_S
            and self._clock() < self.list.good_until
        )

    async def get(self) -> AvailabilityList:
        """The list with all in it that this process knew to be recorded when it was asked.

        At most `OLDEST_S` old. Raises what the database raises where it can't be told.
        """
        wanted, asked = self._newest(), monotonic()
        while not self.current and not (self.position >= wanted and self._looked >= asked):
            if self._looking is None or self._looking.done():
                self._looking = asyncio.create_task(self._look(), name="availability looks")
            try:
                # One look is for all who wait; one of them who goes away must not end it.
                await asyncio.shield(self._looking)
            except Exception:
                if self.position < 0 or monotonic() - self._looked >= OLDEST_S:
                    raise
                # The last one will do for a moment.
                break
        return self.list

    async def rows(self, sites: Mapping[str, object] | frozenset[str] | None) -> dict[str, Offered]:
        """All rows as they are told, by their keys, at `sites` (None: all, and all together).

        A row that says the same as before is the same object.
        """
        found = await self.get()
        told: dict[str, tuple[Row, int, Offered]] = {}
        for key, row in found.rows.items():
            before = self._told.get(key)
            if before is None or before[0] is not row or before[1] != found.names:
                said = offered(row, found.catalogue, sure(found.confidence))
                same = before is not None and before[2] == said
                before = (row, found.names, before[2] if before and same else said)
            told[key] = before
        self._told = told
        return {key: one for key, (row, _, one) in told.items() if visible(row, sites)}

    async def _look(self) -> None:
        begun = monotonic()
        await self.list.look(self._database.reader, self._clock())
        self.position, self._looked = self.list.position, begun


def visible(row: Row, sites: Mapping[str, object] | frozenset[str] | None) -> bool:
    """Whether a row is shown to who sees these sites (None: all): all together to the latter."""
    return sites is None or (row.site != ALL_SITES and row.site in sites)


def offered(row: Row, catalogue: Catalogue, how_sure: str) -> Offered:
    """A row as it is told, with all days on which it changes."""
    item = row.item
    return Offered(
        key=row.key,
        name=name_of(row, catalogue),
        goods="buds" if item.buds else "trees",
        cultivar=item.cultivar,
        rootstock=item.rootstock or None,
        size=item.size or None,
        grade=item.grade or None,
        site=row.site or None,
        sure=f"{how_sure} sure" if row.foretold else READY_ONLY,
        available=row.quantities[0],
        ready=row.ready,
        changes=changes(row, row.today),
    )


def changes(row: Row, after: int, until: int | None = None) -> list[FromDay]:
    """The days after a day (an ordinal), up to one, from which on it is another number."""
    return [
        FromDay(day=date.fromordinal(day), available=quantity)
        for day, quantity in zip(row.days, row.quantities, strict=True)
        if day > after and (until is None or day <= until)
    ]


def name_of(row: Row, catalogue: Catalogue) -> str:
    """The item in words, by the names in the catalogue; a code where it has none."""
    item = row.item
    cultivar = catalogue.entries.get(("cultivar", item.cultivar), (None, 0))[0]
    name = cultivar.epithet if isinstance(cultivar, Cultivar) else item.cultivar
    if item.buds:
        return f"{name}, buds"
    stock = catalogue.entries.get(("rootstock", item.rootstock), (None, 0))[0]
    size = catalogue.entries.get(("size", item.size), (None, 0))[0]
    parts = [
        f"{name} on {stock.name if isinstance(stock, Rootstock) else item.rootstock}",
        size.label if isinstance(size, Size) else item.size,
        *([item.grade] if item.grade else []),
    ]
    return ", ".join(parts)
