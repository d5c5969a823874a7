"""Secrets at rest: encrypted by the settings' keys, so that a copy of the database tells none."""

from collections.abc import Sequence

from cryptography.fernet import Fernet, InvalidToken, MultiFernet


class Unreadable(Exception):
    """It was sealed with a key that the settings no longer hold."""


class Sealer:
    """Seals with the first of the keys, opens with any: that is how a key is replaced."""

    def __init__(self, keys: Sequence[str]) -> None:
        self._newest = Fernet(keys[0])
        self._all = MultiFernet([Fernet(key) for key in keys])

    def seal(self, secret: str) -> str:
        """The secret, encrypted and authenticated (Fernet)."""
        return self._newest.encrypt(secret.encode()).decode()

    def open(self, sealed: str) -> str:
        """Back from `seal`. Raises Unreadable."""
        try:
            return self._all.decrypt(sealed.encode()).decode()
        except InvalidToken as error:
            raise Unreadable from error

    def sealed_anew(self, sealed: str) -> str | None:
        """The same under the newest key, or None when it is already. Raises Unreadable."""
        try:
            self._newest.decrypt(sealed.encode())
        except InvalidToken:
            return self.seal(self.open(sealed))
        return None


def new_key() -> str:
    """A fresh key for GRAFTLOG_SECRETS_KEY."""
    return Fernet.generate_key().decode()
