"""What is mailed at once: to whom, when, how often; and what nobody has seen to."""

from datetime import time

from service.reminders.mail.choices import MailChoices, SiteMail, choose_site, stop
from service.reminders.mail.mornings import Quiet
from tests.support.mail_desk import Desk, plain

FROST = {"min_c": -3.5, "limit_c": 0.0, "source": "weather service"}


async def at_once(desk: Desk, text: str) -> list[str]:
    """Subjects of what comes then, the calendar left alone."""
    return [mail["Subject"] for mail in await desk.at(text, calendar=False)]


async def test_what_is_urgent_is_mailed_once_and_what_comes_meanwhile_goes_together(
    mail_desk,
) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.raised("short_bag", 1, numbers={"bag": "B1", "buds": 9, "norm": 15})
    assert await at_once(mail_desk, "2026-03-20T15:00:00+01:00") == []
    await mail_desk.raised("breach", 1)
    (mail,) = await mail_desk.at("2026-03-20T15:01:00+01:00", calendar=False)
    assert mail["Subject"] == "Corin: A rule was broken"
    assert "subject-1: It was done although a hold forbids it. Hold H1." in plain(mail)
    assert mail["References"] == mail["In-Reply-To"]
    for number in (2, 3):
        await mail_desk.raised("breach", number)
    # the next one comes ten minutes after the last at the soonest, with all there is
    assert await at_once(mail_desk, "2026-03-20T15:10:59+01:00") == []
    assert await at_once(mail_desk, "2026-03-20T15:11:00+01:00") == [
        "Corin: A rule was broken and 1 more"
    ]
    assert await at_once(mail_desk, "2026-03-20T16:00:00+01:00") == []


