"""What lets a device in is used once, ends, and can't be guessed or outlived."""

import asyncio
import math
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest

from service.jobs.work import Work
from service.log import people, sessions
from service.log.people import Choices, Person, Signed
from service.log.rights import ROLES
from service.log.sessions import LETTERS, MadeLink, Sessions, SignedIn
from service.storage.pool import Connection, Database
from tests.support.database import TestServer

START = datetime(2026, 5, 4, 6, tzinfo=UTC)
DAY = timedelta(days=1)


@dataclass
class Gate:
    """The door of one nursery, at a moment that the test says."""

    connection: Connection
    database: Database
    now: datetime = field(default=START)

    async def has(self, reference: str, role: str = "recorder", *sites: str) -> Person:
        """Make somebody, or give them another role."""
        before = await people.person(self.connection, None, reference)
        stored = await people.put(
            self.connection,
            reference,
            scopes=frozenset(ROLES[role]),
            sites=frozenset(sites or ("CORIN",)),
            choices=Choices(),
            by="boss",
            at=self.now,
            version=before.version if before else 0,
        )
        assert stored is not None
        return stored

    async def link(self, reference: str, **more: int) -> MadeLink:
        made = await sessions.make_link(self.connection, reference, by="boss", at=self.now, **more)
        assert made is not None
        return made

    async def by_link(self, token: str) -> SignedIn | None:
        async with self.database.writer.acquire() as connection:
            return await sessions.sign_in_by_link(connection, token, label="phone", at=self.now)

    async def by_code(self, typed: str) -> SignedIn | None:
        async with self.database.writer.acquire() as connection:
            return await sessions.sign_in_by_code(connection, typed, label="phone", at=self.now)

    async def device(self, reference: str) -> str:
        """Sign a device of somebody in; its cookie."""
        signed = await self.by_link((await self.link(reference)).token)
        assert signed is not None
        return signed.cookie

    async def who(self, cookie: str) -> Signed | None:
        return await Sessions(self.database.writer, clock=lambda: self.now).signed(cookie)


@pytest.fixture
async def gate(database: Database) -> AsyncIterator[Gate]:
    async with database.writer.acquire() as connection:
        yield Gate(connection, database)


async def test_a_link_signs_in_one_device_once_and_in_its_time(gate: Gate) -> None:
    await gate.has("ana")
    made = await gate.link("ana")
    # looking at it does not use it up
    for _ in range(2):
        invited = await sessions.invited(gate.connection, made.token, gate.now)
        assert invited == ("ana", "en", None)
    # of many who come with it at once one gets in
    signed = await asyncio.gather(*(gate.by_link(made.token) for _ in range(4)))
    (cookie,) = [one.cookie for one in signed if one is not None]
    found = await gate.who(cookie)
    assert found is not None
    assert (found.person.reference, found.principal.scopes) == ("ana", {"read", "events:write"})
    # and then neither it nor its code is good any more
    assert await sessions.invited(gate.connection, made.token, gate.now) is None
    assert await gate.by_code(made.code) is None
    # the newest link is the one that counts, until it ends
    older, newer = await gate.link("ana"), await gate.link("ana")
    assert await gate.by_link(older.token) is None
    gate.now += sessions.LINK_LASTS
    assert await gate.by_link(newer.token) is None
    for nonsense in ("", "x" * 43, "é" * 43, "a" * 10_000, newer.token + "\n"):
        assert await gate.by_link(nonsense) is None
        assert await gate.who(nonsense) is None


async def test_a_code_is_short_lived_and_bears_few_wrong_tries(gate: Gate) -> None:
    await gate.has("ana")
    # given a code, typed by hand in its own way
    made = await gate.link("ana")
    signed = await gate.by_code(f" {sessions.shown_code(made.code).lower()} ")
    assert signed is not None
    assert signed.person == "ana"
    assert await gate.by_link(made.token) is None
    # when somebody knows the half that finds it, and guesses the other in many requests at once
    made = await gate.link("ana")
    half = len(made.code) // 2
    other = next(letter for letter in LETTERS if letter != made.code[-1])
    guesses = [made.code[:half] + other * half] * (sessions.MOST_WRONG + 3)
    assert await asyncio.gather(*(gate.by_code(guess) for guess in guesses[:4])) == [None] * 4
    await asyncio.gather(*(gate.by_code(guess) for guess in guesses))
    # then it is void, and the link that nobody can guess still good
    assert await gate.by_code(made.code) is None
    assert await gate.by_link(made.token) is not None
    # and it ends before the link does
    made = await gate.link("ana")
    gate.now += sessions.CODE_LASTS
    assert await gate.by_code(made.code) is None
    assert await gate.by_link(made.token) is not None


def test_what_is_guessed_at_is_long_enough() -> None:
    """NIST SP 800-63B (revision 3) 5.1.3.2: a secret sent out of band has 20 bits or more where
    tries are limited, and lasts ten minutes at most; OWASP ASVS 5.0 7.2.3: a session's has 128."""
    assert math.log2(len(set(LETTERS))) * sessions.HALF >= 20
    assert timedelta(minutes=10) >= sessions.CODE_LASTS
    assert sessions.SECRET_BYTES * 8 >= 128
    # What reads alike is not in it.
    assert not set("0O1IL2Z5S8B") & set(LETTERS)


