"""The day's sheets as grids: rows to fill in from paper, and what became of each when it was sent.

A grid has the rows and columns of the printed sheet and is taken in as the sheet's CSV is. Its rows
are judged one by one; rows that tell of one lot's grafting are one event, as on paper.
"""

import re
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from service.board.forms import Form
from service.sheets.column import Sheet
from service.sheets.columns import COUNTS, GRAFTING
from service.sheets.drafts import Draft
from service.sheets.events_of import events_of
from service.sheets.importing import Understood, understand_sheet
from service.sheets.printing import Line
from service.sheets.reading import CellFault
from service.sheets.writing import write_csv
from service.trade.events import Event
from service.wording.trade_words import LOSS_CAUSES, METHODS, STAGES
from service.wording.words import Words, phrase

_CELL = re.compile(r"r\.([0-9x][0-9]{0,3})\.([a-z_]{1,20})")
SPARE_ROWS = 4
# So that a page of them is light, and a form of all rows stays within what a form may hold.
MOST_ROWS = 50
# What is said once for the whole sheet.
COMMON = ("date", "sheet", "person", "reason")
HEADINGS = {
    "work_order": phrase("Order"),
    "bag": phrase("Bag"),
    "liner_lot": phrase("Liners"),
    "liner_place": phrase("Liners stood at"),
    "method": phrase("Method"),
    "place": phrase("To place"),
    "grafter": phrase("Grafter"),
    "count": phrase("Trees grafted"),
    "buds": phrase("Buds taken"),
    "lot": phrase("Lot"),
    "stage": phrase("Stage"),
    "size": phrase("Size"),
    "grade": phrase("Grade"),
    "pushed": phrase("Pushed (count)"),
    "waiting": phrase("Waiting (count)"),
    "failed": phrase("Failed (count)"),
    "unclear": phrase("Unclear (count)"),
    "removed": phrase("Removed dead"),
    "cause": phrase("Cause"),
    "counted": phrase("Counted"),
    "date": phrase("Day"),
    "sheet": phrase("Sheet no."),
    "person": phrase("Done by"),
    "reason": phrase("Reason"),
}
_CHOICES = {"method": METHODS, "stage": STAGES, "cause": LOSS_CAUSES}
_WRONG = {
    "code": phrase("A code has letters, digits, points and hyphens, at most 20."),
    "ref": phrase("A person goes by a reference here, such as p-03."),
    "whole": phrase("A whole number from 1 on is wanted here."),
    "whole_or_zero": phrase("A whole number is wanted here; 0 is one."),
    "choice": phrase("Choose one of these."),
    "word": phrase("A word of small letters is wanted here."),
    "when": phrase("That is no day of the calendar."),
    "text": phrase("This text is too long."),
}
_MISSING = phrase("This is still to be filled in.")
_CONTRADICTS = phrase("This contradicts another row or column of the sheet.")


class Kind(msgspec.Struct, frozen=True):
    """A grid: the sheet that it fills, its columns, and the fields that only go along."""

    sheet: Sheet
    columns: tuple[str, ...]
    along: tuple[str, ...] = ()
    common: tuple[str, ...] = ("date", "sheet")

    def to_fill(self) -> list[str]:
        """The columns that are written in at the bench."""
        return [name for name in self.columns if self.sheet.column(name).to_fill]


GRAFTED = Kind(
    GRAFTING,
    ("work_order", "bag", "liner_lot", "liner_place", "method", "place", "grafter", "count",
     "buds"),
    ("grown_for",),
)  # fmt: skip
PUSHED = Kind(
    COUNTS,
    ("lot", "size", "pushed", "waiting", "failed", "unclear", "removed", "cause"),
    ("place",),
    ("date", "sheet", "person"),
)
STOCKED = Kind(
    COUNTS,
    ("lot", "bag", "stage", "size", "grade", "counted"),
    ("place",),
    ("date", "sheet", "person", "reason"),
)


class Why(msgspec.Struct, frozen=True, kw_only=True):
    """Why a row was not recorded: in which column, if in one, and which count would settle it.

    `far`: the number that is far above the book; it is recorded once somebody says that it is so.
    """

    column: str | None
    words: str
    count_form: str | None = None
    far: int | None = None


class GridRow(msgspec.Struct, kw_only=True):
    """A row. `name`: its number, or x and a number for one that the sheet did not have.

    `what` and `note` are only shown. `sure`: the number that is said to be right, although far
    above the book. `verdict`: accepted, known or refused once it was sent.
    """

    name: str
    cells: dict[str, str]
    what: str = ""
    note: str = ""
    sure: str = ""
    verdict: str = ""
    why: list[Why] = []

    @property
    def recorded(self) -> bool:
        return self.verdict in ("accepted", "known")

    @property
    def far(self) -> str:
        """The number that is asked back, or that was said to be right."""
        return next((str(one.far) for one in self.why if one.far is not None), self.sure)

    def wrong(self, column: str | None) -> list[Why]:
        """What is wrong in a column; None: with the row."""
        return [one for one in self.why if one.column == column]


class Sent(msgspec.Struct):
    """A grid as it came back: what is common to its rows, all rows, and those filled in."""

    kind: Kind
    site: str
    common: dict[str, str]
    rows: list[GridRow]
    filled: list[GridRow]
    wrong: dict[str, str] = {}


def rows_to_fill(
    kind: Kind, lines: Sequence[tuple[Line, str, str]], along: Mapping[str, str], first: int
) -> list[GridRow]:
    """The printed sheet's rows from `first` (0) on, as many as fit a page, each with what it is and
    a note; a few for what is not on it."""
    names = (*kind.columns, *kind.along)
    rows = []
    for number, (line, what, note) in enumerate(lines[first : first + MOST_ROWS], first):
        cells = {name: line.cells[name] for name in names if name in line.cells}
        rows.append(GridRow(name=str(number), cells=cells, what=what, note=note))
    spare = [GridRow(name=f"x{number}", cells=dict(along)) for number in range(SPARE_ROWS)]
    return rows + spare


