"""The outermost layer: request ids, log lines, limits, and headers for all answers."""

import asyncio
from secrets import token_hex
from time import perf_counter
from typing import Any

import structlog
from litestar import Litestar
from litestar.types import Message, Receive, Scope, Send

from service.api.cors import NO_PAGES, Cors
from service.api.headers import request_id, trace_id, with_security
from service.api.logs import shown_path
from service.api.operation import Sent, header
from service.api.problems import PROBLEM_TYPE, Problem, encode_problem
from service.api.repeated import kept_answer
from service.measures import REQUESTS

_log = structlog.get_logger("service.access")
ADDRESS_BYTES = 8192
HEADERS_BYTES = 32_768


class Application(Litestar):
    """Litestar, with what must hold for every answer, those to unknown addresses included."""

    __slots__ = ("_at_hand", "body_seconds", "cors", "most_at_once")

    def __init__(
        self,
        *args: Any,
        body_seconds: int = 60,
        most_at_once: int = 1000,
        cors: Cors = NO_PAGES,
        **rest: Any,
    ) -> None:
        super().__init__(*args, **rest)
        self.cors = cors
        self.body_seconds, self.most_at_once = body_seconds, most_at_once
        self._at_hand = 0

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
        answered: float | None = None

        async def send_with_headers(message: Message) -> None:
            nonlocal status, answered
            if message["type"] == "http.response.start":
                status = message["status"]
                answered = perf_counter() if "streamed" in scope["state"] else None
                given = list(message["headers"])
                message["headers"] = [
                    # Who has the answer already has these with it (RFC 9110, 15.4.5).
                    *(given if status == 304 else with_security(given)),
                    *self.cors.headers(scope, given),
                    (b"x-request-id", wanted.encode()),
                    *scope["state"].get("allowance", ()),
                    *scope["state"].get("notice", ()),
                ]
            await send(message)

        self._at_hand += 1
        try:
            over = self._beyond_limits(scope)
            if over is not None:
                await _answer(over, scope, receive, send_with_headers)
            else:
                kept = await kept_answer(scope, self.state)
                if kept is not None:
                    await kept(scope, receive, send_with_headers)
                else:
                    in_time = scope["state"]["in_time"] = InTime(receive, self.body_seconds)
                    await super().__call__(scope, in_time, send_with_headers)
        finally:
            self._at_hand -= 1
            seconds = perf_counter() - begun
            route = scope.get("path_template")
            # How long a stream stayed open says nothing of how fast it was answered.
            took = seconds if answered is None else answered - begun
            REQUESTS.count(scope["method"], route, status, took)  # type: ignore[typeddict-item]
            if _log.is_enabled_for(20):
                _log.info(
                    "request",
                    method=scope["method"],  # type: ignore[typeddict-item]
                    path=shown_path(scope["path"]),
                    route=route,
                    status=status,
                    milliseconds=round(seconds * 1000, 2),
                    request_id=wanted,
                    trace_id=trace_id(header(scope, b"traceparent")),
                    principal=scope["state"].get("principal"),
                )

    def _beyond_limits(self, scope: Scope) -> Problem | None:
        """What is wrong with a request before anybody looks at what it asks."""
        if len(scope["raw_path"]) + len(scope["query_string"]) > ADDRESS_BYTES:
            words = f"An address has at most {ADDRESS_BYTES} bytes."
            return Problem("address-too-long", words, limit=ADDRESS_BYTES)
        if sum(len(name) + len(value) for name, value in scope["headers"]) > HEADERS_BYTES:
            words = f"Headers have at most {HEADERS_BYTES} bytes in all."
            return Problem("headers-too-large", words, limit=HEADERS_BYTES)
        # Whether the process is alive is asked above all when there is much to do.
        if self._at_hand > self.most_at_once and scope["path"] not in ("/livez", "/readyz"):
            words = f"{self.most_at_once} requests are being answered already."
            return Problem("overloaded", words, headers={"Retry-After": "1"})
        return None


class InTime:
    """`receive` that gives up when a request's body has not come in `seconds`."""

    __slots__ = ("_end", "_receive", "_seconds", "_whole")

    def __init__(self, receive: Receive, seconds: float) -> None:
        self._receive, self._seconds, self._whole = receive, seconds, False
        self.renew()

    def renew(self) -> None:
        """Give the rest of the body as much time again: for one that is worked on as it comes."""
        self._end = asyncio.get_running_loop().time() + self._seconds

    async def __call__(self) -> Any:
        # After the body comes nothing but word that the asker went away, whenever that is.
        if self._whole:
            return await self._receive()
        try:
            async with asyncio.timeout_at(self._end):
                message = await self._receive()
        except TimeoutError as error:
            raise Problem(
                "request-timeout",
                "The body did not come in time.",
                headers={"Connection": "close"},
            ) from error
        self._whole = not message.get("more_body", False)
        return message


async def _answer(problem: Problem, scope: Scope, receive: Receive, send: Send) -> None:
    body = encode_problem(problem, scope)
    headers = [(key.lower().encode(), value.encode()) for key, value in problem.headers.items()]
    headers += [
        (b"content-type", PROBLEM_TYPE.encode()),
        (b"content-length", str(len(body)).encode()),
    ]
    await Sent(problem.status, headers, body)(scope, receive, send)
