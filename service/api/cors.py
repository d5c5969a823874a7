"""What browsers are told about pages of other origins (the Fetch standard's CORS protocol).

By default nothing, so that no such page may read an answer. With GRAFTLOG_CORS_ORIGINS pages of the
origins listed there may ask with a key of their own: no cookies are known here, so no credentials
are allowed, and never every origin.
"""

from collections.abc import Collection

from litestar.types import Scope

Headers = list[tuple[bytes, bytes]]
# What a page may read beside the few that the Fetch standard lets through by itself.
EXPOSED = (
    "Accept-Post",
    "Allow",
    "Content-Disposition",
    "Deprecation",
    "ETag",
    "Graftlog-Position",
    "Idempotency-Replayed",
    "Link",
    "Location",
    "Preference-Applied",
    "RateLimit",
    "RateLimit-Policy",
    "Retry-After",
    "Sunset",
    "WWW-Authenticate",
    "X-Request-Id",
)
# What a page may send.
READ = (
    "Accept",
    "Authorization",
    "Content-Type",
    "Idempotency-Key",
    "If-Match",
    "If-None-Match",
    "Last-Event-ID",
    "Prefer",
    "Traceparent",
    "X-Request-Id",
)
# How long a browser need not ask again, in seconds.
_REMEMBERED = 600
_ASKED = (b"access-control-request-method", b"access-control-request-headers")


class Cors:
    """What to say to pages of `origins`; each is as browsers write it: scheme, host, port."""

    def __init__(self, origins: Collection[str]) -> None:
        self._origins = {origin.encode() for origin in origins}

    def headers(self, scope: Scope, answer: Headers) -> Headers:
        """What to add to an answer with these headers; nothing at all when no origin is listed."""
        if not self._origins:
            return []
        asked = dict(scope["headers"])
        preflight = scope["method"] == "OPTIONS" and _ASKED[0] in asked  # type: ignore[typeddict-item]
        # Whoever keeps the answer is told that it is another one for another page.
        said = [(b"vary", b", ".join((b"Origin", *(_ASKED if preflight else ()))))]
        origin = asked.get(b"origin")
        if origin is None or origin not in self._origins:
            return said
        said.append((b"access-control-allow-origin", origin))
        if not preflight:
            exposed = ", ".join(EXPOSED).encode()
            return [*said, (b"access-control-expose-headers", exposed)]
        return [
            *said,
            (b"access-control-allow-methods", dict(answer).get(b"allow", b"")),
            (b"access-control-allow-headers", ", ".join(READ).encode()),
            (b"access-control-max-age", b"%d" % _REMEMBERED),
        ]


NO_PAGES = Cors(())
