"""Migrations are friendly to who is at work meanwhile: squawk finds nothing in them."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "migrations" / "sql").glob("*.sql"))
# Landed before squawk looked on; a landed revision is never edited. What they break: smaller
# numbers were chosen on purpose for attempts, versions and counts of one thing, which never come
# near the limit; and two indexes are built on tables that were empty then.
LANDED = {"0001_ledger", "0002_weather", "0003_views"}
FORGIVEN = [
    "prefer-bigint-over-int",
    "prefer-bigint-over-smallint",
    "require-concurrent-index-creation",
    # What the command line leaves out takes the place of the file's list: these two are its.
    "require-lock-timeout",
    "require-statement-timeout",
]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_revision_is_friendly(path: Path) -> None:
    forgiven = [f"--exclude={rule}" for rule in FORGIVEN] if path.stem in LANDED else []
    squawk = Path(sys.executable).with_name("squawk")
    ran = subprocess.run(
        [squawk, *forgiven, "--reporter=gcc", path.relative_to(ROOT)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_squawk_would_find_something(tmp_path: Path) -> None:
    harm = tmp_path / "harm.sql"
    harm.write_text("CREATE INDEX lots_site ON lots (site);\n")
    squawk = Path(sys.executable).with_name("squawk")
    config = f"--config={ROOT / '.squawk.toml'}"
    ran = subprocess.run([squawk, config, harm], capture_output=True, text=True, check=False)
    assert ran.returncode != 0
    assert "require-concurrent-index-creation" in ran.stdout + ran.stderr
