"""The outermost layer: request ids, a log line for each request, and headers for all answers."""

from secrets import token_hex
from time import perf_counter
from typing import Any

import structlog
from litestar import Litestar
from litestar.types import Message, Receive, Scope, Send

from service.api.headers import request_id
from service.api.operation import header
from service.measures import count_request

_log = structlog.get_logger("service.access")


class Application(Litestar):
    """Litestar, with what must hold for every answer, those to unknown addresses included."""

    __slots__ = ()

    async def __call__(self, scope: Any, receive: Receive, send: Send) -> None:  # type: ignore[override]
        if scope["type"] != "http":
            await super().__call__(scope, receive, send)
            return
        await self._http(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        begun = perf_counter()
        wanted = request_id(header(scope, b"x-request-id")) or token_hex(8)
        scope["state"] = {"request_id": wanted}
        status = 0

        async def send_with_headers(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                message["headers"] = [
                    *message["headers"],
                    (b"x-request-id", wanted.encode()),
                    (b"x-content-type-options", b"nosniff"),
                ]
            await send(message)

        try:
            await super().__call__(scope, receive, send_with_headers)
        finally:
            seconds = perf_counter() - begun
            route = scope.get("path_template")
            count_request(scope["method"], route, status, seconds)  # type: ignore[typeddict-item]
            if _log.is_enabled_for(20):
                _log.info(
                    "request",
                    method=scope["method"],  # type: ignore[typeddict-item]
                    path=scope["path"],
                    status=status,
                    milliseconds=round(seconds * 1000, 2),
                    request_id=wanted,
                    principal=scope["state"].get("principal"),
                )
