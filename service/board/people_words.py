"""Roles of people in words."""

from service.log.people import Person, covers
from service.log.rights import EVERY_SITE, ROLES, Principal
from service.wording.shown import Shown
from service.wording.words import Words, phrase

NAMES = {
    "recorder": phrase("Grafter or helper: reads and records"),
    "site-manager": phrase("Manager: also orders, sales, corrections and people"),
    "sales": phrase("Sales: reads, reserves and sells"),
    "auditor": phrase("Reader: reads only"),
    "administrator": phrase("Administrator: everything but history"),
    "monitor": phrase("Monitor: figures of the service alone"),
    "history": phrase("History: takes in records of the past"),
}


def role_in_words(words: Words, person: Person) -> str:
    """What a person may do."""
    return words.gettext(NAMES[person.role]) if person.role else words.gettext("Chosen rights")


def where_in_words(words: Words, shown: Shown, person: Person, names: dict[str, str]) -> str:
    """Where a person works: sites by their `names`, those of no name here by code."""
    if EVERY_SITE in person.sites:
        return words.gettext("Every site")
    return shown.listed(names.get(code, code) for code in person.sites)


def roles_to_give(words: Words, giver: Principal) -> list[tuple[str, str]]:
    """The roles that hold no more than the giver may do, with their words."""
    return [
        (role, words.gettext(said))
        for role, said in NAMES.items()
        if covers(giver, Principal("", frozenset(ROLES[role]), frozenset()))
    ]
