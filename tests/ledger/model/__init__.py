"""A plain model of the ledger, to hold the service against. Nothing is shared with it."""

from tests.ledger.model import (
    growing,
    holding,
    incoming,
    ordering,
    overriding,
    reserving,
    selling,
    travelling,
)
from tests.ledger.model.ledger import Ledger
from tests.ledger.model.words import TELL, Account, Site, Verdict

__all__ = [
    "TELL",
    "Account",
    "Ledger",
    "Site",
    "Verdict",
    "growing",
    "holding",
    "incoming",
    "ordering",
    "overriding",
    "reserving",
    "selling",
    "travelling",
]
