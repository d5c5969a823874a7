"""What happened to a lot: day by day, event by event, what it came of and what came of it."""

from collections.abc import Iterable
from datetime import date, datetime
from functools import partial
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.api.problems import bad_parameter, not_found
from service.board.asking import Asked, Field, again, day_in, end_of
from service.board.charts import Happening, Line, timeline
from service.board.charts.timeline import Shape
from service.board.family import family_figure, family_of
from service.board.figures import Figure, files_of, hand_of
from service.board.happenings import in_words
from service.board.names import Names, names
from service.board.page import page
from service.board.there import by_whom
from service.board.visit import Visit
from service.log.read import LotNow
from service.log.rights import READ
from service.log.stored import StoredEvent
from service.storage.sql import load
from service.views import clocks, lots_then
from service.views.clocks import ClockError, asking
from service.wording.trade_words import STAGES, named
from service.wording.words import Words, phrase

SQL = load(__package__, "history.sql")
EVENTS = 200
"""So many are told on the page, the newest of them."""
SHAPES: dict[Shape, str] = {
    "made": phrase("made or received"),
    "looked": phrase("counted or read"),
    "worked": phrase("worked on or moved"),
    "lost": phrase("lost or thrown away"),
    "left": phrase("used, sold or sent"),
}
_TYPES: dict[Shape, tuple[str, ...]] = {
    "made": (
        "trees.received",
        "trees.returned",
        "stock.opened",
        "liners.received",
        "budwood.cut",
        "budwood.received",
        "consignment.received",
    ),
    "looked": (
        "push.counted",
        "grafts.unwrapped",
        "place.checked",
        "trees.graded",
        "stock.counted",
    ),
    "lost": ("trees.lost", "liners.discarded", "budwood.discarded", "label.lost"),
    "left": ("trees.sold", "budwood.sold", "consignment.sent"),
}
_SHAPE_OF = {kind: shape for shape, kinds in _TYPES.items() for kind in kinds}


class HistoryAsked(Asked, frozen=True, kw_only=True):
    """As of which day, as known on which day."""

    day: Field = ""
    known: Field = ""


class Story(NamedTuple):
    """All that is told of a lot."""

    lot: LotNow
    events: list[StoredEvent]
    days: list[Any]
    called: Names
    zones: dict[str, str]
    today: date
    # As of which day, as known on which day; None: now.
    day: date | None
    known: date | None

    @property
    def code(self) -> str:
        return str(self.lot.row["code"])

    @property
    def kind(self) -> str:
        return str(self.lot.row["kind"])


async def story_of(visit: Visit[HistoryAsked]) -> Story:
    """The lot of the address with its history. Raises 404 where nothing of it is seen."""
    code, services = visit.code(), visit.services
    async with services.reading() as conn:
        sites = await visit.sites(conn)
        found = await conn.fetchrow(SQL.lot, code)
    if not sites or found is None:
        raise not_found(f"The lot {code}")
    zones = {one.code: one.time_zone for one in sites}
    day, known = day_in("day", visit.query.day), day_in("known", visit.query.known)
    zone = zones.get(found["site"], sites[0].time_zone)
    asked = clocks.Asked(as_of=day, known_at=end_of(known, zone) if known else None)
    seen = visit.principal.site_list
    try:
        async with asking(services.database.reader, seen, asked, services.clock) as (conn, at):
            lot = await lots_then.lot(conn, at, seen, found["kind"], code)
            if lot is None:
                raise not_found(f"The lot {code}")
            events = await lots_then.history(conn, at, seen, code)
            days = await conn.fetch(SQL.days, code, seen, at.last_day, at.known)
            called = await names(conn)
            await visit.call_people(by_whom(events), conn)
    except ClockError as error:
        name = {"as_of": "day", "known_at": "known"}.get(error.clock, error.clock)
        raise bad_parameter(name, str(error), error.kind) from error
    today = next((one.today for one in sites if one.code == found["site"]), sites[0].today)
    return Story(lot, events, list(days), called, zones, day or today, day, known)


def shape_of(kind: str, event: StoredEvent, code: str) -> Shape:
    """How an event of a lot of a kind is drawn."""
    if event.type in ("trees.grafted", "trees.regrafted"):
        return "made" if event.data.get("lot") == code else "left"
    return _SHAPE_OF.get(event.type, "worked")


def day_of(event: StoredEvent, zones: dict[str, str]) -> date:
    """The day at its site."""
    if len(event.occurred) == 10:
        return date.fromisoformat(event.occurred)
    zone = ZoneInfo(zones[event.site]) if event.site in zones else None
    return datetime.fromisoformat(event.occurred).astimezone(zone).date()


