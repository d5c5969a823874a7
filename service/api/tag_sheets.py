"""Tags as PDF for places, lots and bags, and what all sheets of tags have in common."""

import asyncio
from collections.abc import Sequence
from typing import Annotated, Any

import msgspec
from msgspec import UNSET, Meta, UnsetType

from service.api.operation import Call, Reply, operation
from service.api.problems import Mistake, Problem, bad_parameter
from service.api.services import Services
from service.log.rights import READ
from service.tags import drawing, saying
from service.tags.fonts import Unprintable
from service.tags.paper import PAPERS, Millimetres, Paper, SheetName, Side
from service.trade.words import Code, Text
from service.views import taggable
from service.views.taggable import Tagged
from service.wording.shown import shown_to
from service.wording.words import Language

PDF = "application/pdf"
File = Annotated[str, Meta(extra_json_schema={"format": "binary"})]
# A tag takes some 4 ms to draw, which other requests share; a phone opens no file of thousands.
MOST_TAGS = 500


class OnSheet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How tags lie on the paper: a sheet by its name, and what is otherwise on yours."""

    sheet: Annotated[
        SheetName,
        Meta(
            description="Page and tags in a row and a column: a4-24 is A4 with 24 tags of 70 × 37 "
            "mm; a roll has one tag a page. The measures below, in millimetres, change it."
        ),
    ] = "a4-24"
    page_width: Side | UnsetType = UNSET
    page_height: Side | UnsetType = UNSET
    width: Annotated[Side, Meta(description="Of a tag.")] | UnsetType = UNSET
    height: Annotated[Side, Meta(description="Of a tag.")] | UnsetType = UNSET
    columns: Annotated[int, Meta(ge=1, le=20)] | UnsetType = UNSET
    rows: Annotated[int, Meta(ge=1, le=50)] | UnsetType = UNSET
    left: Annotated[Millimetres, Meta(description="Before the first tag.")] | UnsetType = UNSET
    top: Annotated[Millimetres, Meta(description="Above the first tag.")] | UnsetType = UNSET
    gap_x: Annotated[Millimetres, Meta(description="Between tags.")] | UnsetType = UNSET
    gap_y: Annotated[Millimetres, Meta(description="Between tags.")] | UnsetType = UNSET
    edge: (
        Annotated[Millimetres, Meta(description="Along the page, where nothing is printed.")]
        | UnsetType
    ) = UNSET
    skip: Annotated[
        int, Meta(ge=0, le=1000, description="Tags of the first page that are used already.")
    ] = 0
    language: Annotated[Language, Meta(description="Of the words on the tags.")] = "en"


class TagsQuery(OnSheet, frozen=True, kw_only=True):
    """Which tags are printed, and on what."""

    of: Annotated[
        Tagged,
        Meta(
            description="Left without codes: all places in use, all lots of which something "
            "stands, all bags with something left."
        ),
    ]
    codes: (
        Annotated[
            list[Code], Meta(min_length=1, max_length=MOST_TAGS, description="Of these alone.")
        ]
        | None
    ) = None
    site: Code | None = None
    place: Annotated[Code, Meta(description="Of lots and bags: what stands there.")] | None = None
    structure: Annotated[Text, Meta(description="Of places: those in this house.")] | None = None
    copies: Annotated[int, Meta(ge=1, le=50, description="Of each.")] = 1


@operation(
    "GET",
    "/v1/tags.pdf",
    tag="Tags and papers",
    scope=READ,
    query=TagsQuery,
    answer=File,
    produces=PDF,
)
async def get_tags(call: Call[TagsQuery]) -> Reply:
    """Tags for places, lots or bags as a PDF: a QR code that opens the thing's page, its code in
    letters, and what it is.

    A module of a code is never smaller than half a millimetre; where that or the text does not fit,
    the answer is 422 and says what is needed. Letters that no font here has are written by the
    nearest that it has, else as a question mark.
    """
    tags = await tags_asked(call, call.query)
    return await printed(tags, call.query, f"tags-{call.query.of}.pdf")


async def tags_asked(call: Call[Any], query: TagsQuery) -> list[drawing.Tag]:
    """The tags that are asked for, of the sites that the asker sees. Raises 422."""
    if query.of == "places" and query.place is not None:
        raise bad_parameter("place", "A place is named in `codes`.", "not_together")
    if query.of != "places" and query.structure is not None:
        raise bad_parameter("structure", "It is for places alone.", "not_together")
    wanted = taggable.Wanted(
        of=query.of,
        codes=query.codes,
        site=query.site,
        places=[query.place] if query.place else None,
        structure=query.structure,
    )
    return await tags_of(call.services, wanted, query.copies, query.language)


async def tags_of(
    services: Services, wanted: taggable.Wanted, copies: int, language: Language
) -> list[drawing.Tag]:
    """Tags of what is wanted, each so many times. Raises 422 for what is unknown, or too much."""
    async with services.reading() as connection:
        found = await taggable.told(connection, wanted, MOST_TAGS + 1)
    known = {one.code for one in found}
    lacking = [code for code in dict.fromkeys(wanted.codes or ()) if code not in known]
    if lacking:
        word = {"places": "place", "lots": "lot", "bags": "bag"}[wanted.of]
        raise bad_parameter(
            "codes", f"No {word} {', '.join(lacking[:5])} is known there.", "unknown_code"
        )
    if not found:
        raise bad_parameter("of", "There is nothing that would get a tag.", "nothing_there")
    if len(found) * copies > MOST_TAGS:
        raise bad_parameter(
            "copies", f"At most {MOST_TAGS} tags at a time; narrow what is printed.", "too_many"
        )
    shown, base = shown_to(language), services.settings.base
    tags = [saying.tag_of(one, base, shown) for one in found]
    return [tag for tag in tags for _ in range(copies)]


def paper_of(query: OnSheet) -> Paper:
    """The sheet that is asked for. Raises 422 where its tags do not fit on its page."""
    named = PAPERS[query.sheet]
    said = {
        name: value
        for name in Paper.__struct_fields__
        if (value := getattr(query, name)) is not UNSET
    }
    paper = msgspec.structs.replace(named, **said)
    right, bottom = paper.overhang
    if right > 0.05 or bottom > 0.05:
        more = max(right, bottom)
        raise bad_parameter(
            "sheet", f"The tags reach {more:.1f} mm over the page's edge.", "not_together"
        )
    return paper


async def printed(tags: Sequence[drawing.Tag], query: OnSheet, name: str) -> Reply:
    """The PDF, drawn beside the other requests. Raises 422 for what does not fit on the sheet."""
    paper = paper_of(query)
    try:
        made = await asyncio.to_thread(drawing.pdf, tags, paper, title=name, skip=query.skip)
    except drawing.TooSmall as error:
        raise _too_small(error, paper) from error
    except Unprintable as error:
        detail = f"No font here has {error.letters}, and an official paper is printed whole."
        raise bad_parameter("sheet", detail, "not_together") from error
    said = {"Content-Disposition": f'inline; filename="{name}"'}
    return Reply(made, headers=said, media_type=PDF)


def _too_small(error: drawing.TooSmall, paper: Paper) -> Problem:
    size = f"A tag of {paper.width:g} × {paper.height:g} mm is too small"
    if error.what == "code":
        detail = f"{size}: the code to scan alone needs {error.needs:.1f} mm each way."
    else:
        detail = f"{size} for what the paper must say: its letters would not be read."
    mistake = Mistake(
        kind="not_together", detail=detail, parameter="sheet", numbers={"needs": error.needs}
    )
    return Problem("validation-error", "It does not fit on this sheet.", errors=[mistake])


HANDLERS = [get_tags]
