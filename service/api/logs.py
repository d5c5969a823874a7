"""Structured logs: one JSON line an occurrence, on standard error. No secret is handed to it."""

import logging
import re
import sys
from typing import Any

import msgspec
import structlog
from structlog.typing import Processor

# Longer than any code: what may be a key that somebody put into an address. UUIDs are no secrets.
_LONG = re.compile(
    r"(?![0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}(?:/|$))(?<=/)[A-Za-z0-9_-]{32,}", re.IGNORECASE
)
_LEVELS = {"debug": 10, "info": 20, "warning": 30, "error": 40}


def shown_path(path: str) -> str:
    """A request's path fit for a log: a key that strayed into it is left out."""
    return _LONG.sub("(long)", path)


def _json(event: Any, **_: Any) -> str:
    return msgspec.json.encode(event, enc_hook=repr).decode()


def configure(level: str = "info", form: str = "json") -> None:
    """Send this process's logs, those of libraries included, to standard error."""
    shared: list[Processor] = [
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True, key="at"),
    ]
    last: list[Processor]
    if form == "json":
        last = [
            structlog.processors.ExceptionRenderer(
                # Local variables can hold keys and passwords.
                structlog.tracebacks.ExceptionDictTransformer(show_locals=False)
            ),
            structlog.processors.JSONRenderer(serializer=_json),
        ]
    else:
        last = [
            structlog.dev.ConsoleRenderer(
                colors=sys.stderr.isatty(), exception_formatter=structlog.dev.plain_traceback
            )
        ]
    structlog.configure(
        processors=[*shared, *last],
        wrapper_class=structlog.make_filtering_bound_logger(_LEVELS[level]),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=True,
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, *last],
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    # Libraries speak up when something is wrong, not about each step of theirs.
    root.setLevel(max(_LEVELS[level], logging.WARNING))