def lines_of(words: Words, kind: str, days: Iterable[Any]) -> list[Line]:
    """How many there were at the end of each day; of trees: alive, pushed, ready, failed."""
    groups: dict[str, tuple[str, ...]] = {
        words.gettext("alive"): ("grafted", "pushed", "ready"),
        words.gettext("pushed or ready"): ("pushed", "ready"),
        named(words, "ready", STAGES): ("ready",),
        named(words, "failed", STAGES): ("failed",),
    }
    if kind != "tree":
        name = words.gettext("buds in bags") if kind == "budwood" else words.gettext("liners")
        groups = {name: ("",)}
    rows = list(days)
    lines = []
    for name, stages in groups.items():
        total, points = 0, []
        for row in rows:
            if row["stage"] in stages or kind != "tree":
                total += row["delta"]
                points.append((row["day"], total))
        if points:
            lines.append(Line(name, list(dict(points).items())))
    return lines


def timeline_figure(visit: Visit[HistoryAsked], story: Story) -> Figure | None:
    """The lot over its days."""
    words, shown = visit.words, visit.shown
    standing = [one for one in story.events if one.voided_by is None]
    days = [day_of(one, story.zones) for one in standing] + [row["day"] for row in story.days]
    if not days:
        return None
    first, last = min(days), max(*days, story.today)
    lines = lines_of(words, story.kind, story.days)
    happened = [
        Happening(day_of(one, story.zones), shape_of(story.kind, one, story.code))
        for one in standing
    ]
    shapes = {shape: words.gettext(text) for shape, text in SHAPES.items()}
    newest = ", ".join(f"{shown.number(one.points[-1][1])} {one.words}" for one in lines)
    return Figure(
        key="days",
        title=words.gettext("Day by day"),
        description=words.gettext(
            "From %(first)s to %(last)s: %(count)s entries. At the end: %(newest)s.",
            first=shown.day(first),
            last=shown.day(last),
            count=shown.number(len(standing)),
            newest=newest or "0",
        ),
        draw=lambda width, said: timeline(
            width, said, hand_of(shown), first, last, lines, happened, shapes=shapes
        ),
        header=[
            words.gettext("Day"),
            words.gettext("What happened"),
            words.gettext("Done by"),
            words.gettext("Recorded"),
            words.gettext("Voided"),
        ],
        rows=[
            (
                day_of(one, story.zones),
                in_words(shown, one.type, one.data, of=story.code),
                one.actor or one.recorded_by,
                one.recorded_at.isoformat(timespec="seconds"),
                words.gettext("yes") if one.voided_by else "",
            )
            for one in story.events
        ],
        file=f"{story.code}-history",
        address=f"/lot/{story.code}/history",
        query=again(visit.query),
    )


class Entry(NamedTuple):
    """One event as it is read."""

    day: str
    words: str
    by: str
    shape: Shape
    voided: bool
    breach: bool
    late: str


def entries_of(visit: Visit[HistoryAsked], story: Story) -> list[Entry]:
    """The newest events, in order of occurrence."""
    shown = visit.shown
    return [
        Entry(
            shown.day(day_of(one, story.zones)),
            in_words(shown, one.type, one.data, of=story.code),
            one.actor or one.recorded_by,
            shape_of(story.kind, one, story.code),
            one.voided_by is not None,
            one.happened,
            _told_late(visit, one, story),
        )
        for one in story.events[-EVENTS:]
    ]


def _told_late(visit: Visit[HistoryAsked], event: StoredEvent, story: Story) -> str:
    """When it was recorded, where that is another day."""
    zone = ZoneInfo(story.zones[event.site]) if event.site in story.zones else None
    day = event.recorded_at.astimezone(zone).date()
    return "" if day <= day_of(event, story.zones) else visit.shown.day(day)


@page("GET", "/lot/{code:str}/history", scope=READ, query=HistoryAsked)
async def get_history(visit: Visit[HistoryAsked]) -> Reply:
    """The story of a lot."""
    story = await story_of(visit)
    words = visit.words
    family = await family_of(visit, story.code)
    row = story.lot.row
    return visit.page(
        "history.html",
        asked=visit.query,
        story=story,
        lot=row,
        today=story.today,
        title=title_of(words, story),
        figure=timeline_figure(visit, story),
        family=family_figure(visit, story.code, family, story.called),
        entries=entries_of(visit, story),
        left_out=max(len(story.events) - EVENTS, 0),
        method=partial(named, words),
    )


def title_of(words: Words, story: Story) -> str:
    """What the lot is of."""
    row, called = story.lot.row, story.called
    if story.kind == "tree":
        return called.item(words, row["cultivar"], row["rootstock"])
    if story.kind == "liner":
        return called.of("rootstock", row["rootstock"]) or words.gettext("liners")
    return called.of("cultivar", row["cultivar"]) or words.gettext("budwood")


async def _timeline(visit: Visit[HistoryAsked]) -> Figure | None:
    return timeline_figure(visit, await story_of(visit))


async def _family(visit: Visit[HistoryAsked]) -> Figure | None:
    story = await story_of(visit)
    family = await family_of(visit, story.code)
    return family_figure(visit, story.code, family, story.called)


HANDLERS: list[HTTPRouteHandler] = [
    get_history,
    *files_of("/lot/{code:str}/history", HistoryAsked, _timeline),
    *files_of("/lot/{code:str}/family", HistoryAsked, _family),
]
