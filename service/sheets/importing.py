"""A file taken in: understood, judged as one unit, recorded whole or not at all, and reported on.

Judging is in order of occurrence. What is refused is judged once more event by event, only to be
told from what was merely in the same file: so that one look shows all that is to be put right.
"""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from itertools import groupby

import msgspec

from service.log.rights import Principal
from service.log.submission import Answer, Element, IdempotencyKey, Submission, Verdict
from service.sheets import report
from service.sheets.column import Sheet
from service.sheets.drafts import Draft
from service.sheets.events_of import events_of
from service.sheets.lines import NAME, FaultOf, read_lines
from service.sheets.reading import CellFault, read_table

# Decides requests together; the second argument: judge only. See `recording.record_together`.
Judge = Callable[[Sequence[Submission], bool], Awaitable[Sequence[Answer]]]


class Understood(msgspec.Struct):
    """A file as events to be: `faults` are its own, before anything was judged; `lines` those of
    the rows that could be read."""

    name: str
    lines: list[int]
    drafts: list[Draft]
    skipped: list[int]
    faults: list[CellFault]


def understand_sheet(
    content: bytes, sheet: Sheet | None = None, for_all: Mapping[str, str] | None = None
) -> Understood:
    """A CSV file; see `reading.read_table`."""
    table = read_table(content, sheet, for_all)
    name = table.sheet.name if table.sheet else "unknown"
    drafts: list[Draft] = []
    if table.sheet is not None and table.rows:
        drafts, faults = events_of(table.sheet, table.rows)
        table.faults += faults
    return Understood(name, [row.line for row in table.rows], drafts, table.skipped, table.faults)


def understand_lines(content: bytes, fault_of: FaultOf) -> Understood:
    """A file of lines of JSON; see `lines.read_lines`."""
    drafts, faults = read_lines(content, fault_of)
    return Understood(NAME, [draft.lines[0] for draft in drafts], drafts, [], faults)


def submissions_of(
    file: Understood, principal: Principal, key: IdempotencyKey | None = None
) -> list[Submission]:
    """One request for the whole file; of old records one for all that was recorded at a time."""
    return [
        Submission(
            principal=principal,
            elements=[Element(draft.raw, draft.event) for draft in drafts],
            array=True,
            key=key,
            recorded_at=at,
            recorded_by=by,
        )
        for (at, by), drafts in groupby(file.drafts, key=lambda d: (d.recorded_at, d.recorded_by))
    ]


async def take_in_file(
    file: Understood,
    principal: Principal,
    judge: Judge,
    *,
    check: bool = False,
    key: IdempotencyKey | None = None,
) -> report.FileReport:
    """Record a file whole, or nothing of it, and say what became of each line."""
    if file.faults:
        return report.of_faults(file.name, file.faults, file.lines, file.skipped, check=check)
    submissions = submissions_of(file, principal, key)
    if not submissions:
        return report.of_verdicts(file.name, [], [], file.skipped, check=check, position=0)
    answers = await judge(submissions, check)
    verdicts = [verdict for answer in answers for verdict in answer.verdicts]
    if any(answer.status >= 400 for answer in answers):
        each = [msgspec.structs.replace(one, mode="each", key=None) for one in submissions]
        alone = [v for answer in await judge(each, True) for v in answer.verdicts]
        verdicts = _merged(verdicts, alone)
    return report.of_verdicts(
        file.name,
        file.drafts,
        verdicts,
        file.skipped,
        check=check,
        position=answers[-1].position,
    )


def _merged(together: list[Verdict], alone: list[Verdict]) -> list[Verdict]:
    """What was said of each event when all were judged as one, else when it was judged alone."""
    unheard = [Verdict(id=v.id, verdict="refused") for v in alone[len(together) :]]
    merged = []
    for one, other in zip([*together, *unheard], alone, strict=True):
        errors = one.errors or other.errors
        merged.append(Verdict(id=one.id, verdict="refused", errors=errors, remarks=other.remarks))
    return merged
