"""One way to declare a page: who may see it, what may be asked, and what guards what it records.

A page is an async function of a `Visit` that gives a `Reply`. Signing in, rights, forgery of
requests, languages and problems in words are the same for all and live here.
"""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any, Literal
from urllib.parse import quote, urlsplit

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp, Scope

from service.api.headers import media_type, names_type
from service.api.operation import NoQuery, Reply, Sent, finish, header
from service.api.problems import (
    PROBLEM_TYPE,
    Problem,
    answer_problem,
    encode_problem,
    lacks_scope,
    log_unforeseen,
    problem_of,
)
from service.api.queries import list_fields, read_query
from service.api.services import UNREACHABLE, Services, unreachable
from service.board import cookies
from service.board.forms import FORM
from service.board.problem_words import problem_in_words
from service.board.visit import Visit

# Its own style, script and pictures, nothing inline, nothing from elsewhere, in nobody's frame.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
# A code can be looked at with the telephone's camera, where the browser can.
PERMISSIONS = "camera=(self), geolocation=(), microphone=(), payment=(), usb=()"
# Not "no-referrer": browsers then say "Origin: null" of our own forms too (Fetch, "append a request
# `Origin` header"), and over plain http nothing else tells them from another site's.
REFERRER = "same-origin"
_GUARDED = {
    "Content-Security-Policy": POLICY,
    "Permissions-Policy": PERMISSIONS,
    "Referrer-Policy": REFERRER,
}
Guard = Literal["form", "origin", "none"]


def page(
    method: Literal["GET", "POST"],
    path: str,
    *,
    scope: str | None,
    query: type[Any] = NoQuery,
    guard: Guard = "form",
) -> Callable[[Callable[[Visit[Any]], Awaitable[Reply]]], HTTPRouteHandler]:
    """Declare a page. `scope` None: for everybody; "": for who is signed in, whatever their rights.

    `guard` of a POST: "form" asks for the token that `csrf()` puts into forms of who is signed in;
    "origin" only that it comes from this service's own pages; "none" takes it from anywhere.
    """
    lists = list_fields(query)
    methods = ["GET", "HEAD"] if method == "GET" else [method]

    def declare(act: Callable[[Visit[Any]], Awaitable[Reply]]) -> HTTPRouteHandler:
        async def endpoint(request: Request[Any, Any, Any]) -> ASGIApp:
            services: Services = request.scope["litestar_app"].state.services
            visit: Visit[Any] = Visit(request, services, None, NoQuery())
            try:
                reply = await answer(visit)
            except Exception as error:
                reply = _in_words(visit, error)
            return _finished(reply, visit)

        async def answer(visit: Visit[Any]) -> Reply:
            asgi = visit.request.scope
            if not path.startswith("/static/"):
                await _find_signed(visit)
            if method == "POST" and guard != "none":
                _check_origin(asgi, visit.services)
            if scope is not None and visit.signed is None:
                return await _to_sign_in(visit)
            if scope and scope not in visit.principal.scopes:
                raise lacks_scope(scope)
            visit.query = read_query(query, asgi["query_string"], lists)
            if method == "POST":
                _check_kind(asgi, guard)
                await visit.form()
                if scope is not None and guard == "form" and not visit.is_own_form():
                    return await _ask_again(visit, "again")
            return await act(visit)

        # What a test of every page goes by.
        said = {"scope": scope, "query": query, "guard": guard}
        return HTTPRouteHandler(path, http_method=methods, status_code=200, opt=said)(endpoint)  # type: ignore[arg-type]

    return declare


async def _find_signed(visit: Visit[Any]) -> None:
    """Find who is signed in. Raises 429 when they ask too often, 503 without the database."""
    asgi, services = visit.request.scope, visit.services
    token = cookies.read(asgi, services.settings, cookies.SEAT)
    if token is None:
        return
    try:
        found = await services.sessions.signed(token)
        if found is None:
            return
        visit.signed, visit.services = found, services.asked_by(found.principal)
        asgi["state"]["principal"] = found.principal.name
        asgi["state"]["allowance"] = await services.limits.count(found.principal.name)
    except UNREACHABLE as error:
        raise unreachable() from error


