"""`graftlog rebuild`: a view built anew beside the live one, compared, and put in its place."""

import sys
import time
from typing import TYPE_CHECKING

import click

from service.cli_running import run, settings_or_exit, something_there, tables_there

if TYPE_CHECKING:
    from service.settings import Settings
    from service.views.rebuild import Rebuilt

_BAR = 24
# A bar that is drawn anew more often is no easier to read.
_EVERY_SECONDS = 0.1
# A view that is altogether wrong has as many lines as rows.
_SHOWN = 1000


@click.command()
@click.argument("names", metavar="[VIEW]...", nargs=-1)
@click.option("--all", "everything", is_flag=True, help="Every view.")
@click.option("--check", is_flag=True, help="Only compare; change nothing. Exit code 1 if wrong.")
def rebuild(names: tuple[str, ...], everything: bool, check: bool) -> None:
    """Build a view anew beside the live one, say how they differ, and put the new one in place.

    Readers are never kept waiting and see the old view or the new one, nothing in between. A run
    that is cut off, however roughly, leaves the live view as it was. Lines that begin with `kept`
    are rows that the live view had and should not have had; `anew` those that it should have.

    Without a name, or with a wrong one, it says which views there are.
    """
    settings = settings_or_exit()
    if everything and names:
        raise click.UsageError("give names or --all, not both")
    run_names = _known(names, everything)
    found = run(lambda ending: _rebuild(settings, run_names, check=check))
    if check and found:
        raise SystemExit(1)


def _known(names: tuple[str, ...], everything: bool) -> list[str]:
    from service.jobs.every_view import every_view

    known = [view.name for view in every_view()]
    unknown = [name for name in names if name not in known]
    if unknown or not (names or everything):
        said = f"there is no view {', '.join(unknown)}" if unknown else "say which view, or --all"
        raise click.UsageError(f"{said}; there are: {', '.join(known)}")
    return known if everything else list(dict.fromkeys(names))


async def _rebuild(settings: "Settings", names: list[str], *, check: bool) -> bool:
    """Rebuild or compare these views; True when any was wrong."""
    from service.clock import system_clock
    from service.jobs.every_view import every_view, telling_faults
    from service.storage.pool import open_database
    from service.views.rebuild import BeingBuilt
    from service.views.rebuild import rebuild as rebuild_view

    something_there(settings)
    wrong = False
    views = {view.name: view for view in every_view()}
    async with await open_database(settings) as database:
        async with database.writer.acquire() as one:
            await tables_there(one)
        for name in names:
            bar, lines = Bar(name), Lines()
            try:
                done = await rebuild_view(
                    database,
                    views[name],
                    swap=not check,
                    progress=bar.show,
                    found=lines.say,
                    on_faults=telling_faults(system_clock),
                )
            except BeingBuilt:
                click.echo(f"{name}: another process is building it anew just now; left alone.")
                continue
            bar.clear()
            lines.end()
            click.echo(_in_words(done, check=check))
            wrong = wrong or done.differences > 0
    return wrong


def _in_words(done: "Rebuilt", *, check: bool) -> str:
    rate = done.position / done.seconds if done.seconds else 0
    words = f"{done.view}: {done.position:,} events in {done.seconds:.1f} s ({rate:,.0f} a second)"
    if done.behind:
        words += f"; the live view was {done.behind:,} events behind and was replaced."
    elif not done.differences:
        words += ", all rows as they were."
    elif check:
        words += f", {done.differences:,} rows differ; nothing was changed."
    else:
        words += f", {done.differences:,} rows differed and were put right."
    if done.set_aside:
        words += f" {done.set_aside} could not be computed and are set aside; see the alerts."
    return words


class Bar:
    """Progress on standard error, where a person looks on; nothing where nobody does."""

    def __init__(self, view: str) -> None:
        self.view = view
        self.begun = time.monotonic()
        self._shown = 0.0
        self._seen = sys.stderr.isatty()

    def show(self, done: int, of: int) -> None:
        """So many events of so many."""
        now = time.monotonic()
        if not self._seen or (now - self._shown < _EVERY_SECONDS and done < of):
            return
        self._shown = now
        part = done / of if of else 1.0
        full = int(_BAR * part)
        rate = done / max(now - self.begun, 0.001)
        click.echo(
            f"\r{self.view:14} [{'#' * full}{'.' * (_BAR - full)}] {part:4.0%} "
            f"{done:,} of {of:,} events, {rate:,.0f} a second\033[K",
            err=True,
            nl=False,
        )

    def clear(self) -> None:
        """Leave the line to what is said next."""
        if self._seen:
            click.echo("\r\033[K", err=True, nl=False)


class Lines:
    """The differences, each on a line, as far as anybody would read."""

    def __init__(self) -> None:
        self.count = 0

    def say(self, line: str) -> None:
        """One difference."""
        self.count += 1
        if self.count <= _SHOWN:
            click.echo(line)

    def end(self) -> None:
        """How many were not shown."""
        if self.count > _SHOWN:
            click.echo(f"and {self.count - _SHOWN:,} more")
