"""A visit of a page: who comes, in which language, from which site, and how it is answered."""

import hmac
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from textwrap import shorten
from typing import Any, Generic, TypeVar
from urllib.parse import quote

import msgspec
from litestar import Request

from service.api.cursors import CODE
from service.api.headers import names_type
from service.api.operation import JSON, Reply, header, read_body
from service.api.problems import not_found
from service.api.services import Services
from service.board import cookies, ways
from service.board.forms import Form, understood
from service.board.rendering import render
from service.log import contacts
from service.log.people import Person, Signed
from service.log.rights import NOBODY, Principal
from service.storage.pool import Connection
from service.storage.sql import load
from service.views.site_days import site_days
from service.wording.shown import Shown, shown_to
from service.wording.words import Language, Words, language_of, words_of

Q = TypeVar("Q")
HTML = "text/html; charset=utf-8"
YEAR = 365 * 86400
# Characters that an address holds as they are; others are written by their bytes (RFC 3986 2).
_OF_ADDRESSES = "/?#%&=+:;,@!$'()*[]~"
# So many characters fit a cookie, were each written by three bytes (RFC 6265 6.1).
MOST_SAID = 400
SQL = load(__package__, "visit.sql")


class SiteSeen(msgspec.Struct, frozen=True, kw_only=True):
    """A site that the visitor sees. `today` is its own calendar day."""

    code: str
    name: str
    time_zone: str
    table_word: str
    today: date


