"""From the outbox to the mail server: TLS, refusals, a server that is away, a process that dies."""

import asyncio
from datetime import timedelta
from pathlib import Path

import pytest

from service.log.contacts import ContactDetails, put
from service.mail_server import Server
from service.reminders.alerts import AlertRow
from service.reminders.mail.choices import MailChoices, choices_of
from service.reminders.mail.delivering import deliver
from service.reminders.mail.posting import Post
from tests.support.mail_desk import MANAGER, SENDER, Desk, moment, plain
from tests.support.mail_server import Postbox, certificate, mail_server

DAY = "2026-03-20T"


async def urgent(desk: Desk, number: int = 1, *, post: Post | None = None) -> str:
    """An urgent alert, and one run of what writes and sends; what the run says of it."""
    await desk.raised("breach", number)
    return await desk.mailing(post=post).run()


@pytest.fixture
async def reading(mail_desk: Desk) -> Desk:
    """Somebody who wants nothing but what is urgent."""
    await mail_desk.person("ines", "CORIN")
    await mail_desk.chooses("ines", MailChoices(digest=False, quiet=None))
    await mail_desk.at(f"{DAY}15:00:00+01:00", calendar=False)
    return mail_desk


async def trouble(desk: Desk) -> list[AlertRow]:
    return await desk.alerts(kind="mail_failed")


async def test_mails_go_over_tls_with_a_login_and_never_without(
    reading: Desk, tmp_path: Path
) -> None:
    server, trust = certificate(tmp_path)
    safe = Postbox()
    async with mail_server(safe, tls=server, login=True):
        named = Server("127.0.0.1", safe.port, "starttls", "mailer", "p@ss/word")
        # a certificate that nobody vouches for, then a wrong password, then all right
        assert await urgent(reading, post=Post(named, SENDER)) == "1 mails written, 0 sent"
        assert safe.mails == []
        for password, sent in (("wrong", 0), ("p@ss/word", 1)):
            reading.now = reading.now.replace(minute=reading.now.minute + 5)
            post = Post(named._replace(password=password), SENDER, trust=trust)
            assert await reading.mailing(post=post).run() == f"0 mails written, {sent} sent"
    assert safe.users == ["mailer"]
    assert safe.tls == [True]
    assert safe.senders == ["reminders@corin.example"]
    # a server that has no TLS is told nothing
    bare = Post(Server("127.0.0.1", reading.box.port, "starttls"), SENDER, trust=trust)
    reading.now = moment(f"{DAY}15:30:00+01:00")
    assert await urgent(reading, 2, post=bare) == "1 mails written, 0 sent"
    assert reading.box.mails == []


async def test_a_server_that_is_away_is_told_of_and_gets_the_same_mail_later(reading: Desk) -> None:
    away = Post(Server("127.0.0.1", 1, "none"), SENDER)
    await urgent(reading, post=away)
    assert await trouble(reading) == []
    reading.now = moment(f"{DAY}16:01:00+01:00")
    await reading.mailing(post=away).run()
    (told,) = await trouble(reading)
    assert (told.state, told.site, told.subject) == ("open", None, None)
    mails = await reading.at(f"{DAY}16:30:00+01:00", calendar=False)
    assert len(mails) == 1
    assert [one.state for one in await trouble(reading)] == ["closed"]


async def test_an_address_that_is_refused_is_an_alert_without_the_address(reading: Desk) -> None:
    reading.box.refused["ines@corin.example"] = "550 5.1.1 <ines@corin.example> is not here"
    await urgent(reading)
    (told,) = await trouble(reading)
    assert (told.subject, told.site, told.state) == ("ines", "CORIN", "open")
    assert "550" in told.numbers["because"]
    assert "ines@" not in f"{told.detail} {told.numbers}"
    # nothing more is written to it, until the contact is changed
    reading.now = moment(f"{DAY}17:00:00+01:00")
    assert await urgent(reading, 2) == "0 mails written, 0 sent"
    await readdress(reading, "ines.ruiz@corin.example")
    mails = await reading.at(f"{DAY}17:01:00+01:00", calendar=False)
    assert [mail["To"].addresses[0].addr_spec for mail in mails] == ["ines.ruiz@corin.example"]
    assert "Hold H2." in plain(mails[0])
    assert [one.state for one in await trouble(reading)] == ["closed"]
    assert await reading.became("urgent") == ["failed", "sent"]


async def readdress(desk: Desk, email: str) -> None:
    """The contact of Ines gets another address."""
    async with desk.database.writer.acquire() as conn:
        version = await conn.fetchval("SELECT version FROM contacts WHERE reference = 'ines'")
        details = ContactDetails(kind="person", name="Ines", email=email)
        await put(conn, "ines", details, ["CORIN"], principal=MANAGER, at=desk.now, version=version)


async def test_an_address_that_was_refused_is_tried_again_the_next_day(reading: Desk) -> None:
    reading.box.refused["ines@corin.example"] = "550 5.7.1 relaying denied"
    await urgent(reading)
    # it was the server that was set up wrong
    reading.box.refused.clear()
    reading.now = moment(f"{DAY}18:00:00+01:00")
    assert await urgent(reading, 2) == "0 mails written, 0 sent"
    assert len(await reading.at("2026-03-21T15:00:00+01:00", calendar=False)) == 1
    assert [one.state for one in await trouble(reading)] == ["closed"]


