"""What a mail says: a letter in parts and lines, each a text in the person's language.

The same letter is laid out as plain text and as HTML, so that neither says more than the other.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Literal

import msgspec

from service.reminders.alerts import AlertRow
from service.reminders.mail.addresses import Ways
from service.reminders.mail.gathering import SiteMorning, SiteOf
from service.reminders.morning_shapes import Morning
from service.reminders.telling import alert_in_words, kind_in_words
from service.views.closed_houses import ClosedHouse
from service.wording.shown import Shown
from service.wording.trade_words import CHECKS, named

MOST_LINES, MOST_PLACES = 25, 10
# Of many alerts of a kind so many are told, the newest; the rest is a link.
NEWEST = 3
What = Literal["digest", "urgent", "escalation"]


class Line(msgspec.Struct, frozen=True):
    """One thing: what, more of it, where to look, and where to say that it was seen.

    `title` is empty where the section's heading says it.
    """

    title: str
    detail: str = ""
    look: str | None = None
    answer: str | None = None


class Section(msgspec.Struct, frozen=True):
    """Lines of one sort. `care`: a caution that goes with them. `marked`: it wants somebody."""

    heading: str
    lines: list[Line]
    care: str = ""
    marked: bool = False


class Part(msgspec.Struct, frozen=True):
    """What is told of one site."""

    heading: str
    sections: list[Section]
    link: str | None = None


class Letter(msgspec.Struct, frozen=True):
    """A whole mail, but for its frame. `waits`: something in it is to be done or minded today."""

    what: What
    subject: str
    opening: str
    parts: list[Part]
    waits: bool = True


def digest(shown: Shown, mornings: Sequence[SiteMorning], today: date, ways: Ways) -> Letter:
    """The morning's letter; `today` is the person's day, for what is of no single site."""
    words = shown.words
    parts = [_morning_part(shown, one, today, ways) for one in mornings]
    first = next((one.site for one in mornings if one.site), None)
    alerts = sum(len(one.alerts) for one in mornings)
    due = sum(len(one.due) for one in mornings)
    told = [
        words.ngettext("%(num)s alert", "%(num)s alerts", alerts) if alerts else "",
        words.ngettext("%(num)s check due", "%(num)s checks due", due) if due else "",
    ]
    day = first.today if first else today
    subject = words.gettext(
        "%(sites)s, %(day)s: %(what)s",
        sites=shown.listed(one.site.name for one in mornings if one.site) or "graftlog",
        day=shown.day(day, today=day),
        what=", ".join(filter(None, told)) or words.gettext("nothing waits in the book"),
    )
    waits = any(one.wants_somebody for one in mornings)
    return Letter("digest", subject, shown.long_day(day), parts, waits)


def urgent(shown: Shown, found: Sequence[tuple[SiteOf | None, AlertRow]], today: date,
           ways: Ways) -> Letter:  # fmt: skip
    """What can't wait for the morning."""
    subject, parts = _told_by_site(shown, found, today, ways)
    return Letter("urgent", subject, shown.words.gettext("This was noted just now."), parts)


def escalation(
    shown: Shown, site: SiteOf, found: Sequence[AlertRow], hours: int, ways: Ways
) -> Letter:
    """What nobody at a site has seen to for so many hours."""
    words = shown.words
    _, parts = _told_by_site(shown, [(site, one) for one in found], site.today, ways)
    subject = words.ngettext(
        "%(site)s: %(num)s alert that nobody has seen to",
        "%(site)s: %(num)s alerts that nobody has seen to",
        len(found),
        site=site.name,
    )
    opening = words.ngettext(
        "For more than %(num)s hour nobody has noted that it was seen. You are named for that.",
        "For more than %(num)s hours nobody has noted that it was seen. You are named for that.",
        hours,
    )
    return Letter("escalation", subject, opening, parts)


def _told_by_site(
    shown: Shown, found: Sequence[tuple[SiteOf | None, AlertRow]], today: date, ways: Ways
) -> tuple[str, list[Part]]:
    """The subject, and a part for each site."""
    by_site: dict[str, tuple[SiteOf | None, list[AlertRow]]] = {}
    for site, alert in found:
        by_site.setdefault(site.code if site else "", (site, []))[1].append(alert)
    parts, titles = [], []
    for site, alerts in by_site.values():
        here = site.today if site else today
        title = alert_in_words(shown, alerts[0], here).title
        titles.append(f"{site.name}: {title}" if site else title)
        sections = _alert_sections(shown, alerts, here, ways)
        parts.append(Part(_name(shown, site), sections, ways.round(site.code) if site else None))
    more = len(found) - len(titles)
    subject = "; ".join(titles[:2])
    if more > 0:
        subject += " " + shown.words.ngettext("and %(num)s more", "and %(num)s more", more)
    return subject, parts


def _name(shown: Shown, site: SiteOf | None) -> str:
    return site.name if site else shown.words.gettext("Of several sites")


