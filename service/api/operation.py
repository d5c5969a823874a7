"""One way to declare an operation, from which both its behaviour and its public description come.

An operation is an async function of a `Call` that gives a `Reply`. The decorator says its method,
path, scope, query parameters and answers; checking the key, the scope, the content type and the
parameters, conditional requests, HEAD and headers are the same for all and live here.
"""

import re
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from typing import Annotated, Any, Generic, TypeVar
from urllib.parse import parse_qsl, urlencode

import msgspec
from litestar import Request
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp, Receive, Scope, Send
from msgspec import Meta

from service.api import headers
from service.api.conditional import content_tag, is_unchanged
from service.api.cursors import CODE, cursor_of
from service.api.deprecation import Deprecated
from service.api.filters import check_codes, code_filters
from service.api.problems import Problem, lacks_scope, not_found, unauthenticated
from service.api.queries import list_fields, read_query
from service.api.services import UNREACHABLE, Services, unreachable
from service.api.streaming import Streamed
from service.log.rights import NOBODY, Principal

Q = TypeVar("Q")
T = TypeVar("T")
JSON = "application/json"
NDJSON = "application/x-ndjson"
CSV = "text/csv"
MERGE_PATCH = "application/merge-patch+json"
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
REVALIDATE = "private, no-cache"
_encode = msgspec.json.Encoder().encode


