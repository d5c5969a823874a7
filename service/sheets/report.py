"""What became of each line of a file."""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.log.submission import Fault, Verdict
from service.sheets.drafts import Draft
from service.sheets.reading import CellFault
from service.trade.events.catalogue import CatalogueChanged
from service.trade.verdicts import Remark

Became = Literal["recorded", "known", "refused", "would_be_recorded", "not_recorded", "skipped"]


class LineReport(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of one line of a file."""

    line: Annotated[int, Meta(ge=1, description="In the file; 1 is the header's.")]
    became: Annotated[
        Became,
        Meta(
            description="recorded; known: recorded before, nothing was added; refused; "
            "would_be_recorded: of a check; not_recorded: nothing is wrong with it, but other "
            "lines were refused; skipped: nothing was filled in."
        ),
    ]
    event: Annotated[str | None, Meta(description="Type of the event it became.")] = None
    id: str | None = None
    position: int | None = None
    with_line: (
        Annotated[int, Meta(description="The first line of the event that it is part of.")] | None
    ) = None
    made: Annotated[
        dict[str, list[str]], Meta(description="Codes of what was made or entered, by kind.")
    ] = {}
    remarks: list[Remark] = []
    faults: Annotated[
        list[CellFault], Meta(description="Why it was refused, and in which column.")
    ] = []


class FileReport(msgspec.Struct, frozen=True, kw_only=True):
    """What became of a file: all of it was recorded, or nothing."""

    sheet: str
    check: Annotated[bool, Meta(description="true: judged only, nothing was stored.")]
    position: Annotated[int, Meta(ge=0, description="The log's newest position at the time.")]
    recorded: Annotated[int, Meta(ge=0, description="Events that are new in the log.")]
    known: Annotated[int, Meta(ge=0, description="Events that were recorded before.")]
    refused: Annotated[int, Meta(ge=0, description="Lines with a fault.")]
    lines: list[LineReport]


def of_faults(
    sheet: str, faults: list[CellFault], read: list[int], skipped: list[int], *, check: bool
) -> FileReport:
    """The report on a file that could not be understood; `read` and `skipped`: its other lines."""
    by_line: dict[int, list[CellFault]] = {}
    for fault in faults:
        by_line.setdefault(fault.line, []).append(fault)
    lines = [
        LineReport(line=line, became="refused", faults=found) for line, found in by_line.items()
    ]
    lines += [LineReport(line=line, became="not_recorded") for line in set(read) - by_line.keys()]
    lines += [LineReport(line=line, became="skipped") for line in skipped]
    return _totals(sheet, lines, [], check=check, position=0)


def of_verdicts(
    sheet: str,
    drafts: list[Draft],
    verdicts: list[Verdict],
    skipped: list[int],
    *,
    check: bool,
    position: int,
) -> FileReport:
    """The report on a file whose events were judged; a verdict for each draft."""
    stands = all(v.verdict in ("accepted", "known") for v in verdicts)
    lines = [LineReport(line=line, became="skipped") for line in skipped]
    for draft, verdict in zip(drafts, verdicts, strict=True):
        lines += _of_event(draft, verdict, stands=stands, check=check)
    return _totals(sheet, lines, verdicts if stands else [], check=check, position=position)


def _totals(
    sheet: str, lines: list[LineReport], verdicts: list[Verdict], *, check: bool, position: int
) -> FileReport:
    told = [verdict.verdict for verdict in verdicts]
    lines.sort(key=lambda line: line.line)
    return FileReport(
        sheet=sheet,
        check=check,
        position=position,
        recorded=0 if check else told.count("accepted"),
        known=told.count("known"),
        refused=sum(1 for line in lines if line.became == "refused"),
        lines=lines,
    )


def _of_event(draft: Draft, verdict: Verdict, *, stands: bool, check: bool) -> list[LineReport]:
    faults = [located(draft, fault) for fault in verdict.errors]
    at_fault = {fault.line for fault in faults}
    first = draft.lines[0]
    found = []
    for line in draft.lines:
        told = line == first
        found.append(
            LineReport(
                line=line,
                became=_became(verdict, line in at_fault, stands=stands, check=check),
                event=str(draft.envelope["type"]),
                id=verdict.id,
                position=verdict.position if stands and not check else None,
                with_line=None if told else first,
                made=_made(draft, verdict) if told and stands else {},
                remarks=verdict.remarks if told else [],
                faults=[fault for fault in faults if fault.line == line],
            )
        )
    return found


def _made(draft: Draft, verdict: Verdict) -> dict[str, list[str]]:
    """Codes of what was made; of the catalogue the entry's own, which a verdict leaves out."""
    event = draft.event
    if isinstance(event, CatalogueChanged):
        entry = event.data.entry
        return {str(entry.__struct_config__.tag): [entry.code]}
    return verdict.made


def _became(verdict: Verdict, at_fault: bool, *, stands: bool, check: bool) -> Became:
    if at_fault:
        return "refused"
    if not stands:
        return "not_recorded"
    if verdict.verdict == "known":
        return "known"
    return "would_be_recorded" if check else "recorded"


def located(draft: Draft, fault: Fault) -> CellFault:
    """A fault of the log at its line and column in the file."""
    line, column = draft.origin_of(fault.pointer)
    return CellFault(
        line=line, column=column, kind=fault.kind, detail=fault.detail, numbers=fault.numbers
    )
