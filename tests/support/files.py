"""Files taken in as `graftlog import` does, and what came of each line."""

from collections.abc import Sequence

from service.api.shapes import fault_of
from service.log.submission import Answer, Submission
from service.log.together import record_together
from service.sheets.columns import SHEETS
from service.sheets.importing import Understood, take_in_file, understand_lines, understand_sheet
from service.sheets.report import FileReport
from service.storage.pool import Database
from tests.support.bench_side import EVERYTHING, NOW


class Files:
    """Somebody who types in what came back from the benches."""

    def __init__(self, database: Database) -> None:
        self.database = database

    async def sheet(self, text: str, name: str | None = None, *, check: bool = False) -> FileReport:
        """A CSV sheet."""
        sheet = SHEETS[name] if name else None
        return await self._take_in(understand_sheet(text.encode(), sheet), check)

    async def lines(self, *events: bytes, check: bool = False) -> FileReport:
        """Lines of JSON."""
        return await self._take_in(understand_lines(b"\n".join(events), fault_of), check)

    async def _take_in(self, file: Understood, check: bool) -> FileReport:
        async def judge(submissions: Sequence[Submission], check: bool) -> Sequence[Answer]:
            return await record_together(self.database, submissions, check=check, clock=lambda: NOW)

        return await take_in_file(file, EVERYTHING, judge, check=check)

    async def head(self) -> int:
        """The log's newest position."""
        position: int = await self.database.writer.fetchval("SELECT position FROM log_head")
        return position


def told(report: FileReport) -> list[tuple[int, str, str | None]]:
    """Each line with what it became, and the kind of its first fault."""
    return [
        (line.line, line.became, line.faults[0].kind if line.faults else None)
        for line in report.lines
    ]
