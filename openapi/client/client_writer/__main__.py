"""`python -m client_writer [--check]`, in `openapi/client`: write the generated files anew."""

import argparse
import json
import subprocess
import sys
from pathlib import Path

from client_writer import operations, problems, shapes

HERE = Path(__file__).resolve().parent.parent
DOCUMENT = HERE.parent / "openapi.json"


def written(document: Path) -> dict[Path, str]:
    """The generated files, formatted."""
    told = json.loads(document.read_bytes())
    package = HERE / "graftlog_client"
    return {
        package / "operations.py": _formatted(operations.module(told)),
        package / "problem_kinds.py": _formatted(problems.module(told)),
        package / "shapes.py": _formatted(shapes.Shapes(told).module()),
    }


def _formatted(text: str) -> str:
    """By the project's own formatter, whose version the lock file holds; the same at any place."""
    command = [sys.executable, "-m", "ruff", "format", "--isolated", "--line-length", "100", "-"]
    done = subprocess.run(command, input=text, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"what was written is no Python: {done.stderr}")
    return done.stdout


def main() -> None:
    """Write the files, or say which of them differ."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare, and fail on a difference")
    parser.add_argument("--document", type=Path, default=DOCUMENT)
    asked = parser.parse_args()
    stale = []
    for path, text in written(asked.document).items():
        if path.exists() and path.read_text() == text:
            continue
        stale.append(path.name)
        if not asked.check:
            path.write_text(text)
    if asked.check and stale:
        sys.exit(f"the client is not that of openapi.json ({', '.join(stale)}): make client")
    print(f"The client is that of openapi.json ({len(stale)} files changed).")


if __name__ == "__main__":
    main()