def _morning_part(shown: Shown, one: SiteMorning, today: date, ways: Ways) -> Part:
    here = one.site.today if one.site else today
    words, sections = shown.words, []
    if one.round and one.round.closed_houses:
        sections.append(_closed(shown, one.round))
    sections += _alert_sections(shown, one.alerts, here, ways)
    if one.due:
        lines = [_due_line(shown, *due) for due in one.due]
        sections.append(Section(words.gettext("Due today"), lines))
    if one.round:
        sections += _ahead(shown, one.round)
    if not one.wants_somebody:
        nothing = Line(words.gettext("Nothing waits in the book."), words.gettext(
            "What nobody recorded is not in it."))  # fmt: skip
        sections.insert(0, Section("", [nothing]))
    link = ways.round(one.site.code) if one.site else None
    return Part(_name(shown, one.site), sections, link)


def _alert_sections(
    shown: Shown, alerts: Sequence[AlertRow], today: date, ways: Ways
) -> list[Section]:
    """Alerts by kind, that of the most urgent first; `alerts` are in order of urgency."""
    by_kind: dict[str, list[AlertRow]] = {}
    for alert in alerts:
        by_kind.setdefault(alert.kind, []).append(alert)
    return [_of_kind(shown, kind, found, today, ways) for kind, found in by_kind.items()]


def _of_kind(
    shown: Shown, kind: str, alerts: Sequence[AlertRow], today: date, ways: Ways
) -> Section:
    """How many there are, the newest of them, and the way to the rest."""
    title = heading = kind_in_words(shown.words, kind)
    if len(alerts) > 1:
        heading = f"{title}: {shown.number(len(alerts))}"
    newest = sorted(alerts, key=lambda one: one.raised_at, reverse=True)
    lines: dict[Line, Line] = {}
    for alert in newest[:NEWEST]:
        told = alert_in_words(shown, alert, today)
        line = Line("" if told.title == title else told.title, told.detail, ways.thing(alert))
        # Two that say the same are told once.
        answer = ways.alert(alert.id)
        lines.setdefault(line, msgspec.structs.replace(line, answer=answer))
    more = len(alerts) - len(lines)
    if more > 0:
        text = shown.words.ngettext("and %(num)s more", "and %(num)s more", more)
        lines[Line(text)] = Line(text, look=ways.of_kind(kind))
    return Section(heading, list(lines.values()), marked=True)


def _closed(shown: Shown, told: Morning) -> Section:
    words = shown.words
    care = words.gettext(
        "No entry: it counts from the end of the application and closes the whole house. The label "
        "and local rules decide."
    )
    return Section(
        words.gettext("Closed houses"),
        [_house(shown, told, house) for house in told.closed_houses],
        care,
        marked=True,
    )


def _house(shown: Shown, told: Morning, house: ClosedHouse) -> Line:
    words = shown.words
    products = shown.listed(dict.fromkeys(one.product for one in house.treatments))
    if house.until is None or house.until.tzinfo is None:
        text = words.gettext(
            "No re-entry interval was recorded (%(products)s): ask whoever applied it, and read "
            "the label.",
            products=products,
        )
        return Line(house.structure, text)
    until = shown.moment(house.until, house.until.tzinfo, today=told.today)
    text = words.gettext("until %(moment)s (%(products)s)", moment=until, products=products)
    if house.unsaid:
        text += ". " + words.gettext("Of another treatment no re-entry interval was recorded.")
    return Line(house.structure, text)


def _due_line(shown: Shown, check: str, places: Sequence[str], trees: int) -> Line:
    words = shown.words
    name = named(words, check, CHECKS)
    told = list(places[:MOST_PLACES])
    more = len(places) - len(told)
    if more > 0:
        told.append(words.ngettext("%(num)s more", "%(num)s more", more))
    return Line(name[:1].upper() + name[1:], f"{shown.listed(told)} · {_trees(shown, trees)}")


def _trees(shown: Shown, count: int) -> str:
    return shown.words.ngettext("%(number)s tree", "%(number)s trees", count,
                                number=shown.number(count))  # fmt: skip


def _ahead(shown: Shown, told: Morning) -> list[Section]:
    """What comes this week, grafting still to do, what was done yesterday."""
    words, sections, lines = shown.words, [], []
    for one in told.coming[:MOST_LINES]:
        text = words.ngettext("%(num)s place, %(trees)s", "%(num)s places, %(trees)s", one.places,
                              trees=_trees(shown, one.trees))  # fmt: skip
        day = shown.day(one.day, today=told.today)
        lines.append(Line(day, f"{named(words, one.check, CHECKS)} · {text}"))
    ahead = told.grafting
    if ahead.late:
        orders = words.ngettext("%(num)s work order late", "%(num)s work orders late", ahead.late)
        lines.append(
            Line(words.gettext("Grafting"), f"{orders} · {_trees(shown, ahead.late_trees)}")
        )
    if ahead.this_week:
        orders = words.ngettext(
            "%(num)s work order this week", "%(num)s work orders this week", ahead.this_week
        )
        trees = _trees(shown, ahead.this_week_trees)
        lines.append(Line(words.gettext("Grafting"), f"{orders} · {trees}"))
    if lines:
        sections.append(Section(words.gettext("This week"), lines))
    done = [one for one in told.done if one.day == told.today - timedelta(days=1)]
    if done:
        text = words.ngettext(
            "%(num)s entry by %(people)s", "%(num)s entries by %(people)s",
            sum(one.entries for one in done),
            people=shown.listed(sorted({one.person for one in done})),
        )  # fmt: skip
        sections.append(Section(words.gettext("Done yesterday"), [Line(text)]))
    return sections