def sent_back(kind: Kind, site: str, form: Form) -> Sent:
    """The grid in a form. Codes may have been typed in small letters."""
    rows: dict[str, GridRow] = {}
    names = {*kind.columns, *kind.along, "what", "sure"}
    for key, value in form.pairs:
        found = _CELL.fullmatch(key)
        if found is None or found[2] not in names:
            continue
        row = rows.setdefault(found[1], GridRow(name=found[1], cells={}))
        if found[2] == "what":
            row.what = value
        elif found[2] == "sure":
            row.sure = value
        elif value:
            row.cells[found[2]] = _as_meant(kind.sheet, found[2], value)
    common = {name: form[name] for name in kind.common if form[name]}
    filled = [row for row in rows.values() if _is_filled(kind, row)]
    return Sent(kind, site, common, list(rows.values()), filled)


def _as_meant(sheet: Sheet, column: str, value: str) -> str:
    """A cell without the slips that can mean one thing only."""
    text = " ".join(value.split())
    return text.upper() if sheet.column(column).kind == "code" else text


def _is_filled(kind: Kind, row: GridRow) -> bool:
    """Whether anything was written into the row; of one that was not printed, anything at all."""
    names: Sequence[str] = kind.columns if row.name.startswith("x") else kind.to_fill()
    return any(row.cells.get(name) for name in names)


def understood(sent: Sent, entry: str, words: Words) -> list[tuple[Draft, list[GridRow]]]:
    """The events that the filled rows tell of, each with its rows; none where a cell is wrong.

    What is wrong is then noted in `sent`.
    """
    file = understand_sheet(_csv(sent), sent.kind.sheet)
    faults = [*file.faults, *_unfilled(file)]
    drafts = file.drafts
    if sent.kind is STOCKED and not faults:
        drafts, faults = _one_by_one(drafts)
    if faults:
        _note(sent, faults, words)
        return []
    found_rows = [(one, [sent.filled[line - 2] for line in one.lines]) for one in drafts]
    if "sheet" not in sent.common:
        for draft, rows in found_rows:
            _named_by(draft, entry, rows[0].name)
    return found_rows


def _one_by_one(drafts: Sequence[Draft]) -> tuple[list[Draft], list[CellFault]]:
    """Counts of a place as one for each account, so that a slip in one keeps no other out."""
    alone: list[Draft] = []
    faults: list[CellFault] = []
    counted: set[tuple[Any, ...]] = set()
    for row in sorted((row for draft in drafts for row in draft.rows), key=lambda row: row.line):
        account = tuple(row.get(name) for name in ("lot", "bag", "stage", "size", "grade"))
        if account in counted:
            faults.append(CellFault(line=row.line, column="counted", kind="twice", detail=""))
        counted.add(account)
        made, found = events_of(COUNTS, [row])
        alone, faults = alone + made, faults + found
    return alone, faults


def _csv(sent: Sent) -> bytes:
    """The filled rows as the sheet's CSV: the header is line 1, so row i stands on line i + 2."""
    common = sent.common | {"site": sent.site}
    header = sent.kind.sheet.header
    cells = [common | row.cells for row in sent.filled]
    return write_csv(header, cells).encode()


def _unfilled(file: Understood) -> list[CellFault]:
    """Rows of which something is written, and not what the sheet asks for."""
    return [
        CellFault(line=line, column=None, kind="missing", detail="Nothing is filled in.")
        for line in file.skipped
    ]


def _named_by(draft: Draft, entry: str, row: str) -> None:
    """Give a draft an id that follows from the entry and its first row.

    On a numbered sheet the id follows from what it says, as in a file: the same paper typed again,
    by whomever, is known.
    """
    assert draft.event is not None, "nothing is wrong with it"
    own = str(uuid.uuid5(uuid.UUID(entry), row))
    draft.event = msgspec.structs.replace(draft.event, id=own)


def with_actor(draft: Draft, who: str) -> Event:
    """The event, done by `who` where the sheet does not say by whom."""
    assert draft.event is not None, "nothing is wrong with it"
    event: Any = draft.event
    if event.actor is None:
        draft.event = event = msgspec.structs.replace(event, actor=who)
    return event  # type: ignore[no-any-return]


def _note(sent: Sent, faults: Sequence[CellFault], words: Words) -> None:
    """Put what is wrong beside what was typed, in the reader's words."""
    for fault in faults:
        said = words.gettext(_in_words(sent.kind, fault))
        if fault.column in sent.kind.common or fault.line < 2:
            sent.wrong[fault.column or "date"] = said
            continue
        row = sent.filled[fault.line - 2]
        row.verdict = "refused"
        column = fault.column if fault.column in sent.kind.columns else None
        row.why = [*row.why, Why(column=column, words=said)]


def _in_words(kind: Kind, fault: CellFault) -> str:
    if fault.kind == "missing":
        return _MISSING
    if fault.column is None or fault.column not in kind.sheet.header or fault.kind != "bad_value":
        return _CONTRADICTS
    text = _WRONG.get(kind.sheet.column(fault.column).kind, _CONTRADICTS)
    # Where a column may not be filled at all, or the value disagrees, the cell itself is fine.
    return _CONTRADICTS if fault.detail.startswith(("Leave ", "A row is ")) else text


def choices(column: str, words: Words) -> list[tuple[str, str]]:
    """The words that a column may hold, as the person reads them; none: it is typed."""
    table = _CHOICES.get(column)
    return [(value, words.gettext(text)) for value, text in table.items()] if table else []
