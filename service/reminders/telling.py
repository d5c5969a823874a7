"""An alert as people read it, in their own language: made of its kind and numbers.

What is stored with an alert (`detail`) is an English sentence for programs. A kind that has no
words here is shown with that.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from typing import Any, NamedTuple
from urllib.parse import quote

from service.reminders import raising
from service.reminders.alerts import AlertRow
from service.wording.shown import Shown
from service.wording.trade_words import CHECKS, named
from service.wording.words import Words, phrase


class Told(NamedTuple):
    """What is the matter in a few words, and in a sentence or two. Text, no markup."""

    title: str
    detail: str


KINDS: Mapping[str, str] = {
    raising.OVERDUE: phrase("Overdue check"),
    raising.NOT_LOOKED_AT: phrase("Not looked at"),
    raising.FAULT: phrase("Something could not be worked out"),
    raising.PUT_RIGHT: phrase("To put right"),
    raising.SHORTFALL_RISK: phrase("A promise may not be kept"),
    raising.WEBHOOK_STOPPED: phrase("A webhook is stopped"),
    raising.MAIL_FAILED: phrase("A mail does not arrive"),
    raising.OUT_OF_RANGE: phrase("Too warm or too cold"),
    raising.FROST: phrase("Frost ahead"),
    raising.EXPIRING: phrase("Budwood to use soon"),
    raising.SILENT: phrase("A logger is silent"),
    "breach": phrase("A rule was broken"),
    "shortfall": phrase("More promised than there is"),
    "count_differs": phrase("A count differs from the book"),
    "consignment_differs": phrase("A consignment differs"),
    "old_budwood": phrase("Old budwood was grafted"),
    "short_bag": phrase("A bag is short of buds"),
    "sold_meanwhile": phrase("Sold before a hold was known"),
    "unusual_take": phrase("Few of them took"),
    "outside_reservation": phrase("Handed over outside a reservation"),
}

_RULES: Mapping[str, str] = {
    "held": phrase("It was done although a hold forbids it."),
    "far_from_book": phrase("What was counted is far from the book."),
    "other_customer": phrase("It was reserved for another customer."),
    "source_expired": phrase("The source tree's registration had ended."),
    "other_source": phrase("It was grafted again with wood of another source."),
    "returns_not_allowed": phrase("The site takes no trees back."),
    "may_not_be_sent": phrase("By a rule of the nursery it may not be sent there."),
    "retired": phrase("The entry is retired in the catalogue."),
}

_WHY_STOPPED: Mapping[str, str] = {
    "gone": phrase("its receiver wants no more"),
    "exhausted": phrase("a message did not arrive in three days"),
    "key_gone": phrase("no live key of its owner sees its sites"),
    "secret_unreadable": phrase("the key that its secret was kept with is lost"),
}


def kind_in_words(words: Words, kind: str) -> str:
    """What a kind of alert is called; a kind without words by its name."""
    return words.gettext(KINDS[kind]) if kind in KINDS else kind.replace("_", " ")


def page_of(alert: AlertRow) -> str | None:
    """The page of what it is about, as a path: what waits, a bag, table or lot; None: of none."""
    if alert.kind == raising.PUT_RIGHT:
        return "/put-right"
    bag = alert.subject if alert.kind == raising.EXPIRING else alert.numbers.get("bag")
    if isinstance(bag, str):
        return f"/bag/{quote(bag, safe='')}"
    if alert.place:
        return f"/table/{quote(alert.place, safe='')}"
    return f"/lot/{quote(alert.lot, safe='')}" if alert.lot else None


def alert_in_words(shown: Shown, alert: AlertRow, today: date) -> Told:
    """The alert for one person; `today` is the day at its site."""
    words = shown.words
    title = kind_in_words(words, alert.kind)
    if alert.kind == raising.OVERDUE and alert.check:
        title = _capital(named(words, alert.check, CHECKS))
    say = _SENTENCES.get(alert.kind)
    try:
        detail = say(_Facts(shown, alert, today)) if say else alert.detail
    except (KeyError, TypeError, ValueError):
        # An alert of an older version that said less.
        detail = alert.detail
    return Told(title, detail)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


class _Facts(NamedTuple):
    """What a sentence is made of."""

    shown: Shown
    alert: AlertRow
    today: date

    @property
    def numbers(self) -> dict[str, Any]:
        return self.alert.numbers

    def gettext(self, text: str, /, **values: object) -> str:
        return self.shown.words.gettext(text, **values)

    def number(self, name: str) -> str:
        return self.shown.number(self.numbers[name])

    @property
    def due(self) -> date:
        """The day that it is about. Raises ValueError when there is none."""
        if self.alert.due_on is None:
            raise ValueError("an alert of no day")
        return self.alert.due_on

    @property
    def thing(self) -> str:
        """The bag or lot, and where."""
        what = _thing(self.alert)
        if self.alert.place and self.alert.place != what:
            return self.gettext("%(what)s at %(place)s", what=what, place=self.alert.place)
        return what


def _thing(alert: AlertRow) -> str:
    return alert.numbers.get("bag") or alert.lot or alert.place or alert.subject or alert.site or ""


def _late(one: _Facts) -> str:
    """How late it is: since it became overdue, which its day to be done is not."""
    overdue_on = date.fromisoformat(one.numbers["overdue_on"])
    return one.shown.late((one.today - overdue_on).days + 1, one.due, one.today)


def _overdue(one: _Facts) -> str:
    trees = int(one.numbers["trees"])
    count = one.shown.words.ngettext("%(num)s tree", "%(num)s trees", trees)
    return one.gettext(
        "Lot %(lot)s at %(place)s, %(trees)s: %(late)s.",
        lot=one.alert.lot,
        place=one.alert.place,
        trees=count,
        late=_late(one),
    )


def _not_looked_at(one: _Facts) -> str:
    return one.gettext(
        "Nobody has noted a look at %(place)s: %(late)s.", place=one.alert.place, late=_late(one)
    )


def _differs(one: _Facts) -> str:
    numbers = one.numbers
    counted = numbers["counted"] if "counted" in numbers else numbers["seen"]
    return one.gettext(
        "%(thing)s: counted %(counted)s, the book had %(book)s.",
        thing=one.thing,
        counted=one.shown.number(counted),
        book=one.number("book"),
    )


def _consignment(one: _Facts) -> str:
    return one.gettext(
        "%(thing)s: sent %(sent)s, arrived %(arrived)s, dead %(dead)s.",
        thing=one.thing,
        sent=one.number("sent"),
        arrived=one.number("arrived"),
        dead=one.number("dead"),
    )


def _old_budwood(one: _Facts) -> str:
    return one.gettext(
        "Bag %(bag)s was %(age)s days old; such budwood keeps about %(keeps)s days.",
        bag=one.numbers["bag"],
        age=one.number("age_days"),
        keeps=one.number("keeps_days"),
    )


def _short_bag(one: _Facts) -> str:
    return one.gettext(
        "Bag %(bag)s holds %(buds)s buds; at least %(norm)s are usual here.",
        bag=one.numbers["bag"],
        buds=one.number("buds"),
        norm=one.number("norm"),
    )


def _take(one: _Facts) -> str:
    alive, read = int(one.numbers["alive"]), int(one.numbers["read"])
    return one.gettext(
        "Lot %(lot)s: %(alive)s of %(read)s took (%(share)s). Below %(low)s is rare.",
        lot=one.numbers["lot"],
        alive=one.shown.number(alive),
        read=one.shown.number(read),
        share=one.shown.share(alive / read if read else 0),
        low=one.shown.share(int(one.numbers["usual_above_percent"]) / 100),
    )


def _item(one: _Facts) -> str:
    """The item of a claim in plain words: `NAVEL/CARRIZO/L2` as it stands in the books."""
    return str(one.numbers.get("item") or one.numbers.get("lot") or one.alert.subject)


def _shortfall(one: _Facts) -> str:
    there = one.numbers["ready"] if "ready" in one.numbers else one.numbers["foreseen"]
    return one.gettext(
        "%(item)s: %(promised)s are promised, %(there)s can be counted on.",
        item=_item(one),
        promised=one.number("promised"),
        there=one.shown.number(there),
    )


def _risk(one: _Facts) -> str:
    by = date.fromisoformat(one.numbers["by"])
    hundred = max(1, round(100 * one.numbers["probability"]))
    return one.gettext(
        "%(item)s: about %(hundred)s in 100 that the %(promised)s promised by %(day)s will not all "
        "be there. It is an estimate.",
        item=_item(one),
        hundred=hundred,
        promised=one.number("promised"),
        day=one.shown.day(by, today=one.today),
    )


def _breach(one: _Facts) -> str:
    what = one.gettext(_RULES[one.numbers["rule"]])
    told = one.gettext("%(thing)s: %(what)s", thing=one.thing, what=what) if one.thing else what
    if "hold" in one.numbers:
        told += " " + one.gettext("Hold %(hold)s.", hold=one.numbers["hold"])
    return told


def _sold_meanwhile(one: _Facts) -> str:
    # Of the sales themselves a hundred are kept at most.
    count = int(one.numbers["count"])
    return one.shown.words.ngettext(
        "%(num)s was sold before the hold was known. Follow your plant-health authority's rules on "
        "what to do.",
        "%(num)s were sold before the hold was known. Follow your plant-health authority's rules "
        "on what to do.",
        count,
    )


def _outside(one: _Facts) -> str:
    return one.gettext(
        "%(count)s handed over outside reservation %(reservation)s.",
        count=one.number("outside"),
        reservation=one.numbers["reservation"],
    )


def _out_of_range(one: _Facts) -> str:
    return one.gettext(
        "%(sensor)s: %(worst)s; %(range)s. Since %(since)s.",
        sensor=_sensor(one),
        worst=one.shown.temperature(one.numbers["worst_c"], 1),
        range=_range(one, one.numbers["lowest_c"], one.numbers["highest_c"]),
        since=_moment(one, one.numbers["since"]),
    )


def _range(one: _Facts, lowest: float | None, highest: float | None) -> str:
    low = "" if lowest is None else one.shown.temperature(lowest, 1)
    high = "" if highest is None else one.shown.temperature(highest, 1)
    if low and high:
        return one.gettext("it should be %(lowest)s to %(highest)s", lowest=low, highest=high)
    if low:
        return one.gettext("it should be %(lowest)s at least", lowest=low)
    return one.gettext("it should be %(highest)s at most", highest=high)


def _sensor(one: _Facts) -> str:
    place = f" ({one.alert.place})" if one.alert.place else ""
    return f"{one.alert.subject}{place}"


def _silent(one: _Facts) -> str:
    if one.numbers["since"] is None:
        return one.gettext(
            "%(sensor)s was never heard: nobody knows how warm it is there.", sensor=_sensor(one)
        )
    return one.gettext(
        "%(sensor)s is silent since %(since)s: nobody knows how warm it is there.",
        sensor=_sensor(one),
        since=_moment(one, one.numbers["since"]),
    )


def _moment(one: _Facts, text: str) -> str:
    at = datetime.fromisoformat(text)
    return one.shown.moment(at, at.tzinfo or UTC, today=one.today)


def _frost(one: _Facts) -> str:
    return one.gettext(
        "%(cold)s is foretold for %(day)s (%(source)s).",
        cold=one.shown.temperature(one.numbers["min_c"], 1),
        day=one.shown.day(one.due, today=one.today),
        source=one.numbers["source"],
    )


def _expiring(one: _Facts) -> str:
    return one.gettext(
        "%(buds)s buds in bag %(bag)s at %(place)s: use by %(day)s. A look at the wood decides.",
        buds=one.number("buds"),
        bag=one.alert.subject,
        place=one.alert.place,
        day=one.shown.day(one.due, today=one.today),
    )


def _put_right(one: _Facts) -> str:
    return one.gettext("Something was sent that the log refused; it waits to be put right.")


def _webhook(one: _Facts) -> str:
    return one.gettext(
        "The webhook %(code)s is stopped: %(why)s. What is recorded waits for it until it is "
        "resumed.",
        code=one.alert.subject,
        why=one.gettext(_WHY_STOPPED[one.numbers["because"]]),
    )


def _fault(one: _Facts) -> str:
    return one.gettext("%(what)s could not be worked out; what is shown of it may be old.",
                   what=one.alert.subject)  # fmt: skip


def _mail(one: _Facts) -> str:
    if one.alert.subject:
        return one.gettext(
            "Mails to %(person)s do not arrive. Is the address right?",
            person=one.alert.subject,
        )
    return one.gettext("Reminders can't be sent by mail: the mail server does not take them.")


_SENTENCES: dict[str, Callable[[_Facts], str]] = {
    raising.OVERDUE: _overdue,
    raising.NOT_LOOKED_AT: _not_looked_at,
    raising.FAULT: _fault,
    raising.PUT_RIGHT: _put_right,
    raising.SHORTFALL_RISK: _risk,
    raising.WEBHOOK_STOPPED: _webhook,
    raising.MAIL_FAILED: _mail,
    raising.OUT_OF_RANGE: _out_of_range,
    raising.SILENT: _silent,
    raising.FROST: _frost,
    raising.EXPIRING: _expiring,
    "breach": _breach,
    "shortfall": _shortfall,
    "count_differs": _differs,
    "consignment_differs": _consignment,
    "old_budwood": _old_budwood,
    "short_bag": _short_bag,
    "sold_meanwhile": _sold_meanwhile,
    "unusual_take": _take,
    "outside_reservation": _outside,
}
