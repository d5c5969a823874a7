"""Starts the embedded server, keeps it running, and stops it; or shares one that runs.

One process owns the server: it holds ``owner.lock`` for as long as it lives, and the kernel drops
the lock when it dies, however it dies. Any other process on the same folder shares the server, and
takes over (lock, then server) when the owner has gone; its connections break for a moment and its
pools open new ones at the same address.

The server is a child of one thread, the keeper, which starts it, waits for its end, and starts it
again when it ended by itself. The thread matters: Linux signals a child when the *thread* that
made it ends, so a passing worker thread would take the server with it.
"""

import atexit
import contextlib
import fcntl
import logging
import os
import signal
import subprocess
import threading
import time
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from urllib.parse import quote, urlencode

from service.storage.embedded.cluster import PORT, SUPERUSER, Cluster, find_running
from service.storage.embedded.errors import EmbeddedServerError

_log = logging.getLogger(__name__)

_OPTIONS: Mapping[str, str] = {
    "listen_addresses": "",
    "port": str(PORT),
    "unix_socket_permissions": "0700",
    "logging_collector": "off",
    "log_destination": "stderr",
    "log_line_prefix": "%m [%p] %u ",
    "log_timezone": "UTC",
    "timezone": "UTC",
    "max_connections": "200",
    "jit": "off",
}
# Old backends of a killed server end by themselves, within moments.
_OLD_BACKENDS = "pre-existing shared memory block"
_OLD_BACKENDS_SECONDS = 30.0
_POLL = 0.01
_TAKE_OVER_POLL = 0.2


