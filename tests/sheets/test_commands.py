"""`graftlog template`, `import` and `export` as a person runs them."""

from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner

from service.cli import main
from service.settings import Settings
from service.sheets.columns import SHEETS
from tests.support.bench_side import entry
from tests.support.commands import graftlog
from tests.support.database import TestServer
from tests.support.files import Files

PLACE = entry("place", "C-T1", site="CORIN", structure="House 1")
SITE = entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=40, longitude=1)
SIZE = entry("size", "P9", label="9 cm pot")


def test_templates_are_listed_printed_and_explained() -> None:
    listed = CliRunner().invoke(main, ["template", "--list"]).output
    assert [line.split()[0] for line in listed.splitlines()] == list(SHEETS)
    for name, sheet in SHEETS.items():
        printed = CliRunner().invoke(main, ["template", name]).output.splitlines()
        assert printed[0] == ",".join(sheet.header)
        assert len(printed) == 1 + len(sheet.examples)
        bare = CliRunner().invoke(main, ["template", name, "--empty"]).output
        assert bare.splitlines() == printed[:1]
        told = CliRunner().invoke(main, ["template", name, "--explain"]).output
        assert all(column.says in told for column in sheet.columns)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["x.csv"], "who records it"),
        (["x.csv", "--as", "Jane Doe"], "no reference"),
        (["x.txt", "--as", "p-1"], "should end in .csv or .ndjson"),
    ],
)
def test_what_is_no_import_is_said_before_anything_is_opened(
    tmp_path: Path, words: list[str], says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GRAFTLOG_DATA_DIR", str(tmp_path / "never-made"))
    file = tmp_path / words[0]
    file.write_text("lot\n")
    said = CliRunner().invoke(main, ["import", str(file), *words[1:]])
    assert said.exit_code == 2
    assert says in said.output
    assert not (tmp_path / "never-made").exists()


async def test_in_and_out_from_the_command_line(
    settings: Settings, files: Files, server: TestServer, tmp_path: Path
) -> None:
    assert settings.database_url is not None
    await files.lines(*map(msgspec.json.encode, (SITE, PLACE, SIZE)))
    rows = (
        "date;site;what;lot;stage;size;place;count\n"
        "2026-03-01;CORIN;trees;TR-1;ready;P9;C-T1;12\n"
        "2026-03-01;CORIN;trees;TR-2;ready;P9;C-T1;{count}\n"
    )
    sheet, log = tmp_path / "stock.csv", tmp_path / "log.ndjson"
    sheet.write_text(rows.format(count="1.200"))
    here = {"DATABASE_URL": settings.database_url}
    said = await graftlog("import", str(sheet), "--as", "p-1", **here)
    assert said.code == 1
    assert said.out.splitlines() == [
        "line 2: not recorded",
        "line 3: REFUSED",
        '    count: "1.200": write a number without separators; 1200, if that is meant.',
    ]
    assert "1 line refused; nothing was recorded." in said.err
    sheet.write_text(rows.format(count="1200"))
    dry = await graftlog("import", str(sheet), "--as", "p-1", "--dry-run", **here)
    assert (dry.code, dry.out.count("would be recorded")) == (0, 2)
    assert await files.head() == 3
    done = await graftlog("import", str(sheet), "--as", "p-1", **here)
    assert done.out.splitlines() == [
        "line 2: recorded stock.opened TR-1 at position 4",
        "line 3: recorded stock.opened TR-2 at position 5",
    ]
    assert "2 events recorded, 0 known before" in done.err
    assert (await graftlog("export", "--file", str(log), **here)).code == 0
    twice = await graftlog("export", "--file", str(log), **here)
    assert twice.code == 1
    assert "is there already" in twice.err
    there = {"DATABASE_URL": server.dsn_of(name := await server.create())}
    try:
        back = await graftlog("import", str(log), **there)
        assert (back.code, back.out) == (0, "")
        assert "5 events" in back.err
        out = await graftlog("export", **there)
        assert out.out == log.read_text()
        known = await graftlog("import", str(log), **here)
        assert "All 5 events of the file are in this log already." in known.err
        log.write_text(out.out.replace("TR-2", "TR-1"))
        refused = await graftlog("import", str(log), **there)
        assert refused.code == 1
        assert "line 7: the SHA-256 of the lines above differs" in refused.err
    finally:
        await server.drop(name)
