"""What can be set from outside: environment variables that begin with ``GRAFTLOG_``, nothing else.

Every variable is one field of ``Settings``; its ``Variable`` (``variables.py``) holds the words for
the README. ``read_settings`` checks all of them at once, so that a person puts right all mistakes
in one go.
"""

import os
import sys
from collections.abc import Mapping
from email.headerregistry import Address
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit, urlunsplit

import msgspec

from service.mail_server import Server
from service.variables import MEBIBYTE, PREFIX, VARIABLES, Variable


class SettingsError(Exception):
    """One or more variables cannot be used; the message has a line for each."""


def default_data_dir(
    environ: Mapping[str, str], platform: str = sys.platform, *, root: bool | None = None
) -> Path:
    """The user's data folder by the platform's own convention.

    root gets ``/var/lib``: the database runs as an account without rights, which could not enter
    root's home. Sources: XDG Base Directory 0.8, Filesystem Hierarchy Standard 3.0 section 5.8.
    """
    home = Path(environ["HOME"]) if environ.get("HOME") else Path.home()
    if platform == "win32":
        base = Path(environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif root if root is not None else os.geteuid() == 0:
        base = Path("/var/lib")
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        named = environ.get("XDG_DATA_HOME", "")
        # The specification has relative paths ignored.
        base = Path(named) if named.startswith("/") else home / ".local" / "share"
    return base / "graftlog"


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """All settings of a running service. Sizes in bytes, times in seconds."""

    data_dir: Path
    host: str = "127.0.0.1"
    port: int = 8080
    public_url: str | None = None
    database_url: str | None = None
    database_password: str | None = None
    role_prefix: str = "graftlog"
    demo_key: str | None = None
    secrets_key: tuple[str, ...] | None = None
    webhook_targets: str = "public"
    mail_server: Server | None = None
    mail_from: Address | None = None
    log_level: str = "info"
    log_format: str = "json"
    writer_pool: int = 4
    reader_pool: int = 10
    query_timeout: int = 30
    body_limit: int = MEBIBYTE
    batch_body_limit: int = 8 * MEBIBYTE
    body_timeout: int = 60
    request_limit: int = 1000
    rate_limit: int = 60_000
    stream_limit: int = 100
    cors_origins: tuple[str, ...] = ()
    reservation_limit: int = 1000
    queue_limit: int = 20_000
    group_limit: int = 1024
    metrics_port: int | None = None
    promise_confidence: float = 0.8
    shortfall_risk: float = 0.2

    @property
    def base(self) -> str:
        """What absolute addresses of this service begin with; no stroke at its end."""
        return self.public_url or self.address

    @property
    def address(self) -> str:
        """Where this machine reaches the service."""
        host = "127.0.0.1" if self.host in ("0.0.0.0", "::", "*") else self.host
        return f"http://{f'[{host}]' if ':' in host else host}:{self.port}"

    def __repr__(self) -> str:
        shown = (f"{name}={masked(name, getattr(self, name))}" for name in self.__struct_fields__)
        return f"Settings({', '.join(shown)})"


_SECRETS = frozenset(variable.field for variable in VARIABLES if variable.secret)


def masked(field: str, value: object) -> str:
    """``value`` fit for a log or a message: passwords and keys are left out."""
    if value is None or field not in _SECRETS:
        return repr(str(value)) if isinstance(value, str | Path | Address) else repr(value)
    if field != "database_url":
        return "(secret)"
    return repr(masked_url(str(value)))


def masked_url(url: str) -> str:
    """``url`` with ``***`` for its password; ``(secret)`` where it cannot be taken apart."""
    try:
        parts = urlsplit(url)
        # A password may also stand in the query (libpq allows it), so the query goes as a whole.
        query = "***" if "password" in parts.query else parts.query
        where = parts.netloc.rpartition("@")
        user, colon, _ = where[0].partition(":")
        netloc = f"{user}{colon}{'***' if colon else ''}{where[1]}{where[2]}"
        _ = parts.port  # ValueError when a password with a / in it was taken for a port
        if not parts.scheme or not (parts.netloc or parts.query) or "@" in parts.path:
            return "(secret)"
        return urlunsplit((parts.scheme, netloc, parts.path, query, ""))
    except ValueError:
        return "(secret)"


def read_settings(environ: Mapping[str, str] | None = None) -> Settings:
    """The settings in ``environ`` (default: the process's environment).

    An empty variable counts as not set. Raises ``SettingsError`` with one line per mistake: the
    variable, its value (secrets masked) and what is expected; a name with our prefix that means
    nothing is a mistake too, for it is most often a misspelling.
    """
    given = os.environ if environ is None else environ
    values: dict[str, Any] = {}
    mistakes: list[str] = []
    for variable in VARIABLES:
        text, mistake = _given(variable, given)
        if mistake:
            mistakes.append(mistake)
        if not text:
            continue
        try:
            values[variable.field] = variable.read(text)
        except ValueError:
            shown = masked(variable.field, text)
            mistakes.append(f"{variable.name}={shown} cannot be used: give {variable.expected}")
    mistakes += _unknown(given)
    if mistakes:
        raise SettingsError("\n".join(mistakes))
    if "data_dir" not in values:
        values["data_dir"] = default_data_dir(given)
    if "database_password" in values:
        values["database_url"] = _with_password(
            values.get("database_url", ""), values["database_password"]
        )
    settings = Settings(**values)
    if settings.mail_server and not (settings.mail_from and settings.secrets_key):
        raise SettingsError(
            "GRAFTLOG_MAIL_SERVER needs GRAFTLOG_MAIL_FROM and GRAFTLOG_SECRETS_KEY beside it"
        )
    if settings.batch_body_limit < settings.body_limit:
        raise SettingsError(
            f"GRAFTLOG_BATCH_BODY_LIMIT={settings.batch_body_limit} cannot be used: "
            f"give at least GRAFTLOG_BODY_LIMIT ({settings.body_limit})"
        )
    return settings


def _given(variable: Variable, environ: Mapping[str, str]) -> tuple[str, str | None]:
    """What a variable, or the file that stands for it, holds; and what is wrong with the file."""
    texts = {name: environ[name] for name in variable.names if environ.get(name)}
    if len(texts) > 1:
        return "", f"{' and '.join(texts)} say the same thing: give one of them"
    for name, text in texts.items():
        if name == variable.name:
            return text, None
        try:
            held = Path(text).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, ValueError) as error:
            return "", f"{name}={text!r} cannot be read: {getattr(error, 'strerror', 'not UTF-8')}"
        return held, None if held else f"{name}={text!r} is empty: give {variable.expected}"
    return "", None


