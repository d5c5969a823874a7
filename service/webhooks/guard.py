"""Where messages may go: the open internet by TLS, never into the nursery's own network.

An address is looked at twice. When it is given, for what it says by itself; and each time that a
connection is made, after its name was looked up: the connection goes to the very address that was
judged, so that a name which answers otherwise the second time gains nothing.
"""

import asyncio
import re
import socket
from collections.abc import Awaitable, Callable, Iterable
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address
from typing import Any
from urllib.parse import urlsplit

import httpcore

Address = IPv4Address | IPv6Address
LookUp = Callable[[str, int], Awaitable[list[str]]]
LOOK_UP_SECONDS = 5.0
# Mail, remote shells and the like listen below.
_FIRST_FREE_PORT = 1024
_LABEL = re.compile(r"[a-z0-9_]([a-z0-9_-]{0,61}[a-z0-9_])?", re.IGNORECASE | re.ASCII)
# Names that never are on the open internet: RFC 6761, 6762, 8375, 9476, and ICANN's `internal`.
_INSIDE = frozenset({"localhost", "local", "internal", "home", "lan", "alt", "corp", "invalid"})
_HOME = ["home", "arpa"]
# Reserved, or for a purpose of its own, and yet "global" to the library.
_NEVER: tuple[IPv4Network | IPv6Network, ...] = (
    IPv4Network("192.88.99.0/24"),
    IPv4Network("192.0.0.0/24"),
    IPv6Network("100::/64"),
    IPv6Network("2001::/23"),
    IPv6Network("5f00::/16"),
    # Documentation (RFC 9637), which the library does not know yet.
    IPv6Network("3fff::/20"),
    # A public address that means the host's own services inside a large cloud.
    IPv4Network("168.63.129.16/32"),
)


class Refused(Exception):
    """Nothing is sent there; the words say why."""


class Guard:
    """Judges addresses. `loopback` also lets through this machine itself, and plain http to it."""

    def __init__(self, *, loopback: bool = False) -> None:
        self.loopback = loopback

    def check_url(self, url: str) -> None:
        """Raises Refused for an address that can be seen to be none for messages."""
        try:
            parts = urlsplit(url)
            host, port = parts.hostname, parts.port
        except ValueError as error:
            raise Refused("It is no address that can be read.") from error
        if not host or parts.username is not None or parts.password is not None or parts.fragment:
            raise Refused("Give https://, a host and a path: no user, no password, no fragment.")
        literal = _literal(host)
        here = self.loopback and (host == "localhost" or (literal is not None and _here(literal)))
        if parts.scheme != "https" and not (here and parts.scheme == "http"):
            raise Refused("Messages are sent by https alone.")
        if here:
            return
        if port is not None and port != 443 and port < _FIRST_FREE_PORT:
            raise Refused(f"Port {port} is for other things: use 443, or 1024 and higher.")
        if literal is not None:
            self.check_address(literal)
        else:
            _check_name(host)

    def check_address(self, address: Address) -> None:
        """Raises Refused for an address that is not on the open internet."""
        if self.loopback and _here(address):
            return
        for one in _meant(address):
            reserved = any(one in net for net in _NEVER if net.version == one.version)
            inside = not one.is_global or one.is_multicast or one.is_reserved or reserved
            if inside or getattr(one, "is_site_local", False):
                raise Refused(f"{address} is not on the open internet.")

    def check_all(self, found: Iterable[str]) -> list[str]:
        """What a name stands for, judged whole: one bad address spoils them all.

        Which one it is nobody is told: it would show what names mean inside the nursery's network.
        """
        addresses = [ip_address(text) for text in found]
        try:
            for address in addresses:
                self.check_address(address)
        except Refused:
            raise Refused("The name leads to what is not on the open internet.") from None
        return [str(address) for address in addresses]


def _literal(host: str) -> Address | None:
    try:
        return ip_address(host)
    except ValueError:
        return None


def _here(address: Address) -> bool:
    return address.is_loopback


def _check_name(host: str) -> None:
    """Only what can be nothing but a name of the open internet: 0x7f.1 is an address to some."""
    labels = host.removesuffix(".").split(".")
    named = len(host) <= 253 and all(_LABEL.fullmatch(label) for label in labels)
    last = labels[-1].lower()
    if not named or re.fullmatch(r"[0-9]+|0x[0-9a-f]*", last):
        raise Refused("Its host is no name and no plain address.")
    if len(labels) < 2 or last in _INSIDE or [*map(str.lower, labels[-2:])] == _HOME:
        raise Refused(f"{host} is a name of one network alone, not of the open internet.")


def _meant(address: Address) -> list[Address]:
    """The address, and the IPv4 address that it carries. (Other kinds of carriers are reserved.)"""
    meant: list[Address] = [address]
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped is not None:
            # Only a way of writing it.
            return [address.ipv4_mapped]
        if address.sixtofour is not None:
            meant.append(address.sixtofour)
    return meant


async def look_up(host: str, port: int) -> list[str]:
    """What the system's resolver says, in its order."""
    found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(one[4][0]) for one in found))


class GuardedBackend(httpcore.AsyncNetworkBackend):
    """Connects only to addresses that the guard lets through. TLS still asks for the name."""

    def __init__(self, guard: Guard, look_up: LookUp = look_up) -> None:
        self._guard, self._look_up = guard, look_up
        self._plain = httpcore.AnyIOBackend()

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Any = None,
    ) -> httpcore.AsyncNetworkStream:
        """A connection to one of the host's addresses. Raises Refused, or httpcore's errors."""
        literal = _literal(host)
        if literal is not None:
            found = [host]
        else:
            try:
                async with asyncio.timeout(LOOK_UP_SECONDS):
                    found = await self._look_up(host, port)
            except (OSError, TimeoutError, UnicodeError) as error:
                raise httpcore.ConnectError(f"{host} is not found") from error
        last: Exception = httpcore.ConnectError(f"{host} is not found")
        for address in self._guard.check_all(found):
            try:
                return await self._plain.connect_tcp(
                    address, port, timeout, local_address, socket_options
                )
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                last = error
        raise last

    async def connect_unix_socket(
        self, path: str, timeout: float | None = None, socket_options: Any = None
    ) -> httpcore.AsyncNetworkStream:
        """Never."""
        raise Refused("Messages are sent over the network alone.")

    async def sleep(self, seconds: float) -> None:
        await self._plain.sleep(seconds)
