"""The mail server: giving it mails, one after the other, over one connection."""

import re
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from email.headerregistry import Address
from email.message import EmailMessage
from enum import Enum
from typing import NamedTuple

import aiosmtplib

from service.mail_server import Server

_SECONDS = 20.0


class Outcome(Enum):
    """What became of one mail."""

    SENT = "sent"
    REFUSED = "refused"
    """For good: this mail would be refused again."""
    NOT_THERE = "not_there"
    """For good: no mail to this address is taken."""
    LATER = "later"
    """Not now: this mail is to be tried again."""


class Result(NamedTuple):
    """The outcome, with what the server said."""

    outcome: Outcome
    said: str = ""


class ServerAway(Exception):
    """The server can't be reached, doesn't let us in, or takes nothing now. Says why."""


class Post:
    """Hands mails to one server. `trust`: whose certificates are believed; the system's if None."""

    def __init__(
        self, server: Server, sender: Address, *, trust: ssl.SSLContext | None = None
    ) -> None:
        self.server, self.sender, self._trust = server, sender, trust

    @asynccontextmanager
    async def open(self) -> AsyncIterator["Line"]:
        """A connection for some mails. Raises ServerAway."""
        server = self.server
        client = aiosmtplib.SMTP(
            hostname=server.host,
            port=server.port,
            username=server.user,
            password=server.password,
            # Its own name is nobody's business, and asking for it may take long.
            local_hostname=self.sender.domain,
            timeout=_SECONDS,
            use_tls=server.safety == "tls",
            start_tls=server.safety == "starttls",
            tls_context=self._trust,
        )
        try:
            await client.connect()
        except (aiosmtplib.SMTPException, OSError, ValueError) as error:
            raise ServerAway(_said(error)) from error
        try:
            yield Line(client, self.sender.addr_spec)
        except BaseException:
            # A server that does not answer is not asked whether we may go.
            client.close()
            raise
        with suppress(aiosmtplib.SMTPException, OSError):
            await client.quit()


class Line:
    """An open connection to the server."""

    def __init__(self, client: aiosmtplib.SMTP, sender: str) -> None:
        self._client, self._sender = client, sender

    async def send(self, mail: EmailMessage, to: str) -> Result:
        """Hand one mail in. Raises ServerAway when the next would fare no better."""
        try:
            await self._client.send_message(mail, sender=self._sender, recipients=[to])
        except aiosmtplib.SMTPRecipientsRefused as error:
            one = error.recipients[0]
            return Result(_refused(one.code, Outcome.NOT_THERE), _said(one))
        except aiosmtplib.SMTPDataError as error:
            return Result(_refused(error.code, Outcome.REFUSED), _said(error))
        except aiosmtplib.SMTPNotSupported as error:
            return Result(Outcome.NOT_THERE, _said(error))
        except (aiosmtplib.SMTPException, OSError) as error:
            raise ServerAway(_said(error)) from error
        return Result(Outcome.SENT)


def _refused(code: int, for_good: Outcome) -> Outcome:
    # RFC 5321 4.2.1: 5yz is for good, 4yz for now.
    return for_good if code >= 500 else Outcome.LATER


def _said(error: BaseException) -> str:
    """What went wrong without anybody's address: what a server says may repeat it."""
    text = str(error) if not isinstance(error, aiosmtplib.SMTPResponseException) else (
        f"{error.code} {error.message}"
    )  # fmt: skip
    text = re.sub(r"[^\s<>@]+@[^\s<>@]+", "(address)", text)
    return f"{type(error).__name__}: {' '.join(text.split())}"[:200]
