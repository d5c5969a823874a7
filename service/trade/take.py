"""The take of a lot: how its grafts were read at unwrapping, and how many became saleable.

Take is alive of read, at unwrapping. A push is not a take: a push count reads nothing here. Every
graft is read once; what is told of it later (dead after all, counted again) is not read again.
"""

import math
from collections.abc import Sequence

import msgspec

from service.trade.accounts import Key, trees
from service.trade.events.grafting import GraftsUnwrapped, TreesGrafted, TreesRegrafted
from service.trade.events.stock import StockOpened
from service.trade.events.trees import TreesGraded, TreesReceived
from service.trade.lot_walk import Flow, Told, Walk, made_here, reason_of, stands

# Of the standard normal distribution: 95 of 100 lie within so many deviations of its middle.
Z_95 = 1.959963984540054
# The stages of grafts that are alive, as far as is known, and not saleable yet.
_GROWING = ("grafted", "pushed")


def wilson(hits: int, n: int, z: float = Z_95) -> tuple[float, float] | None:
    """Wilson's score interval for a proportion of `hits` in `n` trials; None for n = 0.

    E. B. Wilson 1927, Probable inference, the law of succession, and statistical inference,
    J. Am. Stat. Assoc. 22: 209-212. `z` deviations, 1.96 for 95 %. It takes trials for independent
    of each other, which trees of one lot are not quite: over few lots the truth is wider.
    """
    if n == 0:
        return None
    share, square = hits / n, z * z
    middle = (share + square / (2 * n)) / (1 + square / n)
    half = z / (1 + square / n) * math.sqrt(share * (1 - share) / n + square / (4 * n * n))
    # At the ends the formula gives 0 and 1 exactly, the machine nearly.
    low = 0.0 if hits == 0 else max(middle - half, 0.0)
    high = 1.0 if hits == n else min(middle + half, 1.0)
    return low, high


class Take(msgspec.Struct, kw_only=True):
    """Counts of trees of one lot; grafted = alive + failed + not_read + all in `gone`.

    `opened` are those of `grafted` that stood as grafts, pushed or not, when the books were opened
    or were bought in so. `not_read` stand (or travel) without their take read, `not_read_pushed` of
    them pushed and `not_read_failed` dead of scion by a push count. `gone`: went before the
    reading, by cause. `ready`: reached the stage. `growing`: alive and not ready. `grafters`: who
    grafted how many, with empty text for those of whom it was not said.
    """

    grafted: int = 0
    opened: int = 0
    alive: int = 0
    failed: int = 0
    not_read: int = 0
    not_read_pushed: int = 0
    not_read_failed: int = 0
    gone: dict[str, int] = {}
    ready: int = 0
    growing: int = 0
    grafters: dict[str, int] = {}

    @property
    def alone(self) -> bool:
        """Whether one person grafted it all, or nobody was named: then nothing is to share out."""
        return list(self.grafters.values()) == [self.grafted]


def take_of(lot: str, history: Sequence[Told]) -> Take:
    """The take of a lot from its unvoided events in order of occurrence."""
    reading = _Reading(lot)
    for told in history:
        reading.take_in(told)
    return reading.result()


class _Reading:
    """A walk that knows which trees have not been read yet, by account."""

    def __init__(self, lot: str) -> None:
        self.walk = Walk(lot)
        self.unread: dict[Key, int] = {}
        self.take = Take()

    def take_in(self, told: Told) -> None:
        event = told.event
        if isinstance(event, GraftsUnwrapped) and event.data.lot == self.walk.lot:
            self._read(event)
        if made_here(event, self.walk.lot):
            self._note_grafters(event)  # type: ignore[arg-type]
        for flow in self.walk.flows(event):
            self._follow(told, flow)
            self.walk.move(flow)

    def _read(self, event: GraftsUnwrapped) -> None:
        """So many as were still to be read; a place read again tells the others once more."""
        d, take = event.data, self.take
        key = trees(event.site, d.place or "", "grafted", d.size or "")
        left = self.unread.get(key, 0)
        failed = min(d.failed, left)
        alive = min(d.alive or 0, left - failed)
        take.failed += failed
        take.alive += alive
        self.unread[key] = left - failed - alive

    def _note_grafters(self, event: TreesGrafted | TreesRegrafted) -> None:
        named, grafters = 0, self.take.grafters
        for part in event.data.grafters:
            grafters[part.person] = grafters.get(part.person, 0) + part.count
            named += part.count
        if rest := (event.data.count or 0) - named:
            grafters[""] = grafters.get("", 0) + rest

    def _follow(self, told: Told, flow: Flow) -> None:
        unread = self._unread_of(told, flow)
        if flow.end is not None and stands(flow.end):
            self.unread[flow.end] = self.unread.get(flow.end, 0) + unread
        elif unread:
            reason = reason_of(told.event, flow.end)
            self.take.gone[reason] = self.take.gone.get(reason, 0) + unread
        if isinstance(told.event, TreesGraded):
            self.take.ready += flow.trees * (_is_ready(flow.end) - _is_ready(flow.start))

    def _unread_of(self, told: Told, flow: Flow) -> int:
        """How many of a flow have not been read.

        Where read and unread trees stand together nobody can say which ones left: it is taken to
        be the read ones, so that what went before its reading is never overstated.
        """
        start, take = flow.start, self.take
        if start is not None and stands(start):
            unread = self.unread.get(start, 0)
            read = self.walk.standing.get(start, 0) - unread
            leaving = min(unread, max(flow.trees - max(read, 0), 0))
            self.unread[start] = unread - leaving
            return leaving
        if flow.end is None or flow.end.stage not in _GROWING:
            return 0
        if made_here(told.event, self.walk.lot):
            take.grafted += flow.trees
            return flow.trees
        if isinstance(told.event, StockOpened | TreesReceived):
            take.grafted += flow.trees
            take.opened += flow.trees
            return flow.trees
        # Found by a count, or brought back: those that were missed before, if any were.
        back = min(take.gone.get(reason := reason_of(told.event, start), 0), flow.trees)
        if back:
            take.gone[reason] -= back
        return back

    def result(self) -> Take:
        take = self.take
        for key, count in self.unread.items():
            take.not_read += count
            take.not_read_pushed += count if key.stage in ("pushed", "ready") else 0
            take.not_read_failed += count if key.stage == "failed" else 0
        take.growing = sum(
            count
            for key, count in self.walk.standing.items()
            if key.stage in _GROWING and count > 0
        )
        # More can be graded than was grafted when a count finds trees of no known grafting.
        take.ready = min(max(take.ready, 0), take.grafted)
        take.gone = {reason: count for reason, count in take.gone.items() if count}
        return take


def _is_ready(key: Key | None) -> int:
    return int(key is not None and key.kind == "trees" and key.stage == "ready")
