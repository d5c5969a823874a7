"""Filters that can match nothing are mistakes: a code or a word that nobody knows is a 422.

An empty list would say "there is none"; of a mistyped code that is not true.
"""

from collections.abc import Iterable
from typing import Any

import msgspec

from service.api import wording
from service.api.problems import Mistake, Problem
from service.api.services import Services
from service.forecast.records.ways import crops_grown
from service.log import read
from service.log.rights import Principal
from service.trade.accounts import UNGRADED

# Parameters that name something by its code, and what it is called.
CODES = {
    "site": "site",
    "place": "place",
    "cultivar": "cultivar",
    "rootstock": "rootstock",
    "size": "size",
    "lot": "lot",
    "bag": "bag",
    "grade": "grade",
}


def code_filters(query: type[Any], free: Iterable[str]) -> tuple[str, ...]:
    """The parameters of `query` that name something by its code, but those in `free`."""
    names = {one.encode_name for one in msgspec.structs.fields(query)}
    return tuple(name for name in CODES if name in names and name not in free)


async def check_codes(
    services: Services, principal: Principal, query: Any, names: tuple[str, ...]
) -> None:
    """Raises 422 naming each code that is not known, or belongs to a site not seen."""
    asked = {name: getattr(query, name) for name in names}
    # Trees without a grade are named so; no tree was given it.
    given = {name: code for name, code in asked.items() if code not in (None, UNGRADED)}
    if not given:
        return
    async with services.reading() as connection:
        unknown = await read.unknown_codes(connection, principal.site_list, given)
    if unknown:
        raise Problem(
            "validation-error",
            "A query parameter names something that is not known here.",
            errors=[
                Mistake(
                    kind="unknown_code",
                    detail=f"No {CODES[name]} {given[name]} is known.",
                    parameter=name,
                )
                for name in unknown
            ],
        )


def check_word(
    name: str, word: str | None, known: Iterable[str], what: str, kind: str = "bad_value"
) -> None:
    """Raises 422 for a `word` that is none of the `known`; it suggests the nearest.

    `kind` is another where the public description can't list them.
    """
    allowed = list(dict.fromkeys(known))
    if word is None or word in allowed:
        return
    mistake = Mistake(
        kind=kind,
        detail=wording.one_of(word, allowed, what),
        parameter=name,
        numbers={"allowed": allowed},
    )
    raise Problem("validation-error", "A query parameter has a mistake.", errors=[mistake])


async def check_crop(services: Services, crop: str | None) -> None:
    """Raises 422 for a crop that no cultivar of the catalogue is of."""
    if crop is None:
        return
    async with services.reading() as connection:
        grown = await crops_grown(connection)
    check_word("crop", crop, grown, "crop of a cultivar here", "unknown_code")
