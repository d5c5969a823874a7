"""Roles of people in words."""

from service.log.people import Person, covers
from service.log.rights import ROLES, Principal
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


def roles_to_give(words: Words, giver: Principal) -> list[tuple[str, str]]:
    """The roles that hold no more than the giver may do, with their words."""
    return [
        (role, words.gettext(said))
        for role, said in NAMES.items()
        if covers(giver, Principal("", frozenset(ROLES[role]), frozenset()))
    ]
