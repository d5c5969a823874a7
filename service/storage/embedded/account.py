"""Which account the database runs as. PostgreSQL refuses to run as root, and rightly so."""

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from service.storage.embedded.errors import EmbeddedServerError

SYSTEM_ACCOUNT = "graftlog"


@dataclass(frozen=True)
class Account:
    """A user and its group."""

    uid: int
    gid: int
    name: str

    @property
    def is_us(self) -> bool:
        """Whether this process already runs as the account."""
        return os.geteuid() == self.uid

    def own(self, path: Path) -> None:
        """Hand ``path`` to the account, when we are root."""
        if os.geteuid() == 0:
            # Never through a link: whoever can write beside us could aim it at any file.
            os.chown(path, self.uid, self.gid, follow_symlinks=False)


def choose_account(cluster: Path) -> Account:
    """The account for the database files in ``cluster``, whether they exist yet or not.

    Existing files keep their owner. An ordinary user is its own account. root takes the system
    account ``graftlog``, made if need be, else ``postgres``, else ``nobody``. Raises
    ``EmbeddedServerError`` when the files are someone else's.
    """
    us = os.geteuid()
    owner = cluster.stat().st_uid if cluster.is_dir() else None
    if owner == 0:
        raise EmbeddedServerError(
            f"{cluster} belongs to root, and PostgreSQL does not run as root: "
            f"give it to an ordinary account (chown -R)"
        )
    if us != 0:
        if owner is not None and owner != us:
            raise EmbeddedServerError(f"{cluster} belongs to another account (uid {owner})")
        return Account(us, os.getegid(), _name_of(us))
    if owner is not None:
        return Account(owner, cluster.stat().st_gid, _name_of(owner))
    found = _by_name(SYSTEM_ACCOUNT) or _create() or _by_name("postgres") or _by_name("nobody")
    if found is None:
        raise EmbeddedServerError(
            "no ordinary account for the database: create one with `useradd --system graftlog`, "
            "or run as an ordinary user"
        )
    return found


def _name_of(uid: int) -> str:
    import pwd  # absent on Windows, where the embedded server says so before it comes here

    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def _by_name(name: str) -> Account | None:
    import pwd

    try:
        entry = pwd.getpwnam(name)
    except KeyError:
        return None
    # An account of that name with root's number would be no protection.
    return Account(entry.pw_uid, entry.pw_gid, name) if entry.pw_uid and entry.pw_gid else None


def _create() -> Account | None:
    """Make the system account; None where that is not possible (no useradd, read-only /etc)."""
    useradd = shutil.which("useradd", path="/usr/sbin:/sbin:/usr/bin:/bin")
    if useradd is None:
        return None
    command = [useradd, "--system", "--user-group", "--no-create-home"]
    command += ["--home-dir", "/nonexistent", "--shell", "/usr/sbin/nologin", SYSTEM_ACCOUNT]
    # Two processes may try at once: the loser fails and finds the winner's account.
    subprocess.run(command, check=False, capture_output=True, stdin=subprocess.DEVNULL)
    return _by_name(SYSTEM_ACCOUNT)
