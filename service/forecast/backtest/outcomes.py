"""What came of the trees of each lot: from a file, or as well as the log can tell.

A file tells it exactly, where somebody knows: of the invented nursery everything is known.
"""

import csv
import io
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

import msgspec

from service.forecast.shapes import DEAD, LATER, Growths, Known

COLUMNS = ("lot", "size", "grade", "ready", "graded", "died", "left", "trees")
_DAYS = ("ready", "graded", "died", "left")


class Fate(msgspec.Struct, frozen=True, gc=False, order=True):
    """So many `trees` of a lot that went one way. Days are ordinals, 0: never, or not known.

    `ready`: fit for sale; `graded`: written down as ready; `died`: of its own, or would have, had
    it not left before; `left`: sold, thrown away, taken for dead, or no longer known of which lot.
    `size` and `grade`: in which they were, or would be, sold.
    """

    lot: str
    size: str
    grade: str
    ready: int
    graded: int
    died: int
    left: int
    trees: int


class OutcomesError(Exception):
    """A file of outcomes that cannot be read; the message names the line."""


Outcomes = dict[str, list[Fate]]
"""Fates by lot."""


def by_lot(fates: Iterable[Fate]) -> Outcomes:
    """The fates of each lot."""
    found: Outcomes = defaultdict(list)
    for fate in fates:
        found[fate.lot].append(fate)
    return dict(found)


def to_csv(fates: Iterable[Fate]) -> str:
    """A file of outcomes (RFC 4180, days as ISO 8601), in order."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for fate in sorted(fates):
        row = {name: getattr(fate, name) for name in COLUMNS}
        row |= {name: date.fromordinal(row[name]) if row[name] else "" for name in _DAYS}
        writer.writerow(row.values())
    return text.getvalue()


def from_csv(text: str) -> Outcomes:
    """The outcomes of a file; raises OutcomesError."""
    rows = csv.reader(io.StringIO(text.removeprefix("\ufeff")), strict=True)
    fates: list[Fate] = []
    try:
        if tuple(next(rows, ())) != COLUMNS:
            raise OutcomesError(f"the first line must read {','.join(COLUMNS)}")
        for cells in rows:
            if cells:
                fates.append(_fate(cells, rows.line_num))
    except csv.Error as error:
        raise OutcomesError(f"line {rows.line_num}: not a line of CSV: {error}") from error
    if not fates:
        raise OutcomesError("there are no lines after the first")
    return by_lot(fates)


def _fate(cells: Sequence[str], line: int) -> Fate:
    if len(cells) != len(COLUMNS):
        raise OutcomesError(f"line {line}: {len(cells)} cells where {len(COLUMNS)} are wanted")
    row = dict(zip(COLUMNS, cells, strict=True))
    try:
        days = {name: date.fromisoformat(row[name]).toordinal() for name in _DAYS if row[name]}
    except ValueError as error:
        raise OutcomesError(f"line {line}: a day is not written like 2026-03-14") from error
    if not row["lot"]:
        raise OutcomesError(f"line {line}: it names no lot")
    if not row["trees"].isascii() or not row["trees"].isdigit() or len(row["trees"]) > 9:
        raise OutcomesError(f"line {line}: {row['trees'][:20]!r} is not a number of trees")
    return Fate(
        row["lot"],
        row["size"],
        row["grade"],
        **{name: days.get(name, 0) for name in _DAYS},
        trees=int(row["trees"]),
    )


STRAGGLERS = 0.1
"""A lot is told of by the log once no more than this share of its trees still grows."""


def from_log(known: Known) -> Outcomes:
    """What the log tells at its end, of the lots of which next to nothing grows any more.

    Trees became ready between two gradings, evenly. Of trees that nobody had graded before, the
    day of grading stands for the day of readiness, so lots that are looked at late seem late.
    The last stragglers of a lot are taken never to be ready.
    """
    standing = known.standing
    growing: dict[int, int] = defaultdict(int)
    for row, lot in enumerate(standing.lot):
        growing[lot] += standing.trees[row] * (standing.stage[row] in ("grafted", "pushed"))
    graded, went = _rows_of(known.growths)
    found = {}
    for lot, rows in graded.items():
        ready = sum(row.trees for row in rows if row.outcome == "ready")
        if growing[lot] <= STRAGGLERS * (ready + growing[lot]):
            code = known.lots.code[lot]
            found[code] = _fates(code, rows, went.get(lot, []))
    return found


class _Row(msgspec.Struct):
    """A row of `Growths`."""

    outcome: str
    after: int
    by: int
    size: str
    grade: str
    trees: int


def _rows_of(growths: Growths) -> tuple[dict[int, list[_Row]], dict[int, list[_Row]]]:
    """By lot: how its trees ended or were graded, and how graded ones went after that."""
    graded: dict[int, list[_Row]] = defaultdict(list)
    went: dict[int, list[_Row]] = defaultdict(list)
    for at, lot in enumerate(growths.lot):
        row = _Row(
            growths.outcome[at],
            growths.after[at],
            growths.by[at],
            growths.size[at],
            growths.grade[at],
            growths.trees[at],
        )
        (went if row.outcome in LATER else graded)[lot].append(row)
    return graded, went


def _fates(lot: str, rows: list[_Row], went: list[_Row]) -> list[Fate]:
    fates = []
    for row in rows:
        if row.outcome == "ready":
            for day, trees in _spread(row.after, row.by, row.trees):
                fates += _ready(lot, row, day, trees, went)
        elif row.outcome != "growing":
            died, left = (row.by, 0) if row.outcome in DEAD else (0, row.by)
            fates.append(Fate(lot, row.size, row.grade, 0, 0, died, left, row.trees))
    return fates


def _ready(lot: str, row: _Row, day: int, trees: int, went: list[_Row]) -> list[Fate]:
    """Trees ready on a day; as many as went later of those graded on that day are told so."""
    fates = []
    for gone in went:
        part = min(trees, gone.trees) if gone.after == row.by else 0
        if part:
            gone.trees -= part
            trees -= part
            died, left = (0, gone.by) if gone.outcome == "ready_gone" else (gone.by, 0)
            # sold in the size and grade that it had then
            fates.append(Fate(lot, gone.size, gone.grade, day, row.by, died, left, part))
    if trees:
        fates.append(Fate(lot, row.size, row.grade, day, row.by, 0, 0, trees))
    return fates


def _spread(after: int, by: int, trees: int) -> list[tuple[int, int]]:
    """So many trees over the days after one and up to another, evenly: day and number."""
    if not after or after >= by:
        return [(by, trees)]
    days: dict[int, int] = defaultdict(int)
    for number in range(trees):
        # each in the middle of its share of the time
        days[after + max(1, round((number + 0.5) / trees * (by - after)))] += 1
    return sorted(days.items())