async def test_nothing_that_lets_somebody_in_is_kept(
    gate: Gate, database: Database, server: TestServer
) -> None:
    await gate.has("ana")
    cookie = await gate.device("ana")
    made = await gate.link("ana")
    kept = await gate.connection.fetch("SELECT l::text FROM sign_in_links l")
    kept += await gate.connection.fetch("SELECT d::text FROM devices d")
    text = str(kept)
    assert "ana" in text
    for secret in (made.token, made.code, made.code[5:], cookie):
        assert secret not in text
    # The reader may read neither table.
    for table in ("sign_in_links", "devices"):
        granted = "SELECT has_table_privilege($1, $2, 'SELECT')"
        reader = database.roles.name("reader")
        assert await gate.connection.fetchval(granted, reader, table) is False


async def test_a_device_ends_when_idle_and_at_the_latest_after_a_season(gate: Gate) -> None:
    await gate.has("ana")
    used, idle = await gate.device("ana"), await gate.device("ana")
    for _ in range(sessions.LONGEST // sessions.IDLE):
        gate.now += sessions.IDLE - DAY
        assert await gate.who(used) is not None, gate.now
    assert await gate.who(idle) is None
    gate.now = START + sessions.LONGEST
    assert await gate.who(used) is None
    await Work(gate.database, lambda: gate.now).sweep()
    assert await gate.connection.fetchval("SELECT count(*) FROM devices") == 0


async def test_a_lost_phone_is_out_at_once_and_the_others_stay(gate: Gate) -> None:
    await gate.has("ana")
    await gate.has("bea")
    lost, other, anothers = [await gate.device(name) for name in ("ana", "ana", "bea")]
    found = await gate.who(lost)
    assert found is not None
    # nobody signs out a device of somebody else by its id
    assert not await sessions.sign_out(gate.connection, "bea", found.device)
    assert await sessions.sign_out(gate.connection, "ana", found.device)
    assert await gate.who(lost) is None
    assert await gate.who(other) is not None
    # everywhere: links that wait are void too
    made = await gate.link("ana")
    assert await people.sign_out_everywhere(gate.connection, "ana") == 1
    assert await gate.who(other) is None
    assert await gate.by_link(made.token) is None
    assert await gate.who(anothers) is not None


async def test_who_gets_more_signs_in_afresh_and_who_gets_less_has_less_at_once(gate: Gate) -> None:
    await gate.has("ana", "site-manager", "CORIN", "VALE")
    cookie = await gate.device("ana")
    # fewer rights count at once, on the same device
    await gate.has("ana", "recorder", "CORIN")
    found = await gate.who(cookie)
    assert found is not None
    assert (found.principal.scopes, found.principal.sites) == ({"read", "events:write"}, {"CORIN"})
    # given a manager who holds a link and a device of somebody, and that one is raised later
    for role, *sites in (("recorder", "CORIN", "VALE"), ("administrator", "*")):
        cookie, made = await gate.device("ana"), await gate.link("ana")
        before = await people.person(gate.connection, None, "ana")
        assert before is not None
        await gate.has("ana", role, *sites)
        # then neither gives what was given since
        assert await gate.who(cookie) is None
        assert await gate.by_link(made.token) is None
        # nor does a link made by who looked before
        late = await sessions.make_link(
            gate.connection, "ana", by="boss", at=gate.now, version=before.version
        )
        assert late is None


async def test_a_link_made_while_rights_grow_gives_nothing_new(gate: Gate) -> None:
    """Whichever comes first: it is void with the older rights, or not made at all."""
    for number in range(6):
        person = await gate.has(f"p-{number}")
        async with gate.database.writer.acquire() as other:
            _, made = await asyncio.gather(
                gate.has(person.reference, "administrator"),
                sessions.make_link(
                    other, person.reference, by="boss", at=gate.now, version=person.version
                ),
            )
        if made is not None:
            assert await gate.by_link(made.token) is None
    assert await gate.connection.fetchval("SELECT count(*) FROM sign_in_links") == 0


async def test_who_is_removed_while_signing_in_is_out(gate: Gate) -> None:
    """Whichever comes first: no device outlives its person, and neither waits for the other."""
    for number in range(6):
        person = await gate.has(f"p-{number}")
        made = await gate.link(person.reference)
        removed, signed = await asyncio.gather(
            people.remove(gate.connection, person.reference, person.version),
            gate.by_link(made.token),
        )
        assert removed
        if signed is not None:
            assert await gate.who(signed.cookie) is None
    assert await gate.connection.fetchval("SELECT count(*) FROM devices") == 0


async def test_the_oldest_of_too_many_devices_makes_room(gate: Gate) -> None:
    await gate.has("ana")
    cookies = []
    for _ in range(sessions.MOST_DEVICES + 1):
        gate.now += timedelta(minutes=1)
        cookies.append(await gate.device("ana"))
    found = await sessions.devices(gate.connection, "ana", gate.now)
    assert len(found) == sessions.MOST_DEVICES
    assert await gate.who(cookies[0]) is None
    assert await gate.who(cookies[1]) is not None
    assert [one.signed_in_at for one in found] == sorted(
        (one.signed_in_at for one in found), reverse=True
    )