class NoQuery(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """No parameters."""


class Paged(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Parameters of every list."""

    limit: Annotated[int, Meta(ge=1, le=1000, description="Most entries in one answer.")] = 100
    cursor: (
        Annotated[
            str,
            Meta(
                max_length=600,
                pattern=r"^[A-Za-z0-9_-]*$",
                description="Where to go on: take it from `next` or the Link header as it is.",
            ),
        ]
        | None
    ) = None


class Page(msgspec.Struct, Generic[T], frozen=True, kw_only=True):
    """A page of a list, in a fixed order."""

    position: Annotated[
        int, Meta(ge=0, description="The log's position that this reflects, or a later one.")
    ]
    items: list[T]
    next: Annotated[str | None, Meta(description="Address of the next page; null on the last one.")]


@dataclass(frozen=True)
class Reply:
    """What an operation answers. `body` is encoded as JSON unless it is bytes already.

    With `stream` the answer is sent chunk by chunk as it is made, and has no `body` and no ETag;
    `asker_sends` says whether the request still comes, so that the asker need not read yet.
    """

    body: Any = None
    status: int = 200
    etag: str | None = None
    headers: dict[str, str] = field(default_factory=dict)
    media_type: str = JSON
    cache: str = REVALIDATE
    stream: AsyncIterator[bytes] | None = None
    asker_sends: Callable[[], bool] = lambda: False


@dataclass
class Call(Generic[Q]):
    """A request that may proceed: the asker is known and the parameters are understood."""

    request: Request[Any, Any, Any]
    services: Services
    principal: Principal
    query: Q

    def header(self, name: str) -> str | None:
        return header(self.request.scope, name.lower().encode())

    async def key_stands(self) -> bool:
        """Whether the key is what it was when the request came: for one that takes long."""
        _, _, token = (self.header("authorization") or "").partition(" ")
        return await self.services.keys.principal(token.strip()) == self.principal

    def code(self, name: str = "code") -> str:
        """A code in the path; what can't be a code is not found."""
        value = str(self.request.scope["path_params"][name])
        if CODE.match(value) is None:
            raise not_found("What the address names")
        return value

    def uuid(self, name: str = "id") -> str:
        """A UUID in the path; what can't be one is not found."""
        value = str(self.request.scope["path_params"][name]).lower()
        if UUID.fullmatch(value) is None:
            raise not_found("What the address names")
        return value

    async def body(self, limit: int | None = None) -> bytes:
        """The request's body. Raises 413 past `limit` bytes (default: the setting for objects).

        None where nothing need be said is the empty object.
        """
        most = limit if limit is not None else self.services.settings.body_limit
        sent = await read_body(self.request, most)
        return sent or (b"{}" if _without_body(self.request.scope) else b"")


@dataclass(frozen=True)
class Operation:
    """The declaration of an operation."""

    method: str
    path: str
    name: str
    scope: str | None
    tag: str
    doc: str
    query: type[Any]
    accepts: tuple[str, ...]
    body: Any
    answer: Any
    answers: tuple[int, ...]
    problems: tuple[str, ...]
    request_headers: tuple[str, ...]
    produces: str
    also: tuple[tuple[str, Any], ...]
    deprecated: Deprecated | None

    @property
    def needs_body(self) -> bool:
        """Whether a body must come: not where all that it could say may be left out."""
        body = self.body
        if self.method != "POST" or not (
            isinstance(body, type) and issubclass(body, msgspec.Struct)
        ):
            return True
        return any(field.required for field in msgspec.structs.fields(body))


def header(scope: Scope, name: bytes) -> str | None:
    """The first header of that (lower-case) name."""
    for key, value in scope["headers"]:
        if key == name:
            return value.decode("latin-1")
    return None


async def asker(scope: Scope, services: Services) -> Principal:
    """Who asks, by the Authorization header. Raises 401, and 429 when that is too often.

    Found, and counted, once a request.
    """
    found: Principal | Problem | None = scope["state"].get("asker")
    if found is None:
        try:
            found = await _find_asker(scope, services)
        except Problem as problem:
            found = problem
        scope["state"]["asker"] = found
    if isinstance(found, Problem):
        raise found
    return found


async def _find_asker(scope: Scope, services: Services) -> Principal:
    value = header(scope, b"authorization")
    if value is None:
        raise unauthenticated("Send your key in the header Authorization: Bearer …")
    scheme, _, token = value.partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise unauthenticated("Keys are sent as Authorization: Bearer …", error="invalid_request")
    token, address = token.strip(), (scope["client"] or ("",))[0]
    if not services.keys.was_good(token):
        services.limits.try_key(address)
    try:
        principal = await services.keys.principal(token)
    except UNREACHABLE as error:
        raise unreachable() from error
    if principal is None:
        services.limits.wrong_key(address)
        raise unauthenticated("The key is unknown, expired or revoked.", error="invalid_token")
    try:
        scope["state"]["allowance"] = await services.limits.count(principal.name)
    except UNREACHABLE as error:
        raise unreachable() from error
    return principal


async def read_body(request: Request[Any, Any, Any], most: int) -> bytes:
    """The whole body, straight from the server. Raises 413 past `most` bytes, before reading on."""
    announced = header(request.scope, b"content-length")
    size = int(announced) if announced and announced.isdecimal() else 0
    chunks: list[bytes] = []
    more = True
    while more and size <= most:
        message = await request.receive()
        if message["type"] == "http.disconnect":
            # Nobody is left to read the answer.
            raise Problem("request-timeout", "The request did not arrive whole.")
        assert message["type"] == "http.request"
        chunks.append(message.get("body", b""))
        more = message.get("more_body", False)
        size = max(size, sum(map(len, chunks))) if more else sum(map(len, chunks))
    if size > most:
        raise Problem("content-too-large", f"At most {most} bytes are read here.", limit=most)
    return chunks[0] if len(chunks) == 1 else b"".join(chunks)


class Sent:
    """A finished answer as an ASGI application: the shortest way out."""

    __slots__ = ("body", "headers", "status")

    def __init__(self, status: int, headers: list[tuple[bytes, bytes]], body: bytes) -> None:
        self.status, self.headers, self.body = status, headers, body

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": self.status, "headers": self.headers})
        body = b"" if scope["method"] == "HEAD" else self.body  # type: ignore[typeddict-item]
        await send({"type": "http.response.body", "body": body, "more_body": False})


def finish(reply: Reply, scope: Scope) -> ASGIApp:
    """A reply as an application, or 304 when the asker has it already (RFC 9110 section 13.2.2)."""
    method = scope["method"]  # type: ignore[typeddict-item]
    given: list[tuple[bytes, bytes]] = [
        (key.lower().encode("latin-1"), value.encode("latin-1"))
        for key, value in reply.headers.items()
    ]
    given.append((b"cache-control", reply.cache.encode()))
    given.append((b"vary", b"Authorization, Accept"))
    if reply.stream is not None:
        given.append((b"content-type", reply.media_type.encode()))
        return Streamed(reply.status, given, reply.stream, reply.asker_sends)
    body = reply.body if isinstance(reply.body, bytes) else _encode(reply.body)
    asked, tag = method in ("GET", "HEAD"), reply.etag
    if tag is None and asked and reply.cache == REVALIDATE:
        # What is to be asked for again can only be spared with a tag.
        tag = content_tag(body)
    if tag is not None:
        given.append((b"etag", tag.encode("latin-1")))
        if asked and is_unchanged(header(scope, b"if-none-match"), tag):
            return Sent(304, given, b"")
    if reply.status == 204:
        return Sent(204, given, b"")
    given.append((b"content-type", reply.media_type.encode()))
    given.append((b"content-length", str(len(body)).encode()))
    return Sent(reply.status, given, body)


def operation(
    method: str,
    path: str,
    *,
    tag: str,
    scope: str | None,
    query: type[Any] = NoQuery,
    accepts: tuple[str, ...] = (),
    body: Any = None,
    answer: Any = None,
    answers: tuple[int, ...] = (200,),
    problems: tuple[str, ...] = (),
    request_headers: tuple[str, ...] = (),
    produces: str = JSON,
    also: tuple[tuple[str, Any], ...] = (),
    free: tuple[str, ...] = (),
    name: str | None = None,
    doc: str | None = None,
    deprecated: Deprecated | None = None,
) -> Callable[[Callable[[Call[Any]], Awaitable[Reply]]], HTTPRouteHandler]:
    """Declare an operation; see the module. `scope` None needs no key.

    `answer` and `body` are msgspec types for the public description; `answers` the statuses that
    come with `answer`; `problems` the kinds beyond those every operation can have; `free` filters
    whose codes need not be known; `deprecated` says that it is on its way out; `also` what the
    answer can be asked for as besides (Accept), each media type with its msgspec type.
    """
    lists = list_fields(query)
    codes = code_filters(query, free) if method == "GET" else ()
    methods = ["GET", "HEAD"] if method == "GET" else [method]

    def declare(act: Callable[[Call[Any]], Awaitable[Reply]]) -> HTTPRouteHandler:
        declared = Operation(
            method=method,
            path=path,
            name=name or act.__name__,
            scope=scope,
            tag=tag,
            doc=doc or act.__doc__ or "",
            query=query,
            accepts=accepts,
            body=body,
            answer=answer,
            answers=answers,
            problems=problems,
            request_headers=request_headers,
            produces=produces,
            also=also,
            deprecated=deprecated,
        )

        needs_body = declared.needs_body

        async def endpoint(request: Request[Any, Any, Any]) -> ASGIApp:
            asgi = request.scope
            services: Services = asgi["litestar_app"].state.services
            if deprecated is not None:
                asgi["state"]["notice"] = deprecated.headers
            principal = NOBODY
            if scope is not None:
                principal = await asker(asgi, services)
                asgi["state"]["principal"] = principal.name
                services = services.asked_by(principal)
                if scope and scope not in principal.scopes:
                    raise lacks_scope(scope)
            if accepts and (needs_body or not _without_body(asgi)):
                sent, coding = (
                    header(asgi, name) for name in (b"content-type", b"content-encoding")
                )
                headers.check_content(sent, coding, accepts, method)
            understood = read_query(query, asgi["query_string"], lists)
            if codes:
                await check_codes(services, principal, understood, codes)
            return finish(await act(Call(request, services, principal, understood)), asgi)

        # The status is the reply's own; a DELETE's 204 by default would allow no answer at all.
        return HTTPRouteHandler(
            path,
            http_method=methods,  # type: ignore[arg-type]
            status_code=200,
            opt={"operation": declared},
        )(endpoint)

    return declare


def _without_body(scope: Scope) -> bool:
    """Whether a request comes without a body, and says nothing of one."""
    said = (header(scope, name) for name in (b"content-type", b"transfer-encoding"))
    return not any(said) and header(scope, b"content-length") in (None, "0")


def csv_file(text: str, name: str) -> Reply:
    """A CSV with a header, to be kept as a file called `name`."""
    said = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Reply(text.encode(), headers=said, media_type=f"{CSV}; charset=utf-8; header=present")


def page(
    call: Call[Any], items: list[Any], key: Callable[[Any], str | int], position: int
) -> Reply:
    """A page out of up to `limit` + 1 items: the one too many only says that more follow."""
    limit: int = call.query.limit
    key_of_last = str(key(items[limit - 1])) if len(items) > limit else None
    return next_page(call, {"position": position, "items": items[:limit]}, key_of_last, {})


def next_page(
    call: Call[Any], body: dict[str, Any], after: str | None, headers: dict[str, str]
) -> Reply:
    """The answer with a page of a list, and the address of the page `after` it (None: the last)."""
    following = None
    if after is not None:
        scope = call.request.scope
        text = scope["query_string"].decode("latin-1")
        pairs = [pair for pair in parse_qsl(text) if pair[0] != "cursor"]
        pairs.append(("cursor", cursor_of(after)))
        following = f"{scope['path']}?{urlencode(pairs)}"
        headers = {**headers, "Link": f'<{following}>; rel="next"'}
    return Reply({**body, "next": following}, headers=headers)
