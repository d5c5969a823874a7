"""When the grafts of a lot pushed, as far as walks of the tables can tell.

Nobody sees a bud push: a walk finds that it has. So each push lies between two days, and what has
not pushed yet is known only to take longer. Days are calendar days of the site: summer time does
not make them longer or shorter.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Literal

import msgspec

from service.trade.accounts import Key, trees
from service.trade.events.grafting import PushCounted
from service.trade.events.stock import StockOpened
from service.trade.events.trees import TreesReceived
from service.trade.lot_walk import LIVE, Flow, Told, Walk, made_here, reason_of, stands

Outcome = Literal["pushed", "waiting", "failed", "lost", "gone"]


class Seen(msgspec.Struct, frozen=True):
    """What is known of waiting grafts: not pushed on `day` (null: no such day is known).

    `looked`: somebody looked on that day; else it is the day of grafting.
    """

    day: date | None
    looked: bool

    def with_others(self, other: "Seen") -> "Seen":
        """Of both together only the longer ago is known."""
        day = None if self.day is None or other.day is None else min(self.day, other.day)
        return Seen(day, self.looked and other.looked)


class Observation(msgspec.Struct, frozen=True, kw_only=True):
    """So many `trees` of a lot that went the same way, as far as days can tell.

    outcome `pushed`: after the end of `after`, by the end of `by`. `waiting`: not pushed at the
    end of `after`. `failed` (scion dead) and `lost` (with its `cause`): found so on `by`, not
    pushed before. `gone` (sold, regrafted …: `cause`): left unpushed, last seen so on `after`.
    `after` null: it may have been any time before `by`. `seen_before`: somebody had counted them
    as not pushed on `after`; else it is the day of grafting. `site` and `place`: where they waited
    (a consignment's code while on the way).
    """

    site: str
    place: str
    outcome: Outcome
    cause: str | None
    after: date | None
    by: date | None
    seen_before: bool
    trees: int


class _Kind(msgspec.Struct, frozen=True):
    """All that two observations must share to be one."""

    site: str
    place: str
    outcome: Outcome
    cause: str | None
    seen: Seen
    by: date | None


def observations(lot: str, history: Sequence[Told], grafted_on: date | None) -> list[Observation]:
    """What the walks say of every graft of a lot, from its unvoided events in order of occurrence.

    Every graft is in one observation. Trees that came with their push behind them are left out
    when they came ready; when they came `pushed`, their push is known to lie before that day.
    """
    watch = _Watch(lot, grafted_on)
    for told in history:
        watch.take_in(told)
    return watch.result()


class _Watch:
    """A walk that knows since when the waiting trees on each account are known to wait."""

    def __init__(self, lot: str, grafted_on: date | None) -> None:
        self.walk = Walk(lot)
        self.unseen = Seen(grafted_on, looked=False)
        self.waiting: dict[Key, Seen] = {}
        # Of the waiting ones: how many the newest count could not tell, and what is known of these.
        self.not_told: dict[Key, tuple[int, Seen]] = {}
        self.ended: dict[_Kind, int] = {}

    def take_in(self, told: Told) -> None:
        for flow in self.walk.flows(told.event):
            self._follow(told, flow)
            self.walk.move(flow)
        event = told.event
        if isinstance(event, PushCounted) and event.data.lot == self.walk.lot:
            d = event.data
            key = trees(event.site, d.place or "", "grafted", d.size or "")
            # What could not be told is kept among the waiting, but nobody saw it wait.
            seen = self._all_seen(key)
            self.not_told.pop(key, None)
            if d.unclear:
                self.not_told[key] = (d.unclear, seen)
            self.waiting[key] = Seen(told.day, looked=True)

    def _follow(self, told: Told, flow: Flow) -> None:
        start, end = flow.start, flow.end
        if _waits(start):
            assert start is not None
            for seen, count in self._leaving(start, flow.trees):
                self._left_waiting(told, flow._replace(trees=count), seen)
        elif _waits(end):
            self._came_to_wait(told, flow)
        elif end is not None and stands(end) and end.stage == "pushed":
            self._pushed_without_waiting(told, flow)

    def _left_waiting(self, told: Told, flow: Flow, seen: Seen) -> None:
        start, end = flow.start, flow.end
        assert start is not None
        if _waits(end):
            self._wait(end, seen)
        elif end is not None and stands(end):
            outcome: Outcome = "pushed" if end.stage in LIVE else "failed"
            self._end(start, outcome, None, seen, told.day, flow.trees)
        else:
            why = reason_of(told.event, end)
            if end is not None and end.kind == "lost":
                self._end(start, "lost", why, seen, told.day, flow.trees)
            else:
                self._end(start, "gone", why, seen, None, flow.trees)

    def _came_to_wait(self, told: Told, flow: Flow) -> None:
        """Grafted, or waiting when they came; or a count takes something back."""
        start, end = flow.start, flow.end
        if isinstance(told.event, StockOpened | TreesReceived):
            self._wait(end, Seen(told.day, looked=True))
            return
        if made_here(told.event, self.walk.lot):
            self._wait(end, Seen(told.day, looked=False))
            return
        left, known = flow.trees, None
        for seen, count in self._take_back(told, start, flow.trees):
            known = seen if known is None else known.with_others(seen)
            left -= count
        if left or known is None:
            known = self.unseen if known is None else known.with_others(self.unseen)
        self._wait(end, known)

    def _pushed_without_waiting(self, told: Told, flow: Flow) -> None:
        """Came pushed, was found pushed, or was taken for dead and is alive."""
        start, end = flow.start, flow.end
        assert end is not None
        if start is not None and stands(start) and start.stage in LIVE:
            return  # pushed before, and still
        if start is None and not made_here(told.event, self.walk.lot):
            return  # of another lot, whose label was lost
        left = flow.trees
        for seen, count in self._take_back(told, start, flow.trees):
            self._end(end, "pushed", None, seen, told.day, count)
            left -= count
        if left and not (start is not None and start.kind == "customer"):
            self._end(end, "pushed", None, self.unseen, told.day, left)

    def _take_back(self, told: Told, start: Key | None, count: int) -> list[tuple[Seen, int]]:
        """Undo up to so many of the newest endings that a later count or return contradicts."""
        if start is None:
            return []
        if stands(start):
            outcomes: tuple[str, ...] = ("failed",) if start.stage == "failed" else ("pushed",)
            cause = None
        else:
            outcomes, cause = ("lost", "gone"), reason_of(told.event, start)
        undone = []
        for kind in reversed(list(self.ended)):
            if count and kind.outcome in outcomes and kind.cause == cause:
                back = min(self.ended[kind], count)
                self.ended[kind] -= back
                count -= back
                if back:
                    undone.append((kind.seen, back))
        return undone

    def _all_seen(self, key: Key) -> Seen:
        """What is known of all that wait there."""
        seen = self.waiting.get(key, self.unseen)
        return seen.with_others(self.not_told[key][1]) if key in self.not_told else seen

    def _parts(self, key: Key, count: int) -> list[tuple[Seen, int]]:
        """So many of those that wait there, with what is known of each part.

        Those that could not be told come first: a bud of which nobody can say whether it has
        pushed is about to, or dying. Were all taken for unseen because one was unclear, pushes of
        later intervals alone would look earlier than they were.
        """
        unclear, seen = self.not_told.get(key, (0, self.unseen))
        first = min(unclear, count)
        parts = [(seen, first), (self.waiting.get(key, self.unseen), count - first)]
        return [(known, trees) for known, trees in parts if trees]

    def _leaving(self, key: Key, count: int) -> list[tuple[Seen, int]]:
        parts = self._parts(key, count)
        if key in self.not_told:
            unclear, seen = self.not_told.pop(key)
            if unclear > count:
                self.not_told[key] = (unclear - count, seen)
        return parts

    def _wait(self, key: Key | None, seen: Seen) -> None:
        assert key is not None
        if self.walk.standing.get(key, 0) > 0:
            seen = self._all_seen(key).with_others(seen)
        self.not_told.pop(key, None)
        self.waiting[key] = seen

    def _end(
        self, where: Key, outcome: Outcome, cause: str | None, seen: Seen, by: date | None, n: int
    ) -> None:
        kind = _Kind(where.site, where.place, outcome, cause, seen, by)
        # The newest ending is last, also when it is one more of a kind.
        self.ended[kind] = self.ended.pop(kind, 0) + n

    def result(self) -> list[Observation]:
        for key, count in self.walk.standing.items():
            if _waits(key) and count > 0:
                for seen, trees in self._parts(key, count):
                    self._end(key, "waiting", None, seen, None, trees)
        found = [_observation(kind, count) for kind, count in self.ended.items() if count > 0]
        last = date.max
        return sorted(
            found,
            key=lambda o: (
                o.by or last,
                o.site,
                o.place,
                o.outcome,
                o.after or date.min,
                o.cause or "",
            ),
        )


def _waits(key: Key | None) -> bool:
    return key is not None and stands(key) and key.stage == "grafted"


def _observation(kind: _Kind, count: int) -> Observation:
    after = kind.seen.day
    if after is not None and kind.by is not None:
        # Seen twice on one day: it was some time that day.
        after = min(after, kind.by - timedelta(days=1))
    return Observation(
        site=kind.site,
        place=kind.place,
        outcome=kind.outcome,
        cause=kind.cause,
        after=after,
        by=kind.by,
        seen_before=kind.seen.looked,
        trees=count,
    )
