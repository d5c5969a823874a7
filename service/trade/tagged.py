"""What is known of a place, a lot or a bag that gets a tag."""

from datetime import date

import msgspec


class PlaceTold(msgspec.Struct, frozen=True, kw_only=True):
    """A place of a site."""

    code: str
    place_kind: str
    structure: str
    site: str
    site_name: str
    table_word: str


class LotTold(msgspec.Struct, frozen=True, kw_only=True):
    """A budwood, liner or tree lot. `day` is of grafting, cutting or receipt."""

    code: str
    kind: str
    species: str | None
    epithet: str | None
    clone: str | None
    rootstock: str | None
    method: str | None
    day: date | None
    source: str | None
    attempt: int
    protected: bool


class BagTold(msgspec.Struct, frozen=True, kw_only=True):
    """A bag of budwood."""

    code: str
    lot: str
    epithet: str | None
    clone: str | None
    cut_on: date | None
    buds: int
    sticks: int | None
    basis: str
    source: str | None
    use_by: date | None
    protected: bool


Told = PlaceTold | LotTold | BagTold
