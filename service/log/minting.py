"""Codes that a group leaves to the service: the next ones that nobody chose."""

from collections.abc import Collection, Sequence
from typing import Any

from service.storage.pool import Connection
from service.storage.sql import load
from service.trade import codes
from service.trade.units import Incoming

SQL = load(__package__, "append.sql")
# Where the search for codes that nobody chose gives up.
MOST_AHEAD = 1_000_000


async def codes_to_mint(
    connection: Connection, group: Sequence[Incoming], start: int, named: Collection[str]
) -> tuple[list[str], int]:
    """As many free codes as the group's events need, none of those `named` in it; and the number
    of the next code to mint."""
    wanted = sum(_mints(incoming.event) for incoming in group)
    fresh: list[str] = []
    # Somebody may have chosen codes of the minted form, or another node's log was taken over that
    # minted the same ones: go on until there are enough.
    more = wanted + 4
    while len(fresh) < wanted and more <= MOST_AHEAD:
        ahead = [codes.mint(start + n) for n in range(more)]
        start += more
        taken = {row["code"] for row in await connection.fetch(SQL.taken_codes, ahead)}
        fresh += [code for code in ahead if code not in taken and code not in named]
        more *= 2
    return fresh, start


_MINTED = {
    "budwood.cut": ("lot",),
    "budwood.received": ("lot",),
    "scions.prepared": ("into",),
    "liners.received": ("lot",),
    "trees.received": ("lot",),
    "trees.grafted": ("lot",),
    "trees.regrafted": ("lot",),
    "label.lost": ("lot", "hold"),
    "consignment.sent": ("consignment",),
    "reservation.made": ("reservation",),
    "promise.overridden": ("override",),
    "grafting.ordered": ("work_order",),
    "hold.placed": ("hold",),
}


def _mints(event: Any) -> int:
    """How many codes the event leaves to the service."""
    data = event.data
    wanted = sum(
        1
        for name in _MINTED.get(str(event.__struct_config__.tag), ())
        if getattr(data, name) is None
    )
    bags = getattr(data, "bags", None) or [
        bag for line in getattr(data, "lines", None) or () for bag in getattr(line, "bags", ())
    ]
    return wanted + sum(1 for fill in bags if fill.bag is None)
