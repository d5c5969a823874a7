"""Calendar entries in words: short enough for a phone, with codes and counts and no names.

Codes stand in addresses as they are: capitals, digits, full stop and hyphen need no escape.
"""

from datetime import datetime, timedelta
from hashlib import blake2b
from typing import Any

import asyncpg

from service import __version__ as VERSION  # noqa: N812
from service.reminders.calendar.days import MOST, Days, Late
from service.reminders.calendar.text import Entry, calendar_text
from service.views.site_days import zone
from service.wording.shown import Shown, shown_to
from service.wording.trade_words import CHECKS, METHODS, named
from service.wording.words import Language, Words

AGAIN = timedelta(hours=1)
_DOT = " · "


def written(days: Days, language: Language, base: str) -> bytes:
    """A calendar of what was found, with links to the pages at `base`."""
    shown = shown_to(language)
    words = shown.words
    names = shown.listed(days.names.values()) or words.gettext("no site")
    about = words.gettext(
        "What is due at %(sites)s. Mails remind; a calendar shows, as often as its program asks.",
        sites=names,
    )
    if len(days.rows) >= MOST:
        about += " " + words.gettext("Only the %(number)s nearest entries are shown.", number=MOST)
    entries = [_late(one, days, shown, base) for one in days.late]
    entries += [_entry(row, words, days, base) for row in days.rows]
    name = f"graftlog{_DOT}{names}"
    return calendar_text(name, about, entries, language=language, again=AGAIN)


def mark(days: Days, language: Language, base: str) -> bytes:
    """What is the same for as long as `written` gives the same: to spare the writing."""
    rows = [(row["key"], row["sequence"], row["changed_at"]) for row in days.rows]
    return repr((VERSION, language, base, days.names, days.zones, days.late, rows)).encode()


def _entry(row: asyncpg.Record, words: Words, days: Days, base: str) -> Entry:
    summary, details, link = _SAID[row["kind"]](row, words)
    if row["ended"]:
        summary = words.gettext("Over: %(what)s", what=summary)
    return Entry(
        uid=_uid(row["key"]),
        sequence=row["sequence"],
        changed_at=row["changed_at"],
        first=row["first_day"],
        last=row["last_day"],
        summary=summary,
        description="\n".join(details),
        url=base + link,
        location=_where(row["place"], days.names.get(row["site"], row["site"])),
        cancelled=row["ended"],
    )


def _late(late: Late, days: Days, shown: Shown, base: str) -> Entry:
    """One entry a site for all that is overdue: it stands on today, where people look."""
    words = shown.words
    summary = words.ngettext("%(num)s check late", "%(num)s checks late", late.checks)
    detail = words.ngettext("At %(num)s table.", "At %(num)s tables.", late.places)
    longest = shown.late(late.days_late, late.due_on, late.day)
    detail += " " + words.gettext("The longest: %(late)s.", late=longest)
    return Entry(
        uid=_uid(f"late/{late.site}"),
        # It moves on by a day each day, and its count is of now.
        sequence=late.day.toordinal(),
        changed_at=datetime.combine(late.day, datetime.min.time(), zone(days.zones.get(late.site))),
        first=late.day,
        last=late.day,
        summary=summary,
        description=detail,
        url=f"{base}/round?site={late.site}",
        location=days.names.get(late.site),
    )


def _check(row: asyncpg.Record, words: Words) -> tuple[str, list[str], str]:
    what = _capital(named(words, row["what"], CHECKS))
    trees = words.ngettext("%(num)s tree", "%(num)s trees", row["count"])
    lot = [] if row["subject"] == row["place"] else [row["subject"]]
    details = [words.gettext("Lot %(code)s", code=code) for code in lot]
    if row["cultivar"]:
        details.append(_stock(row, words))
    return _DOT.join([what, row["place"], *lot, trees]), details, f"/table/{row['place']}"


def _work_order(row: asyncpg.Record, words: Words) -> tuple[str, list[str], str]:
    trees = words.ngettext("Graft %(num)s tree", "Graft %(num)s trees", row["count"])
    details = [_stock(row, words)]
    if row["what"]:
        details.append(_capital(named(words, row["what"], METHODS)))
    where = f"/round?site={row['site']}"
    return _DOT.join([trees, row["subject"]]), details, where


def _reservation(row: asyncpg.Record, words: Words) -> tuple[str, list[str], str]:
    if row["what"].startswith("buds/"):
        ready = words.ngettext("Hand over %(num)s bud", "Hand over %(num)s buds", row["count"])
    else:
        ready = words.ngettext("Hand over %(num)s tree", "Hand over %(num)s trees", row["count"])
    details = [_stock(row, words)] if row["cultivar"] else []
    where = f"/can-be-sold?site={row['site']}"
    return _DOT.join([ready, row["subject"]]), details, where


def _bag(row: asyncpg.Record, words: Words) -> tuple[str, list[str], str]:
    buds = words.ngettext("%(num)s bud", "%(num)s buds", row["count"])
    said = words.gettext("Last day to use bag %(code)s", code=row["subject"])
    details = [row["cultivar"]] if row["cultivar"] else []
    return _DOT.join([said, buds]), details, f"/bag/{row['subject']}"


_SAID: dict[str, Any] = {
    "check": _check,
    "work_order": _work_order,
    "reservation": _reservation,
    "bag": _bag,
}


def _stock(row: asyncpg.Record, words: Words) -> str:
    if not row["rootstock"]:
        return row["cultivar"] or ""
    return words.gettext(
        "%(cultivar)s on %(rootstock)s", cultivar=row["cultivar"], rootstock=row["rootstock"]
    )


def _where(place: str | None, site: str) -> str:
    return f"{place}, {site}" if place else site


def _uid(key: str) -> str:
    """Hangs on what an entry is about, so every process finds the same."""
    return f"{blake2b(key.encode(), digest_size=16).hexdigest()}@graftlog"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
