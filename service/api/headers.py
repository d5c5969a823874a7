"""Request headers with a grammar of their own: Idempotency-Key, Prefer, Content-Type."""

import re

from service.api.problems import Mistake, Problem

_IDEMPOTENCY = re.compile(r'(?P<quote>"?)(?P<key>[A-Za-z0-9._:-]{1,128})(?P=quote)')
_REQUEST_ID = re.compile(r"[A-Za-z0-9-]{1,64}")
_TRACE = re.compile(r"(?!ff)[0-9a-f]{2}-([0-9a-f]{32})-([0-9a-f]{16})-[0-9a-f]{2}(-.*)?")
_WAIT = re.compile(r'(?:^|[,\s])wait\s*=\s*"?(\d{1,4})"?\s*(?:[;,]|$)', re.IGNORECASE)
MAX_WAIT = 30
# What every answer says to browsers (OWASP REST Security Cheat Sheet, "Security headers"). TLS and
# with it HSTS are the proxy's. What pages of other origins may do is in cors.py.
CONTENT_POLICY = b"content-security-policy"
SECURITY = (
    (b"x-content-type-options", b"nosniff"),
    (CONTENT_POLICY, b"default-src 'none'; frame-ancestors 'none'"),
    (b"referrer-policy", b"no-referrer"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
)


def with_security(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """An answer's headers with those for browsers; a page's own content policy stands.

    What says nothing of being kept is not to be kept.
    """
    names = {name.lower() for name, _ in headers}
    added = [(name, value) for name, value in SECURITY if name not in names]
    if b"cache-control" not in names:
        added.append((b"cache-control", b"no-store"))
    return [*headers, *added]


def idempotency_key(value: str | None) -> str | None:
    """The key, with or without its quotes; both forms are the same key.

    The header is a Structured Field string (draft-ietf-httpapi-idempotency-key-header-07 section
    2.1), but most clients send it bare. Raises a 400 problem for anything else.
    """
    if value is None:
        return None
    match = _IDEMPOTENCY.fullmatch(value.strip())
    if match is None:
        detail = "It is 1 to 128 letters, digits, full stops, colons, hyphens or _, best in quotes."
        raise Problem(
            "malformed-request",
            "Idempotency-Key can't be read.",
            errors=[Mistake(kind="bad_value", detail=detail, parameter="Idempotency-Key")],
        )
    return match["key"]


def request_id(value: str | None) -> str | None:
    """A client's X-Request-Id if it is fit for a log, else None."""
    return value if value and _REQUEST_ID.fullmatch(value) else None


def trace_id(traceparent: str | None) -> str | None:
    """The trace that a request says it is part of (W3C Trace Context section 3.2), or None."""
    match = _TRACE.fullmatch(traceparent or "")
    if match is None or not int(match[1], 16) or not int(match[2], 16):
        return None
    # Version 00 ends with its flags.
    return None if match[3] and match[0].startswith("00") else match[1]


def wait_of(prefer: str | None) -> int:
    """Seconds that `Prefer: wait=N` is willing to wait, at most 30; 0 without (RFC 7240 4.3).

    A preference that makes no sense is no mistake: it is passed over (RFC 7240 section 2).
    """
    match = _WAIT.search(prefer or "")
    return min(int(match[1]), MAX_WAIT) if match else 0


def names_type(accept: str | None, kind: str) -> bool:
    """Whether Accept names this media type itself and wants it (RFC 9110 section 12.5.1)."""
    for part in (accept or "").split(","):
        if media_type(part) == kind:
            weight = re.search(r";\s*q\s*=\s*([0-9.]+)", part, re.IGNORECASE)
            return weight is None or re.fullmatch(r"0(\.0*)?", weight[1]) is None
    return False


def media_type(content_type: str | None) -> str:
    """The media type without its parameters, in lower case; empty without one."""
    return (content_type or "").partition(";")[0].strip().lower()


def check_content(
    sent: str | None, coding: str | None, accepts: tuple[str, ...], method: str
) -> None:
    """Raise 415 unless Content-Type is one that is read, and Content-Encoding is none."""
    given, listed = media_type(sent), ", ".join(accepts)
    # RFC 5789 section 3.1 for PATCH.
    names = {"POST": "Accept-Post", "PATCH": "Accept-Patch"}
    said = {names.get(method, "Accept"): listed}
    if given not in accepts:
        raise Problem(
            "unsupported-media-type",
            f"Content-Type is {given or 'missing'}; read here: {listed}.",
            headers=said,
        )
    if coding is not None and coding.strip().lower() != "identity":
        # RFC 9110, 15.5.16: else the bytes would be called no JSON.
        raise Problem(
            "unsupported-media-type",
            "The body is compressed (Content-Encoding); send it as it is.",
            headers=said | {"Accept-Encoding": "identity"},
        )
