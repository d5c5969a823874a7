"""Both clocks in requests and answers: as of when it happened, as known when."""

import re
from collections.abc import Awaitable, Callable
from datetime import date, datetime
from typing import Annotated, Any, Generic, Protocol, TypeVar

import msgspec
from msgspec import Meta

from service.api.cursors import decoded_cursor, no_cursor
from service.api.history import day_or_time
from service.api.operation import Call, Page, Reply, next_page
from service.api.problems import bad_parameter
from service.api.services import UNREACHABLE, unreachable
from service.api.views import wait_for_view
from service.trade.words import Occurred
from service.views.clocks import Asked, ClockError, Clocks

T = TypeVar("T")
_POSITION = re.compile(r"[0-9]{1,18}")
TIME_PATTERN = (
    r"^([0-9]{1,18}|[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2}))$"
)

AsOf = (
    Annotated[
        Occurred,
        Meta(
            description="As it was: a day, at its end at each site; or a time with an offset, at "
            "the end of the day that each site has then, since the books know days, not hours. "
            "Left out: now.",
            examples=["2026-03-31"],
        ),
    ]
    | None
)
KnownAt = (
    Annotated[
        str,
        Meta(
            pattern=TIME_PATTERN,
            description="As known then: a position of the log, or a time with an offset. "
            "Left out: all that is known now.",
            examples=["1200", "2026-03-01T00:00:00Z"],
        ),
    ]
    | None
)
SaidAsOf = Annotated[str | None, Meta(description="The day or time asked for; null: now.")]
SaidKnownAt = Annotated[
    int,
    Meta(ge=0, description="The log's position whose knowledge this is; no later event counts."),
]
SaidDays = Annotated[
    dict[str, date] | None,
    Meta(description="Where `as_of` is a time: the day at whose end each site is told of."),
]


class ClockedPage(Page[T], Generic[T], frozen=True, kw_only=True):
    """A page of a list that can be asked on both clocks."""

    as_of: SaidAsOf
    known_at: SaidKnownAt
    days: SaidDays


class Found(Protocol):
    """A page as a question on both clocks finds it."""

    @property
    def clocks(self) -> Clocks: ...

    @property
    def rows(self) -> list[Any]: ...

    @property
    def next_after(self) -> list[Any] | None: ...


class OldCursor(msgspec.Struct, frozen=True, forbid_unknown_fields=True, array_like=True):
    """Where an old question goes on: its key, the clocks as written, the position they meant."""

    kind: Annotated[str, Meta(pattern="^old$")]
    after: list[Any]
    as_of: str | None
    known_at: str | None
    position: Annotated[int, Meta(ge=0, lt=2**62)]


def asked_of(query: Any) -> Asked:
    """The clocks of a query. Raises 422."""
    day, moment = day_or_time("as_of", query.as_of)
    return Asked(as_of=day or moment, known_at=_known(query.known_at))


def _known(text: str | None) -> int | datetime | None:
    if text is None:
        return None
    if _POSITION.fullmatch(text):
        return int(text)
    try:
        moment: datetime = msgspec.convert(text, Annotated[datetime, Meta(tz=True)])
        return moment
    except (msgspec.ValidationError, OverflowError) as error:
        raise bad_parameter(
            "known_at", f"{text} is no position and no time.", "not_a_day"
        ) from error


async def clocked_list(
    call: Call[Any],
    view: str | None,
    ask: Callable[[Asked, list[Any] | None], Awaitable[Found]],
) -> Reply:
    """A page of a list on both clocks: `ask` is given them and the sort key to go on after.

    `view` is what a question about now is answered from (None: the books). The next page of an old
    question is the same question, whatever was recorded meanwhile: its cursor says what was known.
    """
    query = call.query
    asked, after = asked_of(query), _read_cursor(query.cursor)
    if isinstance(after, OldCursor):
        if (after.as_of, after.known_at) != (query.as_of, query.known_at):
            raise no_cursor("This cursor is of a question with other clocks.")
        asked, key = Asked(as_of=asked.as_of, known_at=after.position), after.after
    else:
        key = after  # type: ignore[assignment]
    is_old = asked != Asked()
    if is_old and after is not None and not isinstance(after, OldCursor):
        raise no_cursor("This cursor is of a question without clocks.")
    headers = await wait_for_view(call, view) if view is not None and not is_old else {}
    try:
        found = await ask(asked, key)
    except UNREACHABLE as error:
        raise unreachable() from error
    except ClockError as error:
        raise bad_parameter(error.clock, str(error), error.kind) from error
    except ValueError as error:
        # All else that could be wrong was checked with the parameters.
        raise no_cursor(str(error)) from error
    following: Any = found.next_after
    if following is not None and is_old:
        position = found.clocks.known_at
        following = OldCursor("old", following, query.as_of, query.known_at, position)
    body = found.clocks.said(call.principal.site_list) | {"items": found.rows}
    text = None if following is None else msgspec.json.encode(following).decode()
    return next_page(call, body, text, headers)


def _read_cursor(cursor: str | None) -> OldCursor | list[Any] | None:
    if not cursor:
        return None
    text = decoded_cursor(cursor)
    try:
        if text.startswith('["old",'):
            return msgspec.json.decode(text, type=OldCursor)
        return msgspec.json.decode(text, type=list[Any])
    except (msgspec.DecodeError, RecursionError) as error:
        raise no_cursor() from error
