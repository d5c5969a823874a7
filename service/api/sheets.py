"""CSV sheets: their templates, and a filled-in one taken in whole."""

from collections.abc import Sequence
from typing import Annotated

import msgspec
from msgspec import Meta

from service.api.events import key_of, verdicts_of
from service.api.operation import CSV, Call, NoQuery, Reply, csv_file, operation
from service.api.problems import Mistake, Problem, lacks_scope, not_found
from service.api.taking_in import LINES_LIMIT, PROBLEMS, check_rights, hand_over
from service.log.rights import READ, Principal, scope_for
from service.log.submission import Answer, Element, Submission
from service.sheets import writing
from service.sheets.column import Column, Sheet
from service.sheets.columns import SHEETS
from service.sheets.importing import Understood, take_in_file, understand_sheet
from service.sheets.reading import CellFault
from service.sheets.report import FileReport, located
from service.trade.words import Code, Occurred


class SheetColumn(msgspec.Struct, frozen=True, kw_only=True):
    """A column of a sheet."""

    name: str
    says: str
    needed: Annotated[bool, Meta(description="Whether a row without it is refused.")]
    choices: Annotated[list[str], Meta(description="The words it may hold; empty: any.")]


class SheetNow(msgspec.Struct, frozen=True, kw_only=True):
    """A sheet that can be sent as CSV."""

    name: str
    title: str
    says: str
    rows_together: Annotated[str, Meta(description="Which rows become one event.")]
    columns: list[SheetColumn]


class Sheets(msgspec.Struct, frozen=True, kw_only=True):
    """All sheets, in the order a nursery that starts needs them."""

    items: list[SheetNow]


class TemplateQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the template holds."""

    examples: Annotated[bool, Meta(description="false: only the header.")] = True


class SheetQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a sheet is to be taken in."""

    check: Annotated[bool, Meta(description="true: judge it and store nothing.")] = False
    site: Annotated[Code, Meta(description="The site, for rows in which it is empty.")] | None = (
        None
    )
    date: (
        Annotated[Occurred, Meta(description="The day, for rows in which it is empty.")] | None
    ) = None


@operation("GET", "/v1/sheets", tag="Sheets", scope=READ, query=NoQuery, answer=Sheets)
async def list_sheets(call: Call[NoQuery]) -> Reply:
    """The sheets that can be sent as CSV, each with its columns in words."""
    return Reply(Sheets(items=[_now(sheet) for sheet in SHEETS.values()]))


def _now(sheet: Sheet) -> SheetNow:
    return SheetNow(
        name=sheet.name,
        title=sheet.title,
        says=sheet.says,
        rows_together=sheet.rows_together,
        columns=[_column(column) for column in sheet.columns],
    )


def _column(column: Column) -> SheetColumn:
    return SheetColumn(
        name=column.name, says=column.says, needed=column.needed, choices=list(column.choices)
    )


@operation(
    "GET",
    "/v1/sheets/{name:str}",
    tag="Sheets",
    scope=READ,
    query=TemplateQuery,
    answer=str,
    produces=CSV,
)
async def get_sheet(call: Call[TemplateQuery]) -> Reply:
    """A sheet's template as CSV: its header, and example rows to overwrite."""
    sheet = _sheet(call)
    text = writing.template(sheet, examples=call.query.examples)
    return csv_file(text, f"{sheet.name}.csv")


@operation(
    "POST",
    "/v1/sheets/{name:str}",
    tag="Sheets",
    scope="",
    query=SheetQuery,
    accepts=(CSV,),
    body=str,
    answer=FileReport,
    answers=(200, 201),
    problems=PROBLEMS,
    request_headers=("Idempotency-Key",),
)
async def record_sheet(call: Call[SheetQuery]) -> Reply:
    """Record a filled-in sheet (CSV, UTF-8, commas or semicolons): all of it or nothing.

    Days are written as 2026-03-14; an empty cell is left out or unknown. 201 when something new was
    recorded, 200 when all of it was known or with `check=true`. The answer says what became of
    every line; a refusal names line and column in `errors` and carries the same report in `lines`.
    Which scope it asks for depends on what the rows become. The same rows sent again are known.
    """
    sheet, query, principal = _sheet(call), call.query, call.principal
    body = await call.body(call.services.settings.batch_body_limit)
    for_all = {"site": query.site, "date": query.date}
    file = understand_sheet(body, sheet, {k: v for k, v in for_all.items() if v is not None})
    if len(file.drafts) > LINES_LIMIT:
        raise Problem(
            "content-too-large", f"At most {LINES_LIMIT} events at a time.", limit=LINES_LIMIT
        )
    if not file.faults:
        _check_rights(file, principal)
    replayed = False

    async def judge(submissions: Sequence[Submission], check: bool) -> list[Answer]:
        nonlocal replayed
        answers = []
        for one in submissions:
            answer = await hand_over(call, msgspec.structs.replace(one, check=check))
            if answer.stored is not None:
                replayed = True
                answer = msgspec.structs.replace(answer, verdicts=verdicts_of(answer.stored))
            answers.append(answer)
        return answers

    key = None if query.check else key_of(call, body)
    report = await take_in_file(file, principal, judge, check=query.check, key=key)
    if any(line.became in ("refused", "not_recorded") for line in report.lines):
        raise _refused(report, shape=bool(file.faults))
    headers = {"Graftlog-Position": str(report.position)}
    if replayed:
        headers["Idempotency-Replayed"] = "true"
    return Reply(report, 201 if report.recorded else 200, headers=headers, cache="no-store")


def _sheet(call: Call[TemplateQuery] | Call[SheetQuery]) -> Sheet:
    sheet = SHEETS.get(str(call.request.scope["path_params"]["name"]))
    if sheet is None:
        raise not_found("The sheet")
    return sheet


def _check_rights(file: Understood, principal: Principal) -> None:
    """Refuse what the key may not record, by the rows: 403 for a scope, 409 for a site."""
    elements = [Element(draft.raw, draft.event) for draft in file.drafts]
    lacking: dict[str, list[Mistake]] = {}
    unseen: list[Mistake] = []
    checked = check_rights(elements, principal, array=True, each=True)
    for draft, element in zip(file.drafts, checked, strict=True):
        for fault in element.faults:
            mistake = _mistake(located(draft, fault))
            if fault.kind == "scope_missing":
                lacking.setdefault(str(draft.envelope["type"]), []).append(mistake)
            else:
                unseen.append(mistake)
    if lacking:
        kind, mistakes = next(iter(lacking.items()))
        raise lacks_scope(scope_for(kind), mistakes)
    if unseen:
        raise Problem("refused", "Nothing was recorded: see errors.", errors=unseen)


def _refused(report: FileReport, *, shape: bool) -> Problem:
    mistakes = [_mistake(fault) for line in report.lines for fault in line.faults]
    slug = "validation-error" if shape else "refused"
    return Problem(slug, "Nothing was recorded: see errors.", errors=mistakes, lines=report.lines)


def _mistake(fault: CellFault) -> Mistake:
    """A fault as a mistake: `numbers` says its line and column."""
    where: dict[str, object] = {"line": fault.line}
    if fault.column is not None:
        where["column"] = fault.column
    return Mistake(kind=fault.kind, detail=fault.detail, numbers=fault.numbers | where)


HANDLERS = [list_sheets, get_sheet, record_sheet]
