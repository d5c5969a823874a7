"""One attempt to bring a message to its receiver, and what became of it."""

import asyncio
import ssl
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from time import perf_counter
from typing import Literal, NamedTuple

import httpcore
import httpx

from service import __version__
from service.webhooks.guard import Guard, GuardedBackend, LookUp, Refused, look_up

Outcome = Literal["arrived", "refused", "answered", "timeout", "unreachable", "cut_off"]
# A receiver has this long to answer: it should take the message and think later.
SECONDS = 15.0
# More is not read of an answer; what it says does not matter.
ANSWER_BYTES = 64 * 1024
# An idle connection is kept for the next message.
_KEPT_SECONDS = 30.0


class Sent(NamedTuple):
    """What became of one attempt.

    `answered` is a status other than 2xx (a redirect too: none is followed); `refused`: nothing
    was sent, since the address is none for messages; `cut_off`: the answer broke off.
    """

    outcome: Outcome
    milliseconds: int
    status: int | None = None
    detail: str | None = None
    retry_after: timedelta | None = None

    @property
    def arrived(self) -> bool:
        return self.outcome == "arrived"

    @property
    def gone(self) -> bool:
        """The receiver wants no more (RFC 9110, 15.5.11)."""
        return self.status == 410


class Sender:
    """Sends what is to be sent, each webhook over a line of its own."""

    def __init__(
        self,
        guard: Guard,
        *,
        look_up: LookUp = look_up,
        trusted: ssl.SSLContext | None = None,
        seconds: float = SECONDS,
    ) -> None:
        self.guard, self.seconds = guard, seconds
        self._backend = GuardedBackend(guard, look_up)
        self._trusted = trusted or httpx.create_ssl_context()

    def line(self) -> "Line":
        """A line to one receiver; `close` it at the end."""
        return Line(self.guard, self._backend, self._trusted, self.seconds)


class Line:
    """A connection to one receiver, kept for a while for the next message.

    Not one pool for all: a pool looks at each of its connections at each message.
    """

    def __init__(
        self, guard: Guard, backend: GuardedBackend, trusted: ssl.SSLContext, seconds: float
    ) -> None:
        self.guard, self.seconds = guard, seconds
        self._pool = httpcore.AsyncConnectionPool(
            ssl_context=trusted,
            max_connections=1,
            keepalive_expiry=_KEPT_SECONDS,
            network_backend=backend,
        )

    async def close(self) -> None:
        """Close the connection."""
        await self._pool.aclose()

    async def send(self, url: str, headers: Sequence[tuple[str, str]], body: bytes) -> Sent:
        """One attempt. Never raises for what the other side does."""
        begin = perf_counter()

        def ended(outcome: Outcome, **more: object) -> Sent:
            return Sent(outcome, round(1000 * (perf_counter() - begin)), **more)  # type: ignore[arg-type]

        try:
            # Judged each time: what was let through under other settings is not for ever.
            self.guard.check_url(url)
            async with asyncio.timeout(self.seconds):
                status, retry_after = await self._post(url, headers, body)
        except Refused as error:
            return ended("refused", detail=str(error))
        except (TimeoutError, httpcore.TimeoutException):
            return ended("timeout", detail=f"No whole answer within {self.seconds:g} s.")
        except (httpcore.ReadError, httpcore.RemoteProtocolError) as error:
            return ended("cut_off", detail=_words(error))
        except (httpcore.NetworkError, httpcore.ProtocolError, OSError, ssl.SSLError) as error:
            return ended("unreachable", detail=_words(error))
        if 200 <= status < 300:
            return ended("arrived", status=status)
        return ended("answered", status=status, retry_after=retry_after)

    async def _post(
        self, url: str, headers: Sequence[tuple[str, str]], body: bytes
    ) -> tuple[int, timedelta | None]:
        said = [
            ("content-type", "application/cloudevents+json; charset=utf-8"),
            ("user-agent", f"graftlog/{__version__}"),
            ("accept-encoding", "identity"),
            *headers,
        ]
        async with self._pool.stream("POST", url, headers=said, content=body) as answer:
            read = 0
            async for part in answer.aiter_stream():
                read += len(part)
                if read > ANSWER_BYTES:
                    break
            return answer.status, asked_to_wait(answer.headers, datetime.now(UTC))


def asked_to_wait(headers: Sequence[tuple[bytes, bytes]], now: datetime) -> timedelta | None:
    """Retry-After in either of its two forms (RFC 9110, 10.2.3); None where it says nothing."""
    for name, value in headers:
        if name.lower() != b"retry-after":
            continue
        text = value.decode("latin-1").strip()
        if text.isascii() and text.isdecimal():
            return timedelta(seconds=int(text[:9]))
        try:
            at = parsedate_to_datetime(text)
        except (ValueError, OverflowError):
            return None
        at = at if at.tzinfo is not None else at.replace(tzinfo=UTC)
        return max(timedelta(0), at - now)
    return None


def _words(error: Exception) -> str:
    return (str(error) or type(error).__name__).replace("\x00", "")[:300]
