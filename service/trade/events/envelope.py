"""The envelope that every event shares."""

from typing import Annotated

import msgspec
from msgspec import Meta

from service.trade.words import Code, EventId, Occurred, Ref


class Envelope(
    msgspec.Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    tag_field="type",
    gc=False,
):
    """What every event says beside its own data."""

    id: (
        Annotated[
            EventId,
            Meta(
                description="Set it to make a retry safe: the same id with the same content is "
                "answered as already known. Minted when left out."
            ),
        ]
        | None
    ) = None
    site: Annotated[Code, Meta(description="The site that acts.", examples=["CORIN"])]
    occurred: Occurred
    actor: (
        Annotated[Ref, Meta(description="Who did it, as an opaque reference.", examples=["p-07"])]
        | None
    ) = None
    happened: Annotated[
        bool,
        Meta(
            description="Say true when a fact was refused because it breaks a rule and it has "
            "happened all the same: it is then recorded and marked as a breach."
        ),
    ] = False
    replaces: (
        Annotated[
            EventId, Meta(description="The voided event that this one stands in for, if any.")
        ]
        | None
    ) = None
