"""What answers that come from a view share: which position they reflect, and waiting for one."""

from collections.abc import Awaitable, Callable
from typing import Annotated, Any, Protocol, TypeVar

import msgspec
from msgspec import Meta

from service.api.cursors import decoded_cursor, no_cursor
from service.api.headers import wait_of
from service.api.operation import Call, Paged, Reply, next_page
from service.api.services import UNREACHABLE, unreachable
from service.views import positions

Q = TypeVar("Q", bound=msgspec.Struct)
MinPosition = (
    Annotated[
        int,
        Meta(
            ge=0,
            le=2**62,
            description="With `Prefer: wait=N`: wait until the answer reflects this position.",
        ),
    ]
    | None
)


class Reflecting(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Parameters of an answer that follows the log."""

    min_position: MinPosition = None


class ReflectingPage(Paged, frozen=True, kw_only=True):
    """The same for lists."""

    min_position: MinPosition = None


class ViewPage(Protocol):
    """A page as views give it."""

    @property
    def position(self) -> int: ...

    @property
    def rows(self) -> list[Any]: ...

    @property
    def next_after(self) -> list[Any] | None: ...


async def wait_for_view(call: Call[Any], view: str) -> dict[str, str]:
    """Wait as `Prefer: wait=N` and `min_position` ask; the headers that say it was honoured.

    When the time runs out the answer is given all the same: its `position` says what it reflects
    (RFC 7240 section 2: a preference is not a condition). Raises a 503 problem.
    """
    wanted = call.query.min_position
    seconds = wait_of(call.header("prefer"))
    if wanted is None or seconds == 0:
        return {}
    try:
        pool = call.services.database.reader
        reached = await positions.wait_for(pool, view, wanted, seconds)
    except UNREACHABLE as error:
        raise unreachable() from error
    return {"Preference-Applied": f"wait={seconds}"} if reached >= wanted else {}


def after_list(cursor: str | None) -> list[Any] | None:
    """The sort key that a cursor of a view's list stands after. Raises 422."""
    if not cursor:
        return None
    try:
        return msgspec.json.decode(decoded_cursor(cursor), type=list[Any])
    except (msgspec.DecodeError, RecursionError) as error:
        raise no_cursor() from error


def question(kind: type[Q], parameters: msgspec.Struct, /, **more: Any) -> Q:
    """What a view is asked: `more`, and the rest from the parameters of the same names."""
    rest = (name for name in kind.__struct_fields__ if name not in more)
    return kind(**{name: getattr(parameters, name) for name in rest}, **more)


async def view_list(
    call: Call[Any], view: str, ask: Callable[[list[Any] | None], Awaitable[ViewPage]]
) -> Reply:
    """A page of a view's list: `ask` is given the sort key to go on after."""
    after = after_list(call.query.cursor)
    return await keyed_list(call, ask, after, await wait_for_view(call, view))


async def keyed_list(
    call: Call[Any],
    ask: Callable[[list[Any] | None], Awaitable[ViewPage]],
    after: list[Any] | None,
    headers: dict[str, str],
) -> Reply:
    """A page of a list that goes on after a sort key of several parts."""
    try:
        found = await ask(after)
    except UNREACHABLE as error:
        raise unreachable() from error
    except ValueError as error:
        # All else that a view could find wrong was checked with the parameters.
        raise no_cursor(str(error)) from error
    key = found.next_after
    following = None if key is None else msgspec.json.encode(key).decode()
    body = {"position": found.position, "items": found.rows}
    return next_page(call, body, following, headers)
