"""What a column and a sheet are, and the columns that several sheets share."""

from typing import Literal, get_args

import msgspec

from service.trade.events.budwood import Basis
from service.trade.events.grafting import Stage
from service.trade.events.liners import LossCause
from service.trade.methods import METHODS

Kind = Literal[
    "code", "ref", "word", "text", "whole", "whole_or_zero", "decimal", "day", "when", "choice",
    "yes_no",
]  # fmt: skip

STAGES = get_args(get_args(Stage)[0])
CAUSES = get_args(get_args(LossCause)[0])
BASES = get_args(get_args(Basis)[0])


class Column(msgspec.Struct, frozen=True):
    """One column. `needed`: a row without it is refused. `least`, `most`: bounds of a number.

    A column whose value the command line or the address can give for the whole file (`date`,
    `site`) is needed in a row only when it was not given there.
    """

    name: str
    kind: Kind
    says: str
    needed: bool = False
    to_fill: bool = False
    choices: tuple[str, ...] = ()
    least: float = 1
    most: float = 1_000_000


class Sheet(msgspec.Struct, frozen=True):
    """A template. `examples`: rows by column name; what is not named is empty."""

    name: str
    title: str
    says: str
    rows_together: str
    columns: tuple[Column, ...]
    examples: tuple[dict[str, str], ...]

    @property
    def header(self) -> tuple[str, ...]:
        """The names of its columns, in order."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """A column by its name. Raises KeyError."""
        return {column.name: column for column in self.columns}[name]


def choice(name: str, choices: tuple[str, ...], says: str, needed: bool = False) -> Column:
    """A column that holds one of a few words."""
    return Column(name, "choice", says, needed, choices=choices)


DATE = Column("date", "when", "The day, as 2026-03-14; or a time with its offset.", True)
SITE = Column("site", "code", "The site that acts.", True)
PERSON = Column("person", "ref", "Who did it, as a reference such as p-07, never a name.")
SHEET = Column(
    "sheet",
    "text",
    "Number of the paper sheet. Equal rows on two sheets of a day are told apart by it.",
)
PLACE = Column("place", "code", "Where: a table, bed, box or cooler.", True)
LOT = Column("lot", "code", "The lot's code.")
SIZE = Column("size", "code", "Container or field size.")
GRADE = Column("grade", "word", "The grade, where trees are graded.")
STAGE = choice("stage", STAGES, "Of trees.")
BASIS = choice("basis", BASES, "How sure the figure is; left out: counted.")
CULTIVAR = Column("cultivar", "code", "What it is; empty: unknown.")
ROOTSTOCK = Column("rootstock", "code", "What it is grafted on; empty: unknown.")
SOURCE_TREE = Column("source_tree", "code", "The tree the wood was cut from; empty: unknown.")
CUT_ON = Column("cut_on", "day", "Day of cutting; empty: unknown.")
SUPPLIER = Column("supplier", "ref", "Who it came from, as a reference.")
DOCUMENT = Column("document", "ref", "Number of the passport, certificate or permit.")
BUDS = Column("buds", "whole", "Usable buds in the bag.")
STICKS = Column("sticks", "whole", "Budsticks in the bag.", most=1000)
METHOD = choice("method", tuple(METHODS), "How it was grafted.")
RETIRED = Column("retired", "yes_no", "yes when it is not used any more.")


def needed(column: Column) -> Column:
    """The same column where no row can do without it."""
    return msgspec.structs.replace(column, needed=True)
