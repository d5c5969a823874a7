"""A mail server to send to: aiosmtpd on this loop, which keeps what it takes and can refuse."""

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from ipaddress import ip_address
from pathlib import Path
from typing import Any

from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

OK = "250 OK"


class Postbox:
    """What came, the newest last, and how the server answers from now on."""

    def __init__(self) -> None:
        self.raw: list[bytes] = []
        self.senders: list[str] = []
        self.users: list[str] = []
        self.tls: list[bool] = []
        # Answers to RCPT by address, and to the next mails' data.
        self.refused: dict[str, str] = {}
        self.answers: list[str] = []
        self.port = 0

    @property
    def mails(self) -> list[EmailMessage]:
        """What came, read."""
        return [read(raw) for raw in self.raw]

    def to(self, address: str) -> list[EmailMessage]:
        """Mails to an address."""
        return [mail for mail in self.mails if address in mail["To"]]

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if address in self.refused:
            return self.refused[address]
        envelope.rcpt_tos.append(address)
        return OK

    async def handle_DATA(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        answer = self.answers.pop(0) if self.answers else OK
        if not answer.startswith("2"):
            return answer
        assert isinstance(envelope.content, bytes)
        self.raw.append(envelope.content)
        self.senders.append(envelope.mail_from or "")
        self.tls.append(session.ssl is not None)
        return answer

    def authenticate(
        self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any
    ) -> AuthResult:
        right = LoginPassword(b"mailer", b"p@ss/word")
        if data != right:
            return AuthResult(success=False, handled=False)
        self.users.append("mailer")
        return AuthResult(success=True)


def read(raw: bytes) -> EmailMessage:
    """A mail as it came over the wire."""
    parsed = message_from_bytes(raw, policy=policy.default)
    assert isinstance(parsed, EmailMessage)
    return parsed


@asynccontextmanager
async def mail_server(
    box: Postbox, *, tls: ssl.SSLContext | None = None, login: bool = False
) -> AsyncIterator[None]:
    """The server on a free port of this machine, `box.port`; on the same port the next time.

    `tls`: it offers STARTTLS and takes nothing before it. `login`: nor without a login.
    """

    def made() -> SMTP:
        return SMTP(
            box,
            hostname="mail.test",
            tls_context=tls,
            require_starttls=tls is not None,
            auth_required=login,
            authenticator=box.authenticate if login else None,
        )

    server = await asyncio.get_running_loop().create_server(made, "127.0.0.1", box.port)
    box.port = server.sockets[0].getsockname()[1]
    try:
        yield
    finally:
        server.close()
        await server.wait_closed()


def certificate(folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """A server's context with a certificate for 127.0.0.1, and that of a client which trusts it."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "mail.test")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), False
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), True)
        .sign(key, hashes.SHA256())
    )
    whole = folder / "server.pem"
    whole.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        + made.public_bytes(serialization.Encoding.PEM)
    )
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(whole)
    client = ssl.create_default_context(
        cadata=made.public_bytes(serialization.Encoding.PEM).decode()
    )
    return server, client