@dataclass
class Visit(Generic[Q]):
    """A request for a page. Who is not signed in is NOBODY and sees nothing."""

    request: Request[Any, Any, Any]
    services: Services
    signed: Signed | None
    query: Q
    # Set-Cookie headers that the answer carries.
    cookies: list[str] = field(default_factory=list)
    _sent: Form | None = None
    _names: dict[str, str] = field(default_factory=dict)
    _sites: list[SiteSeen] | None = None
    _site: SiteSeen | None = None

    @property
    def principal(self) -> Principal:
        return self.signed.principal if self.signed else NOBODY

    @property
    def person(self) -> Person:
        """Who is signed in. Pages that nobody need be signed in for ask `signed` first."""
        assert self.signed is not None, "somebody is signed in"
        return self.signed.person

    @cached_property
    def now(self) -> datetime:
        """The moment of the visit, UTC."""
        return self.services.clock()

    @cached_property
    def language(self) -> Language:
        """The person's, else the browser's."""
        if self.signed is not None:
            return self.signed.person.language
        return language_of(self.header("accept-language"))

    @cached_property
    def words(self) -> Words:
        """gettext, ngettext, pgettext of the visitor's language."""
        return words_of(self.language)

    @cached_property
    def shown(self) -> Shown:
        """Dates, numbers, temperatures and lengths as the visitor reads them."""
        person = self.signed.person if self.signed else None
        if person is None:
            return shown_to(self.language)
        return shown_to(self.language, person.temperature, person.length)

    @property
    def wants_json(self) -> bool:
        """Whether a program asks, such as what sends kept entries."""
        return names_type(self.header("accept"), JSON)

    def header(self, name: str) -> str | None:
        return header(self.request.scope, name.lower().encode())

    def code(self, name: str = "code") -> str:
        """A code in the path, in capitals; what can't be a code is not found."""
        value = str(self.request.scope["path_params"][name]).strip().upper()
        if CODE.match(value) is None:
            raise not_found("What the address names")
        return value

    async def form(self) -> Form:
        """What the form sent; read once."""
        if self._sent is None:
            limit = self.services.settings.body_limit
            self._sent = understood(await read_body(self.request, limit))
        return self._sent

    def resend(self, form: Form) -> None:
        """From now on `form` is what was sent: what was refused before, once a count settled it."""
        self._sent = form

    # -- sites -------------------------------------------------------------------------

    async def sites(self, connection: Connection | None = None) -> list[SiteSeen]:
        """The sites that the visitor sees, by name; asked once a visit."""
        if self._sites is None:
            if connection is None:
                async with self.services.reading() as connection:
                    return await self.sites(connection)
            days = await site_days(connection, self.now)
            self._sites = [
                SiteSeen(today=days[row["code"]], **dict(row))
                for row in await connection.fetch(SQL.sites, self.principal.site_list)
            ]
        return self._sites

    @property
    def lacks_site(self) -> bool:
        """Whether it is known by now that the visitor sees no site at all."""
        return self.signed is not None and self._sites == []

    async def site(self, code: str | None = None) -> SiteSeen:
        """The site asked for, else the one looked at last, else the person's own, else the first.

        Raises 404 for one that is not seen, or when there is none at all.
        """
        known = {one.code: one for one in await self.sites()}
        if code is not None and code not in known:
            raise not_found(f"A site {code}")
        last = cookies.read(self.request.scope, self.services.settings, cookies.SITE)
        home = self.signed.person.home_site if self.signed else None
        for wanted in (code, last, home, *known):
            if wanted in known:
                if wanted != last:
                    self.keep(cookies.SITE, wanted, YEAR)
                self._site = known[wanted]
                return self._site
        raise not_found("A site that you see")

    # -- people ------------------------------------------------------------------------

    async def call_people(
        self, references: Iterable[str | None], connection: Connection | None = None
    ) -> None:
        """Look up, in one question, what the page calls these people."""
        if connection is None:
            async with self.services.reading() as connection:
                return await self.call_people(references, connection)
        self._names |= await contacts.names(connection, self.principal, references)
        return None

    def called(self, reference: str) -> str:
        """``Ilse Brandt (p-01)`` where the visitor may know that, or it is themselves; else the
        reference."""
        mine = self.signed if self.signed and self.signed.person.reference == reference else None
        names = {reference: mine.name} if mine and mine.name else self._names
        return contacts.called(names, reference)

    # -- answers -----------------------------------------------------------------------

    def keep(self, name: str, value: str, seconds: int | None = None) -> None:
        """Set a cookie with the answer."""
        self.cookies.append(cookies.setting(self.services.settings, name, value, seconds))

    def forget(self, name: str) -> None:
        """Take a cookie away with the answer."""
        self.cookies.append(cookies.forgetting(self.services.settings, name))

    def page(self, template: str, *, status: int = 200, **context: Any) -> Reply:
        """A page from a template of `templates/`."""
        said = cookies.read(self.request.scope, self.services.settings, cookies.SAID)
        if said is not None:
            self.forget(cookies.SAID)
        body = render(
            template,
            self.words,
            visit=self,
            person=self.signed.person if self.signed else None,
            principal=self.principal,
            shown=self.shown,
            language=self.language,
            path=self.request.scope["path"],
            said=said,
            known_at=self.now.isoformat(timespec="seconds").replace("+00:00", "Z"),
            seen_site=self._site,
            ways=ways.bar(self.principal, self.words),
            **context,
        )
        cache = "private, no-cache" if status == 200 and said is None else "no-store"
        headers = {"Vary": "Cookie, Accept-Language"}
        return Reply(body, status, headers=headers, media_type=HTML, cache=cache)

    def go(self, path: str, *, said: str | None = None) -> Reply:
        """On to another page of this service, which then says `said` once."""
        if said is not None:
            self.keep(cookies.SAID, shorten(said, MOST_SAID, placeholder=" …"), 60)
        headers = {"Location": quote(path, safe=_OF_ADDRESSES)}
        return Reply(b"", 303, headers=headers, media_type=HTML, cache="no-store")

    def is_own_form(self) -> bool:
        """Whether the form carries the token of who is signed in."""
        assert self._sent is not None, "the form was read"
        given = self._sent.get("csrf") or self.header("x-csrf") or ""
        return self.signed is not None and hmac.compare_digest(
            given.encode(), self.signed.csrf.encode()
        )
