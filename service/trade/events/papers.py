"""Papers that go with what is sold: sale tags, plant passports, tags of certified stock."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.envelope import Envelope
from service.trade.words import Code, Count, Country, Data, Ref, Text

Paper = Annotated[
    Literal["sale_tag", "plant_passport", "certified_tag"],
    Meta(
        description="A tag with what a buyer asks; a plant passport; a tag of certified stock with "
        "the statement that the authority allows."
    ),
]


class AsPrinted(Data, frozen=True, kw_only=True):
    """What a paper says, as the records had it when it was printed. The writer fills it in."""

    botanical_name: Annotated[str | None, Meta(description="Part A of a plant passport.")] = None
    registration: Annotated[
        str | None, Meta(description="Part B: country and registration number.")
    ] = None
    traceability: Annotated[str, Meta(description="Part C: the lot's code.")]
    origin: Annotated[str | None, Meta(description="Part D: country of origin.")] = None
    title: Annotated[str | None, Meta(description="The words at a passport's head.")] = None
    union_flag: bool = False
    cultivar: str | None = None
    epithet: str | None = None
    clone: str | None = None
    rootstock: Annotated[str | None, Meta(description="Its name.")] = None
    size: Annotated[str | None, Meta(description="Its label.")] = None
    propagated: Annotated[
        str | None, Meta(description="Month of grafting, or of cutting.", examples=["2026-03"])
    ] = None
    source_tree: str | None = None
    source_registration: str | None = None
    statement: str | None = None
    certificate: str | None = None
    inspected_on: str | None = None
    valid_until: str | None = None
    protected: Annotated[
        bool, Meta(description="The cultivar has a licence holder: it is not to be propagated.")
    ] = False
    licence_terms: str | None = None


class PapersPrintedData(Data, frozen=True, kw_only=True):
    """So many papers of one kind for one lot: of trees, or of budwood.

    Refused while a hold stops selling, for more than stand there or were sold, and, of passports
    and certified tags, without a registration and a current inspection. `happened` changes
    nothing: a paper is an intention.
    """

    paper: Paper
    lot: Code
    place: Annotated[Code | None, Meta(description="Left out: wherever it stands at the site.")] = (
        None
    )
    size: Code | None = None
    count: Count
    origin: Annotated[
        Country | None,
        Meta(
            description="Where the plants were grown. Left out: the site's country, of what was "
            "grafted or cut here; of what was bought in it must be said."
        ),
    ] = None
    customer: Ref | None = None
    order: Ref | None = None
    document: Annotated[Ref | None, Meta(description="Number of the paper, if it has one.")] = None
    note: Text | None = None
    printed: Annotated[
        AsPrinted | None, Meta(description="Filled in from the records, whatever was sent.")
    ] = None


class PapersPrinted(Envelope, frozen=True, tag="papers.printed", kw_only=True):
    """Papers were printed (an intention: held, unregistered or uninspected stock is refused)."""

    data: PapersPrintedData