class EmbeddedServer:
    """A running server. Make it with ``start``; use it as a context manager or call ``stop``."""

    def __init__(self, data_dir: Path, options: Mapping[str, str] | None = None) -> None:
        self.data_dir = data_dir
        self._options = {**_OPTIONS, **(options or {})}
        self._pid = os.getpid()
        self._stopping = threading.Event()
        self._settled = threading.Event()
        self._failure: BaseException | None = None
        self._lock: int | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._guard = threading.Lock()
        self._socket_dir: Path | None = None
        self._keeper = threading.Thread(target=self._keep, name="database keeper", daemon=True)

    @classmethod
    def start(
        cls,
        data_dir: Path,
        *,
        options: Mapping[str, str] | None = None,
        timeout: float = 300.0,
    ) -> "EmbeddedServer":
        """The server on ``data_dir``, started or shared, and ready for connections.

        ``options`` are PostgreSQL settings laid over ours (``fsync=off`` for tests). ``timeout``
        in seconds leaves room for the recovery of a large log after a crash. Blocks; call it
        through ``asyncio.to_thread`` in a running loop. Raises ``EmbeddedServerError``.
        """
        server = cls(data_dir.absolute(), options)
        server._keeper.start()
        if not server._settled.wait(timeout):
            server.stop()
            raise EmbeddedServerError(f"the database on {data_dir} is not ready in {timeout:g} s")
        if server._failure is not None:
            failure = server._failure
            server.stop()
            if isinstance(failure, EmbeddedServerError):
                raise failure
            raise EmbeddedServerError(f"the database on {data_dir} cannot start: {failure}")
        atexit.register(server.stop)
        return server

    def __enter__(self) -> "EmbeddedServer":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    @property
    def owned(self) -> bool:
        """Whether this process runs the server (else it shares another's)."""
        return self._lock is not None

    @property
    def pid(self) -> int | None:
        """The server's process number, when this process runs it."""
        process = self._process
        return process.pid if process is not None else None

    @property
    def socket_dir(self) -> Path:
        """The folder of the server's Unix socket."""
        if self._socket_dir is None:
            raise EmbeddedServerError("the database has not been started")
        return self._socket_dir

    def dsn(self, database: str = "graftlog", role: str = SUPERUSER) -> str:
        """The address for a connection to ``database`` as ``role``; it outlives restarts."""
        where = urlencode({"host": str(self.socket_dir), "port": PORT})
        return f"postgresql://{quote(role, safe='')}@/{quote(database, safe='')}?{where}"

    def stop(self) -> None:
        """Stop the server cleanly if it is ours, and leave it alone if not. May be called twice."""
        if os.getpid() != self._pid:
            return  # a forked child has a copy of this object, not the server
        with self._guard:
            self._stopping.set()
            process = self._process
            if process is not None and process.poll() is None:
                process.send_signal(signal.SIGINT)  # PostgreSQL's fast shutdown
        if self._keeper.ident is not None and self._keeper is not threading.current_thread():
            self._join()
        atexit.unregister(self.stop)

    def _join(self) -> None:
        """Wait for the keeper, with stronger signals for a server that hangs."""
        for stronger, seconds in ((signal.SIGQUIT, 60.0), (signal.SIGKILL, 10.0)):
            self._keeper.join(seconds)
            with self._guard:
                process = self._process
                if self._keeper.is_alive() and process is not None:
                    _log.warning("the database does not stop; sending %s", stronger.name)
                    process.send_signal(stronger)
        self._keeper.join()

    # What follows runs in the keeper thread.

    def _keep(self) -> None:
        try:
            while not self._stopping.is_set():
                try:
                    self._turn()
                except BaseException as error:
                    if not self._settled.is_set():
                        self._failure = error
                        return
                    _log.exception("the database could not be started again")
                    self._stopping.wait(1.0)
        finally:
            self._settled.set()
            self._release()

    def _turn(self) -> None:
        """Share the owner's server for one look, or own the server until it ends."""
        if self._lock is None:
            self._make_folder()
            self._lock = self._take_lock()
        if self._lock is None:
            self._share()
            return
        cluster = Cluster.prepare(self.data_dir)
        cluster.initialise()
        self._socket_dir = cluster.socket_dir()
        process = self._launch(cluster)
        if process is None:
            return
        self._settled.set()
        code = process.wait()
        with self._guard:
            self._process = None
        if not self._stopping.is_set():
            _log.warning("the database ended by itself (code %s); starting it again", code)

    def _make_folder(self) -> None:
        """Make ``data_dir`` and what is missing above it; what is there keeps its permissions."""
        missing = [path for path in (self.data_dir, *self.data_dir.parents) if not path.exists()]
        for path in reversed(missing):
            # For root the account must be able to walk through, and no more; mkdir's mode is
            # subject to the umask, so it is set again.
            mode = 0o711 if os.geteuid() == 0 else 0o700
            with contextlib.suppress(FileExistsError):
                path.mkdir(mode=mode)
                path.chmod(mode)

    def _take_lock(self) -> int | None:
        """A descriptor that holds ``owner.lock``, or None when another process holds it."""
        path = self.data_dir / "owner.lock"
        try:
            # Opening makes it close-on-exec: the server must not hold the lock for us.
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
        except OSError as error:
            raise EmbeddedServerError(f"{path} cannot be opened: {error.strerror}") from error
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(descriptor)
            return None
        # A forked child would share the lock and so hold it after our death.
        os.register_at_fork(after_in_child=lambda: self._forget(descriptor))
        return descriptor

    def _forget(self, descriptor: int) -> None:
        if self._lock == descriptor:
            self._lock = None
            with contextlib.suppress(OSError):
                os.close(descriptor)

    def _share(self) -> None:
        """Take up the address of the server that another process runs, once it is ready."""
        running = find_running(self.data_dir / "postgres" / "cluster")
        if running is not None and running.status == "ready":
            self._socket_dir = running.socket_dir
            self._settled.set()
        self._stopping.wait(_TAKE_OVER_POLL if self._settled.is_set() else _POLL)

    def _launch(self, cluster: Cluster) -> subprocess.Popen[bytes] | None:
        """Start the server and wait until it is ready; None when told to stop meanwhile."""
        deadline = time.monotonic() + _OLD_BACKENDS_SECONDS
        while not self._stopping.is_set():
            cluster.stop_orphan()
            log = cluster.open_log()
            try:
                begin = os.fstat(log).st_size
                process = self._spawn(cluster, log)
            finally:
                os.close(log)
            if process is None or self._wait_ready(cluster, process):
                return process
            with self._guard:
                self._process = None
            said = cluster.log.read_bytes()[begin:].decode(errors="replace").strip()
            waits = _OLD_BACKENDS in said
            if not self._stopping.is_set() and not (waits and time.monotonic() < deadline):
                raise EmbeddedServerError(f"the database did not start:\n{said[-2000:]}")
            self._stopping.wait(_POLL * 5)
        return None

    def _spawn(self, cluster: Cluster, log: int) -> subprocess.Popen[bytes] | None:
        words = [str(cluster.binaries.postgres), "-D", str(cluster.data)]
        for name, value in {
            **self._options,
            "unix_socket_directories": str(self.socket_dir),
        }.items():
            words += ["-c", f"{name}={value}"]
        with self._guard:
            if self._stopping.is_set():
                return None
            self._process = subprocess.Popen(
                cluster.command(words, signal.SIGINT),
                env=cluster.environment(),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                # A session of its own: Ctrl-C at the terminal is for us, and we stop it in order.
                start_new_session=True,
            )
            return self._process

    @staticmethod
    def _wait_ready(cluster: Cluster, process: subprocess.Popen[bytes]) -> bool:
        """True once it takes connections; False when it ended instead (stop() ends it too)."""
        while process.poll() is None:
            running = cluster.running()
            if running is not None and running.pid == process.pid and running.status == "ready":
                return True
            time.sleep(_POLL / 2)
        return False

    def _release(self) -> None:
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None
