"""Where the pages are: what the bar at the edge names, and everything in words."""

from typing import NamedTuple

from service.log.rights import EVENTS, PEOPLE_MANAGE, READ, Principal
from service.wording.words import Words, phrase


class Way(NamedTuple):
    """A page of its own: address, name, what it answers, and who may look.

    `bar`: named on a telephone's bar; `wide`: only where there is room for it.
    """

    href: str
    name: str
    words: str
    scope: str
    bar: str = ""


WAYS = (
    Way("/round", phrase("Round"), phrase("What must be looked at today, by table"), READ, "bar"),
    Way("/find", phrase("Find"), phrase("A table, lot or bag by its code"), READ, "bar"),
    Way("/evening", phrase("Sheets"), phrase("The day's sheets, typed from paper"), EVENTS, "wide"),
    Way("/stock", phrase("Stock"), phrase("What is on hand, today or on any day"), READ, "bar"),
    Way("/ready", phrase("Ready"), phrase("When trees will be ready, and how many"), READ, "bar"),
    Way(
        "/can-be-sold",
        phrase("Can be sold"),
        phrase("How many can be promised by when, and how surely"),
        READ,
        "wide",
    ),
    Way("/take", phrase("Take"), phrase("Which methods, stocks and hands take"), READ, "wide"),
    Way("/push", phrase("Push"), phrase("How soon buds push, by method and season"), READ, "wide"),
    Way("/bags", phrase("Bags"), phrase("Buds left, their age and use-by"), READ, "wide"),
    Way("/reminders", phrase("Reminders"), phrase("Alerts, and who is told"), READ, "wide"),
    Way("/tags", phrase("Tags"), phrase("Tags, labels and papers to print"), READ, "wide"),
    Way("/put-right", phrase("To put right"), phrase("What was refused, and waits"), EVENTS),
    Way("/cautions", phrase("Cautions"), phrase("Knives, bleach, treatments, finds"), ""),
    Way("/people", phrase("People"), phrase("Who signs in, and on which devices"), PEOPLE_MANAGE),
    Way("/me", phrase("My settings"), phrase("Language, units, devices, signing out"), ""),
)
MORE = Way("/more", phrase("More"), "", "", "bar")


def bar(principal: Principal, words: Words) -> list[tuple[str, str, bool]]:
    """Address, name and whether it needs room, of what the bar names for the principal."""
    named = [way for way in WAYS if way.bar and _may(principal, way)]
    return [(w.href, words.gettext(w.name), w.bar == "wide") for w in (*named, MORE)]


def everything(principal: Principal, words: Words) -> list[tuple[str, str, str]]:
    """Address, name and meaning of all pages that the principal may look at."""
    seen = [way for way in WAYS if _may(principal, way)]
    return [(w.href, words.gettext(w.name), words.gettext(w.words)) for w in seen]


def _may(principal: Principal, way: Way) -> bool:
    return not way.scope or principal.may(way.scope)
