"""What the histories of tree lots said at a past moment, as columns; pure, without I/O.

A moment has two clocks: the position up to which the log was known, and the last day that counts.
An event counts that was recorded by then and had happened by then, unless a void known by then
takes it back.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import msgspec

from service.forecast.shapes import Growths, Lots, Pushes, Standing, Takes
from service.trade.accounts import Key
from service.trade.books import Hold
from service.trade.events.envelope import Envelope
from service.trade.events.stock import StockCounted
from service.trade.growth import Growth, growths
from service.trade.holds import BLOCKS, SELL
from service.trade.lot_walk import LIVE, Told, Walk
from service.trade.push import Observation, observations
from service.trade.take import Take, take_of


class Fact(NamedTuple):
    """That something was told of a lot: where in the log, of which day, and the void of it."""

    position: int
    voided_by: int | None
    day: date

    def counts(self, known: int, last: date) -> bool:
        """Whether it counts, known up to a position, of days up to `last`."""
        return (
            self.position <= known
            and self.day <= last
            and (self.voided_by is None or self.voided_by > known)
        )


class Said(NamedTuple):
    """An event of the history of a lot."""

    fact: Fact
    event: Envelope


class LotStory(msgspec.Struct, kw_only=True):
    """A tree lot with all that was ever told of it, in order of occurrence.

    `identified`: false for trees whose label was lost; of those only what stands is known. `said`:
    events that make or move its trees or read their take, `forced` those that forced its tops, or
    those of its stocks before they were grafted. Texts are empty where not known.
    """

    code: str
    crop: str
    cultivar: str
    rootstock: str
    method: str
    site: str
    day: date | None
    attempt: int
    grown_for: bool
    identified: bool
    ancestry: frozenset[str]
    said: list[Said] = []
    forced: list[Fact] = []


class Columns(msgspec.Struct, kw_only=True):
    """The columns of `shapes.Known` that tell of lots."""

    lots: Lots
    pushes: Pushes
    growths: Growths
    takes: Takes
    standing: Standing


class _Seen(msgspec.Struct):
    """What a history says of a lot; `of` are the numbers of the events that it was made from."""

    of: list[int]
    pushes: list[Observation]
    growths: list[Growth]
    take: Take
    standing: dict[Key, int]
    counted: date | None


class Observed:
    """Histories of lots, to be asked what they said at moments.

    What they said of a lot is kept until an event more, or less, counts: moments in their order
    cost what changed between them. Holds are those that ever were; `apart` are tokens of places
    where trees stand apart that came back, as known now.
    """

    def __init__(
        self, stories: Iterable[LotStory], holds: Iterable[Hold], apart: frozenset[str]
    ) -> None:
        self._stories = sorted(stories, key=lambda story: story.code)
        self._holds = [hold for hold in holds if SELL in BLOCKS[hold.kind]]
        self._apart = apart
        self._kept: dict[str, _Seen] = {}

    def at(self, known: int, last: date, today: Mapping[str, date]) -> Columns:
        """What was known up to position `known` of days up to `last`; holds at each site's today.

        Lots are in order of their code. Those of which nothing was known are left out.
        """
        held = _held(self._holds, known, today, self._apart)
        columns = Columns(
            lots=Lots(), pushes=Pushes(), growths=Growths(), takes=Takes(), standing=Standing()
        )
        for story in self._stories:
            of = [n for n, said in enumerate(story.said) if said.fact.counts(known, last)]
            if not of:
                continue
            seen = self._kept.get(story.code)
            if seen is None or seen.of != of:
                seen = self._kept[story.code] = _seen(story, of)
            forced = [fact.day for fact in story.forced if fact.counts(known, last)]
            _add(columns, story, seen, min(forced, default=None), held)
        return columns


def _seen(story: LotStory, of: list[int]) -> _Seen:
    said = [story.said[number] for number in of]
    history = [Told(one.event, one.fact.day) for one in said]
    walk = Walk(story.code)
    for told in history:
        for flow in walk.flows(told.event):
            walk.move(flow)
    known = story.identified
    return _Seen(
        of=of,
        pushes=observations(story.code, history, story.day) if known else [],
        growths=growths(story.code, history) if known else [],
        take=take_of(story.code, history) if known else Take(),
        standing={key: n for key, n in walk.standing.items() if n > 0 and key.stage in LIVE},
        counted=max(
            (one.day for one in history if _counts_ready(one.event, story.code)), default=None
        ),
    )


def _counts_ready(event: Envelope, lot: str) -> bool:
    """Whether it is a stock count of ready trees of the lot."""
    return isinstance(event, StockCounted) and any(
        line.lot == lot and line.stage == "ready" for line in event.data.lines
    )


def _held(
    holds: Sequence[Hold], known: int, today: Mapping[str, date], apart: frozenset[str]
) -> dict[str, frozenset[str]]:
    """By site, the tokens of all that was kept from being sold on its today, by holds as they were
    known."""
    return {
        site: apart.union(
            hold.token
            for hold in holds
            if hold.position <= known
            and hold.from_day <= day
            and not (
                hold.lifted_day is not None
                and hold.lifted_day <= day
                and (hold.lifted_position or 0) <= known
            )
        )
        for site, day in today.items()
    }


def ordinal(day: date | None) -> int:
    """A day as `shapes` has it."""
    return 0 if day is None else day.toordinal()


def _outcome(one: Growth) -> str:
    """As `Growths` has it: what a count did not find went without anybody's knowing where."""
    return one.outcome.replace("gone", "missing") if one.cause == "not_found" else one.outcome


