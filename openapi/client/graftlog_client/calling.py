"""How a request is sent, tried again, and its answer read."""

import asyncio
import random
import uuid
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from email.utils import parsedate_to_datetime
from typing import Any, Generic, Self, TypeVar
from urllib.parse import quote

import httpx
import msgspec

from graftlog_client.problem import NotChanged, Problem
from graftlog_client.problem_kinds import KINDS

T_co = TypeVar("T_co", covariant=True)
IDEMPOTENCY = "Idempotency-Key"
# The service, or what stands before it, is busy or away for a while.
PASSING = {429, 502, 503, 504}
# Nothing has reached the service: the request can be sent again, whatever it asks.
UNSENT = (httpx.ConnectError, httpx.ConnectTimeout, httpx.PoolTimeout)
FIRST_WAIT, LONGEST_WAIT = 0.2, 30.0


@dataclass(frozen=True)
class Answer(Generic[T_co]):
    """What was answered: the body, and what the headers say of it."""

    status: int
    headers: httpx.Headers
    _body: T_co | None

    @property
    def body(self) -> T_co:
        """The body; raises NotChanged where the service said that the caller has it already."""
        if not self.changed:
            raise NotChanged("304: what you have is still so")
        return self._body  # type: ignore[return-value]  # None only where T_co is

    @property
    def changed(self) -> bool:
        """False: what was asked for with `if_none_match` is still the same."""
        return self.status != httpx.codes.NOT_MODIFIED

    @property
    def etag(self) -> str | None:
        """Send it as `if_match` to change this very version, as `if_none_match` to poll."""
        told: str | None = self.headers.get("etag")
        return told

    @property
    def replayed(self) -> bool:
        """True: an earlier try had reached the service, and this is the answer to that one."""
        return bool(self.headers.get("idempotency-replayed") == "true")


class Caller:
    """A connection to one service with one key. Close it, or use it with `async with`.

    `tries`: how often a request is sent at most; `sleep` waits between two tries. `timeout`:
    seconds of silence, more than the 30 of `Prefer: wait`. A request that changes
    something is sent again only if that is safe: nothing of it arrived, or the service knows it by
    its idempotency key, which all tries share.
    """

    def __init__(
        self,
        base_url: str,
        key: str,
        *,
        tries: int = 5,
        timeout: float = 45.0,
        transport: httpx.AsyncBaseTransport | None = None,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self._http = httpx.AsyncClient(
            base_url=base_url,
            headers={"Authorization": f"Bearer {key}"},
            timeout=timeout,
            transport=transport,
            follow_redirects=False,  # a key goes to the service it was given for, nowhere else
        )
        self._tries, self._timeout, self._sleep = tries, timeout, sleep

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.close()

    async def close(self) -> None:
        """Close all connections."""
        await self._http.aclose()

    async def _call(
        self,
        method: str,
        path: str,
        answer: Any,
        *,
        body: Any = None,
        media: str = "",
        query: Mapping[str, Any] = {},
        headers: Mapping[str, Any] = {},
    ) -> Answer[Any]:
        """Send a request and read its answer as `answer`.

        None: it has none; str: as text; bytes: as it is.
        """
        sent = {name: _word(value) for name, value in headers.items() if value is not None}
        if IDEMPOTENCY in headers:
            sent.setdefault(IDEMPOTENCY, str(uuid.uuid4()))
        if answer not in (None, str):
            sent.setdefault("Accept", "application/json")
        content, kind = _content(body, media)
        if kind:
            sent["Content-Type"] = kind
        request = self._http.build_request(
            method, path, params=query_of(query), headers=sent, content=content
        )
        response = await self._sent(request)
        return Answer(response.status_code, response.headers, _read(response, answer))

    async def _sent(self, request: httpx.Request) -> httpx.Response:
        """The answer to a request, tried again where that is safe; raises a Problem."""
        keyed = IDEMPOTENCY in request.headers
        safe = keyed or request.method in ("GET", "HEAD")
        for n in range(1, self._tries + 1):
            last = n == self._tries
            try:
                response = await self._http.send(request)
            except httpx.TransportError as error:
                if last or not (safe or isinstance(error, UNSENT)):
                    raise
                await self._sleep(_pause(n))
                continue
            if response.status_code < 400 and not response.has_redirect_location:
                return response
            problem = problem_of(response)
            if last or not _will_pass(problem, safe, tried=n > 1 and keyed):
                raise problem
            await self._sleep(pause_for(problem.headers, n))
        raise AssertionError("the last try returns or raises")

    @asynccontextmanager
    async def _opened(self, request: httpx.Request) -> AsyncIterator[httpx.Response]:
        """An answer that goes on; raises a Problem where there is none. Not tried again."""
        response = await self._http.send(request, stream=True)
        try:
            if response.status_code != httpx.codes.OK:
                await response.aread()
                raise problem_of(response)
            yield response
        finally:
            await response.aclose()


def problem_of(response: httpx.Response) -> Problem:
    """The exception for an answer that is a problem."""
    problem = Problem(response)
    known = KINDS.get(problem.kind)
    return known(response) if known else problem


def part(value: str) -> str:
    """A part of an address: whatever it holds, it stays one part."""
    return quote(value, safe="")


def pause_for(headers: httpx.Headers, tried: int) -> float:
    """Seconds to wait after try number `tried`: as the service says, else as long as is usual."""
    told = headers.get("retry-after", "").strip()
    if told.isdecimal():
        return min(float(told), LONGEST_WAIT)
    try:
        until = parsedate_to_datetime(told) - datetime.now(UTC)
    except (TypeError, ValueError, OverflowError):
        return _pause(tried)
    return min(max(until.total_seconds(), 0.0), LONGEST_WAIT)


def _pause(tried: int) -> float:
    """Twice as long each time; for each client another time, so that they do not come at once."""
    return random.uniform(0.5, 1.0) * min(FIRST_WAIT * 2.0 ** (tried - 1), LONGEST_WAIT)


def _will_pass(problem: Problem, safe: bool, *, tried: bool) -> bool:
    """Is it worth another try? A quota says no before anything is done; others may have begun."""
    if problem.kind == "idempotency-key-in-flight":
        return tried  # by the try before, whose answer was lost
    return problem.status in PASSING and (safe or problem.status == httpx.codes.TOO_MANY_REQUESTS)


def _content(body: Any, media: str) -> tuple[bytes | None, str]:
    """The bytes and the media type of a body. `media`: that of structs, then that of text."""
    if not media:
        return None, ""
    kinds = media.split()
    if isinstance(body, str | bytes):
        return body.encode() if isinstance(body, str) else body, kinds[-1]
    return msgspec.json.encode(body), kinds[0]


def query_of(query: Mapping[str, Any]) -> dict[str, str] | None:
    """Parameters that have a value. None, not an empty one, leaves those of an address alone."""
    return {name: _word(value) for name, value in query.items() if value is not None} or None


def _word(value: Any) -> str:
    """A value as it stands in an address or a header."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return ",".join(map(_word, value))
    return str(value)


def _read(response: httpx.Response, answer: Any) -> Any:
    if response.status_code == httpx.codes.NOT_MODIFIED or answer is None:
        return None
    if answer is bytes:
        return response.content
    if answer is str:
        return response.text
    return msgspec.json.decode(response.content, type=answer)