async def test_the_night_is_quiet_but_for_what_harms_before_the_morning(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.person("owl", "CORIN", language="es")
    await mail_desk.chooses("owl", MailChoices(quiet=None, digest=False))
    # 23:00 on the evening before the clocks go forward
    await at_once(mail_desk, "2026-03-28T22:30:00+01:00")
    await mail_desk.raised("breach", 1)
    assert await at_once(mail_desk, "2026-03-28T23:00:00+01:00") == [
        "Corin: No se respetó una regla"
    ]
    await mail_desk.raised("frost_ahead", 1, due_on=mail_desk.now.date(), numbers=FROST)
    mails = await mail_desk.at("2026-03-28T23:30:00+01:00", calendar=False)
    assert {mail["Subject"] for mail in mails} == {"Corin: Frost ahead", "Corin: Helada anunciada"}
    assert "−3.5 °C is foretold for Sat 28 Mar (weather service)." in plain(
        next(mail for mail in mails if "ines" in mail["To"])
    )
    # six o'clock comes an hour sooner
    assert await at_once(mail_desk, "2026-03-29T05:59:00+02:00") == []
    subjects = await at_once(mail_desk, "2026-03-29T06:00:00+02:00")
    assert "Corin: A rule was broken" in subjects


async def test_it_goes_to_those_who_see_and_want_it(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.person("tui", "TARNA")
    await mail_desk.person("owner", "*", role="administrator")
    await mail_desk.person("bench", "CORIN", role="recorder")
    await mail_desk.person("other", "CORIN")
    await mail_desk.chooses("other", MailChoices(at_once=frozenset()))
    # it is three in the night there
    await mail_desk.chooses("tui", MailChoices(quiet=None))
    await mail_desk.raised("webhook_stopped", 1, numbers={"because": "gone"})
    await mail_desk.raised("breach", 2, None, sites=["CORIN", "TARNA"])
    await mail_desk.raised("breach", 3, None)
    told = {
        mail["To"].addresses[0].username: plain(mail)
        for mail in await mail_desk.at("2026-03-20T15:00:00+01:00", calendar=False)
    }
    assert set(told) == {"ines", "tui", "owner", "bench"}
    assert {name for name, text in told.items() if "webhook" in text} == {"ines", "owner"}
    assert all("Hold H2" in text for text in told.values())
    assert [name for name, text in told.items() if "Hold H3" in text] == ["owner"]


async def test_what_was_seen_to_before_it_went_out_is_not_mailed(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.chooses("ines", MailChoices(digest=False, quiet=Quiet(time(12), time(16))))
    seen = await mail_desk.raised("breach", 1)
    await mail_desk.raised("breach", 2)
    await mail_desk.say("alert.acknowledged", seen)
    assert await at_once(mail_desk, "2026-03-20T15:59:00+01:00") == []
    assert await at_once(mail_desk, "2026-03-20T16:00:00+01:00") == ["Corin: A rule was broken"]
    # written, but the server was away; by then it was put right
    mail_desk.box.answers = ["451 later"]
    third = await mail_desk.raised("breach", 3)
    assert await at_once(mail_desk, "2026-03-20T16:20:00+01:00") == []
    await mail_desk.database.writer.execute(
        "UPDATE alerts SET closed_at = now() WHERE id = $1::text::uuid", third
    )
    assert await at_once(mail_desk, "2026-03-20T17:00:00+01:00") == []
    assert await mail_desk.became("urgent") == ["sent", "dropped"]


async def test_remind_me_on_a_day_brings_it_back_on_that_day(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.chooses("ines", MailChoices(digest=False))
    one = await mail_desk.raised("breach", 1)
    assert len(await at_once(mail_desk, "2026-03-20T15:00:00+01:00")) == 1
    await mail_desk.say("alert.remind_on", one, on="2026-03-29")
    for day in (21, 28, 29):
        expected = ["Corin: A rule was broken"] if day == 29 else []
        assert await at_once(mail_desk, f"2026-03-{day}T06:00:00Z") == expected
    assert await at_once(mail_desk, "2026-03-29T12:00:00Z") == []


async def test_what_nobody_has_seen_to_goes_to_who_is_named_for_it(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.person("boss", "*", role="administrator")
    for one in ("ines", "boss"):
        await mail_desk.chooses(one, MailChoices(digest=False, at_once=frozenset()))
    async with mail_desk.database.writer.acquire() as conn:
        norm = SiteMail(escalate_to="boss", escalate_after_hours=48)
        await choose_site(conn, "CORIN", norm, "owner", mail_desk.now)
    # overdue on the 24th; seen to one, not to the other
    await mail_desk.at("2026-03-24T08:00:00+01:00")
    looked = (await mail_desk.alerts(kind="place_not_looked_at", state="open"))[0]
    await mail_desk.say("alert.acknowledged", looked.id)
    assert await mail_desk.at("2026-03-26T07:59:00+01:00") == []
    (mail,) = await mail_desk.at("2026-03-26T08:00:00+01:00")
    assert mail["To"].addresses[0].username == "boss"
    assert mail["Subject"] == "Corin: 1 alert that nobody has seen to"
    assert "For more than 48 hours nobody has noted that it was seen." in plain(mail)
    assert "Lot TR1 at C-T1" in plain(mail)
    assert "Nobody has noted a look" not in plain(mail)
    assert await mail_desk.at("2026-03-27T08:00:00+01:00") == []
    # what somebody put off waits from that day's morning on, an hour less in the night between
    (late,) = await mail_desk.alerts(kind="overdue_check", state="open")
    await mail_desk.say("alert.remind_on", late.id, on="2026-03-28")
    for mail in await mail_desk.at("2026-03-30T06:00:00+02:00"):
        assert "Lot TR1 at C-T1" not in plain(mail)
    (mail,) = await mail_desk.at("2026-03-30T07:00:00+02:00")
    assert "Lot TR1 at C-T1" in plain(mail)


async def test_who_stopped_mails_gets_none_that_was_on_its_way_either(mail_desk) -> None:
    await mail_desk.person("ines", "CORIN")
    await mail_desk.raised("breach", 1)
    mail_desk.box.answers = ["451 later"]
    assert await at_once(mail_desk, "2026-03-20T15:00:00+01:00") == []
    async with mail_desk.database.writer.acquire() as conn:
        await stop(conn, "ines", mail_desk.now)
    await mail_desk.raised("breach", 2)
    for day in (20, 21):
        assert await at_once(mail_desk, f"2026-03-{day}T16:00:00+01:00") == []
    assert await mail_desk.became("urgent") == ["dropped"]