def _row(columns: Any, *values: Any) -> None:
    """One row more, in the order of the struct's fields."""
    for name, value in zip(columns.__struct_fields__, values, strict=True):
        getattr(columns, name).append(value)


def _add(
    columns: Columns,
    story: LotStory,
    seen: _Seen,
    forced: date | None,
    held: Mapping[str, frozenset[str]],
) -> None:
    lot = len(columns.lots.code)
    take = seen.take
    _row(
        columns.lots,
        *(story.code, story.crop, story.cultivar, story.rootstock, story.method, story.site),
        next(iter(take.grafters), "") if take.alone else "",
        *(ordinal(story.day), ordinal(forced), story.attempt, story.grown_for),
        ordinal(seen.counted),
    )
    for push in seen.pushes:
        days = ordinal(push.after), ordinal(push.by)
        _row(columns.pushes, lot, push.site, push.outcome, *days, push.trees)
    for one in seen.growths:
        days = ordinal(one.after), ordinal(one.by)
        ended = one.started, one.size, one.grade, one.trees
        _row(columns.growths, lot, one.site, _outcome(one), *days, *ended)
    if take.grafted:
        gone = sum(take.gone.values())
        read = take.grafted, take.alive, take.failed, take.not_read
        _row(columns.takes, lot, *read, gone)
    rows: dict[tuple[str, str, str, str, bool], int] = {}
    for key, trees in seen.standing.items():
        stops = held.get(key.site, frozenset())
        stopped = bool(stops & {*story.ancestry, f"place:{key.place}", f"site:{key.site}"})
        kind = key.site, key.stage, key.size, key.grade, stopped
        rows[kind] = rows.get(kind, 0) + trees
    unread = take.not_read - take.not_read_pushed - take.not_read_failed
    stand(columns.standing, lot, sorted(rows.items()), unread)


def stand(
    standing: Standing,
    lot: int,
    rows: Iterable[tuple[tuple[str, str, str, str, bool], int]],
    unread: int,
) -> None:
    """Add what stands of a lot: by site, stage, size, grade and whether it is held.

    `unread`: how many of its grafted trees were not read. Which these are is told of the lot, not
    of a table: they are given to the rows in their order.
    """
    for (site, stage, size, grade, held), trees in rows:
        of_these = min(unread, trees) if stage == "grafted" else 0
        unread -= of_these
        _row(standing, lot, site, stage, size, grade, trees, of_these, held)
