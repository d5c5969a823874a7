"""Named SQL statements, kept in ``.sql`` files beside the module that owns them.

A file looks like this::

    -- name: head_position
    -- The newest position in the log; 0 before the first event.
    SELECT position FROM log_head;

    -- name: lock_log
    SELECT pg_advisory_xact_lock($1);

and a module takes its statements when it is imported::

    SQL = load(__package__, "append.sql")
    await connection.fetchval(SQL.head_position)
"""

import re
from collections.abc import Iterator, Mapping
from importlib.resources import files
from types import MappingProxyType

_NAME_LINE = re.compile(r"^--\s*name\s*:\s*(?P<name>.*?)\s*$")
_IDENTIFIER = re.compile(r"[a-z][a-z0-9_]*")


class SqlFileError(Exception):
    """A ``.sql`` file cannot be read as a list of named statements."""


class Queries:
    """The statements of one file, each an attribute that holds its text.

    Iterating gives the names. A name that the file lacks raises ``AttributeError`` and lists
    those it has.
    """

    def __init__(self, origin: str, statements: Mapping[str, str]) -> None:
        self._origin = origin
        self._statements = MappingProxyType(dict(statements))

    def __getattr__(self, name: str) -> str:
        # Reached only for names that are no ordinary attribute. Underscored names are asked for
        # by copy before __init__ has run, so they must not touch _statements.
        if name.startswith("_"):
            raise AttributeError(name)
        try:
            return self._statements[name]
        except KeyError:
            known = ", ".join(self._statements)
            raise AttributeError(f"{self._origin} has no query {name!r}; it has: {known}") from None

    def __iter__(self) -> Iterator[str]:
        return iter(self._statements)

    def __len__(self) -> int:
        return len(self._statements)

    def __repr__(self) -> str:
        return f"Queries({self._origin!r}: {', '.join(self._statements)})"


def load(package: str | None, filename: str) -> Queries:
    """Read ``filename`` from ``package`` (pass ``__package__``) into its named statements.

    Raises ``SqlFileError`` when a name is given twice or is not an identifier, when a name has no
    statement, or when SQL stands before the first name; ``FileNotFoundError`` without the file.
    """
    if not package:
        raise SqlFileError(f"{filename}: no package given; pass __package__")
    text = files(package).joinpath(filename).read_text(encoding="utf-8")
    return parse(f"{package}/{filename}", text)


def parse(origin: str, text: str) -> Queries:
    """Split ``text`` into named statements; ``origin`` names it in messages. See ``load``."""
    statements: dict[str, str] = {}
    name: str | None = None
    lines: list[str] = []

    def close() -> None:
        body = "\n".join(lines).strip().rstrip(";").rstrip()
        has_sql = any(line.strip() and not line.lstrip().startswith("--") for line in lines)
        if name is None:
            if has_sql:
                raise SqlFileError(f"{origin}: SQL before the first '-- name:' line")
            return
        if not has_sql:
            raise SqlFileError(f"{origin}: query {name!r} has no statement")
        # The name goes along as a comment, so that pg_stat_activity and logs show it.
        statements[name] = f"-- {name}\n{body}"

    for line in text.splitlines():
        match = _NAME_LINE.match(line)
        if match is None:
            lines.append(line)
            continue
        close()
        name, lines = match["name"], []
        if not _IDENTIFIER.fullmatch(name) or hasattr(Queries, name):
            raise SqlFileError(f"{origin}: {name!r} is not a usable query name (snake_case)")
        if name in statements:
            raise SqlFileError(f"{origin}: query {name!r} is given twice")
    close()
    if not statements:
        raise SqlFileError(f"{origin}: no '-- name:' line in it")
    return Queries(origin, statements)
