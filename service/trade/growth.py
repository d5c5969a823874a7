"""What became of the trees of a lot once they had pushed: when they were ready, or what took them.

Nobody sees a tree become fit for sale: a grading finds that it is. So each became so between two
gradings, and what a grading left among the pushed is known only to take longer. A push count says
nothing of it: whoever counts buds does not measure stems. Days are calendar days of the site.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Literal

import msgspec

from service.trade.accounts import Key, trees
from service.trade.events.envelope import Envelope
from service.trade.events.trees import TreesGraded
from service.trade.lot_walk import Flow, Told, Walk, reason_of, stands

Outcome = Literal["ready", "growing", "dead", "culled", "gone", "ready_dead", "ready_gone"]


class Growth(msgspec.Struct, frozen=True, kw_only=True):
    """So many pushed `trees` of a lot that went the same way, as far as days can tell.

    Every tree that pushed is in one row of the first five outcomes. `ready`: graded so on `by`,
    graded as not ready on `after`. `growing`: not ready when last graded, on `after`. `dead`,
    `culled`, `gone`: left on `by` before they were ready, and why (`cause`; of `dead` null where
    the scion died on a stock that lives). `after` null: no grading had left them among the pushed.
    `ready_dead` (culled too) and `ready_gone` tell of trees that are in a row `ready` as well:
    graded ready on `after`, left on `by`.

    `site`: where they ended or stand. `started`: the size they pushed in; `size` and `grade`: as
    they ended, or stand.
    """

    site: str
    outcome: Outcome
    cause: str | None
    after: date | None
    by: date | None
    started: str
    size: str
    grade: str
    trees: int


class _Part(msgspec.Struct, frozen=True):
    """Trees on one account of which the same is known.

    `seen`: of pushed ones the last day on which they were graded as not ready; of ready ones the
    day on which they were found so, null where that was not seen here.
    """

    seen: date | None
    started: str


class _Kind(msgspec.Struct, frozen=True):
    """All that two rows must share to be one."""

    site: str
    outcome: Outcome
    cause: str | None
    part: _Part
    by: date | None
    size: str
    grade: str


_Parts = dict[_Part, int]


def growths(lot: str, history: Sequence[Told]) -> list[Growth]:
    """What became of every pushed tree of a lot, from its unvoided events in order of occurrence.

    Trees that came ready, or that a count found so, are left out: when they became so is not
    known.
    """
    watch = _Watch(lot)
    for told in history:
        watch.take_in(told)
    return watch.result()


class _Watch:
    """A walk that knows what is known of the pushed and the ready trees on each account."""

    def __init__(self, lot: str) -> None:
        self.walk = Walk(lot)
        self.standing: dict[Key, _Parts] = {}
        self.ended: dict[_Kind, int] = {}

    def take_in(self, told: Told) -> None:
        for flow in self.walk.flows(told.event):
            self._follow(told, flow)
            self.walk.move(flow)
        event = told.event
        if (
            isinstance(event, TreesGraded)
            and event.data.lot == self.walk.lot
            and event.data.stage == "pushed"
        ):
            self._note_not_ready(event, told.day)

    def _follow(self, told: Told, flow: Flow) -> None:
        if _stage(flow.start) == "pushed":
            self._leave_pushed(told, flow)
        elif _stage(flow.start) == "ready":
            self._leave_ready(told, flow)
        elif _stage(flow.end) == "pushed":
            self._come_pushed(told, flow)
        elif _stage(flow.end) == "ready":
            self._come_ready(told, flow)

    def _leave_pushed(self, told: Told, flow: Flow) -> None:
        start, end = flow.start, flow.end
        assert start is not None
        parts = self._take(start, flow.trees)
        stage = _stage(end)
        if stage == "grafted":
            return  # it had not pushed after all
        for part, count in parts.items():
            if end is not None and stage == "pushed":
                self._put(end, part, count)
            elif end is not None and stage == "ready":
                self._end(end, "ready", None, part, told.day, count)
                self._put(end, _Part(told.day, part.started), count)
            else:
                outcome, cause = _ending(told.event, end)
                self._end(_where(start, end), outcome, cause, part, told.day, count)

    def _leave_ready(self, told: Told, flow: Flow) -> None:
        start, end = flow.start, flow.end
        assert start is not None
        parts = self._take_oldest(start, flow.trees)
        stage = _stage(end)
        for part, count in parts.items():
            if end is not None and stage == "ready":
                self._put(end, part, count)
            elif stage in ("pushed", "grafted"):
                # Graded too high: it was not ready, and stands to be graded again.
                self._take_back("ready", None, count, by=part.seen)
                if end is not None and stage == "pushed":
                    self._put(end, _Part(told.day, part.started), count)
            elif part.seen is not None:
                outcome, cause = _ending(told.event, end)
                self._end(_where(start, end), _later(outcome), cause, part, told.day, count)

    def _come_pushed(self, told: Told, flow: Flow) -> None:
        """Pushed now, or came so; or a count or a return takes an ending back."""
        start, end, left = flow.start, flow.end, flow.trees
        assert end is not None
        for part, count in self._found_again(told.event, start, left):
            self._put(end, part, count)
            left -= count
        for part, count in self._found_again(told.event, start, left, ready=True):
            self._take_back("ready", None, count, by=part.seen)
            self._put(end, _Part(told.day, part.started), count)
            left -= count
        if left:
            looked_at = isinstance(told.event, TreesGraded)
            self._put(end, _Part(told.day if looked_at else None, end.size), left)

    def _come_ready(self, told: Told, flow: Flow) -> None:
        """Graded ready without a push that was told, or back from a customer; or it came so."""
        start, end, left = flow.start, flow.end, flow.trees
        assert end is not None
        for part, count in self._found_again(told.event, start, left, ready=True):
            self._put(end, part, count)
            left -= count
        found = self._found_again(told.event, start, left)
        left -= sum(count for _, count in found)
        if start is not None and stands(start) and left:
            found.append((_Part(None, end.size), left))
            left = 0
        for part, count in found:
            self._end(end, "ready", None, part, told.day, count)
            self._put(end, _Part(told.day, part.started), count)
        if left:
            self._put(end, _Part(None, end.size), left)

    def _note_not_ready(self, event: TreesGraded, day: date) -> None:
        """What a grading left among the pushed was looked at and was not ready.

        Of trees that it does not speak of nothing is known; which these are nobody can say.
        """
        d = event.data
        for outcome in d.outcomes:
            if outcome.stage == "pushed":
                key = trees(event.site, d.place or "", "pushed", d.size or "", outcome.grade)
                known = sum(self.standing.get(key, {}).values())
                for part, count in self._take(key, min(outcome.count, known)).items():
                    self._put(key, _Part(day, part.started), count)

    # -- trees on accounts ------------------------------------------------------------------

    def _put(self, key: Key, part: _Part, count: int) -> None:
        parts = self.standing.setdefault(key, {})
        parts[part] = parts.get(part, 0) + count

    def _take(self, key: Key, count: int) -> _Parts:
        """So many trees from an account: of each part its share, since nobody knows which."""
        parts = self.standing.get(key, {})
        total = sum(parts.values())
        taken = dict(parts) if count >= total else _shares(parts, count, total)
        return self._taken(key, taken, count)

    def _take_oldest(self, key: Key, count: int) -> _Parts:
        """So many ready trees from an account: those that were ready first go first."""
        taken: _Parts = {}
        left = count
        parts = self.standing.get(key, {})
        for part in sorted(parts, key=lambda one: one.seen or date.min):
            if some := min(parts[part], left):
                taken[part] = some
                left -= some
        return self._taken(key, taken, count)

    def _taken(self, key: Key, taken: _Parts, count: int) -> _Parts:
        parts = self.standing.get(key, {})
        for part, some in taken.items():
            parts[part] -= some
            if not parts[part]:
                del parts[part]
        if rest := count - sum(taken.values()):
            # More than the walk knows of: told so late or so early that its coming is not told.
            unknown = _Part(None, key.size)
            taken = taken | {unknown: taken.get(unknown, 0) + rest}
        return taken

    # -- endings ------------------------------------------------------------------------------

    def _end(
        self, where: Key, outcome: Outcome, cause: str | None, part: _Part, by: date | None, n: int
    ) -> None:
        if outcome == "ready" and part.seen is not None and by is not None:
            # Graded twice on one day: it was some time that day.
            part = _Part(min(part.seen, by - timedelta(days=1)), part.started)
        kind = _Kind(where.site, outcome, cause, part, by, where.size, where.grade)
        # The newest ending is last, also when it is one more of a kind.
        self.ended[kind] = self.ended.pop(kind, 0) + n

    def _found_again(
        self, event: Envelope, start: Key | None, count: int, *, ready: bool = False
    ) -> list[tuple[_Part, int]]:
        """Up to so many trees whose ending is contradicted by their coming from `start`.

        `ready`: those that had been ready, else those that had not.
        """
        if start is None or start.kind == "source" or start.stage == "grafted":
            return []
        outcome, cause = _ending(event, start)
        outcome = _later(outcome) if ready else outcome
        return self._take_back(outcome, cause, count)

    def _take_back(
        self, outcome: Outcome, cause: str | None, count: int, by: date | None = None
    ) -> list[tuple[_Part, int]]:
        """Undo up to so many of the newest such endings (of the day `by`, if one is named)."""
        undone = []
        for kind in reversed(list(self.ended)):
            fits = kind.outcome == outcome and kind.cause == cause
            if count and fits and (by is None or kind.by == by):
                back = min(self.ended[kind], count)
                self.ended[kind] -= back
                count -= back
                if back:
                    undone.append((kind.part, back))
        return undone

    def result(self) -> list[Growth]:
        for key, parts in self.standing.items():
            if key.stage == "pushed":
                for part, count in parts.items():
                    self._end(key, "growing", None, part, None, count)
        found = [_growth(kind, count) for kind, count in self.ended.items() if count > 0]
        return sorted(found, key=_in_order)


def _stage(key: Key | None) -> str:
    """The stage of trees that stand, or travel; empty for all else."""
    return key.stage if key is not None and stands(key) else ""


def _shares(parts: _Parts, count: int, total: int) -> _Parts:
    """`count` of `total` trees, from each part in proportion (largest remainders)."""
    shares = {part: number * count // total for part, number in parts.items()}
    by_rest = sorted(parts, key=lambda part: -(parts[part] * count % total))
    for part in by_rest[: count - sum(shares.values())]:
        shares[part] += 1
    return {part: share for part, share in shares.items() if share}


def _where(start: Key, end: Key | None) -> Key:
    """Where trees were last: as they stood at the site that told of their end."""
    return start if end is None else start._replace(site=end.site)


def _ending(event: Envelope, end: Key | None) -> tuple[Outcome, str | None]:
    """How trees ended that went to `end`, where no living tree stands, or to another lot."""
    if end is not None and stands(end):
        return "dead", None
    cause = reason_of(event, end)
    if end is None or end.kind != "lost":
        return "gone", cause
    return ("culled" if cause == "culled" else "dead"), cause


def _later(outcome: Outcome) -> Outcome:
    """The same of trees that had been ready."""
    return "ready_gone" if outcome == "gone" else "ready_dead"


def _growth(kind: _Kind, count: int) -> Growth:
    return Growth(
        site=kind.site,
        outcome=kind.outcome,
        cause=kind.cause,
        after=kind.part.seen,
        by=kind.by,
        started=kind.part.started,
        size=kind.size,
        grade=kind.grade,
        trees=count,
    )


def _in_order(one: Growth) -> tuple[object, ...]:
    return (
        one.by or date.max,
        one.site,
        one.outcome,
        one.after or date.min,
        one.cause or "",
        one.started,
        one.size,
        one.grade,
    )