async def test_a_mail_that_is_refused_for_what_it_says_does_not_end_the_others(
    reading: Desk,
) -> None:
    reading.box.answers = ["554 5.6.0 not that"]
    assert await urgent(reading) == "1 mails written, 0 sent"
    (told,) = await trouble(reading)
    assert (told.subject, told.state) == ("ines", "open")
    assert len(await reading.at(f"{DAY}15:10:00+01:00", calendar=False)) == 0
    reading.now = moment(f"{DAY}15:11:00+01:00")
    assert await urgent(reading, 2) == "1 mails written, 1 sent"
    assert [one.state for one in await trouble(reading)] == ["closed"]


@pytest.mark.parametrize("slip", ["a..b@corin.example", "<ines@corin.example>", "ines@[corin"])
async def test_an_address_that_no_mail_can_have_is_refused_here(reading: Desk, slip: str) -> None:
    await readdress(reading, slip)
    await reading.person("tui", "CORIN")
    await reading.chooses("tui", MailChoices(digest=False, quiet=None))
    assert await urgent(reading) == "2 mails written, 1 sent"
    assert [one.subject for one in await trouble(reading)] == ["ines"]


async def test_a_slow_server_gets_each_mail_once(reading: Desk) -> None:
    await reading.person("tui", "CORIN")
    await reading.person("owl", "CORIN")
    for one in ("tui", "owl"):
        await reading.chooses(one, MailChoices(digest=False, quiet=None))
    await reading.raised("breach", 1)
    ordinary, other = reading.box.handle_DATA, reading.mailing()

    async def takes_minutes(*of: object) -> str:
        reading.now += timedelta(minutes=6)
        # another process looks whether something was left behind
        assert await deliver(other.office, other.post, other.clock) == 0
        return await ordinary(*of)  # type: ignore[arg-type]

    reading.box.handle_DATA = takes_minutes  # type: ignore[method-assign]
    assert await reading.mailing().run() == "3 mails written, 3 sent"
    assert len(reading.box.mails) == 3


async def test_what_is_refused_for_now_is_tried_again_ever_later(reading: Desk) -> None:
    reading.box.answers = ["451 4.3.0 busy"] * 3
    await urgent(reading)
    # 1, 5 and 15 minutes after each failure
    for at, came in (("15:00:59", 0), ("15:01:00", 0), ("15:05:59", 0), ("15:06:00", 0),
                     ("15:20:59", 0), ("15:21:00", 1)):  # fmt: skip
        assert len(await reading.at(f"{DAY}{at}+01:00", calendar=False)) == came, at
    # and given up when it would tell of what is long past
    reading.box.answers = ["451 4.3.0 busy"] * 99
    await urgent(reading, 2)
    for hours in range(0, 60, 3):
        day, hour = divmod(16 + hours, 24)
        await reading.at(f"2026-03-{20 + day}T{hour:02}:00:00+01:00", calendar=False)
    assert await reading.became("urgent") == ["sent", "failed"]
    assert [(one.subject, one.state) for one in await trouble(reading)] == [("ines", "open")]
    # which is over as soon as one arrives
    reading.box.answers = []
    await urgent(reading, 3)
    assert [one.state for one in await trouble(reading)] == ["closed"]


async def test_a_process_that_dies_while_sending_leaves_a_mail_that_comes_again_as_itself(
    reading: Desk,
) -> None:
    # the answer to the first one never comes: the process dies with the mail on the server
    here, taken = reading.mailing(), asyncio.Event()
    ordinary = reading.box.handle_DATA

    async def takes_and_hangs(*of: object) -> str:
        await ordinary(*of)  # type: ignore[arg-type]
        taken.set()
        return await asyncio.Event().wait() or "250 OK"

    reading.box.handle_DATA = takes_and_hangs  # type: ignore[method-assign]
    await reading.raised("breach", 1)
    dying = asyncio.create_task(here.run())
    await taken.wait()
    dying.cancel()
    await asyncio.gather(dying, return_exceptions=True)
    reading.box.handle_DATA = ordinary  # type: ignore[method-assign]
    assert await reading.at(f"{DAY}15:09:00+01:00", calendar=False) == []
    assert len(await reading.at(f"{DAY}15:10:00+01:00", calendar=False)) == 1
    assert len({mail["Message-ID"] for mail in reading.box.mails}) == 1
    assert len(reading.box.mails) == 2


async def test_two_that_deliver_share_the_mails_out(reading: Desk) -> None:
    await reading.person("tui", "CORIN")
    await reading.raised("breach", 1)
    one, two = reading.mailing(), reading.mailing()
    await asyncio.gather(one.run(), two.run())
    sent = await asyncio.gather(*(deliver(a.office, a.post, a.clock) for a in (one, two)))
    assert sum(sent) == 0
    assert len(reading.box.mails) == 2


async def test_who_is_gone_or_has_no_address_any_more_gets_nothing(reading: Desk) -> None:
    await reading.person("tui", "CORIN")
    reading.box.answers = ["451 later", "451 later"]
    await urgent(reading)
    pool = reading.database.writer
    await pool.execute("DELETE FROM contacts WHERE reference = 'ines'")
    await pool.execute("DELETE FROM people WHERE reference = 'tui'")
    assert await reading.at(f"{DAY}15:30:00+01:00", calendar=False) == []
    assert await reading.became("urgent") == ["dropped", "dropped"]
    # nothing is left of them in what was written
    held = await pool.fetch("SELECT * FROM mails")
    assert "@" not in "".join(f"{row['subject']}{row['plain']}{row['html']}" for row in held)
    async with pool.acquire() as conn:
        assert (await choices_of(conn, "ines")).digest is False
