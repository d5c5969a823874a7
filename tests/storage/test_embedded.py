"""The embedded server: each way in which it can be started, shared, killed or hindered.

Waiting is on what happens (a line, a process's end, a connection that succeeds), up to a limit.
"""

import asyncio
import json
import os
import pwd
import select
import shutil
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import asyncpg
import pytest

from service.storage.embedded import EmbeddedServer, EmbeddedServerError, binaries
from service.storage.embedded import cluster as cluster_module
from service.storage.embedded.account import choose_account
from service.storage.embedded.cluster import Cluster, find_running
from tests.support import embedded_process
from tests.support.database import folder_for_a_server

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can give up root's rights")
on_linux = pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells of a parent's end")
LIMIT = 30.0


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder for data that does not exist yet, removed afterwards."""
    parent = folder_for_a_server()
    yield parent / "data"
    shutil.rmtree(parent, ignore_errors=True)


class Helper:
    """A process of its own with a server, see ``tests.support.embedded_process``."""

    def __init__(self, folder: Path, *account: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", embedded_process.__name__, str(folder), *account],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def hear(self) -> dict[str, Any]:
        """The next thing it says."""
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line and self.process.wait() == embedded_process.UNREACHABLE:
            pytest.skip("an ordinary account cannot reach this checkout or a Python")
        said: dict[str, Any] = json.loads(line)
        return said

    def tell(self, word: str) -> dict[str, Any]:
        """Say ``word`` and hear the answer."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{word}\n")
        self.process.stdin.flush()
        return self.hear()

    def end(self, number: int | None = None) -> None:
        """End it: in order, or by a signal."""
        if number is not None:
            self.process.send_signal(number)
            self.process.wait(LIMIT)
        # Closing its input is what tells it to stop.
        self.process.communicate(timeout=LIMIT)


@pytest.fixture
def helper() -> Iterator[Callable[..., Helper]]:
    """Makes helpers, and ends those that are left."""
    made: list[Helper] = []

    def make(folder: Path, *account: str) -> Helper:
        made.append(Helper(folder, *account))
        return made[-1]

    yield make
    for one in made:
        if one.process.returncode is None:
            one.process.kill()
        with one.process:  # waits, and closes its pipes
            pass


async def run(dsn: str, statement: str) -> Any:
    """The one value of ``statement`` over a connection of its own."""
    connection = await asyncpg.connect(dsn, timeout=LIMIT)
    try:
        return await connection.fetchval(statement)
    finally:
        await connection.close()


async def keep_a_row(dsn: str) -> None:
    """Commit one row, to be found again."""
    await run(dsn, "CREATE TABLE kept AS SELECT 7 AS n")


async def back_again(dsn: str) -> Any:
    """The kept row, once the server takes connections again at the same address."""
    deadline = time.monotonic() + LIMIT
    while True:
        try:
            return await run(dsn, "SELECT n FROM kept")
        except (OSError, asyncpg.PostgresError):
            assert time.monotonic() < deadline, "the server did not come back"
            await asyncio.sleep(0.01)


def ended(pid: int) -> bool:
    """Wait for the end of a process that is not our child."""
    try:
        descriptor = os.pidfd_open(pid)
    except ProcessLookupError:
        return True
    try:
        return bool(select.select([descriptor], [], [], LIMIT)[0])
    finally:
        os.close(descriptor)


def cluster_of(folder: Path) -> Path:
    return folder / "postgres" / "cluster"


async def test_what_was_written_is_there_at_the_next_start(folder: Path) -> None:
    with EmbeddedServer.start(folder) as server:
        assert server.owned
        await keep_a_row(server.dsn("postgres"))
        assert find_running(cluster_of(folder)) is not None
        first = server.dsn("postgres")
    assert find_running(cluster_of(folder)) is None
    with EmbeddedServer.start(folder) as server:
        assert server.dsn("postgres") == first
        assert await run(first, "SELECT n FROM kept") == 7
        assert await run(first, "SHOW data_checksums") == "on"
        assert await run(first, "SHOW listen_addresses") == ""
    server.stop()  # a second time does nothing


