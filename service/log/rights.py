"""Who may do what at which sites."""

import msgspec

READ = "read"
EVENTS = "events:write"
CATALOGUE = "catalogue:write"
RESERVATIONS = "reservations:write"
SALES = "sales:write"
CORRECTIONS = "corrections:write"
HISTORY = "history"
ADMIN = "admin"
SCOPES = (READ, EVENTS, CATALOGUE, RESERVATIONS, SALES, CORRECTIONS, HISTORY, ADMIN)

# Ready-made sets for `graftlog keys create --role`.
ROLES: dict[str, tuple[str, ...]] = {
    "recorder": (READ, EVENTS),
    "site-manager": (READ, EVENTS, CATALOGUE, RESERVATIONS, SALES, CORRECTIONS),
    "sales": (READ, RESERVATIONS, SALES),
    "auditor": (READ,),
    "administrator": (READ, EVENTS, CATALOGUE, RESERVATIONS, SALES, CORRECTIONS, ADMIN),
    "history": (READ, EVENTS, CATALOGUE, RESERVATIONS, SALES, CORRECTIONS, HISTORY),
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


_SCOPE_OF_TYPE = {
    "catalogue.changed": CATALOGUE,
    "reservation.made": RESERVATIONS,
    "reservation.changed": RESERVATIONS,
    "reservation.released": RESERVATIONS,
    "budwood.sold": SALES,
    "trees.sold": SALES,
    "trees.returned": SALES,
    "event.voided": CORRECTIONS,
    "hold.lifted": CORRECTIONS,
}


def scope_for(event_type: str) -> str:
    """The scope that recording an event of this type asks for."""
    return _SCOPE_OF_TYPE.get(event_type, EVENTS)
