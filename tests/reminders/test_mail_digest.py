"""Digests: at each site's morning, once, what somebody may see and wants, in their language."""

import asyncio
from datetime import time
from email.message import EmailMessage

import msgspec

from service.jobs.work import Work
from service.log import people
from service.reminders.mail.choices import MailChoices, SiteMail, choose_site
from service.reminders.mail.mornings import Quiet
from tests.support.mail_desk import Desk, html, moment, plain

# The nights in which the clocks change in Madrid; the nursery's checks are overdue in both.
SPRING, AUTUMN = "2026-03-29", "2026-10-25"


def subjects(mails: list[EmailMessage]) -> list[str]:
    return [mail["Subject"] for mail in mails]


async def test_a_digest_comes_at_six_on_both_days_on_which_the_clocks_change(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    for before, at in (
        (f"{SPRING}T05:59:59+02:00", f"{SPRING}T06:00:00+02:00"),
        (f"{AUTUMN}T05:59:59+01:00", f"{AUTUMN}T06:00:00+01:00"),
    ):
        assert await mail_desk.at(before) == []
        (mail,) = await mail_desk.at(at)
        assert mail["To"] == "Ines <ines@corin.example>"
        assert mail["Date"].datetime == moment(at)
    # a morning that the clocks skip is an hour later (RFC 5545 section 3.3.5)
    async with mail_desk.database.writer.acquire() as conn:
        skipped = SiteMail(morning=moment("2027-03-28T02:30").time())
        await choose_site(conn, "CORIN", skipped, "owner", mail_desk.now)
    await mail_desk.chooses("ines", MailChoices(quiet=None))
    assert await mail_desk.at("2027-03-28T03:29:59+02:00") == []
    assert len(await mail_desk.at("2027-03-28T03:30:00+02:00")) == 1


async def test_each_digest_is_sent_once_however_many_processes_look(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    mail_desk.now = moment("2026-03-25T06:00:00+01:00")
    await mail_desk.runner.catch_up()
    processes = [mail_desk.mailing() for _ in range(4)]
    told = await asyncio.gather(*(one.run() for one in processes))
    assert sum(one.startswith("1 mails written") for one in told) == 1
    assert len(mail_desk.box.mails) == 1
    assert await mail_desk.at("2026-03-25T06:01:00+01:00") == []
    assert len(await mail_desk.at("2026-03-26T06:00:00+01:00")) == 1


async def test_the_timed_job_writes_and_sends_once_a_minute_over_all_processes(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    mail_desk.now = moment("2026-03-25T06:00:10+01:00")
    await mail_desk.runner.catch_up()
    clock = lambda: mail_desk.now  # noqa: E731
    works = [Work(mail_desk.database, clock, mailing=mail_desk.mailing()) for _ in range(3)]
    await asyncio.gather(*(one.mails() for one in works))
    assert len(mail_desk.box.raw) == 1
    pool = mail_desk.database.writer
    ticks = await pool.fetch("SELECT tick, outcome FROM ticks WHERE job = 'mails'")
    assert [tuple(row) for row in ticks] == [
        (moment("2026-03-25T06:00:00+01:00"), "1 mails written, 1 sent")
    ]
    # where no mail server is set there is no such job; what is old is swept
    await Work(mail_desk.database, clock).mails()
    mail_desk.now = moment("2026-05-25T06:00:00+02:00")
    await works[0].sweep()
    assert await pool.fetchval("SELECT count(*) FROM mails") == 0
    assert await pool.fetchval("SELECT count(*) FROM mail_told") == 0


async def test_what_stands_in_a_digest(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    (mail,) = await mail_desk.at("2026-03-24T06:00:00+01:00")
    # as the checks have it: TR1 due since 14 March, TR2's take due since the 22nd
    text = plain(mail)
    assert mail["Subject"] == "Corin, Tue 24 Mar: 2 alerts, 1 check due"
    assert "Lot TR1 at C-T1, 10 trees: 1 day late, due since Sat 14 Mar." in text
    assert "Nobody has noted a look at C-T1" in text
    assert "Unwrap and read the take: C-T2 · 20 trees" in text
    assert "What nobody recorded is not in this mail." in text
    # the same in HTML, with what people typed escaped
    assert "Lot TR1 at C-T1, 10 trees: 1 day late, due since Sat 14 Mar." in html(mail)
    # what a program and a mail program go by: RFC 3834, 2919, 2369, 5322 3.6.4
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["List-Id"] == "<reminders.corin.example>"
    assert mail["List-Unsubscribe"].startswith("<http://127.0.0.1:8080/mail/stop/")
    # by RFC 8058 section 3.1 one click needs an https address, which this service has not
    assert mail["List-Unsubscribe-Post"] is None
    assert mail["Message-ID"].endswith("@corin.example>")
    assert mail.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]


async def test_a_digest_in_spanish(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN", language="es", name="Inés Ñúñez")
    (mail,) = await mail_desk.at("2026-03-24T06:00:00+01:00")
    assert mail["To"] == "Inés Ñúñez <ines@corin.example>"
    assert mail["Subject"] == "Corin, mar 24 mar: 2 avisos, 1 revisión para hoy"
    text = plain(mail)
    assert "Lote TR1 en C-T1, 10 árboles: con 1 día de atraso, toca desde el sáb 14 mar." in text
    assert "No está en este correo lo que nadie anotó." in text
    assert '<html lang="es">' in html(mail)


async def test_each_sees_their_own_sites_at_their_own_mornings(mail_desk: Desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.person("tui", "TARNA")
    await mail_desk.person("both", "*", role="administrator", home="TARNA")
    await mail_desk.raised("count_differs", 7, "TARNA", numbers={"counted": 5, "book": 9})
    await mail_desk.raised("breach", 8, None)
    # six in Auckland is 18 h of the day before in Madrid
    tarna = await mail_desk.at("2026-03-24T17:00:00+00:00")
    assert {mail["To"].addresses[0].username for mail in tarna} == {"tui", "both"}
    for mail in tarna:
        assert "TR1" not in plain(mail)
        assert "counted 5, the book had 9" in plain(mail)
    by_name = {mail["To"].addresses[0].username: mail for mail in tarna}
    # what is of no single site is for those who see all, with their home's
    assert "Of several sites" in plain(by_name["both"])
    assert "Of several sites" not in plain(by_name["tui"])
    corin = await mail_desk.at("2026-03-25T05:00:00+00:00")
    assert {mail["To"].addresses[0].username for mail in corin} == {"ines", "both"}
    for mail in corin:
        assert "TR1" in plain(mail)
        assert "counted 5" not in plain(mail)
        assert "Of several sites" not in plain(mail)
    # the two of one day are joined: RFC 5322 section 3.6.4
    both = [mail for mail in (*tarna, *corin) if "both" in mail["To"]]
    assert both[0]["References"] is None
    assert both[0]["Message-ID"] != both[1]["Message-ID"]
    assert both[1]["References"] == both[0]["Message-ID"]


async def test_who_moves_to_another_site_at_noon_gets_the_digests_of_both_mornings(
    mail_desk: Desk,
) -> None:
    await mail_desk.person("both", "*", role="administrator", home="CORIN")
    await mail_desk.chooses("both", MailChoices(quiet=None, empty_digest=True))
    (corin,) = await mail_desk.at("2026-03-24T06:00:00+01:00")
    async with mail_desk.database.writer.acquire() as conn:
        await people.choose(conn, "both", people.Choices(home_site="TARNA"))
    # it is the 24th there too, for six hours more
    async with mail_desk.database.writer.acquire() as conn:
        await choose_site(conn, "TARNA", SiteMail(morning=time(23)), "owner", mail_desk.now)
    (tarna,) = await mail_desk.at("2026-03-24T11:00:00+01:00")
    assert (corin["Subject"][:5], tarna["Subject"][:5]) == ("Corin", "Tarna")
    assert corin["Message-ID"] != tarna["Message-ID"]


async def test_what_somebody_does_not_want_or_can_do_nothing_about_is_left_out(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN", "TARNA", home="CORIN")
    await mail_desk.person("grafter", "CORIN", role="recorder")
    await mail_desk.at("2026-03-24T05:00:00+01:00")
    risk = {"item": "NAVEL/CARRIZO/L2", "probability": 0.31, "promised": 40, "by": "2026-04-20"}
    await mail_desk.raised("shortfall_risk", 3, numbers=risk)
    chosen = MailChoices(left_out=frozenset({"overdue_check"}), sites_left_out=frozenset({"TARNA"}))
    await mail_desk.chooses("ines", chosen)
    await mail_desk.at("2026-03-24T06:00:00+01:00", calendar=False)
    ines, grafter = plain(mail_desk.box.to("ines@")[0]), plain(mail_desk.box.to("grafter@")[0])
    assert "TR1" not in ines
    assert "about 31 in 100 that the 40 promised by Mon 20 Apr" in ines
    assert "TR1" in grafter
    assert "promised" not in grafter
    await mail_desk.chooses("ines", MailChoices(digest=False))
    assert len(await mail_desk.at("2026-03-25T06:00:00+01:00")) == 1


async def test_a_morning_without_anything_is_told_to_who_wants_that(mail_desk) -> None:
    await mail_desk.person("tui", "TARNA")
    assert await mail_desk.at("2026-02-01T17:00:00+00:00") == []
    # an alert of later in the day is for the next morning
    await mail_desk.raised("count_differs", 1, "TARNA", numbers={"counted": 5, "book": 9})
    assert await mail_desk.at("2026-02-01T18:30:00+00:00") == []
    await mail_desk.database.writer.execute("UPDATE alerts SET closed_at = now()")
    await mail_desk.chooses("tui", MailChoices(empty_digest=True))
    (mail,) = await mail_desk.at("2026-02-02T17:00:00+00:00")
    assert mail["Subject"] == "Tarna, Tue 3 Feb: nothing waits in the book"
    assert "What nobody recorded is not in it." in plain(mail)


async def test_quiet_hours_hold_a_digest_too_until_they_end(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.chooses("ines", MailChoices(quiet=Quiet(time(21), time(7, 15))))
    assert await mail_desk.at("2026-03-24T07:14:00+01:00") == []
    assert len(await mail_desk.at("2026-03-24T07:15:00+01:00")) == 1


async def test_addresses_and_ids_stand_in_one_line_however_long(mail_desk) -> None:
    base = "https://reminders.a-nursery-with-a-long-name.example/and/a/path/before/graftlog"
    mail_desk.settings = msgspec.structs.replace(mail_desk.settings, public_url=base)
    await mail_desk.person(
        "p" * 60, "CORIN", language="es", name="Ñ\r\nBcc: all@corin.example " * 4
    )
    await mail_desk.at("2026-03-24T06:00:00+01:00")
    (raw,) = mail_desk.box.raw
    head = raw.split(b"\r\n\r\n")[0].split(b"\r\n")
    # RFC 8058 section 3.1; an encoded word (RFC 2047) could stand in none of them
    (stop,) = (line for line in head if line.startswith(b"List-Unsubscribe:"))
    assert stop.startswith(f"List-Unsubscribe: <{base}/mail/stop/".encode())
    assert stop.endswith(b">")
    assert b"List-Unsubscribe-Post: List-Unsubscribe=One-Click" in head
    assert any(line.startswith(b"Message-ID: <") and line.endswith(b"example>") for line in head)
    # all others are short lines (RFC 5322 section 2.1.1), and nobody can smuggle one in
    assert all(len(line) <= 78 for line in head if not line.startswith(b"List-Unsubscribe:"))
    assert not any(line.lower().startswith(b"bcc") for line in head)