def _with_password(url: str, password: str) -> str:
    """``url`` with the password in it. Raises ``SettingsError`` where it does not belong."""
    parts = urlsplit(url)
    if not parts.username or parts.password is not None:
        raise SettingsError(
            "GRAFTLOG_DATABASE_PASSWORD needs a GRAFTLOG_DATABASE_URL that names a user and has no "
            f"password of its own; it is {masked_url(url) if url else 'not set'}"
        )
    user, _, where = parts.netloc.rpartition("@")
    return urlunsplit(parts._replace(netloc=f"{user}:{quote(password, safe='')}@{where}"))


def _unknown(environ: Mapping[str, str]) -> list[str]:
    known = {name for variable in VARIABLES for name in variable.names}
    # GRAFTLOG_TEST_ and GRAFTLOG_BENCH_ belong to the test runner and the measurements.
    other = tuple(PREFIX + word for word in ("TEST_", "BENCH_"))
    return [
        f"{name} is not a setting; there are: {', '.join(sorted(known))}"
        for name in sorted(environ)
        if name.startswith(PREFIX) and name not in known and not name.startswith(other)
    ]


def describe() -> list[tuple[str, str, str, str]]:
    """The README's table: (variable, default, expected, meaning), in the order of ``VARIABLES``."""
    defaults = {
        field.name: field.default
        for field in msgspec.structs.fields(Settings)
        if field.default is not msgspec.NODEFAULT
    }
    rows = []
    for variable in VARIABLES:
        if variable.field == "data_dir":
            default = "the user's data folder (root: /var/lib/graftlog)"
        else:
            value = defaults[variable.field]
            default = "(none)" if value in (None, ()) else str(value)
        rows.append((variable.name, default, variable.expected, variable.meaning))
    return rows


def describe_markdown() -> str:
    """``describe()`` as a Markdown table, as it stands in the README."""
    lines = ["| variable | default | expected | meaning |", "|---|---|---|---|"]
    lines += [f"| `{name}` | {value} | {want} | {what} |" for name, value, want, what in describe()]
    return "\n".join(lines) + "\n"
