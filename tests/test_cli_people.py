"""The first person is let in at the terminal."""

import asyncio
import re

from service.clock import system_clock
from service.log import people, sessions
from service.log.sessions import Sessions
from service.settings import Settings
from service.storage.pool import Database
from tests.support.commands import graftlog


async def test_somebody_is_let_in_signs_in_and_is_taken_out_again(
    settings: Settings, database: Database
) -> None:
    assert settings.database_url is not None
    here = {
        "DATABASE_URL": settings.database_url,
        "PUBLIC_URL": "http://graft.example/nursery",
    }
    made = await graftlog(
        *("people", "add", "boss", "--role", "administrator", "--language", "es"), **here
    )
    assert made.code == 0, made.err
    # The link alone is on standard output, to be handed on.
    found = re.fullmatch(r"http://graft\.example/nursery/i/([A-Za-z0-9_-]{43})\n", made.out)
    code = re.search(r"code (\S{5}-\S{5}) ", made.err)
    assert found is not None
    assert code is not None
    async with database.writer.acquire() as connection:
        person = await people.person(connection, None, "boss")
        assert person is not None
        assert (person.role, person.sites, person.language) == ("administrator", ["*"], "es")
        signed = await sessions.sign_in_by_code(connection, code[1], label="", at=system_clock())
        assert signed is not None
        link = (await graftlog("people", "link", "boss", **here)).out.strip()
        second = await sessions.sign_in_by_link(
            connection, link.rpartition("/")[2], label="", at=system_clock()
        )
        assert second is not None
    listed = await graftlog("people", "list", **here)
    assert re.search(r"^boss +administrator +\* +2 +\d{4}-\d\d-\d\d$", listed.out, re.MULTILINE)
    out = await graftlog("people", "sign-out", "boss", **here)
    assert out.out == "boss is signed out on 2 devices\n"
    assert await Sessions(database.writer).signed(second.cookie) is None
    assert (await graftlog("people", "remove", "boss", **here)).code == 0
    # What can't be is said in a line.
    gone, wrong, nowhere = await asyncio.gather(
        graftlog("people", "link", "boss", **here),
        graftlog("people", "add", "p 07", "--role", "recorder", **here),
        graftlog("people", "add", "p-07", "--role", "recorder", "--sites", "NOWHERE", **here),
    )
    assert (gone.code, gone.err) == (1, "Error: there is no person boss\n")
    assert (nowhere.code, "the catalogue has no site NOWHERE" in nowhere.err) == (1, True)
    assert (wrong.code, wrong.err.count("\n")) == (1, 1)
    assert "a name is 1 to 64" in wrong.err
