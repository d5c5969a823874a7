"""Cookies of the pages: never read by script, never sent from other sites' forms.

Over https their names begin with `__Host-` (RFC 6265bis 4.1.3.2): no other host and no plain
connection can set them.
"""

from urllib.parse import quote, unquote

from litestar.types import Scope

from service.api.operation import header
from service.settings import Settings

# Who is signed in on this device.
SEAT = "graftlog_seat"
# The site looked at last.
SITE = "graftlog_site"
# What is to be said once, on the next page.
SAID = "graftlog_said"


def _name(settings: Settings, name: str) -> str:
    return f"__Host-{name}" if settings.base.startswith("https:") else name


def read(scope: Scope, settings: Settings, name: str) -> str | None:
    """A cookie's value; None when it was not sent, or is empty."""
    wanted = _name(settings, name)
    for part in (header(scope, b"cookie") or "").split(";"):
        key, _, value = part.strip().partition("=")
        if key == wanted:
            return unquote(value, errors="replace") or None
    return None


def setting(settings: Settings, name: str, value: str, seconds: int | None = None) -> str:
    """The Set-Cookie header that keeps a value; `seconds` None: until the browser is closed."""
    parts = [f"{_name(settings, name)}={quote(value, safe='')}", "Path=/", "HttpOnly"]
    parts.append("SameSite=Lax")
    if settings.base.startswith("https:"):
        parts.append("Secure")
    if seconds is not None:
        parts.append(f"Max-Age={seconds}")
    return "; ".join(parts)


def forgetting(settings: Settings, name: str) -> str:
    """The Set-Cookie header that takes a cookie away."""
    return setting(settings, name, "", 0)
