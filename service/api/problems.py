"""Problem documents (RFC 9457): one catalogue of kinds, and the way from an exception to an answer.

Every `type` is a path on this service, `/problems/{slug}`, which tells a person what it means.
"""

from typing import Any, NamedTuple

import msgspec
import structlog
from litestar import Request, Response
from litestar.exceptions import HTTPException
from litestar.types import Scope

from service.api.logs import shown_path
from service.trade.verdicts import Fault

PROBLEM_TYPE = "application/problem+json"
JSON_ACCEPTED = "application/json"
_log = structlog.get_logger("service.api")


class Kind(NamedTuple):
    """A kind of problem: the status it comes with, its unchanging title, what to do about it."""

    status: int
    title: str
    advice: str


KINDS: dict[str, Kind] = {
    "malformed-request": Kind(
        400,
        "The request could not be read",
        "The body is not JSON (or NDJSON, or CSV) or a header has no meaning. Nothing was stored.",
    ),
    "unauthenticated": Kind(
        401,
        "A valid key is needed",
        "Send the header Authorization: Bearer and your key. Keys can expire or be revoked.",
    ),
    "insufficient-scope": Kind(
        403,
        "The key does not allow this",
        "The key is valid but lacks the scope named in `scope`. Ask whoever gave it to you.",
    ),
    "signed-out": Kind(
        401,
        "Nobody is signed in here",
        "Of pages: sign in again; what was typed is kept until then.",
    ),
    "forged": Kind(
        403,
        "It came from a page of another site",
        "Forms are taken from the service's own pages only. Open the page here and send it again.",
    ),
    "not-found": Kind(
        404,
        "Nothing of that name is here",
        "There is no such thing, or it belongs to a site that the key does not see.",
    ),
    "method-not-allowed": Kind(
        405,
        "This can't be done here",
        "The header Allow lists the methods that this address answers to.",
    ),
    "request-timeout": Kind(408, "The request took too long to arrive", "Send it again."),
    "refused": Kind(
        409,
        "The log refused it",
        "Nothing was stored. Each entry of `errors` names the rule and the numbers to put right; "
        "a fact that breaks a rule and has happened all the same is sent again with "
        "`happened: true`.",
    ),
    "already-put-right": Kind(
        409,
        "It is not open any more",
        "Somebody has put it right or discarded it meanwhile; `state` says which. Read it again.",
    ),
    "idempotency-key-in-flight": Kind(
        409,
        "The same key is being worked on",
        "A request with this Idempotency-Key has not been answered yet. Send it again in a moment.",
    ),
    "precondition-failed": Kind(
        412,
        "It was changed since you read it",
        "Read it again, look at what changed, and send your change with the new ETag.",
    ),
    "content-too-large": Kind(
        413, "The request is too large", "Send less at a time; `limit` says how much will do."
    ),
    "address-too-long": Kind(
        414, "The address is too long", "Ask with fewer or shorter parameters."
    ),
    "unsupported-media-type": Kind(
        415, "The content is of a kind not read here", "The header Accept-Post lists what is read."
    ),
    "validation-error": Kind(
        422,
        "The content has mistakes",
        "Each entry of `errors` names a place in what was sent and what is wrong there. Nothing "
        "was stored.",
    ),
    "idempotency-key-reused": Kind(
        422,
        "The key was used for another request",
        "An Idempotency-Key stands for one method, address and body. Use a fresh one.",
    ),
    "precondition-required": Kind(
        428,
        "Say which version you are changing",
        "Read the entry and send its ETag in If-Match, so that nobody's change is lost.",
    ),
    "quota-exceeded": Kind(
        429,
        "Too much was asked in a short time",
        "Send it again after Retry-After. RateLimit says how much is left, RateLimit-Policy how "
        "much there is.",
    ),
    "headers-too-large": Kind(431, "The headers are too large", "Send fewer or shorter headers."),
    "internal-error": Kind(
        500,
        "Something went wrong in the service",
        "It is not your request's fault. The request id leads to it in the service's log.",
    ),
    "overloaded": Kind(
        503, "Too many requests are being answered", "Send it again after Retry-After."
    ),
    "busy": Kind(503, "Too much is waiting to be written", "Send it again after Retry-After."),
    "outcome-unknown": Kind(
        503,
        "It is not known whether it was stored",
        "The database went away while storing. Send the same request again: event ids or the "
        "Idempotency-Key keep it from being stored twice.",
    ),
    "not-ready": Kind(503, "The service can't answer now", "Send it again after Retry-After."),
}
# Kinds of what is wrong with a request's shape; those of the log are in service.trade.verdicts.
SHAPE_KINDS = {
    "missing": "Something needed was left out.",
    "unknown_field": "There is no such field.",
    "wrong_type": "It is of another type.",
    "bad_value": "A value is out of range or badly formed.",
    "id_twice": "Two events of one request have the same id.",
}
# Kinds of what is of the right shape and can't be answered all the same. A description of shapes
# can't tell them, so those who send only what it allows still meet these, and no others.
MEANING_KINDS = {
    "unknown_code": "It names something that nobody here knows.",
    "no_cursor": "This list gave out no such cursor.",
    "beyond_log": "It is a position that this log has not reached: it may have been restored.",
    "not_a_day": "It is written like a day or a time that no calendar has, or none told of here.",
    "in_the_future": "It is still to come.",
    "in_the_past": "It is over.",
    "nothing_there": "It is known, and empty.",
    "too_many": "It asks for more than one answer holds.",
    "not_together": "Two values that each would do don't go together.",
    "other_zone": "A time is written with another offset than the site's clocks had then.",
    "other_address": "It says another code or id than the address it was sent to.",
    "id_twice": SHAPE_KINDS["id_twice"],
}


