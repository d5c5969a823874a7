"""What was known on any past day of an invented story, in memory: no database, no HTTP.

    story = StoryKnown(scenario(date(2026, 11, 24), lots=900, years=3))
    known = story.at(date(2026, 3, 1))

The events go through the trade's own rules in the order in which they were recorded, so they are
complete and refused ones are out; each day's columns come of `trade.push`, `growth` and `take`.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, NamedTuple

from seed_scenario.generator import Scenario
from seed_scenario.nursery import SITES
from service.forecast import shapes
from service.trade.books import Books, Lot
from service.trade.events.stock import EventVoided
from service.trade.growth import growths
from service.trade.holds import SELL, blocking
from service.trade.lot_walk import LIVE, TYPES, Told, Walk
from service.trade.push import observations
from service.trade.take import Take, take_of
from tests.scenario.on_books import tell

_DAY = timedelta(days=1)


class Said(NamedTuple):
    """An event of a lot: when it was recorded and, if it was, voided."""

    recorded_at: datetime
    voided_at: datetime
    at: datetime
    position: int
    told: Told


class StoryKnown:
    """All that was ever told of a scenario, with when it was."""

    def __init__(self, story: Scenario, *, ways: Any = None) -> None:
        self.temperatures, self.ways = story.temperatures, ways
        self.books = Books()
        self.lots: dict[str, list[Said]] = defaultdict(list)
        self.recorded: list[tuple[datetime, int]] = []
        self.forced: dict[str, list[Said]] = defaultdict(list)
        self._kept: dict[str, tuple[Any, ...]] = {}
        never = datetime.max.replace(tzinfo=UTC)
        accepted = [
            (request.recorded_at, one)
            for request in story.requests
            for one in tell(self.books, request).accepted
        ]
        voided = {
            one.event.data.event: at for at, one in accepted if isinstance(one.event, EventVoided)
        }
        for recorded_at, one in accepted:
            self.recorded.append((recorded_at, one.position))
            kind = str(one.event.__struct_config__.tag)
            if kind not in TYPES and kind != "tops.forced":
                continue
            said = Said(
                recorded_at,
                voided.get(one.event.id or "", never),
                one.moment.at,
                one.position,
                Told(one.event, one.moment.day),
            )
            for subject, code in one.subjects:
                if subject == "lot" and self.books.lots[code].kind == "tree":
                    (self.forced if kind == "tops.forced" else self.lots)[code].append(said)

    def at(self, day: date, *, draws: int = 200, seed: int = 1) -> shapes.Known:
        """What was known when a day had ended (at midnight, UTC); the sites' today is the next."""
        cut = datetime.combine(day + _DAY, time(), UTC)
        position = max((p for at, p in self.recorded if at < cut), default=0)
        columns = _Columns(day)
        for code in sorted(self.lots):
            history = _known_of(self.lots[code], cut, day)
            if history:
                lot = self.books.lots[code]
                forced = _known_of(self.forced.get(code, []), cut, day)
                columns.add(self.books, lot, forced, *self._worked_out(lot, history))
        known = shapes.Known(
            position=position,
            sites=[self._weather(site, day) for site in SITES],
            lots=columns.lots,
            pushes=columns.pushes,
            growths=columns.growths,
            takes=columns.takes,
            standing=columns.standing,
            draws=draws,
            seed=seed,
        )
        if self.ways is not None:
            known.ways = self.ways  # type: ignore[attr-defined]
        return known

    def _worked_out(self, lot: Lot, history: list[Said]) -> tuple[Any, ...]:
        """Rows of a lot; worked out again only when its history is another than last time."""
        key = tuple(said.position for said in history)
        kept = self._kept.get(lot.code)
        if kept is None or kept[0] != key:
            told = [said.told for said in history]
            walk = Walk(lot.code)
            for one in told:
                for flow in walk.flows(one.event):
                    walk.move(flow)
            kept = (
                key,
                observations(lot.code, told, lot.day),
                growths(lot.code, told),
                take_of(lot.code, told),
                {key: n for key, n in walk.standing.items() if n > 0 and key.stage in LIVE},
            )
            self._kept[lot.code] = kept
        return kept[1:]

    def _weather(self, site: str, day: date) -> shapes.SiteWeather:
        days = [one for one in self.temperatures[site] if one[0] <= day]
        return shapes.SiteWeather(
            site=site,
            today=(day + _DAY).toordinal(),
            south=float(SITES[site]["latitude"]) < 0,
            version=1,
            first=days[0][0].toordinal(),
            low=[low for _, low, _ in days],
            high=[high for _, _, high in days],
        )


