"""What a site's entry says of plant health: whom to call, and the papers that it may print."""

from typing import Annotated

from msgspec import Meta

from service.trade.words import Country, Data, Occurred, Text


class PassportForm(Data, frozen=True, kw_only=True):
    """How the nursery's plant passports are headed: it may issue them itself."""

    title: Annotated[
        Text,
        Meta(
            description="The words at the head, as the authority asks: in the Union those of one "
            "of its languages and, if that is another, English after a stroke.",
            examples=["Pasaporte fitosanitario / Plant Passport"],
        ),
    ]
    union_flag: Annotated[
        bool,
        Meta(
            description="Whether the flag of the Union stands at the head, as Regulation (EU) "
            "2016/2031, Annex VII, asks of passports issued there."
        ),
    ]


class CertifiedForm(Data, frozen=True, kw_only=True):
    """What the nursery may print on tags of certified stock."""

    statement: Annotated[
        Text, Meta(description="Word for word.", examples=["Certified Citrus Nursery Stock"])
    ]
    number: Annotated[Text, Meta(description="Of the certificate.")] | None = None


class PlantHealth(Data, frozen=True, kw_only=True):
    """Who answers for plant health where the site is, and what it may print on its own papers.

    Entered by the nursery from the authority's own letters: data, never advice.
    """

    authority: Annotated[
        Text,
        Meta(
            description="Whom to call when a quarantine pest is suspected; no person's name.",
            examples=["Regional plant health service"],
        ),
    ]
    phone: Annotated[Text, Meta(examples=["+34 900 000 000"])]
    country: (
        Annotated[
            Country,
            Meta(description="By ISO 3166-1, two letters; stands before the registration number."),
        ]
        | None
    ) = None
    registration: (
        Annotated[
            str,
            Meta(
                pattern=r"^[A-Za-z0-9][A-Za-z0-9 ./-]{0,39}$(?!\n)",
                description="The nursery's registration number, without the country.",
                examples=["17460123"],
            ),
        ]
        | None
    ) = None
    inspected_on: Annotated[
        Occurred | None, Meta(description="Day of the last inspection that it passed.")
    ] = None
    valid_until: Annotated[
        Occurred | None, Meta(description="The last day on which papers may rest on it.")
    ] = None
    passport: PassportForm | None = None
    certified: CertifiedForm | None = None
    source: Annotated[Text | None, Meta(description="Where this is from, and as of when.")] = None