async def test_nobody_else_may_look_in_and_what_stood_above_is_untouched(folder: Path) -> None:
    folder.parent.chmod(0o751)
    with EmbeddedServer.start(folder / "deeper" / "down") as server:
        assert stat.S_IMODE(server.socket_dir.stat().st_mode) == 0o700
        data = cluster_of(folder / "deeper" / "down")
        for path in (data, data.parent):
            assert stat.S_IMODE(path.stat().st_mode) == 0o700
            assert (path.stat().st_uid == 0) is False
    assert stat.S_IMODE(folder.parent.stat().st_mode) == 0o751


@as_root
@on_linux
def test_for_root_the_server_has_none_of_roots_rights(folder: Path) -> None:
    with EmbeddedServer.start(folder) as server:
        lines = Path(f"/proc/{server.pid}/status").read_text().splitlines()
    status = dict(line.split(":\t", 1) for line in lines if ":\t" in line)
    assert "0" not in status["Uid"].split()
    assert "0" not in status["Gid"].split()
    assert status["Groups"].split() == []
    assert int(status["CapEff"], 16) == 0


@as_root
def test_an_ordinary_user_runs_it_as_itself(folder: Path, helper: Callable[..., Helper]) -> None:
    entry = pwd.getpwnam("nobody")
    folder.mkdir(mode=0o700)
    os.chown(folder, entry.pw_uid, entry.pw_gid)
    one = helper(folder, "nobody")
    said = one.hear()
    assert said.get("owned"), said
    assert asyncio.run(run(said["dsn"], "SELECT 1")) == 1
    running = find_running(cluster_of(folder))
    assert running is not None
    assert Path(f"/proc/{running.pid}").stat().st_uid == entry.pw_uid
    one.end()
    assert find_running(cluster_of(folder)) is None
    # root takes up the same folder, still as that user.
    with EmbeddedServer.start(folder) as server:
        assert Path(f"/proc/{server.pid}").stat().st_uid == entry.pw_uid


@as_root
def test_files_of_another_account_are_refused(folder: Path, helper: Callable[..., Helper]) -> None:
    with EmbeddedServer.start(folder):
        pass
    refused = helper(folder, "nobody").hear()
    assert "Permission denied" in refused["error"]


async def test_a_second_process_shares_it_and_takes_over(
    folder: Path, helper: Callable[..., Helper]
) -> None:
    owner = helper(folder)
    dsn = owner.hear()["dsn"]
    await keep_a_row(dsn)
    with EmbeddedServer.start(folder) as sharer:
        assert not sharer.owned
        assert sharer.dsn("postgres") == dsn
        assert await run(dsn, "SELECT n FROM kept") == 7
        owner.end()
        assert await back_again(dsn) == 7
        assert sharer.owned
    assert find_running(cluster_of(folder)) is None


async def test_a_sharer_that_leaves_does_not_stop_it(
    folder: Path, helper: Callable[..., Helper]
) -> None:
    with EmbeddedServer.start(folder) as server:
        sharer = helper(folder)
        assert sharer.hear()["owned"] is False
        pid = server.pid
        sharer.end()
        assert await run(server.dsn("postgres"), "SELECT 1") == 1
        assert server.pid == pid


async def test_many_at_once_agree_on_one_owner(folder: Path, helper: Callable[..., Helper]) -> None:
    said = [one.hear() for one in [helper(folder) for _ in range(4)]]
    assert sorted(word["owned"] for word in said) == [False, False, False, True]
    assert len({word["dsn"] for word in said}) == 1
    assert await run(said[0]["dsn"], "SELECT 1") == 1


@on_linux
async def test_the_server_ends_with_a_killed_parent(
    folder: Path, helper: Callable[..., Helper]
) -> None:
    parent = helper(folder)
    said = parent.hear()
    await keep_a_row(said["dsn"])
    parent.end(signal.SIGKILL)
    assert ended(said["pid"])
    with EmbeddedServer.start(folder) as server:
        assert await run(server.dsn("postgres"), "SELECT n FROM kept") == 7
        log = (folder / "postgres" / "server.log").read_text()
    assert "was not properly shut down" not in log, "the server had stopped in order"


