"""An exception for each kind of problem. Written by `make client`: do not edit."""

from graftlog_client.problem import Problem


class MalformedRequest(Problem):
    """The request could not be read. The body is not JSON (or NDJSON, or CSV) or a header has
    no meaning. Nothing was stored.
    """


class Unauthenticated(Problem):
    """A valid key is needed. Send the header Authorization: Bearer and your key. Keys can
    expire or be revoked.
    """


class InsufficientScope(Problem):
    """The key does not allow this. The key is valid but lacks the scope named in `scope`. Ask
    whoever gave it to you.
    """


class SignedOut(Problem):
    """Problem type `signed-out`."""


class Forged(Problem):
    """Problem type `forged`."""


class NotFound(Problem):
    """Nothing of that name is here. There is no such thing, or it belongs to a site that the
    key does not see.
    """


class MethodNotAllowed(Problem):
    """Problem type `method-not-allowed`."""


class RequestTimeout(Problem):
    """The request took too long to arrive. Send it again."""


class Refused(Problem):
    """The log refused it. Nothing was stored. Each entry of `errors` names the rule and the
    numbers to put right; a fact that breaks a rule and has happened all the same is sent
    again with `happened: true`.
    """


class AlreadyPutRight(Problem):
    """It is not open any more. Somebody has put it right or discarded it meanwhile; `state`
    says which. Read it again.
    """


class IdempotencyKeyInFlight(Problem):
    """Problem type `idempotency-key-in-flight`."""


class PreconditionFailed(Problem):
    """It was changed since you read it. Read it again, look at what changed, and send your
    change with the new ETag.
    """


class ContentTooLarge(Problem):
    """The request is too large. Send less at a time; `limit` says how much will do."""


class AddressTooLong(Problem):
    """The address is too long. Ask with fewer or shorter parameters."""


class UnsupportedMediaType(Problem):
    """The content is of a kind not read here. The header Accept-Post lists what is read."""


class ValidationError(Problem):
    """The content has mistakes. Each entry of `errors` names a place in what was sent and what
    is wrong there. Nothing was stored.
    """


class IdempotencyKeyReused(Problem):
    """Problem type `idempotency-key-reused`."""


class PreconditionRequired(Problem):
    """Say which version you are changing. Read the entry and send its ETag in If-Match, so that
    nobody's change is lost.
    """


class QuotaExceeded(Problem):
    """Too much was asked in a short time. Send it again after Retry-After. RateLimit says how
    much is left, RateLimit-Policy how much there is.
    """


class HeadersTooLarge(Problem):
    """The headers are too large. Send fewer or shorter headers."""


class InternalError(Problem):
    """Something went wrong in the service. It is not your request's fault. The request id leads
    to it in the service's log.
    """


class Overloaded(Problem):
    """Problem type `overloaded`."""


class Busy(Problem):
    """Problem type `busy`."""


class OutcomeUnknown(Problem):
    """Problem type `outcome-unknown`."""


class NotReady(Problem):
    """Problem type `not-ready`."""


KINDS: dict[str, type[Problem]] = {
    "malformed-request": MalformedRequest,
    "unauthenticated": Unauthenticated,
    "insufficient-scope": InsufficientScope,
    "signed-out": SignedOut,
    "forged": Forged,
    "not-found": NotFound,
    "method-not-allowed": MethodNotAllowed,
    "request-timeout": RequestTimeout,
    "refused": Refused,
    "already-put-right": AlreadyPutRight,
    "idempotency-key-in-flight": IdempotencyKeyInFlight,
    "precondition-failed": PreconditionFailed,
    "content-too-large": ContentTooLarge,
    "address-too-long": AddressTooLong,
    "unsupported-media-type": UnsupportedMediaType,
    "validation-error": ValidationError,
    "idempotency-key-reused": IdempotencyKeyReused,
    "precondition-required": PreconditionRequired,
    "quota-exceeded": QuotaExceeded,
    "headers-too-large": HeadersTooLarge,
    "internal-error": InternalError,
    "overloaded": Overloaded,
    "busy": Busy,
    "outcome-unknown": OutcomeUnknown,
    "not-ready": NotReady,
}
