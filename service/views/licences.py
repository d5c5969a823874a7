"""What is owed to the holders of rights in protected cultivars: counts, never advice.

Counted from the log's own events: graftings, sales and returns that were not voided, at the sites
that may be seen, by their site days.
"""

from datetime import date
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.storage.pool import Connection
from service.storage.sql import load

SQL = load(__package__, "licences.sql")
Counts = Literal["sold", "grafted"]


class LicensedCultivar(msgspec.Struct, frozen=True, kw_only=True):
    """A protected cultivar over the days asked for, in trees but for `buds_sold`."""

    cultivar: str
    epithet: str | None
    terms: str | None
    counts: Annotated[
        Counts | None,
        Meta(description="What the licence counts; null: the catalogue does not say."),
    ]
    grafted: Annotated[int, Meta(description="Grafts made, whatever became of them; regrafts too.")]
    sold: int
    returned: int
    buds_sold: Annotated[int, Meta(description="Told beside; no part of what is owed.")]
    owed: Annotated[
        int | None,
        Meta(
            description="By `counts`: sold less returned (below zero when more came back), or "
            "grafted. Null: not known what counts."
        ),
    ]


class Licence(msgspec.Struct, frozen=True, kw_only=True):
    """All protected cultivars of one holder. `owed`: of those of which it is known."""

    licence_holder: str
    owed: int
    owed_unknown: Annotated[
        list[str], Meta(description="Cultivars of which it is not known what counts.")
    ]
    cultivars: list[LicensedCultivar]


class Licences(msgspec.Struct, frozen=True, kw_only=True):
    """By holder, in the order of their references."""

    items: list[Licence]
    sold_unidentified: Annotated[
        int,
        Meta(
            description="Trees sold, less those returned, of which nobody can tell the cultivar: "
            "some may be of these."
        ),
    ]


async def licences(
    conn: Connection,
    sites: list[str] | None,
    *,
    first: date | None = None,
    last: date | None = None,
    site: str | None = None,
    holder: str | None = None,
) -> Licences:
    """Counts by holder and cultivar over site days, both included."""
    by_holder: dict[str, list[LicensedCultivar]] = {}
    unidentified = 0
    for row in await conn.fetch(SQL.licences, first, last, sites, site, holder):
        if row["cultivar"] is None:
            unidentified = row["sold"] - row["returned"]
            continue
        counts = row["counts"]
        net = {"sold": row["sold"] - row["returned"], "grafted": row["grafted"]}
        by_holder.setdefault(row["licence_holder"], []).append(
            LicensedCultivar(
                cultivar=row["cultivar"],
                epithet=row["epithet"],
                terms=row["licence_terms"],
                counts=counts,
                grafted=row["grafted"],
                sold=row["sold"],
                returned=row["returned"],
                buds_sold=row["buds_sold"],
                owed=net.get(counts),
            )
        )
    items = [
        Licence(
            licence_holder=name,
            owed=sum(one.owed for one in cultivars if one.owed is not None),
            owed_unknown=[one.cultivar for one in cultivars if one.owed is None],
            cultivars=cultivars,
        )
        for name, cultivars in by_holder.items()
    ]
    return Licences(items=items, sold_unidentified=unidentified)