async def test_a_start_right_after_the_parent_was_killed(
    folder: Path, helper: Callable[..., Helper]
) -> None:
    parent = helper(folder)
    said = parent.hear()
    await keep_a_row(said["dsn"])
    parent.end(signal.SIGKILL)
    with EmbeddedServer.start(folder) as server:
        assert server.owned
        assert server.pid != said["pid"]
        assert await run(server.dsn("postgres"), "SELECT n FROM kept") == 7


@on_linux
async def test_an_orphan_is_stopped_and_replaced(folder: Path) -> None:
    """Where nothing tells a server of its parent's end it runs on: as on macOS."""
    with EmbeddedServer.start(folder) as server:
        await keep_a_row(server.dsn("postgres"))
    cluster = Cluster.prepare(folder)
    words = [str(cluster.binaries.postgres), "-D", str(cluster.data)]
    words += ["-c", "listen_addresses=", "-k", str(cluster.socket_dir())]
    orphan = subprocess.Popen(  # noqa: ASYNC220
        cluster.command(words, 0), env=cluster.environment(), stderr=subprocess.DEVNULL
    )
    deadline = time.monotonic() + LIMIT
    while (running := find_running(cluster.data)) is None or running.status != "ready":
        assert orphan.poll() is None
        assert time.monotonic() < deadline
        await asyncio.sleep(0.01)
    with EmbeddedServer.start(folder) as server:
        assert orphan.wait(LIMIT) == 0
        assert server.pid != orphan.pid
        assert await run(server.dsn("postgres"), "SELECT n FROM kept") == 7


@on_linux
async def test_a_forked_child_does_not_keep_the_lock(
    folder: Path, helper: Callable[..., Helper]
) -> None:
    parent = helper(folder)
    said = parent.hear()
    child = parent.tell("fork")["child"]
    try:
        parent.process.kill()
        parent.process.wait()
        with EmbeddedServer.start(folder) as server:
            assert server.owned
            assert server.pid != said["pid"]
    finally:
        os.kill(child, signal.SIGKILL)


@pytest.mark.parametrize("busy", [False, True], ids=["idle", "busy"])
async def test_a_killed_server_is_started_again(folder: Path, busy: bool) -> None:
    """A busy backend does not notice that its server is gone, and keeps its memory in use."""
    with EmbeddedServer.start(folder) as server:
        dsn = server.dsn("postgres")
        await keep_a_row(dsn)
        connection = await asyncpg.connect(dsn)
        work = None
        if busy:
            pid = connection.get_server_pid()
            work = asyncio.create_task(
                connection.fetchval("SELECT count(*) FROM generate_series(1, 10000000000)")
            )
            while await run(dsn, f"SELECT state FROM pg_stat_activity WHERE pid={pid}") != "active":
                await asyncio.sleep(0.01)
        first = server.pid
        assert first is not None
        os.kill(first, signal.SIGKILL)
        assert await back_again(dsn) == 7
        assert server.pid != first
        if work is not None:
            with pytest.raises((asyncpg.PostgresError, OSError)):
                await work
        connection.terminate()


async def test_everything_killed_at_once(folder: Path, helper: Callable[..., Helper]) -> None:
    parent = helper(folder)
    said = parent.hear()
    await keep_a_row(said["dsn"])
    os.kill(said["pid"], signal.SIGKILL)
    parent.end(signal.SIGKILL)
    with EmbeddedServer.start(folder) as server:
        assert await run(server.dsn("postgres"), "SELECT n FROM kept") == 7


async def test_a_killed_initdb_is_not_taken_for_a_server(
    folder: Path, helper: Callable[..., Helper]
) -> None:
    parent = helper(folder)
    while not list((folder / "postgres").glob("new-*/PG_VERSION")):
        assert parent.process.poll() is None
        assert not cluster_of(folder).exists(), "too late to kill initdb"
    parent.end(signal.SIGKILL)
    assert not cluster_of(folder).exists()
    with EmbeddedServer.start(folder) as server:
        assert await run(server.dsn("postgres"), "SELECT 1") == 1
        assert list((folder / "postgres").glob("new-*")) == []


