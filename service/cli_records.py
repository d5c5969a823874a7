"""`graftlog template`, `import` and `export`: records in and out of the books."""

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
import msgspec

from service.cli_running import Ending, run, settings_or_exit, something_there, tables_there
from service.settings import Settings
from service.sheets import writing
from service.sheets.columns import SHEETS
from service.sheets.report import FileReport, LineReport

# Longer files show only the lines that have something to say.
EVERY_LINE_UP_TO = 1000
_WORDS = {
    "recorded": "recorded",
    "known": "known before",
    "refused": "REFUSED",
    "would_be_recorded": "would be recorded",
    "not_recorded": "not recorded",
    "skipped": "nothing filled in",
}


@click.command()
@click.argument("name", required=False, type=click.Choice(list(SHEETS)), metavar="[NAME]")
@click.option("--list", "listed", is_flag=True, help="List the sheets.")
@click.option("--explain", is_flag=True, help="Say in words what the columns hold.")
@click.option("--empty", is_flag=True, help="Only the header, without the example rows.")
def template(name: str | None, listed: bool, explain: bool, empty: bool) -> None:
    """Print a CSV sheet to fill in: its header, and example rows to overwrite.

    Write days as 2026-03-14 and leave empty what is not known. Commas or semicolons, UTF-8.
    """
    if listed or name is None:
        for sheet in SHEETS.values():
            click.echo(f"{sheet.name:14}{sheet.title}: {sheet.says}")
        return
    sheet = SHEETS[name]
    if explain:
        click.echo(writing.explained(sheet))
        return
    click.echo(writing.template(sheet, examples=not empty).replace("\r\n", "\n"), nl=False)


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--as", "name", help="Who records it; needed but for an exported log.")
@click.option("--dry-run", is_flag=True, help="Judge everything and store nothing.")
@click.option("--kind", type=click.Choice(list(SHEETS)), help="Which sheet, if the header is not "
              "enough to tell.")  # fmt: skip
@click.option("--site", help="The site, for rows in which it is empty.")
@click.option("--date", "day", help="The day (2026-03-14), for rows in which it is empty.")
@click.option("--every-line", is_flag=True, help="Report on every line of a long file too.")
def import_file(
    file: Path,
    name: str | None,
    dry_run: bool,
    kind: str | None,
    site: str | None,
    day: str | None,
    every_line: bool,
) -> None:
    """Record a whole file: a CSV sheet (.csv), lines of events, or an exported log (.ndjson).

    All of it is recorded or, when one line is refused, nothing; each line is reported on. A file
    that was imported before is known and adds nothing. An exported log goes into a database whose
    log is empty. See `graftlog template --list` for the sheets.
    """
    from service.sheets.archive import is_archive

    settings = settings_or_exit()
    if is_archive(file):
        if not run(lambda _: _take_back(settings, file, dry_run=dry_run)):
            raise SystemExit(130)
        return
    for_all = {key: value for key, value in (("site", site), ("date", day)) if value}
    principal = _principal(name)
    if file.suffix.lower() not in (".csv", ".ndjson"):
        raise click.UsageError(f"{file.name}: its name should end in .csv or .ndjson")

    async def record(_: Ending) -> tuple[FileReport, float]:
        from service.log.together import record_together
        from service.sheets.importing import take_in_file
        from service.storage.migrate import migrate
        from service.storage.pool import open_database

        async with await open_database(settings) as database:
            await migrate(database)
            began = time.perf_counter()
            understood = _understood(file, kind, for_all)
            with _bar(len(understood.drafts), "Judging") as moved:

                async def judge(submissions: Sequence[Any], check: bool) -> list[Any]:
                    return await record_together(
                        database,
                        submissions,
                        check=check,
                        confidence=settings.promise_confidence,
                        progress=moved,
                    )

                report = await take_in_file(understood, principal, judge, check=dry_run)
                return report, time.perf_counter() - began

    done = run(record)
    if done is None:
        raise SystemExit(130)
    report, seconds = done
    _tell(report, seconds, every_line=every_line)
    if report.refused or any(line.became == "not_recorded" for line in report.lines):
        raise SystemExit(1)


def _principal(name: str | None) -> Any:
    from service.log.rights import EVERY_SITE, SCOPES, Principal
    from service.trade.words import Ref

    if name is None:
        raise click.UsageError("say with --as who records it, as a reference such as p-07")
    try:
        msgspec.convert(name, Ref)
    except msgspec.ValidationError as error:
        raise click.UsageError(
            f"--as {name}: no reference (letters, digits and . _ : @ -, no blanks)"
        ) from error
    return Principal(name, frozenset(SCOPES), frozenset({EVERY_SITE}))