class Mistake(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One thing wrong: where (`pointer` into the body, or a query `parameter`), its kind, words.

    `pointer` is a JSON Pointer (RFC 6901) in URI fragment form. `numbers` holds what a person
    needs to put it right, by name.
    """

    kind: str
    detail: str
    pointer: str | None = None
    parameter: str | None = None
    numbers: dict[str, Any] = {}


class ProblemDocument(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A problem document (RFC 9457). Programs go by `type` and `errors[].kind`, not by words."""

    type: str
    title: str
    status: int
    detail: str | None = None
    instance: str | None = None
    request_id: str | None = None
    errors: list[Mistake] = []


class Problem(Exception):
    """An answer that is a problem document. `members` become members beside the standard ones."""

    def __init__(
        self,
        slug: str,
        detail: str,
        *,
        errors: list[Mistake] | None = None,
        headers: dict[str, str] | None = None,
        **members: Any,
    ) -> None:
        super().__init__(detail)
        self.slug = slug
        self.detail = detail
        self.errors = errors or []
        self.headers = headers or {}
        self.members = members

    @property
    def status(self) -> int:
        return KINDS[self.slug].status

    def document(self, instance: str, request_id: str | None = None) -> dict[str, Any]:
        """The document's members, for the request at `instance`."""
        kind = KINDS[self.slug]
        document: dict[str, Any] = {
            "type": f"/problems/{self.slug}",
            "title": kind.title,
            "status": kind.status,
            "detail": self.detail,
            "instance": instance,
        }
        if request_id:
            document["request_id"] = request_id
        if self.errors:
            document["errors"] = self.errors
        document.update(self.members)
        return document


def mistake_of(fault: Fault, prefix: str = "") -> Mistake:
    """A fault of the log as a mistake; `prefix` such as `/3` is the event's place in an array."""
    return Mistake(
        kind=fault.kind,
        detail=fault.detail,
        pointer=f"#{prefix}{fault.pointer.removeprefix('#')}",
        numbers=fault.numbers,
    )


def not_found(what: str) -> Problem:
    return Problem("not-found", f"{what} is not known here.")


def unauthenticated(detail: str, *, error: str | None = None) -> Problem:
    challenge = 'Bearer realm="graftlog"' + (f', error="{error}"' if error else "")
    return Problem("unauthenticated", detail, headers={"WWW-Authenticate": challenge})


def lacks_scope(scope: str, errors: list[Mistake] | None = None) -> Problem:
    challenge = f'Bearer realm="graftlog", error="insufficient_scope", scope="{scope}"'
    return Problem(
        "insufficient-scope",
        f"The key lacks the scope {scope}.",
        errors=errors,
        headers={"WWW-Authenticate": challenge},
        scope=scope,
    )


_BY_STATUS = {
    400: ("malformed-request", "The request could not be read."),
    401: ("unauthenticated", "A key is needed."),
    404: ("not-found", "There is nothing at this address."),
    405: ("method-not-allowed", "This address does not answer to this method."),
    408: ("request-timeout", "The request did not arrive whole in time."),
    413: ("content-too-large", "The body is larger than what is read here."),
    415: ("unsupported-media-type", "The content is of a kind not read here."),
    422: ("validation-error", "The content has mistakes."),
    431: ("headers-too-large", "The headers are larger than what is read here."),
    503: ("not-ready", "The service can't answer now."),
}


def problem_of(error: Exception) -> Problem:
    """What any exception says to a client. The unforeseen becomes an internal error, no more."""
    if isinstance(error, Problem):
        return error
    if isinstance(error, HTTPException):
        slug, detail = _BY_STATUS.get(error.status_code, ("internal-error", ""))
        if slug == "internal-error" and 400 <= error.status_code < 500:
            slug, detail = "malformed-request", "The request could not be read."
        if slug != "internal-error":
            headers = {key: value for key, value in (error.headers or {}).items() if value}
            return Problem(slug, detail, headers={k.title(): v for k, v in headers.items()})
    return Problem("internal-error", "The service met something it was not prepared for.")


def encode_problem(problem: Problem, scope: Scope) -> bytes:
    """The document as it is sent, for the request of `scope`."""
    request_id = scope.get("state", {}).get("request_id")
    return msgspec.json.encode(problem.document(scope["path"], request_id))


def log_unforeseen(scope: Scope, error: Exception) -> None:
    """Tell the log of what nobody foresaw: the answer says nothing of it."""
    request_id = scope.get("state", {}).get("request_id")
    _log.error("unforeseen", path=shown_path(scope["path"]), request_id=request_id, exc_info=error)


def answer_problem(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """The exception handler for everything: logs what is the service's own fault, answers all."""
    problem = problem_of(error)
    scope = request.scope
    if problem.slug == "internal-error":
        log_unforeseen(scope, error)
    body = encode_problem(problem, scope)
    headers = {"Cache-Control": "no-store", **problem.headers}
    return Response(body, status_code=problem.status, media_type=PROBLEM_TYPE, headers=headers)


def bad_parameter(name: str, detail: str, kind: str = "bad_value") -> Problem:
    """A 422 problem about one query parameter."""
    return Problem(
        "validation-error",
        "A query parameter has a mistake.",
        errors=[Mistake(kind=kind, detail=detail, parameter=name)],
    )
