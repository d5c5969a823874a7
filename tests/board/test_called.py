"""What pages call people: by name where the visitor may know it, else by reference."""

from collections.abc import AsyncIterator
from datetime import timedelta

import httpx
import pytest
import pytest_asyncio

from service.log import contacts, people, sessions
from service.log.contacts import ContactDetails
from service.log.people import Choices
from service.log.rights import ROLES, Principal
from service.storage.pool import Database, open_database
from tests.board.served import NOW, Served

pytestmark = pytest.mark.asyncio(loop_scope="session")
OURS = Principal("tests", frozenset(), frozenset({"*"}))


@pytest_asyncio.fixture(loop_scope="session")
async def database(demo: Served) -> AsyncIterator[Database]:
    async with await open_database(demo.settings) as opened:
        yield opened


async def name(database: Database, reference: str, called: str, site: str) -> int:
    async with database.writer.acquire() as connection:
        made = await contacts.put(
            connection,
            reference,
            ContactDetails(kind="person", name=called),
            [site],
            principal=OURS,
            at=NOW,
            version=0,
        )
    assert made is not None
    return made.version


async def erase(database: Database, reference: str, version: int) -> None:
    async with database.writer.acquire() as connection:
        assert await contacts.erase(connection, reference, version)


async def seen(demo: Served, who: str, path: str) -> str:
    cookies = {"graftlog_seat": demo.cookies[who]}
    async with httpx.AsyncClient(base_url=demo.url, cookies=cookies) as asking:
        answer = await asking.get(path)
    assert answer.status_code == 200, path
    assert "private" in answer.headers["Cache-Control"] or path.endswith(".csv")
    return answer.text


async def test_names_for_who_may_read_contacts_and_for_oneself(
    demo: Served, database: Database
) -> None:
    row = await database.writer.fetchrow(
        "SELECT e.actor, s.code FROM events e JOIN subjects s ON s.position = e.position"
        " WHERE s.kind = 'lot' AND e.site = 'CORIN' AND e.actor NOT IN ('p-01', 'p-02')"
        " AND EXISTS (SELECT FROM lots l WHERE l.code = s.code AND l.kind = 'tree')"
        " ORDER BY e.position DESC LIMIT 1"
    )
    who, lot = row["actor"], row["code"]
    story = f"/lot/{lot}/history"
    hers = await name(database, who, "Rosa <Ferrer>", "CORIN")
    called = f"Rosa &lt;Ferrer&gt; ({who})"
    for reader, path, names in (
        ("manager", story, True),
        ("manager", f"/lot/{lot}", True),
        ("boss", story, True),
        ("p-02", story, False),
        ("p-02", f"/lot/{lot}", False),
    ):
        page = await seen(demo, reader, path)
        assert (called in page) is names, (reader, path)
        assert names or "Ferrer" not in page
        assert who in page
    # files go on to others and are kept: they say the reference
    assert "Ferrer" not in await seen(demo, "manager", f"{story}.csv")
    # what is erased is gone at once
    await erase(database, who, hers)
    assert "Ferrer" not in await seen(demo, "manager", story)
    # a contact of other sites is none of theirs
    hers = await name(database, who, "Rosa Ferrer", "TARNA")
    assert "Ferrer" not in await seen(demo, "manager", story)
    assert "Rosa Ferrer" in await seen(demo, "boss", story)
    await erase(database, who, hers)
    # one's own name is on each page, without any right to others'
    mine = await name(database, "p-02", "Ada Roig", "CORIN")
    assert ">Ada Roig</a>" in await seen(demo, "p-02", "/round")
    assert "Ada Roig" in await seen(demo, "manager", "/people")
    await erase(database, "p-02", mine)


async def test_an_invitation_speaks_to_who_is_invited(demo: Served, database: Database) -> None:
    async with database.writer.acquire() as connection:
        await people.put(
            connection, "guest", scopes=frozenset(ROLES["recorder"]), sites=frozenset({"CORIN"}),
            choices=Choices(language="es"), by="tests", at=NOW, version=0,
        )  # fmt: skip
        link = await sessions.make_link(
            connection, "guest", by="tests", at=NOW, lasts=timedelta(hours=1)
        )
    assert link is not None
    named = await name(database, "guest", "Noé Sala", "CORIN")
    # opened on a device on which somebody else is signed in, in English
    page = await seen_anyhow(demo, "manager", f"/i/{link.token}")
    assert '<html lang="es">' in page
    assert "Noé Sala (guest)" in page
    assert "manager" in page
    await erase(database, "guest", named)


async def seen_anyhow(demo: Served, who: str, path: str) -> str:
    cookies, english = {"graftlog_seat": demo.cookies[who]}, {"Accept-Language": "en"}
    async with httpx.AsyncClient(base_url=demo.url, cookies=cookies, headers=english) as asking:
        return (await asking.get(path)).text
