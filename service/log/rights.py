"""Who may do what at which sites."""

import msgspec

READ = "read"
EVENTS = "events:write"
CATALOGUE = "catalogue:write"
RESERVATIONS = "reservations:write"
SALES = "sales:write"
# To promise otherwise than the forecast says: the owner's.
OVERRIDES = "promises:override"
CORRECTIONS = "corrections:write"
ORDERS = "orders:write"
# How many grafts of each person took: of people, so not everybody's to read.
GRAFTERS = "grafters:read"
CONTACTS_READ = "contacts:read"
CONTACTS = "contacts:write"
# To let people in, with no more than one has oneself.
PEOPLE_MANAGE = "people:manage"
METRICS = "metrics:read"
# To have what its holder sees sent to an address.
WEBHOOKS = "webhooks:manage"
HISTORY = "history"
ADMIN = "admin"

_MANAGING = (READ, EVENTS, CATALOGUE, ORDERS, RESERVATIONS, SALES, CORRECTIONS)
_PEOPLE = (GRAFTERS, CONTACTS_READ, CONTACTS, PEOPLE_MANAGE)
SCOPES = (*_MANAGING, OVERRIDES, *_PEOPLE, WEBHOOKS, METRICS, HISTORY, ADMIN)

# Ready-made sets for `graftlog keys create --role`.
ROLES: dict[str, tuple[str, ...]] = {
    "recorder": (READ, EVENTS),
    "site-manager": (*_MANAGING, *_PEOPLE, WEBHOOKS),
    "sales": (READ, RESERVATIONS, SALES, CONTACTS_READ, WEBHOOKS),
    "auditor": (READ,),
    "administrator": (*_MANAGING, OVERRIDES, *_PEOPLE, WEBHOOKS, METRICS, ADMIN),
    "monitor": (METRICS,),
    "history": (*_MANAGING, OVERRIDES, HISTORY),
}

EVERY_SITE = "*"


class Principal(msgspec.Struct, frozen=True):
    """The holder of a key: a stable name, its scopes, and its sites (`*` for all)."""

    name: str
    scopes: frozenset[str]
    sites: frozenset[str]

    def may(self, scope: str) -> bool:
        return scope in self.scopes

    def sees(self, site: str) -> bool:
        return EVERY_SITE in self.sites or site in self.sites

    @property
    def site_list(self) -> list[str] | None:
        """The sites to filter by, or None for every site."""
        return None if EVERY_SITE in self.sites else sorted(self.sites)


def sites_set(said: list[str] | None, present: list[str] | None, principal: Principal) -> list[str]:
    """The sites of a thing from now on: those said, else those it has, else those that are seen."""
    if said is not None:
        return sorted(set(said))
    if present is not None:
        return present
    return principal.site_list or [EVERY_SITE]


def sees_of(set_for: list[str], owner_sees: list[str] | None) -> frozenset[str] | None:
    """The sites that something is told of now (None: all): what it was set for, as far as its
    owner sees."""
    theirs = frozenset(owner_sees or ())
    if EVERY_SITE in set_for:
        return None if EVERY_SITE in theirs else theirs
    return frozenset(set_for) if EVERY_SITE in theirs else theirs & frozenset(set_for)


NOBODY = Principal(name="", scopes=frozenset(), sites=frozenset())

_SCOPE_OF_TYPE = {
    "catalogue.changed": CATALOGUE,
    "grafting.ordered": ORDERS,
    "grafting.order_changed": ORDERS,
    "grafting.order_ended": ORDERS,
    "reservation.made": RESERVATIONS,
    "reservation.changed": RESERVATIONS,
    "reservation.confirmed": RESERVATIONS,
    "reservation.expired": RESERVATIONS,
    "reservation.released": RESERVATIONS,
    "promise.overridden": OVERRIDES,
    "promise.override_ended": OVERRIDES,
    "budwood.sold": SALES,
    "trees.sold": SALES,
    "trees.returned": SALES,
    "papers.printed": SALES,
    "event.voided": CORRECTIONS,
    "hold.lifted": CORRECTIONS,
}


def scope_for(event_type: str) -> str:
    """The scope that recording an event of this type asks for."""
    return _SCOPE_OF_TYPE.get(event_type, EVENTS)