def _known_of(said: Iterable[Said], cut: datetime, day: date) -> list[Said]:
    known = [s for s in said if s.recorded_at < cut <= s.voided_at and s.told.day <= day]
    return sorted(known, key=lambda s: (s.at, s.position))


def _ordinal(day: date | None) -> int:
    return day.toordinal() if day else 0


class _Columns:
    """The columns of `Known`, lot by lot."""

    def __init__(self, day: date) -> None:
        self.day = day
        self.lots, self.pushes = shapes.Lots(), shapes.Pushes()
        self.growths, self.takes = shapes.Growths(), shapes.Takes()
        self.standing = shapes.Standing()

    def add(
        self,
        books: Books,
        lot: Lot,
        forced: list[Said],
        pushes: Any,
        grown: Any,
        take: Take,
        stands: Any,
    ) -> None:
        number = len(self.lots.code)
        cultivar = books.catalogue.entries.get(("cultivar", lot.cultivar or ""))
        _row(
            self.lots,
            code=lot.code,
            crop=getattr(cultivar[0], "crop", "") if cultivar else "",
            cultivar=lot.cultivar or "",
            rootstock=lot.rootstock or "",
            method=lot.method or "",
            site=lot.site,
            grafter=next(iter(take.grafters)) if take.alone and take.grafters else "",
            grafted_on=_ordinal(lot.day),
            forced_on=forced[0].told.day.toordinal() if forced else 0,
            attempt=lot.attempt,
            grown_for=lot.grown_for is not None,
        )
        for one in pushes:
            _row(
                self.pushes,
                lot=number,
                site=one.site,
                outcome=one.outcome,
                after=_ordinal(one.after),
                by=_ordinal(one.by),
                trees=one.trees,
            )
        for one in grown:
            _row(
                self.growths,
                lot=number,
                site=one.site,
                outcome=one.outcome,
                after=_ordinal(one.after),
                by=_ordinal(one.by),
                started=one.started,
                size=one.size,
                grade=one.grade,
                trees=one.trees,
            )
        _row(
            self.takes,
            lot=number,
            grafted=take.grafted,
            alive=take.alive,
            failed=take.failed,
            not_read=take.not_read,
            gone=sum(take.gone.values()),
        )
        self._stand(books, lot, number, take, stands)

    def _stand(self, books: Books, lot: Lot, number: int, take: Take, stands: Any) -> None:
        rows: dict[tuple[str, str, str, str, bool], int] = defaultdict(int)
        for key, trees in stands.items():
            tokens = {*lot.ancestry, f"lot:{lot.code}", f"site:{key.site}", f"place:{key.place}"}
            held = bool(blocking(books, SELL, tokens, self.day))
            rows[key.site, key.stage, key.size, key.grade, held] += trees
        unread = take.not_read
        for (site, stage, size, grade, held), trees in sorted(rows.items()):
            of_these = min(unread, trees) if stage == "grafted" else 0
            unread -= of_these
            _row(
                self.standing,
                lot=number,
                site=site,
                stage=stage,
                size=size,
                grade=grade,
                trees=trees,
                unread=of_these,
                held=held,
            )


def _row(columns: Any, **values: Any) -> None:
    for name, value in values.items():
        getattr(columns, name).append(value)
