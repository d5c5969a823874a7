"""Alerts as people read them: every kind and every broken rule, in both languages."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace

from service.reminders import raising
from service.reminders.alerts import AlertRow
from service.reminders.mail.addresses import Ways
from service.reminders.mail.gathering import SiteMorning, SiteOf
from service.reminders.mail.letters import digest
from service.reminders.mail.tokens import Links
from service.reminders.telling import alert_in_words, page_of
from service.trade.verdicts import BREAKABLE_RULES
from service.webhooks.sealing import new_key
from service.wording.shown import shown_to

TODAY = date(2026, 3, 29)
SINCE = "2026-03-28T23:30:00+01:00"
# What stands with each kind where it is raised.
NUMBERS: dict[str, dict[str, Any]] = {
    raising.SHORTFALL_RISK: {
        "item": "NAVEL/CARRIZO/L2", "probability": 0.31, "promised": 40, "by": "2026-04-20",
    },
    raising.WEBHOOK_STOPPED: {"because": "gone"},
    raising.OUT_OF_RANGE: {"worst_c": 15.5, "lowest_c": 1, "highest_c": 13, "since": SINCE},
    raising.FROST: {"min_c": -3.5, "source": "met"},
    raising.EXPIRING: {"buds": 40},
    raising.SILENT: {"since": SINCE},
    "breach": {"rule": "held", "hold": "H1"},
    "shortfall": {"item": "NAVEL/CARRIZO/L2", "promised": 40, "ready": 30},
    "count_differs": {"seen": 5, "book": 9},
    raising.OVERDUE: {"overdue_on": "2026-03-29", "trees": 20},
    raising.NOT_LOOKED_AT: {"overdue_on": "2026-03-29", "trees": 20},
    "consignment_differs": {"sent": 9, "arrived": 7, "dead": 1},
    "old_budwood": {"bag": "B1", "age_days": 99, "keeps_days": 90},
    "short_bag": {"bag": "B1", "buds": 9, "norm": 15},
    "sold_meanwhile": {"count": 7},
    "unusual_take": {"lot": "T1", "alive": 3, "read": 20, "usual_above_percent": 60},
    "outside_reservation": {"reservation": "R-1", "outside": 4},
}  # fmt: skip


def alert(kind: str, **numbers: Any) -> AlertRow:
    told: dict[str, Any] = dict.fromkeys(AlertRow.__struct_fields__)
    told |= {
        "id": "1", "kind": kind, "state": "open", "site": "CORIN", "lot": "T1", "place": "C-T1",
        "check": "read_take", "due_on": date(2026, 3, 28), "level": 1, "subject": "B1",
        "detail": "for programs", "numbers": NUMBERS.get(kind, {}) | numbers,
        "raised_at": datetime.fromisoformat(SINCE),
    }  # fmt: skip
    return AlertRow(**told)


@pytest.mark.parametrize("kind", raising.ALERT_KINDS)
def test_every_kind_has_words_of_its_own_in_both_languages(kind: str) -> None:
    told = [alert_in_words(shown_to(language), alert(kind), TODAY) for language in ("en", "es")]
    assert "for programs" not in {one.detail for one in told}
    assert told[0].title != told[1].title
    assert told[0].detail != told[1].detail


@pytest.mark.parametrize("rule", BREAKABLE_RULES)
def test_every_rule_that_can_be_broken_is_said(rule: str) -> None:
    told = [
        alert_in_words(shown_to(language), alert("breach", rule=rule), TODAY).detail
        for language in ("en", "es")
    ]
    assert "for programs" not in told
    assert told[0] != told[1]


def test_an_alert_that_an_older_version_raised_is_told_as_it_was_written() -> None:
    older = alert("old_budwood", age_days=None)
    assert alert_in_words(shown_to("es"), older, TODAY).detail == "for programs"


def test_an_alert_leads_to_what_it_is_about() -> None:
    assert page_of(alert(raising.PUT_RIGHT)) == "/put-right"
    assert page_of(alert(raising.EXPIRING)) == "/bag/B1"
    assert page_of(alert(raising.OVERDUE)) == "/table/C-T1"


def test_of_many_of_a_kind_a_digest_tells_the_newest_and_how_many_there_are() -> None:
    since = datetime.fromisoformat(SINCE)

    def raised(kind: str, days_ago: int) -> AlertRow:
        told = {"id": f"{kind}{days_ago}", "raised_at": since - timedelta(days=days_ago)}
        return replace(alert(kind, counted=days_ago, book=99), **told)

    counts = [raised("count_differs", days) for days in range(25)]
    refused = [raised(raising.PUT_RIGHT, days) for days in range(6)]
    site = SiteOf(code="CORIN", name="Corin", zone=ZoneInfo("Europe/Madrid"), today=TODAY)
    mornings = [SiteMorning(site=site, alerts=[*refused, *counts, raised("shortfall", 0)])]
    ways = Ways("https://corin.example", Links([new_key()]), "ines", TODAY)
    (part,) = digest(shown_to("en"), mornings, TODAY, ways).parts
    put_right, differs, short = part.sections
    assert put_right.heading == "To put right: 6"
    # the same words six times are said once
    assert [line.detail[:22] for line in put_right.lines] == ["Something was sent tha", ""]
    assert put_right.lines[-1].title == "and 5 more"
    assert differs.heading == "A count differs from the book: 25"
    assert [line.detail.partition(": ")[2][:9] for line in differs.lines] == [
        "counted 0", "counted 1", "counted 2", "",
    ]  # fmt: skip
    assert differs.lines[-1].title == "and 22 more"
    assert differs.lines[-1].look == ("https://corin.example/reminders?site=*&kind=count_differs")
    assert short.heading == "More promised than there is"
    assert len(short.lines) == 1
