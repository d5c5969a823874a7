"""What is said and answered of reservations."""

from typing import Annotated

import msgspec
from msgspec import UNSET, Meta, UnsetType

from service.api.operation import Paged
from service.log.reservations import ReservationNow, State
from service.trade.events.catalogue import Regions
from service.trade.events.selling import ForOrder, ReservedLines
from service.trade.verdicts import Remark
from service.trade.words import Code, Occurred, Ref, Text


class ReservationsQuery(Paged, frozen=True, kw_only=True):
    """Which reservations are wanted."""

    state: State | None = None
    customer: Annotated[Ref, Meta(description="Only this customer's.")] | None = None
    order: Annotated[Ref, Meta(description="Only those of this order.")] | None = None
    site: Annotated[Code, Meta(description="Only those that this site acts for.")] | None = None


class Reserve(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is to be promised to whom, by when."""

    reservation: Annotated[Code, Meta(description="Its code. Left out: one is minted.")] | None = (
        None
    )
    customer: Ref
    order: ForOrder | None = None
    site: Annotated[
        Code,
        Meta(description="The site that acts: trees of its own, unless `any_site` is true."),
    ]
    any_site: Annotated[bool, Meta(description="true: trees of any site will do.")] = False
    lines: ReservedLines
    needed_by: (
        Annotated[Occurred, Meta(description="The day they are wanted. Left out: now.")] | None
    ) = None
    expires_at: (
        Annotated[
            Occurred,
            Meta(
                description="From when the claim no longer counts; of a day alone, from its end "
                "at the site. Left out: never."
            ),
        ]
        | None
    ) = None
    destination: (
        Annotated[
            Regions,
            Meta(
                description="Where they are to go: every region that place lies in. What a rule of "
                "the nursery forbids is refused; where none says yes, a remark says to ask."
            ),
        ]
        | None
    ) = None
    partial: Annotated[
        bool, Meta(description="true: fewer will do; each line says what was promised.")
    ] = False


class ReservationPatch(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is to be otherwise (RFC 7396): what is left out stays, null is no more."""

    lines: (
        Annotated[
            ReservedLines,
            Meta(
                description="What is still wanted from now on, all of it; what was handed over "
                "already is no part of it."
            ),
        ]
        | UnsetType
    ) = UNSET
    needed_by: (
        Annotated[Occurred, Meta(description="The day they are wanted; null: now.")]
        | UnsetType
        | None
    ) = UNSET
    expires_at: (
        Annotated[
            Occurred,
            Meta(
                description="From when the claim no longer counts; of a day alone, from its end at "
                "the site. null: never."
            ),
        ]
        | UnsetType
        | None
    ) = UNSET
    order: ForOrder | UnsetType | None = UNSET
    destination: (
        Annotated[
            Regions,
            Meta(description="Where they are to go; judged like a new one's. null: not known."),
        ]
        | UnsetType
        | None
    ) = UNSET


class Confirm(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The customer has ordered."""

    order: ForOrder | None = None


class Release(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """It is given free."""

    reason: Text


class ReservationAnswer(ReservationNow, frozen=True, kw_only=True):
    """A reservation as it stands after a request, with what was remarked of that."""

    remarks: Annotated[
        list[Remark],
        Meta(
            description="`numbers.line` is a line of this reservation, as `lines` number them; "
            "`less_promised` also says which line of the request it speaks of, `asked_line` (from "
            "0 on): where nothing could be promised that one was left out, its `line` is null, and "
            "the lines after it moved up."
        ),
    ]


def by_lines_kept(remarks: list[Remark]) -> list[Remark]:
    """Remarks of a new reservation, by the lines that it has.

    The log speaks of the lines that it was sent; those of which nothing was promised it left out.
    """
    less = {one.numbers["line"]: one for one in remarks if one.kind == "less_promised"}
    left_out = {line for line, one in less.items() if not one.numbers["promised"]}
    told = []
    for one in remarks:
        if one.kind == "less_promised":
            asked = one.numbers["line"]
            line = None if asked in left_out else asked - sum(out < asked for out in left_out)
            numbers = one.numbers | {"asked_line": asked, "line": line}
            one = msgspec.structs.replace(one, numbers=numbers)
        told.append(one)
    return told
