"""What answers that come from a view share: which position they reflect, and waiting for one."""

from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode

import msgspec
from msgspec import Meta

from service.api.headers import wait_of
from service.api.operation import Call, Paged, Reply, bad_parameter, cursor_of, decoded_cursor
from service.views import positions


class Reflecting(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Parameters of every answer that follows the log."""

    min_position: (
        Annotated[
            int,
            Meta(
                ge=0,
                le=2**62,
                description="With `Prefer: wait=N`: wait until the answer reflects this position.",
            ),
        ]
        | None
    ) = None


class ReflectingPage(Paged, frozen=True, kw_only=True):
    """The same for lists."""

    min_position: (
        Annotated[
            int,
            Meta(
                ge=0,
                le=2**62,
                description="With `Prefer: wait=N`: wait until the answer reflects this position.",
            ),
        ]
        | None
    ) = None


async def wait_for_view(call: Call[Any], view: str) -> dict[str, str]:
    """Wait as `Prefer: wait=N` and `min_position` ask; the headers that say it was honoured.

    When the time runs out the answer is given all the same: its `position` says what it reflects
    (RFC 7240 section 2: a preference is not a condition).
    """
    wanted = call.query.min_position
    seconds = wait_of(call.header("prefer"))
    if wanted is None or seconds == 0:
        return {}
    reached = await positions.wait_for(call.services.database.reader, view, wanted, seconds)
    return {"Preference-Applied": f"wait={seconds}"} if reached >= wanted else {}


def after_list(cursor: str | None) -> list[Any] | None:
    """The sort key that a cursor of a view's list stands after. Raises 422."""
    if not cursor:
        return None
    try:
        found = msgspec.json.decode(decoded_cursor(cursor), type=list[Any])
    except (msgspec.DecodeError, RecursionError) as error:
        raise bad_parameter("cursor", "This is no cursor of this list.") from error
    return found


def view_page(
    call: Call[Any],
    *,
    position: int,
    items: list[Any],
    next_after: list[Any] | None,
    headers: dict[str, str],
) -> Reply:
    """A page of a view's list."""
    following = None
    if next_after is not None:
        scope = call.request.scope
        text = scope["query_string"].decode("latin-1")
        pairs = [pair for pair in parse_qsl(text) if pair[0] != "cursor"]
        pairs.append(("cursor", cursor_of(msgspec.json.encode(next_after).decode())))
        following = f"{scope['path']}?{urlencode(pairs)}"
        headers = {**headers, "Link": f'<{following}>; rel="next"'}
    return Reply({"position": position, "items": items, "next": following}, headers=headers)
