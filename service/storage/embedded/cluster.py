"""The files of the embedded server: where they lie, how they are made, who runs on them.

::

    FOLDER/owner.lock          held by the one process that runs the server
    FOLDER/postgres/           belongs to the account that the server runs as, mode 0700
        cluster/               PostgreSQL's data directory
        socket/                its Unix socket (or a short folder under /tmp)
        server.log             what it says, one older one kept
"""

import contextlib
import hashlib
import os
import re
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from service.storage.embedded import launch
from service.storage.embedded.account import Account, choose_account
from service.storage.embedded.binaries import Binaries, copy_binaries, find_binaries
from service.storage.embedded.errors import EmbeddedServerError

PORT = 5432
SUPERUSER = "postgres"
# sockaddr_un holds 104 bytes on macOS and 108 on Linux, the closing NUL included.
_LONGEST_SOCKET = 100
_LARGEST_LOG = 10 * 1024 * 1024
_HAS_PROC = Path("/proc/self/cwd").is_symlink()
_SAFE_FOLDER = re.compile(r"[A-Za-z0-9/._-]+")


@dataclass(frozen=True)
class Running:
    """What ``postmaster.pid`` says of a server."""

    pid: int
    socket_dir: Path
    status: str


@dataclass(frozen=True)
class Cluster:
    """The files in one folder, the account they belong to and the programs that read them."""

    folder: Path
    account: Account
    binaries: Binaries

    @property
    def home(self) -> Path:
        """The folder that belongs to the account."""
        return self.folder / "postgres"

    @property
    def data(self) -> Path:
        """PostgreSQL's data directory; it exists only when it is complete."""
        return self.home / "cluster"

    @property
    def log(self) -> Path:
        """The server's log."""
        return self.home / "server.log"

    @classmethod
    def prepare(cls, folder: Path) -> "Cluster":
        """Make the folders, choose account and programs, and check that one can run the other.

        Raises ``EmbeddedServerError`` where the account cannot reach the folder.
        """
        account = choose_account(folder / "postgres" / "cluster")
        cluster = cls(folder, account, find_binaries())
        if not cluster.home.is_dir():
            cluster.home.mkdir(mode=0o700, exist_ok=True)
        if os.geteuid() == 0:
            account.own(cluster.home)
            return cluster._reachable()
        return cluster

    def _reachable(self) -> "Cluster":
        """For root: try the programs as the account, and copy them where it cannot reach them."""
        result = self.run([str(self.binaries.postgres), "--version"])
        if result.returncode == launch.CANNOT_ENTER:
            raise EmbeddedServerError(
                f"the database runs as the account {self.account.name!r}, which cannot enter "
                f"{self.home} (a folder above it is closed to others): set GRAFTLOG_DATA_DIR to "
                f"a folder such as /var/lib/graftlog"
            )
        if result.returncode == 0:
            return self
        copied = Cluster(self.folder, self.account, copy_binaries(self.binaries, self.home))
        result = copied.run([str(copied.binaries.postgres), "--version"])
        if result.returncode != 0:
            raise EmbeddedServerError(
                f"the database's programs do not run: {result.stdout.strip()}"
            )
        return copied

    def command(self, arguments: Sequence[str], parent_ends: int) -> list[str]:
        """``arguments`` run as the account in ``home``, signalled when our thread ends (0: not)."""
        account = self.account
        head = [sys.executable, "-I", "-S", launch.__file__, str(account.uid), str(account.gid)]
        return [*head, str(os.getpid()), str(int(parent_ends)), str(self.home), *arguments]

    def environment(self) -> dict[str, str]:
        """A clean environment: the caller's PGDATA, PGPORT or locale must not matter."""
        return {"PATH": os.defpath, "LC_ALL": "C", "HOME": str(self.home)}

    def run(self, arguments: Sequence[str]) -> subprocess.CompletedProcess[str]:
        """Run a program to its end as the account; its output and errors are in ``stdout``."""
        return subprocess.run(
            self.command(arguments, signal.SIGKILL),
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
        )

    def initialise(self) -> None:
        """Make the data directory if there is none. Only for the holder of ``owner.lock``.

        Made beside its place and renamed when complete: what a killed initdb leaves behind looks
        finished, so it is never looked at, only removed.
        """
        for left_over in self.home.glob("new-*"):
            shutil.rmtree(left_over, ignore_errors=True)
        if self.data.is_dir():
            return
        working = Path(tempfile.mkdtemp(prefix="new-", dir=self.home))
        self.account.own(working)
        # The builtin provider sorts the same on every machine; libc's own locale does not, and
        # a machine need not even have C.UTF-8.
        words = "-U postgres --auth-local=trust --auth-host=reject --encoding=UTF8 --locale=C"
        words += " --locale-provider=builtin --builtin-locale=C.UTF-8 --data-checksums"
        result = self.run([str(self.binaries.initdb), "-D", str(working), *words.split()])
        if result.returncode != 0:
            shutil.rmtree(working, ignore_errors=True)
            raise EmbeddedServerError(f"initdb failed:\n{result.stdout.strip()[-2000:]}")
        working.rename(self.data)
        descriptor = os.open(self.home, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def socket_dir(self) -> Path:
        """The folder of the socket, made if need be, always the same for one ``folder``.

        A path that is too long for a socket, or that the server's list syntax would split, is
        replaced by a short one under /tmp. Raises ``EmbeddedServerError`` when someone else made
        that first.
        """
        preferred = self.home / "socket"
        longest = len(os.fsencode(preferred / f".s.PGSQL.{PORT}.lock"))
        if longest > _LONGEST_SOCKET or not _SAFE_FOLDER.fullmatch(str(preferred)):
            digest = hashlib.sha256(os.fsencode(self.folder.resolve())).hexdigest()[:16]
            preferred = Path("/tmp") / f"graftlog-{digest}"
        try:
            preferred.mkdir(mode=0o700)
            self.account.own(preferred)
        except FileExistsError:
            pass
        found = preferred.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid != self.account.uid:
            raise EmbeddedServerError(f"{preferred} is not ours: remove it and start again")
        if stat.S_IMODE(found.st_mode) != 0o700:
            preferred.chmod(0o700)
        return preferred

    def running(self) -> Running | None:
        """The server that runs on these files, whoever started it; None when none does."""
        return find_running(self.data)

    def stop_orphan(self, timeout: float = 60.0) -> None:
        """Stop a server that outlived the process that started it.

        Only for the holder of ``owner.lock``: nobody else can be its owner then. It is stopped
        rather than adopted, so that the one that follows is tied to this process again.
        """
        deadline = time.monotonic() + timeout
        orphan = self.running()
        if orphan is not None:
            os.kill(orphan.pid, signal.SIGINT)
        while (now := self.running()) is not None:
            if time.monotonic() > deadline:
                raise EmbeddedServerError(f"the old server (pid {now.pid}) does not stop")
            time.sleep(0.01)
        _end_old_backends(self.data)
        # No server runs here, so lock files are stale. PostgreSQL sees to that itself, unless the
        # number in them is another live process by now, as it soon is in a container.
        for path in (self.data / "postmaster.pid", self.socket_dir() / f".s.PGSQL.{PORT}.lock"):
            if _alive(path):
                path.unlink(missing_ok=True)

    def open_log(self) -> int:
        """A descriptor to append to the log, which begins anew when it has grown large."""
        if self.log.exists() and self.log.stat().st_size > _LARGEST_LOG:
            self.log.replace(self.log.with_suffix(".log.1"))
        descriptor = os.open(
            self.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_NOFOLLOW, 0o600
        )
        if os.geteuid() == 0:
            os.fchown(descriptor, self.account.uid, self.account.gid)
        return descriptor


def find_running(data: Path) -> Running | None:
    """The server that runs on the data directory ``data``; None when none does."""
    try:
        lines = (data / "postmaster.pid").read_text(errors="replace").splitlines()
        pid = int(lines[0])
    except (OSError, ValueError, IndexError):
        return None
    if not _runs_on(data, pid):
        return None
    socket_dir = Path(lines[4]) if len(lines) > 4 and lines[4] else data.parent / "socket"
    status = lines[7].strip() if len(lines) > 7 else "starting"
    return Running(pid, socket_dir, status)


def _runs_on(data: Path, pid: int) -> bool:
    """Whether process ``pid`` is a server on ``data``: its number may be another's by now.

    A server's working directory is its data directory. A dead process that nobody has waited for
    has none, and so counts as gone.
    """
    if _HAS_PROC:
        try:
            return Path(f"/proc/{pid}/cwd").readlink() == data.resolve()
        except OSError:
            return False
    listed = subprocess.run(
        ["ps", "-o", "command=", "-p", str(pid)], capture_output=True, text=True, check=False
    )
    return str(data) in listed.stdout


def _end_old_backends(data: Path) -> None:
    """End what a killed server left behind: it would keep the next one from starting.

    Most notice by themselves, but one that is busy with a long query may not for hours. SIGQUIT
    is what the server itself would have sent them.
    """
    for entry in Path("/proc").glob("[0-9]*") if _HAS_PROC else ():
        pid = int(entry.name)
        if _runs_on(data, pid):
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGQUIT)


def _alive(lock_file: Path) -> bool:
    """Whether the process that a lock file names exists, whatever it is."""
    try:
        os.kill(abs(int(lock_file.read_text().splitlines()[0])), 0)
    except PermissionError:
        return True
    except (OSError, ValueError, IndexError, OverflowError):
        return False
    return True