def _understood(file: Path, kind: str | None, for_all: dict[str, str]) -> Any:
    from service.api.shapes import fault_of
    from service.sheets.importing import understand_lines, understand_sheet

    content = file.read_bytes()
    if file.suffix.lower() != ".csv":
        return understand_lines(content, fault_of)
    return understand_sheet(content, SHEETS[kind] if kind else None, for_all)


@contextmanager
def _bar(length: int, label: str) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error; silent where nobody watches."""
    hidden = not sys.stderr.isatty() or length < 100
    with click.progressbar(length=length, label=label, file=sys.stderr, hidden=hidden) as bar:
        yield bar.update


def _tell(report: FileReport, seconds: float, *, every_line: bool) -> None:
    long = len(report.lines) > EVERY_LINE_UP_TO and not every_line
    for line in report.lines:
        if long and line.became in ("recorded", "would_be_recorded") and not line.remarks:
            continue
        if line.became == "not_recorded" and long:
            continue
        for words in _line_words(line):
            click.echo(words)
    events = len({line.id for line in report.lines if line.id})
    rate = f"{events / seconds:,.0f} events/s" if seconds else ""
    if report.refused:
        lines = "line" if report.refused == 1 else "lines"
        click.echo(f"{report.refused} {lines} refused; nothing was recorded.", err=True)
    elif report.check:
        click.echo(
            f"A dry run: {events - report.known} events would be recorded, {report.known} are "
            f"known; nothing was stored ({rate}).",
            err=True,
        )
    else:
        click.echo(
            f"{report.recorded} events recorded, {report.known} known before ({rate}).", err=True
        )


def _line_words(line: LineReport) -> list[str]:
    """A line's report: what it became, then why or with what remark."""
    codes = " ".join(code for kind in line.made.values() for code in kind)
    parts = [f"line {line.line}:", _WORDS[line.became], line.event or "", codes]
    if line.position is not None and line.with_line is None:
        parts.append(f"at position {line.position}")
    if line.with_line is not None:
        parts.append(f"with line {line.with_line}")
    words = [" ".join(part for part in parts if part)]
    for fault in line.faults:
        where = f"{fault.column}: " if fault.column else ""
        words.append(f"    {where}{fault.detail}")
    words += [f"    remark: {remark.detail}" for remark in line.remarks]
    return words


@click.command()
@click.option(
    "--file",
    "path",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Where to; left out: standard output.",
)
@click.option("--until", type=click.IntRange(0), help="Only up to this position of the log.")
def export(path: Path | None, until: int | None) -> None:
    """Write the whole log as lines of JSON, which `graftlog import` takes back.

    Everything is of one moment, and nobody is stopped. With the events go the sites' temperatures,
    logger readings and given forecasts, and what waits to be put right; keys, names and addresses
    do not.
    """
    settings = settings_or_exit()
    something_there(settings)
    if not run(lambda _: _write_out(settings, path, until)):
        raise SystemExit(130)


async def _write_out(settings: Settings, path: Path | None, until: int | None) -> bool:
    """Write the log to a file, or to standard output."""
    from service.sheets.archive import PositionInsideUnitError, archive
    from service.storage.pool import open_database

    size = 0
    async with await open_database(settings) as database, database.writer.acquire() as one:
        await tables_there(one)
        async with one.transaction(isolation="repeatable_read", readonly=True):
            try:
                # A file that could not be finished has no last line, so import refuses it.
                out = path.open("xb") if path else sys.stdout.buffer
                async for lines in archive(one, until):
                    size += out.write(lines)
                out.flush()
            except PositionInsideUnitError as error:
                raise click.ClickException(f"--until {until}: {error}") from error
            except BrokenPipeError:
                raise
            except FileExistsError as error:
                raise click.ClickException(f"{path} is there already; name another file") from error
            except OSError as error:
                raise click.ClickException(f"cannot write {path}: {error.strerror}") from error
    if path:
        click.echo(f"wrote {path} ({size:,} bytes)", err=True)
    return True


async def _take_back(settings: Settings, file: Path, *, dry_run: bool) -> bool:
    """An exported log into an empty database."""
    from service.sheets.restoring import ArchiveError, restore
    from service.storage.migrate import migrate
    from service.storage.pool import open_database

    async with await open_database(settings) as database:
        await migrate(database)
        began = time.perf_counter()
        with file.open("rb") as lines:
            length = sum(1 for _ in lines)
        try:
            with _bar(length, "Taking back") as moved:
                done = await restore(database, file, check=dry_run, progress=moved)
        except ArchiveError as error:
            raise click.ClickException(f"{file.name}, {error}; nothing was stored") from error
    rate = done.events / (time.perf_counter() - began)
    if done.known:
        click.echo(f"All {done.events} events of the file are in this log already.", err=True)
        return True
    would = "would be" if dry_run else "were"
    click.echo(
        f"{done.events} events and {done.temperature_versions} versions of temperatures {would} "
        f"taken back ({rate:,.0f} events/s). The views follow by themselves.",
        err=True,
    )
    return True