def _check_origin(asgi: Scope, services: Services) -> None:
    """Raise 403 for what another site's page sends (Fetch Metadata; Origin where there is none)."""
    site, origin = header(asgi, b"sec-fetch-site"), header(asgi, b"origin")
    if site is not None:
        own = site in ("same-origin", "none")
    elif origin is not None:
        own = urlsplit(origin).netloc in (
            header(asgi, b"host"),
            urlsplit(services.settings.base).netloc,
        )
    else:
        own = True
    if not own:
        raise Problem("forged", "It was sent from a page of another site.")


def _check_kind(asgi: Scope, guard: Guard) -> None:
    """Raise 415 unless a form comes. Mail programs may send theirs in parts (RFC 8058 3.2)."""
    kind = media_type(header(asgi, b"content-type"))
    if kind != FORM and not (guard == "none" and kind == "multipart/form-data"):
        raise Problem("unsupported-media-type", f"Forms are sent here as {FORM}.")


async def _to_sign_in(visit: Visit[Any]) -> Reply:
    """On to signing in, and back here afterwards; what was typed is kept."""
    asgi = visit.request.scope
    if visit.wants_json:
        raise Problem("signed-out", "Nobody is signed in here any more.")
    if asgi["method"] == "POST":
        _check_kind(asgi, "form")
        return await _ask_again(visit, "signed_out")
    text = asgi["query_string"].decode("latin-1")
    here = asgi["path"] + (f"?{text}" if text else "")
    return visit.go(f"/sign-in?then={quote(here, safe='')}")


async def _ask_again(visit: Visit[Any], why: Literal["again", "signed_out"]) -> Reply:
    """A page that holds all that was typed, to be sent again by hand."""
    if visit.wants_json:
        raise Problem("signed-out", "The page is of an earlier signing in; load it anew.")
    fields = [(name, value) for name, value in (await visit.form()).pairs if name != "csrf"]
    return visit.page("again.html", status=403, why=why, fields=fields)


def _in_words(visit: Visit[Any], error: Exception) -> Reply:
    """A problem as a page, or as a problem document for a program."""
    problem = problem_of(error)
    asgi = visit.request.scope
    if problem.slug == "internal-error":
        log_unforeseen(asgi, error)
    method = visit.request.scope["method"]
    title, advice = problem_in_words(visit.words, problem.slug, problem.status, method)
    if visit.wants_json:
        # What a device shows beside the entry that it sent.
        problem.members["words"] = f"{title}. {advice}"
        body, kind = encode_problem(problem, asgi), PROBLEM_TYPE
        return Reply(body, problem.status, None, problem.headers, kind, "no-store")
    reference = asgi["state"]["request_id"] if problem.status >= 500 else None
    context = {"title": title, "advice": advice, "reference": reference}
    reply = visit.page("problem.html", status=problem.status, **context)
    return replace(reply, headers=reply.headers | problem.headers)


def answer_unknown(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """The handler for what no page and no operation answered: in words for a browser."""
    asgi = request.scope
    asks = names_type(header(asgi, b"accept"), "text/html")
    if not asks or asgi["path"].startswith("/v1/"):
        return answer_problem(request, error)
    services: Services = asgi["litestar_app"].state.services
    reply = _in_words(Visit(request, services, None, NoQuery()), error)
    headers = _GUARDED | reply.headers | {"Cache-Control": reply.cache}
    return Response(
        reply.body, status_code=reply.status, media_type=reply.media_type, headers=headers
    )


def _finished(reply: Reply, visit: Visit[Any]) -> ASGIApp:
    sent = finish(replace(reply, headers=_GUARDED | reply.headers), visit.request.scope)
    if isinstance(sent, Sent):
        sent.headers += [(b"set-cookie", value.encode("latin-1")) for value in visit.cookies]
    return sent