@on_linux
async def test_a_lock_file_that_names_some_other_process(folder: Path) -> None:
    """Numbers come round, soon in a container: PostgreSQL then takes the process for a server."""
    with EmbeddedServer.start(folder) as server:
        await keep_a_row(server.dsn("postgres"))
    cluster = Cluster.prepare(folder)
    sleeper = cluster.command(["/bin/sleep", "600"], signal.SIGKILL)
    other = subprocess.Popen(sleeper)  # noqa: ASYNC220
    try:
        for name in (cluster.data / "postmaster.pid", cluster.socket_dir() / ".s.PGSQL.5432.lock"):
            name.write_text(f"{other.pid}\n{cluster.data}\n1\n5432\n{cluster.socket_dir()}\n")
            cluster.account.own(name)
        with EmbeddedServer.start(folder) as server:
            assert await run(server.dsn("postgres"), "SELECT n FROM kept") == 7
        assert other.poll() is None
    finally:
        other.kill()
        other.wait()


@pytest.mark.parametrize("name", ["d" * 120, "a, b 'c\" é"], ids=["long", "odd"])
async def test_a_path_that_no_socket_can_have(folder: Path, name: str) -> None:
    with EmbeddedServer.start(folder / name) as server:
        assert server.socket_dir.parent == Path("/tmp")
        assert stat.S_IMODE(server.socket_dir.stat().st_mode) == 0o700
        assert await run(server.dsn("postgres"), "SELECT 1") == 1
        with EmbeddedServer.start(folder / name) as sharer:
            assert sharer.dsn() == server.dsn()
    server.socket_dir.rmdir()


@as_root
def test_a_socket_folder_that_someone_else_made_is_refused(folder: Path) -> None:
    with EmbeddedServer.start(folder / ("d" * 120)) as server:
        pass
    os.chown(server.socket_dir, 0, 0)
    try:
        with pytest.raises(EmbeddedServerError, match="is not ours"):
            EmbeddedServer.start(folder / ("d" * 120))
    finally:
        server.socket_dir.rmdir()


@as_root
async def test_programs_that_the_account_cannot_reach_are_copied(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = binaries.find_binaries()
    package = real.bin.parent.parent
    closed = folder.parent / "closed"
    closed.mkdir(mode=0o700)
    for path in (package, package.with_name(f"{package.name}.libs")):
        if path.exists():
            (closed / path.name).symlink_to(path)
    hidden = binaries.Binaries(closed / package.name / "pginstall" / "bin", real.version)
    monkeypatch.setattr(cluster_module, "find_binaries", lambda: hidden)
    for _ in range(2):
        with EmbeddedServer.start(folder) as server:
            assert await run(server.dsn("postgres"), "SELECT 1") == 1
            program = Path(os.readlink(f"/proc/{server.pid}/exe"))  # noqa: PTH115
        assert program.is_relative_to(folder / "postgres" / f"server-{real.version}")
    assert stat.S_IMODE(closed.stat().st_mode) == 0o700


@as_root
def test_a_folder_that_the_account_cannot_reach_is_refused_and_left_closed(folder: Path) -> None:
    folder.mkdir(mode=0o700)
    with pytest.raises(EmbeddedServerError, match=r"cannot enter .*set GRAFTLOG_DATA_DIR"):
        EmbeddedServer.start(folder / "data")
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@as_root
def test_files_that_belong_to_root_are_refused(folder: Path) -> None:
    folder.mkdir()
    with pytest.raises(EmbeddedServerError, match="belongs to root"):
        choose_account(folder)


def test_a_server_that_cannot_start_says_what_postgresql_said(folder: Path) -> None:
    with pytest.raises(EmbeddedServerError, match="unrecognized configuration parameter"):
        EmbeddedServer.start(folder, options={"no_such_setting": "1"})
    # And nothing is left that would keep the next from starting.
    with EmbeddedServer.start(folder) as server:
        assert server.owned
